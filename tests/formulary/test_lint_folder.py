"""The whole folder: files against each other, every fault at once, and never a traceback whatever they hold."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lint_folder import POLICY, REGIMEN, SOURCES, faults, folder, medicine, one_fault

from dosecheck.formulary import lint, medicine_lint
from dosecheck.formulary.folder import parse
from dosecheck.formulary.names import look

LOCAL = 'medicine = "exampol"\nreason = "Our committee (minutes of 3 March 2025)."\n'


def test_all_faults_of_all_files_come_at_once() -> None:
    files = {
        "policy": POLICY.replace("14 days", "14"),
        "sources": SOURCES.replace("2024\na", '"2024"\na'),
        "medicines_exampol": medicine().replace("min_gap", "min_gpa"),
        "medicines_broken": "id = ",
        "medicines_latin": b'id = "caf\xe9"',
        "local_site": LOCAL.replace("exampol", "exampel"),
    }
    found = lint.lint_files(folder(**files)).faults
    assert [fault.file for fault in found] == sorted(f"{name.replace('_', '/', 1)}.toml" for name in files)
    with_paths = "\n".join(map(str, found))
    assert "It is not UTF-8 text" in with_paths and "medicines/latin.toml, line 1" in with_paths


def test_a_missing_file_is_a_fault() -> None:
    one_fault("policy.toml: The file is missing.", policy=None)
    one_fault("sources.toml: The file is missing.", sources=None)


# ---- policy ----


@pytest.mark.parametrize(
    "before, after, expected",
    [
        ("query_up_to", "query_upto", 'policy.toml, query_upto: There is no such key here. Did you mean "query_up_to"?'),
        ('"90 days"', '"3 months"', 'policy.toml, weight_age_child.value: "3 months"'),
        (
            'value = "10 %", reason = "R',
            'value = "100 %", reason = "R',
            "policy.toml, point_allowance.value: From 100 % on no dose would be too small.",
        ),
        ('value = "10 %", reason = "C', 'value = 0.1, reason = "C', 'policy.toml, query_up_to.value: "0.1": It is not a share'),
        (', reason = "Infants grow fast."', "", "policy.toml, weight_age_infant.reason: It is missing."),
    ],
)
def test_policy(before: str, after: str, expected: str) -> None:
    assert before in POLICY
    found = faults(policy=POLICY.replace(before, after))
    assert any(expected in fault for fault in found), found


def test_review_by_is_a_date() -> None:
    assert faults(policy=POLICY + 'review_by = { value = 2027-12-31, reason = "r" }\n') == []
    one_fault('policy.toml, review_by.value: "2027"', policy=POLICY + 'review_by = { value = "2027", reason = "r" }\n')


Z_LIMITS = 'weight_z = { reason = "r", bands = [ { from = "0 months", low = "-4", high = "4" }, { from = "10 years", low = "-3.5", high = "2.5" } ] }\n'
FAR_ABOVE = 'weight_far_above = { value = "3", reason = "r" }\n'
REFERENCE = 'growth_reference = { value = "who", reason = "r" }\n'


def test_the_lines_of_inhaled_treatment() -> None:
    table = 'inhaled_table = { value = "%s", reason = "r" }\n'
    cut = 'most_step_down = { value = "50 %", reason = "r" }\n'
    assert faults(policy=POLICY + cut + table % "invented-handbook-2024") == []
    one_fault(
        'policy.toml, inhaled_table.value: There is no source "invented-handbok-2024"', policy=POLICY + table % "invented-handbok-2024"
    )
    one_fault('policy.toml, most_step_down.value: "half"', policy=POLICY + cut.replace("50 %", "half"))


BAND = """
[[daily_band]]
id = "child"
age = { from = "6 years", below = "12 years" }
high = { above = "400 micrograms" }
source = { id = "invented-handbook-2024", place = "table 7" }
"""


def test_a_site_may_change_a_row_of_daily_bands() -> None:
    assert faults(medicines_exampol=medicine(more=BAND), local_site=LOCAL + BAND.replace("400", "500")) == []
    added = LOCAL + BAND.replace('"child"', '"another"')
    one_fault('daily band "another": It overlaps the row "child"', medicines_exampol=medicine(more=BAND), local_site=added)


@pytest.mark.parametrize(
    "row",
    [
        BAND.replace("6 years", "12 years").replace('"12 years" }', '"18 years" }'),
        BAND.replace("high", 'devices = ["nebuliser"]\nhigh'),
        BAND.replace("handbook-2024", "handbook-2025"),
    ],
)
def test_rows_of_another_age_device_or_table_stand_side_by_side(row: str) -> None:
    first = BAND.replace("high", 'devices = ["dry powder inhaler"]\nhigh')
    more = SOURCES + SOURCES.replace("2024]", "2025]")
    assert faults(sources=more, medicines_exampol=medicine(more=first + row.replace('"child"', '"other"'))) == []


def test_z_limits_are_right() -> None:
    assert faults(policy=POLICY + Z_LIMITS + FAR_ABOVE + REFERENCE) == []


@pytest.mark.parametrize(
    "before, after, expected",
    [
        ('low = "-4"', "low = -4", "policy.toml, weight_z.bands.low: -4 is not text in quotes."),
        ('high = "4"', 'high = "4 SD"', 'policy.toml, weight_z.bands.high: "4 SD": It is not a z-score from -9.9 to 9.9'),
        ('high = "2.5"', 'high = "2.55"', 'policy.toml, weight_z.bands.high: "2.55": It is not a z-score'),
        ('low = "-4"', 'low = "4"', "policy.toml, weight_z.bands: The least z-score is not below 0 and the greatest above it."),
        ('from = "10 years"', 'from = "0 days"', "policy.toml, weight_z: The rows do not run from younger to older."),
        ('from = "10 years"', 'from = "10"', 'policy.toml, weight_z.bands.from: "10": It is not an edge of an age band.'),
        ('low = "-4", ', "", "policy.toml, weight_z.bands.low: It is missing."),
        ('reason = "r", bands', "bands", "policy.toml, weight_z.reason: It is missing."),
        ('value = "3"', 'value = "-3"', "policy.toml, weight_far_above: A weight far above the centiles has a z-score above 0."),
        ('value = "3"', 'value = "3 kg"', 'policy.toml, weight_far_above.value: "3 kg": It is not a z-score from -9.9 to 9.9'),
        ('value = "who"', 'value = "WHO"', 'policy.toml, growth_reference.value: "WHO"'),
        (
            "growth_reference",
            "growth_referense",
            'policy.toml, growth_referense: There is no such key here. Did you mean "growth_reference"?',
        ),
    ],
)
def test_z_limits_that_are_not(before: str, after: str, expected: str) -> None:
    text = POLICY + Z_LIMITS + FAR_ABOVE + REFERENCE
    assert before in text
    one_fault(expected, policy=text.replace(before, after, 1))


# ---- sources ----


@pytest.mark.parametrize(
    "before, after, expected",
    [
        ("title", "titel", "titel: There is no such key here."),
        ('"primary"', '"first"', 'grade: "first" is none of the words allowed here. Known here: primary, label reprint, secondary.'),
        ("https://handbook.example", "../../etc/passwd", 'address: "../../etc/passwd": It is not a web address.'),
        ("https://handbook.example", "javascript:alert(1)", "address: "),
        ("2024\na", "24\na", "year: 24 is less than 1800."),
    ],
)
def test_sources(before: str, after: str, expected: str) -> None:
    assert before in SOURCES
    found = faults(sources=SOURCES.replace(before, after))
    assert any(f'sources.toml, source "invented-handbook-2024", {expected}' in fault for fault in found), found


def test_groups_given_one_at_a_time() -> None:
    """A list of words with its reason."""
    line = 'one_at_a_time = { value = ["NSAID"], reason = "r" }\n'
    assert faults(policy=POLICY + line) == []
    one_fault('policy.toml, one_at_a_time.value: "NSAID" is text', policy=POLICY + line.replace('["NSAID"]', '"NSAID"'))
    one_fault("policy.toml, one_at_a_time.reason: It is missing.", policy=POLICY + line.replace(', reason = "r"', ""))


def test_a_broken_list_of_sources_does_not_make_every_source_unknown() -> None:
    one_fault("sources.toml, ", sources=SOURCES + "[")


# ---- names ----


@pytest.mark.parametrize(
    "head, expected",
    [
        ('aliases = ["exampol"]', '"exampol" is a name in medicines/exampol.toml too'),
        ('aliases = ["éxampol"]', '"éxampol" looks like "exampol" in medicines/exampol.toml'),
        ('aliases = ["\\u0435xampol"]', '"\u0435xampol" looks like "exampol" in medicines/exampol.toml'),
        ('aliases = ["exam\\u00ADpol"]', '"exam\\xadpol" looks like "exampol" in medicines/exampol.toml'),
        ('aliases = ["EXAMPOL"]', '"EXAMPOL" looks like "exampol" in medicines/exampol.toml'),
    ],
)
def test_a_name_belongs_to_one_medicine(head: str, expected: str) -> None:
    found = faults(medicines_secondol=medicine("secondol", head=head))
    assert any(f"medicines/secondol.toml, aliases: {expected}" in fault for fault in found), found


def test_one_alias_of_two_medicines_and_an_alias_loop() -> None:
    one_fault(
        'medicines/secondol.toml, aliases: "thirdol" is a name in medicines/exampol.toml too',
        medicines_exampol=medicine(head='aliases = ["thirdol"]'),
        medicines_secondol=medicine("secondol", head='aliases = ["thirdol"]'),
    )
    loop = faults(
        medicines_exampol=medicine(head='aliases = ["secondol"]'),
        medicines_secondol=medicine("secondol", head='aliases = ["exampol"]'),
    )
    assert len(loop) >= 2 and all("medicines/exampol.toml too" in fault for fault in loop)


def test_an_ingredient_is_spelt_in_one_way() -> None:
    one_fault(
        'medicines/secondol.toml, ingredient "exámpol", id: "exámpol" looks like the ingredient "exampol" in medicines/exampol.toml',
        medicines_secondol=medicine("secondol", ingredient="exámpol"),
    )
    assert faults(medicines_secondol=medicine("secondol", ingredient="exampol")) == []


def test_look_takes_away_what_eyes_do_not_see() -> None:
    assert look("Ex\u0430mp\u200bo\u0301l \u2010 a") == look("exampol - a")
    assert look("exampol") != look("exampal")


def test_the_index_has_every_name() -> None:
    report = lint.lint_files(folder(medicines_secondol=medicine("secondol", head='aliases = ["other name"]')))
    assert report.index == {
        "exampol": "medicines/exampol.toml",
        "secondol": "medicines/secondol.toml",
        "other name": "medicines/secondol.toml",
    }


# ---- local changes ----


@pytest.mark.parametrize(
    "text, expected",
    [
        (LOCAL.replace("exampol", "exampel"), 'local/site.toml, medicine: There is no medicine "exampel". Did you mean "exampol"?'),
        (LOCAL.replace('"Our committee (minutes of 3 March 2025)."', '" "'), "local/site.toml, reason: "),
        (LOCAL.split("\n")[0], "local/site.toml, reason: It is missing."),
        (LOCAL + 'withdraw = ["oral-chidl"]', 'local/site.toml, withdraw: There is no regimen "oral-chidl". Did you mean "oral-child"?'),
        (LOCAL + REGIMEN.replace("min_gap", "min_gpa"), 'local/site.toml, regimen "oral-child", min_gpa: There is no such key here.'),
        (LOCAL + REGIMEN.replace("oral-child", "ours"), 'local/site.toml, regimen "oral-child": It overlaps the regimen "ours"'),
        (LOCAL + 'origin = "local"', "local/site.toml, origin: There is no such key here."),
        (LOCAL + REGIMEN + 'products = ["tablet"]', 'local/site.toml, regimen "oral-child", products: There is no product "tablet".'),
        (
            LOCAL + REGIMEN.replace("handbook", "book"),
            'local/site.toml, regimen "oral-child", source.id: There is no source "invented-book-2024"',
        ),
    ],
)
def test_local_faults_are_told_of_the_local_file(text: str, expected: str) -> None:
    one_fault(expected, local_site=text)


def test_local_changes_that_are_right() -> None:
    ours = REGIMEN.replace('["4 g"]', '["3 g"]')
    assert faults(local_site=LOCAL + ours) == []
    assert faults(local_site=LOCAL + 'withdraw = ["oral-child"]' + REGIMEN.replace("oral-child", "ours")) == []


def test_approved_here_needs_the_name_of_who_checked() -> None:
    check = 'checked = [{ by = "A. N. Other", on = 2024-06-02, figures = "3f2a9c1b77d0" }]'
    base = medicine(more=REGIMEN + check).replace('"example"', '"approved"')
    assert faults(medicines_exampol=base) == []
    one_fault(
        'local/site.toml, regimen "oral-child", checked: The medicine is approved',
        medicines_exampol=base,
        local_site=LOCAL + 'status = "approved"' + REGIMEN,
    )


def test_two_local_files_do_not_hide_each_other() -> None:
    one_fault(
        'local/ward.toml, regimen "oral-child", id: local/site.toml changes it too', local_site=LOCAL + REGIMEN, local_ward=LOCAL + REGIMEN
    )
    ours = [REGIMEN.replace("oral-child", name).replace('"pain"', '"fever"') for name in ("ours", "wards")]
    one_fault('local/ward.toml, regimen "ours": It overlaps the regimen "wards"', local_site=LOCAL + ours[0], local_ward=LOCAL + ours[1])


def test_a_fault_of_the_base_is_not_told_again_of_the_local_file() -> None:
    base = medicine(more=REGIMEN.replace('["4 g"]', '["1 mg/kg"]'))
    one_fault(
        "medicines/exampol.toml", medicines_exampol=base, local_site=LOCAL + REGIMEN.replace("oral-child", "ours").replace("oral", "rectal")
    )


def test_local_files_of_a_broken_medicine_are_not_blamed() -> None:
    one_fault("medicines/exampol.toml", medicines_exampol="id =", local_site=LOCAL + REGIMEN)


# ---- whatever the files hold ----


def test_an_error_in_compiling_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise KeyError("dose")

    monkeypatch.setattr(medicine_lint, "compile_medicine", fails)
    found = faults()
    assert found[-1].startswith("medicines/exampol.toml, regimen \"oral-child\": Its figures cannot be put together (KeyError: 'dose').")


@contextmanager
def parsed_as(name: str, raw: dict) -> Iterator[None]:
    """That file is taken to hold `raw`: what could stand in TOML, without writing it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lint, "parse", lambda file, content: raw if file == name else parse(file, content))
        yield


