"""The proof is sound: what it calls proven no order contradicts, and each counter-example is one, by the engine itself."""

from __future__ import annotations

import json
import shlex
from fractions import Fraction
from pathlib import Path

import pytest
from cli.door import FOLDER, dosecheck, flat
from formulary.lint_folder import POLICY, folder, medicine
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.formulary.limits import Limit
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import AT_LEAST, AT_MOST, Comparison
from dosecheck.quantity import UNITS, Quantity
from dosecheck.records import QUERY, STOP, WITHIN, Child, Order
from dosecheck.rules.check import check_order
from dosecheck.rules.reckon import reckon
from dosecheck.showing import show_number
from dosecheck.workshop.prove import claims
from dosecheck.workshop.prove.claims import COUNTER, OPEN, PROVEN
from dosecheck.workshop.prove.proof import CLAIMS, Proof, prove

KG = UNITS["weight"]["kg"]
SOURCE = 'source = { id = "invented-handbook-2024", place = "table 3" }\n'
BELIEVED = 'weight_z = { reason = "r", bands = [ { from = "0 months", low = "-4", high = "3" } ] }\n'
PRODUCT = f'\n[[product]]\nid = "liquid"\nname = "liquid"\nform = "oral liquid"\nroutes = ["oral"]\nstrength = "10 mg/mL"\nmeasure = [{{ step = "0.5 mL" }}]\n{SOURCE}'


def regimen(figures: str, who: str = 'weight = { from = "5 kg", below = "40 kg" }') -> str:
    return f'\n[[regimen]]\nid = "r"\nvalid_from = 2024-05-01\nroute = "oral"\nfor = ["pain"]\n{who}\n{figures}\n{SOURCE}'


def proof_of(
    path: Path,
    figures: str,
    who: str = 'weight = { from = "5 kg", below = "40 kg" }',
    product: str = PRODUCT,
    policy: str = POLICY + BELIEVED,
) -> Proof:
    for name, content in folder(policy=policy, medicines_exampol=medicine(more=product + regimen(figures, who))).items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content)
    (proof,) = prove(Formulary(path))
    return proof


def state(proof: Proof, claim: str) -> str:
    return next(result.state for result in proof.results if result.claim == claim)


GROWN = 'age = { from = "2 years", below = "12 years" }'
BAND = 'weight = { from = "5 kg", below = "40 kg" }'
SOUND = (
    'dose = { low = "10 mg/kg", high = "15 mg/kg" }\nmax_single = ["400 mg"]\nmax_daily = ["60 mg/kg"]\nmax_doses = 4\nmin_gap = "4 hours"'
)


def test_sound_figures_are_proven(tmp_path: Path) -> None:
    proof = proof_of(tmp_path, SOUND)
    assert proof.state == PROVEN and [result.claim for result in proof.results] == list(CLAIMS)
    assert proof.children == "5 kg to 39.999 kg"


BROKEN = [  # figures, the claim that fails, the weight at which it fails most, in kg
    # the day's 40 mg/kg in 4 doses is 10 mg/kg, and the smallest dose, 100 mg, is more than that below 10 kg
    ('dose = "10 mg/kg"\nfloor = "100 mg"\nmax_daily = ["40 mg/kg"]\nmax_doses = 4', "room", 5),
    # a fixed dose of 200 mg, 180 mg with the allowance, under a ceiling of 5 mg/kg a dose; a maximum that binds excuses nothing here: 25 mg at 5 kg
    (
        'dose = { low = "200 mg", high = "300 mg" }\nfloor = "200 mg"\nmax_single = ["300 mg"]\nmax_daily = ["30 mg/kg"]\nmax_doses = 2',
        "room",
        5,
    ),
]


@pytest.mark.parametrize(("figures", "claim", "kilograms"), BROKEN)
def test_figures_that_contradict_each_other(tmp_path: Path, figures: str, claim: str, kilograms: int) -> None:
    """H11: the order that is printed can be pasted, and the check does not let it pass."""
    proof = proof_of(tmp_path, figures)
    result, example = next((r, e) for r, e in zip(proof.results, proof.examples, strict=True) if r.claim == claim)
    assert result.state == COUNTER and result.weight == kilograms * KG
    words = shlex.split(example.command)
    assert words[:2] == ["dosecheck", "order"]
    told = json.loads(dosecheck(*words[1:], "--json").out)
    assert told["outcome"] == example.outcome in (QUERY, STOP)


def test_doses_that_do_not_fit_into_a_day(tmp_path: Path) -> None:
    proof = proof_of(tmp_path, 'dose = "10 mg/kg"\nmax_daily = ["40 mg/kg"]\nmin_gap = "8 hours"\ndoses_a_day = [2, 4]')
    assert state(proof, "spread") == COUNTER and "4 doses a day" in str(proof.results)
    assert (
        state(proof_of(tmp_path / "b", 'dose = "10 mg/kg"\nmax_daily = ["40 mg/kg"]\nmin_gap = "8 hours"\ndoses_a_day = [3]'), "spread")
        == PROVEN
    )


