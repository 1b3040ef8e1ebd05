"""The list for the one-page sheet: what it may name, every fault told with section and line, and what an edit changes."""

from __future__ import annotations

import pytest
from lint_folder import REGIMEN, faults, folder, medicine, one_fault

from dosecheck.formulary import sheet
from dosecheck.formulary.folder import fingerprint
from dosecheck.sums.bolus import BOLUSES
from dosecheck.sums.fluids import RULES
from dosecheck.sums.listing import find

PRODUCT = """
[[product]]
id = "oral-liquid"
name = "oral liquid 120 mg in 5 mL"
form = "oral liquid"
routes = ["oral"]
strength = "120 mg in 5 mL"
measure = [ { step = "0.5 mL" } ]
source = { id = "invented-handbook-2024", place = "list of forms" }
"""
INFUSION = """
[[regimen]]
id = "intravenous-child"
valid_from = 2024-05-01
route = "intravenous"
for = ["shock"]
age = { below = "12 years" }
dose = "5 micrograms/kg/min"
max_daily = { none = "limited by its rate" }
source = { id = "invented-handbook-2024", place = "table 4" }
"""
EXAMPOL = medicine(more=PRODUCT + REGIMEN + INFUSION)
LINE = '{ medicine = "exampol", route = "oral", for = "pain", product = "oral-liquid" }'


def listed(*lines: str, title: str = "Pain") -> str:
    return f'[[section]]\ntitle = "{title}"\nlines = [\n' + "".join(f"  {line},\n" for line in lines) + "]\n"


def wrong(line: str, expected: str) -> None:
    one_fault(f'sheet.toml, section "Pain", line 2{expected}', sheet=listed(LINE, line), medicines_exampol=EXAMPOL)


def test_a_right_list_has_no_fault() -> None:
    lines = [
        LINE,
        '{ medicine = "exampol", regimen = "oral-child" }',
        '{ sum = "tube-size" }',
        '{ sum = "fluid-bolus", rule = "resuscitation" }',
    ]
    assert faults(sheet=listed(*lines), medicines_exampol=EXAMPOL) == []


@pytest.mark.parametrize(
    "line, expected",
    [
        ('{ medicine = "exampel", route = "oral", for = "pain" }', ', medicine: There is no medicine "exampel". Did you mean "exampol"?'),
        ('{ medicine = "exampol", regimen = "oral-chidl" }', ', regimen: There is no regimen "oral-chidl". Did you mean "oral-child"?'),
        (LINE.replace("oral-liquid", "oral-liqiud"), ', product: There is no product "oral-liqiud". Did you mean "oral-liquid"?'),
        (LINE.replace('"oral"', '"rectal"'), ', route: There is no regimen by the route "rectal". Did you mean "oral"?'),
        (LINE.replace('"pain"', '"pian"'), ', for: There is no regimen for "pian". Did you mean "pain"?'),
        (
            '{ medicine = "exampol", route = "intravenous", for = "shock" }',
            ": It is an infusion by time, and the sheet shows single doses.",
        ),
        ('{ medicine = "exampol", route = "oral" }', ": It does not say which figures."),
        (
            '{ medicine = "exampol", regimen = "oral-child", route = "oral" }',
            ": The regimen says the route, the purpose and the step already.",
        ),
        ('{ medicine = "exampol", regimen = "oral-child", rule = "4-2-1" }', ": A rule belongs to a sum."),
        ('{ medicine = "exampol", sum = "tube-size" }', ": A line is either of a medicine or of a sum."),
        ("{ }", ": A line is either of a medicine or of a sum."),
        ('{ sum = "tube-sise" }', ', sum: "tube-sise" is none of the words allowed here.'),
        ('{ sum = "tube-size", route = "oral" }', ": A sum has no route, purpose or product."),
        ('{ sum = "tube-size", rule = "4-2-1" }', ": This sum has no rule to choose."),
        ('{ sum = "fluid-bolus" }', ": The sum has several rules, and none of them is named."),
        ('{ sum = "fluid-bolus", rule = "4-2-1" }', ": The sum has several rules, and none of them is named."),
        (LINE.replace("product", "prodcut"), ', prodcut: There is no such key here. Did you mean "product"?'),
    ],
)
def test_a_wrong_line_is_told_with_its_place(line: str, expected: str) -> None:
    wrong(line, expected)


def test_a_product_of_another_route_or_regimen() -> None:
    by_mouth = EXAMPOL.replace('for = ["pain"]', 'for = ["pain"]\nproducts = ["tablet"]').replace(
        "[[regimen]]", PRODUCT.replace("oral-liquid", "tablet").replace('name = "oral', 'name = "other') + "[[regimen]]", 1
    )
    one_fault("line 1, product: The regimen is for other products. They are: tablet.", sheet=listed(LINE), medicines_exampol=by_mouth)
    rectal = EXAMPOL.replace('routes = ["oral"]', 'routes = ["rectal"]')
    one_fault("line 1, product: It is not given by this route, oral.", sheet=listed(LINE), medicines_exampol=rectal)


def test_every_fault_of_the_list_at_once() -> None:
    text = listed(LINE.replace("exampol", "exampel"), LINE.replace('"pain"', '"pian"')) + listed(LINE, title="") + "colour = 1\n"
    found = faults(sheet=text, medicines_exampol=EXAMPOL)
    places = ['section "Pain", line 1, medicine', 'section "Pain", line 2, for', 'section "", title', 'section "", colour']
    assert [fault.split(":")[0] for fault in found] == [f"sheet.toml, {place}" for place in places]


def test_more_lines_than_a_page_holds() -> None:
    one_fault("sheet.toml, section: There are 31 lines", sheet=listed(*[LINE] * 31), medicines_exampol=EXAMPOL)
    assert faults(sheet=listed(*[LINE] * 30), medicines_exampol=EXAMPOL) == []


def test_a_sites_own_regimen_may_be_listed() -> None:
    local = 'medicine = "exampol"\nreason = "Our committee."\n' + REGIMEN.replace("oral-child", "oral-ours").replace('"pain"', '"teething"')
    one = listed('{ medicine = "exampol", route = "oral", for = "teething", product = "oral-liquid" }')
    assert faults(sheet=one, medicines_exampol=EXAMPOL, local_site=local) == []
    assert len(faults(sheet=one, medicines_exampol=EXAMPOL)) == 1


def test_the_list_counts_in_the_fingerprint() -> None:
    plain, with_list = folder(), folder(sheet=listed(LINE))
    assert fingerprint(plain) != fingerprint(with_list) != fingerprint(folder(sheet=listed(LINE, LINE)))


def test_the_sums_and_rules_are_those_of_the_sums_themselves() -> None:
    """The list lies below the sums, so it repeats their names."""
    assert all(find(name) for name in sheet.SUMS)
    assert sheet.SUMS["fluid-bolus"] == tuple(BOLUSES)
    assert sheet.SUMS["maintenance-fluid"] == tuple(RULES)