AMOUNTS = ["15 mg/kg", "-1", "1e5 mg", "9" * 300, "60 mg/kg a day", "5 mL", "1 in 0", "1 year", "37 weeks"]
WORDS = st.sampled_from([*AMOUNTS, "", "exampol", "oral", "Ä\u200b", "oral-child"])
LEAVES = st.one_of(WORDS, st.booleans(), st.integers(-(10**30), 10**30), st.dates(), st.text(max_size=5))
GRAMMAR = """id name aliases status ingredient product regimen age_limit band dose low high age from below weight max_single max_daily none
    source place strengths measure step up_to equals amount is totals medicine withdraw reason value for route valid_from covers products
    per doses_a_day checked unknown"""
KEYS = st.sampled_from(GRAMMAR.split())
TREES = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=6), max_leaves=30)
FILES = st.sampled_from(["medicines/exampol.toml", "local/site.toml", "policy.toml", "sources.toml"])


@given(st.dictionaries(KEYS, TREES, max_size=8), FILES)
@settings(deadline=None, max_examples=200)
def test_no_table_gives_a_traceback(raw: dict, name: str) -> None:
    with parsed_as(name, raw):
        report = lint.lint_files(folder(local_site=LOCAL + REGIMEN))
    assert all(str(fault).isprintable() for fault in report.faults)