def test_what_cannot_be_proven_is_not_counted_as_proven(tmp_path: Path) -> None:
    """Weight and surface at once; ages beyond every growth reference."""
    both = proof_of(tmp_path / "a", 'dose = "30 mg/m2"\nmax_single = ["2 mg/kg"]\nmax_daily = ["100 mg"]')
    assert both.state == OPEN and state(both, "room") == OPEN and state(both, "one way") == PROVEN
    old = proof_of(tmp_path / "b", 'dose = "10 mg/kg"\nmax_daily = ["40 mg/kg"]', who='age = { from = "30 years" }', product="")
    assert old.state == OPEN and {result.state for result in old.results} == {OPEN}


def test_figures_by_surface_are_proven_over_the_surface(tmp_path: Path) -> None:
    assert proof_of(tmp_path / "a", 'dose = "30 mg/m2"\nmax_daily = ["100 mg"]', product="").state == PROVEN
    broken = proof_of(tmp_path / "b", 'dose = "30 mg/m2"\nfloor = "30 mg"\nmax_daily = ["40 mg/m2"]', product="")
    assert state(broken, "room") == COUNTER


def test_a_limit_of_both_sides_is_found() -> None:
    """No file can say it; the claim is held against the compiled limits all the same."""
    one = Formulary(FOLDER).medicine("paracetamol").regimens[0]
    mixed = (Comparison("dose", AT_MOST, 5, 1), Comparison("dose/weight", AT_LEAST, 1, 1))
    limits = (*one.limits, Limit("dose", "dose-above-range", STOP, mixed, "x", one.limits[0].figure))
    assert claims._one_way(one).state == PROVEN and claims._one_way(one._replace(limits=limits)).state == COUNTER


def test_a_flipped_limit_is_found() -> None:
    """Each limit of one dose, its bound taken a thousand times higher or lower: a low end above all, a maximum below all is seen."""
    formulary = Formulary(FOLDER)
    one = next(r for r in formulary.medicine("paracetamol").regimens if r.id == "oral-pain-child")
    weights = (Fraction(5 * KG), Fraction(40 * KG))
    for number, limit in enumerate(one.limits):
        if limit.main.measure.split("/")[0] not in ("dose", "daily") or limit.beyond:
            continue
        times = Fraction(1, 1000) if limit.main.sense == AT_MOST else Fraction(1000)
        moved = limit._replace(
            comparisons=tuple(c._replace(p=(c.p * times).numerator, q=c.q * (c.p * times).denominator) for c in limit.comparisons)
        )
        broken = one._replace(limits=(*one.limits[:number], moved, *one.limits[number + 1 :]))
        states = {result.state for result in claims.claims(formulary, formulary.medicine("paracetamol"), broken, weights)}
        assert COUNTER in states, limit.name


def test_the_shipped_formulary_is_proven() -> None:
    """Nothing left open, nothing contradicted; what this means stands in `claims.py`."""
    proofs = prove(Formulary(FOLDER))
    assert [(proof.medicine, proof.regimen, proof.results) for proof in proofs if proof.state != PROVEN] == [] and len(proofs) > 240


FIGURE = st.tuples(
    st.integers(2, 20), st.integers(2, 20), st.integers(20, 600), st.integers(20, 90), st.integers(1, 5), st.integers(10, 120)
)
AT = st.lists(st.tuples(st.integers(5000, 39_999), st.integers(0, 100)), min_size=12, max_size=12)


@given(FIGURE, st.booleans(), AT)
@settings(max_examples=60)
def test_no_order_contradicts_what_is_proven(tmp_path_factory: pytest.TempPathFactory, figure: tuple, floored: bool, at: list) -> None:
    """At random and at edge weights: the largest dose that is offered passes, and between low end and maximum all do.

    Where "room" fails, no dose at that weight passes.
    """
    low, more, single, day, doses, floor = figure
    text = f'dose = {{ low = "{low} mg/kg", high = "{low + more} mg/kg" }}\nmax_single = ["{single} mg"]\nmax_daily = ["{day} mg/kg"]\nmax_doses = {doses}'
    path = tmp_path_factory.mktemp("proof")
    try:
        proof = proof_of(path, text + (f'\nfloor = "{floor} mg"' if floored else ""), policy=POLICY)
    except Exception as error:
        if type(error).__name__ == "FormularyError":
            return  # lint refuses it already
        raise
    formulary = Formulary(path)
    room = next(result for result in proof.results if result.claim == "room")
    if room.state == COUNTER:
        outcomes = {_outcome(formulary, room.weight, Fraction(mg) * 10**6, room.doses) for mg in (1, 50, 100, 200, 500, 1000)}
        assert WITHIN not in outcomes | {_outcome(formulary, room.weight, room.dose, room.doses)}
        return
    for grams, share in [*at, (5000, 100), (5001, 0), (39_999, 100)]:
        weight = Fraction(grams * UNITS["weight"]["g"])
        (block,) = reckon(Order(medicine="exampol", route="oral", for_="pain"), _child(weight), formulary).figures
        dose = block.low.value + (block.high.value - block.low.value) * share / 100
        assert _outcome(formulary, weight, dose, 1) == WITHIN, (grams, share)