@given(st.sampled_from(REGIMEN.strip().splitlines()[1:]), TREES, st.booleans())
@settings(deadline=None, max_examples=200)
def test_no_value_in_a_right_entry_gives_a_traceback(line: str, value: object, left_out: bool) -> None:
    raw = parse("", medicine().encode())
    key = line.split(" = ")[0]
    del raw["regimen"][0][key]
    if not left_out:
        raw["regimen"][0][key] = value
    with parsed_as("medicines/exampol.toml", raw):
        report = lint.lint_files(folder())
    assert all(fault.file == "medicines/exampol.toml" for fault in report.faults)


@given(st.binary(max_size=60))
@settings(deadline=None, max_examples=100)
def test_no_bytes_give_a_traceback(content: bytes) -> None:
    for name in ("medicines_exampol", "policy", "sources", "local_site"):
        lint.lint_files(folder(**{name: content}))


FIGURES = ["10 mg", "15 mg/kg", "150 mg/m2", "20 units/kg", "1 mmol", "2 puffs", "5 micrograms/kg/min", "0.1 units/h", "3 mg/m2/h", "0.5 g"]
FIGURE = st.sampled_from(FIGURES)
BANDS = st.dictionaries(st.sampled_from(["from", "below"]), st.sampled_from(["28 days", "1 month", "2 years", "0 days"]), min_size=1)
OPTIONS = {
    "dose": FIGURE | st.dictionaries(st.sampled_from(["low", "high"]), FIGURE, min_size=1),
    "per": st.sampled_from(["dose", "day"]),
    "doses_a_day": st.lists(st.integers(1, 300), min_size=1, max_size=4),
    "max_single": st.lists(FIGURE, min_size=1, max_size=3),
    "max_daily": st.lists(FIGURE, min_size=1, max_size=3) | st.just({"none": "no figure"}),
    "max_rate": st.lists(FIGURE, min_size=1, max_size=2),
    "totals": st.lists(
        st.fixed_dictionaries({"over": st.sampled_from(["course", "7 days"]), "max": st.lists(FIGURE, min_size=1)}), max_size=2
    ),
    "floor": st.sampled_from(["5 mg", "1 unit", "2 g"]),
    "max_concentration": st.sampled_from(["10 mg/mL", "1 unit/mL"]),
    "max_doses": st.integers(1, 300),
    "query_up_to": st.sampled_from(["0 %", "12.5 %", "1000%"]),
    "corrected": BANDS,
    "weight": st.dictionaries(st.sampled_from(["from", "below"]), st.sampled_from(["500 g", "10 kg", "22 lb"]), min_size=1),
    "band": st.lists(
        st.fixed_dictionaries({"dose": FIGURE}, optional={"age": BANDS, "max_single": st.lists(FIGURE, min_size=1)}), min_size=1
    ),
}


@given(st.fixed_dictionaries({}, optional=OPTIONS))
@settings(deadline=None, max_examples=300)
def test_what_lint_finds_right_can_be_compiled(change: dict) -> None:
    """The compiler never meets what lint has not refused with a sentence of its own."""
    raw = parse("", medicine().encode())
    raw["regimen"][0] |= change
    if "band" in change and "dose" not in change:
        del raw["regimen"][0]["dose"]
    with parsed_as("medicines/exampol.toml", raw):
        report = lint.lint_files(folder())
    assert not [fault for fault in report.faults if "cannot be put together" in fault.why]