def _child(weight: Fraction) -> Child:
    return Child(weight=Quantity(weight, "weight", "kg"), weight_is="measured", weighed="2026-05-04", age="6 years", on="2026-05-04")


def _outcome(formulary: Formulary, weight: Fraction, dose: Fraction, doses: int) -> str:
    order = Order(
        medicine="exampol",
        route="oral",
        for_="pain",
        times_a_day=doses,
        dose=f"{show_number(Fraction(int(dose)) / 10**6).replace(',', '')} mg",
    )
    return check_order(order, _child(weight), formulary).outcome


def test_the_command(tmp_path: Path) -> None:
    """0 proven, 1 a counter-example, 4 something open, 2 bad input."""
    assert dosecheck("formulary", "prove", str(FOLDER), "--medicine", "ibuprofen").status == 0
    proof_of(tmp_path / "a", BROKEN[0][0])
    said = dosecheck("formulary", "prove", str(tmp_path / "a"))
    assert said.status == 1 and "COUNTER-EXAMPLE, room" in said.out and "dosecheck order --formulary" in said.out
    assert "not that they are right" in flat(said.out)
    proof_of(tmp_path / "b", 'dose = "30 mg/m2"\nmax_single = ["2 mg/kg"]\nmax_daily = ["100 mg"]')
    told = dosecheck("formulary", "prove", str(tmp_path / "b"), "--json")
    assert told.status == 4 and json.loads(told.out)["regimens"][0]["state"] == OPEN
    assert dosecheck("formulary", "prove", str(FOLDER), "--medicine", "nosuch").status == 2
    assert dosecheck("formulary", "prove", str(tmp_path / "nosuch")).status == 2


REVIEWED = [  # figures, who, more entries, claim, state: each was once answered wrongly
    ('dose = "10 mg/kg"\nmax_daily = ["40 mg/kg"]\nmax_doses = 4\ngoes_by = "adjusted"', GROWN, "", "offer", OPEN),
    ('dose = "10 mg/kg"\nfloor = "100 mg"\nmax_daily = ["20 mg/kg"]\nmin_gap = "4 hours"', BAND, "", "room", COUNTER),
    (SOUND, GROWN, f'\n[[age_limit]]\nid = "no"\nage_below = "18 years"\n{SOURCE}', "children", COUNTER),
    (SOUND, GROWN, f'\n[[age_limit]]\nid = "no"\nage_below = "11 years"\n{SOURCE}', "children", PROVEN),
    (SOUND, 'age = { below = "1 month" }\nweight = { from = "20 kg" }', "", "children", COUNTER),
    (SOUND + '\nmax_rate = ["1 mg/kg/min"]', BAND, "", "room", PROVEN),
]


@pytest.mark.parametrize(("figures", "who", "more", "claim", "expected"), REVIEWED)
def test_what_a_reviewer_found(tmp_path: Path, figures: str, who: str, more: str, claim: str, expected: str) -> None:
    """A derived weight, a gap without a number of doses, an age limit or a weight that leaves nobody, a rate that bounds no dose."""
    assert state(proof_of(tmp_path, figures, who, PRODUCT + more), claim) == expected


def test_a_counter_example_by_surface_is_told_in_m2(tmp_path: Path) -> None:
    broken = proof_of(tmp_path, 'dose = "30 mg/m2"\nfloor = "30 mg"\nmax_daily = ["40 mg/m2"]\nmax_doses = 1', product="")
    assert "At 0.05 m2." in flat(dosecheck("formulary", "prove", str(tmp_path)).out) and broken.state == COUNTER


def test_a_counter_example_is_confirmed_by_its_codes(tmp_path: Path) -> None:
    """Not by any outcome: the engine must find the dose itself too large or too small."""
    proof = proof_of(tmp_path, BROKEN[0][0])
    example = next(example for example in proof.examples if example)
    assert (
        example.confirms
        and not example._replace(codes=("weight-for-age",)).confirms
        and not example._replace(outcome="not-checked").confirms
    )
