"""Batch = one by one: the columns and `check_order` give the same outcome, codes and regimen for every order.

Orders are made around the shipped figures: exactly on a limit, one base unit beside it, at the largest magnitudes,
with any field missing, unreadable, or not a whole nanogram.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck import Formulary, InputError, check_order, read_order
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.quantity import UNITS
from dosecheck.rules.explain import most_for_one_dose
from dosecheck.rules.facts import body_of, ratio
from dosecheck.rules.weighing import weighing
from dosecheck.showing import show

FORMULARY = Formulary(Path(__file__).parents[2] / "formulary")
TODAY = date(2026, 11, 25)
MEDICINES = FORMULARY.medicines()
PLAIN_UNITS = {"mass": ("nanograms", "micrograms", "mg", "g"), "activity": ("units",), "substance": ("mmol",)}
JOINTS = (0, 1, 2, 730, 731, 1826, 1827, 2921, 2922, 3652, 3653, 7304, 7305, 7306)
GESTATIONS = ("25 weeks", "31 weeks 4 days", "36 weeks", "36 weeks 6 days", "37 weeks", "40 weeks")
SPOILT = ("", "n/a", "?", "1,5 mg", "05 mg", "nonsense", "0 mg", "12", "١٢ kg", "1e3 mg")
OFTEN = ({"every": "6 hours"}, {"every": "5 hours"}, {"every": "4 to 6 hours"}, {"every": "7 hours"}, {"times_a_day": "3"}, {"times_a_day": "4 times a day"},
         {"once": "yes"}, {"every": "12 hours"}, {"every": "24 hours"}, {}, {"as_needed": "yes"}, {"as_needed": "yes", "at_most": "4", "every": "4 hours"},
         {"every": "6 hours", "times_a_day": "4"}, {"at_most": "3"}, {"every": "8 hours", "at_most": "2"})  # fmt: skip


def exact_text(value: Fraction, kind: str, rng: random.Random) -> str:
    """The amount in some unit in which it can be written exactly, or as the nearest whole base unit."""
    whole = max(1, round(value))
    fitting = [
        u
        for u in PLAIN_UNITS.get(kind, (next(iter(UNITS[kind])),))
        if Fraction(whole, UNITS[kind][u]).denominator in (1, 2, 4, 5, 8, 10, 20, 25, 40, 50, 100, 1000)
    ]
    unit = rng.choice(fitting) if fitting else next(iter(UNITS[kind]))
    number = Fraction(whole, UNITS[kind][unit])
    return f"{number.numerator // number.denominator}{decimals(number)} {unit}"


def decimals(number: Fraction) -> str:
    rest = number - number.numerator // number.denominator
    return "" if not rest else "." + f"{int(rest * 10**6):06d}".rstrip("0")


def child_texts(regimen, rng: random.Random) -> dict[str, str]:
    """A child in or beside the regimen's bands."""
    months = [b for b in regimen.bands if b.fact == "months"]
    low = (months[0].low or 0) if months else 0
    high = (months[0].high or 216) if months else 216
    month = max(0, rng.choice((low, low - 1, high - 1, high, rng.randint(low, max(low, high - 1)))))
    texts = {"weight": f"{rng.choice((3, 5, 7.5, 10, 12.3, 14.2, 20, 33.3, 50, 61.5, 120))} kg"}
    if rng.random() < 0.5:
        year, born_month = divmod(2026 * 12 + 10 - month, 12)
        texts |= {"born": f"{year}-{born_month + 1:02d}-{rng.choice((1, 24, 25, 26, 28)):02d}", "on": "2026-11-25"}
    else:
        texts["age"] = rng.choice((f"{month} months", f"{month // 12} years", f"{month // 12} years {month % 12} months"))
    if rng.random() < 0.3:
        texts["weight_is"] = rng.choice(("measured", "stated", "estimated"))
    if rng.random() < 0.3:
        texts["weighed"] = rng.choice(("2026-11-25", "2026-11-11", "2026-11-10", "2026-08-01", "2025-01-01", "2027-01-01"))
    if rng.random() < 0.1:
        texts["gestation"] = rng.choice(("31 weeks", "39 weeks 2 days"))
    if rng.random() < 0.2:
        texts["height"] = "96 cm"
    if rng.random() < 0.5:
        texts["sex"] = rng.choice(("female", "male"))
    return texts


def dose_text(regimen, medicine, texts: dict[str, str], rng: random.Random) -> str:
    """On a limit, one base unit beside it, a multiple of it, per kg, a day's, a range, or an awkward one."""
    weight = Fraction(texts["weight"].split()[0]) * 10**12
    facts = {"weight": ratio(weight), "doses": ratio(rng.choice((1, 2, 3, 4, 5, 6)))}
    facts["average"] = facts["doses"]
    bounds = [b for b in (most_for_one_dose(limit, facts) for limit in regimen.limits) if b]
    bound = rng.choice(bounds) if bounds else Fraction(10**8)
    value = rng.choice((bound, bound + 1, bound - 1, bound * 10, bound / 10, bound * Fraction(9, 10), bound * rng.randint(50, 150) / 100))
    text = exact_text(value, regimen.kind, rng)
    basis = f" of {regimen.ingredient}" if medicine.basis_stated and rng.random() < 0.7 else ""
    figure = regimen.span.high or regimen.span.low
    ways = [text + basis] * 6 + [f"{text} a day{basis}", "999999999999 mg", "0.000000000001 mg", "700 mg a day", "7 mL", "2 puffs", "1 tablet", "5 micrograms/kg/min",
            f"1 to {text}" if regimen.kind in ("puff",) else text, show(figure).replace(",", "").replace("about ", "") + basis, "150 mg/m2", "33.333333 mg/kg", "0.1 mL/kg"]  # fmt: skip
    return rng.choice(ways)


def make_order(rng: random.Random) -> dict[str, str]:
    medicine = rng.choice([m for m in MEDICINES if m.regimens])
    regimen = rng.choice(medicine.regimens)
    texts = child_texts(regimen, rng)
    texts |= {
        "medicine": rng.choice(medicine.names),
        "route": regimen.route,
        "dose": dose_text(regimen, medicine, texts, rng),
    } | rng.choice(OFTEN)
    if rng.random() < 0.7:
        texts["for"] = rng.choice(regimen.purposes)
    if regimen.step and rng.random() < 0.7:
        texts["step"] = regimen.step
    if regimen.conditions and rng.random() < 0.8:
        texts["condition"] = "; ".join(sorted(regimen.conditions))
    if medicine.products and rng.random() < 0.5:
        texts["product"] = rng.choice(medicine.products).id
    if rng.random() < 0.15:
        texts["course"] = rng.choice(("5 days", "10 days", "3 weeks"))
    if rng.random() < 0.05:
        texts["over"] = "30 minutes"
    if rng.random() < 0.12:
        texts[rng.choice(sorted(texts))] = rng.choice(SPOILT)
    if rng.random() < 0.08:
        texts.pop(rng.choice(sorted(texts)))
    return texts


def one_by_one(texts: dict[str, str]) -> tuple[str, str, str]:
    try:
        given = {field: text for field, text in texts.items() if text}
        verdict = check_order(*read_order({"on": TODAY.isoformat(), **given}), FORMULARY)
    except InputError:
        return "not-checked", "unreadable", ""
    return verdict.outcome, ";".join(verdict.codes), ";".join(r.full_id for r in verdict.regimens)


def compare(orders: list[dict[str, str]]) -> Batch:
    """By columns, by the one-order engine within the batch (every result column alike), and by `check_order` itself."""
    rows = pl.DataFrame(
        [{field: order.get(field) or None for field in FIELDS} for order in orders], schema=dict.fromkeys(FIELDS, pl.String)
    )
    batch, single = Batch(FORMULARY, TODAY), Batch(FORMULARY, TODAY)
    batch.screen.least_part, single.screen.least_part = 0, len(orders) + 1
    answers = batch.answer(rows)
    assert len(answers) == len(orders)
    for order, by_columns, alone in zip(orders, answers.iter_rows(), single.answer(rows).iter_rows(), strict=True):
        assert by_columns == alone, order
    for order, *got in zip(orders, answers["outcome"], answers["codes"], answers["regimen"], strict=True):
        assert tuple(text or "" for text in got) == one_by_one(order), order
    return batch


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.integers(min_value=0, max_value=2**32))
def test_batch_and_one_by_one_agree(seed: int) -> None:
    rng = random.Random(seed)
    compare([make_order(rng) for _ in range(150)])


@settings(deadline=None, max_examples=10, derandomize=True)
@given(st.integers(min_value=0, max_value=2**32))
def test_no_code_of_an_answer_goes_by_earlier_chunks(seed: int) -> None:
    """A run that goes on has not answered those, and writes the same bytes."""
    rng = random.Random(seed)
    chunks = [pl.DataFrame([make_order(rng) for _ in range(60)], schema=dict.fromkeys(FIELDS, pl.String)) for _ in range(3)]
    batch = Batch(FORMULARY, TODAY)
    batch.screen.least_part = 0
    for chunk in chunks:
        alone = Batch(FORMULARY, TODAY)
        alone.screen.least_part = 0
        later, first = (each.compare(each.facts(chunk))() for each in (batch, alone))
        assert later.equals(first) and later.schema == first.schema
        for name, column in first.to_dict().items():
            assert set(column.dtype.categories) == set(column.drop_nulls()), name


def test_most_rows_go_by_columns() -> None:
    rng = random.Random(1)
    batch = compare([make_order(rng) for _ in range(2000)])
    assert batch.slow < 1000, "the columns hardly answered anything, so the comparison would be empty"


def weighed_order(rng: random.Random) -> dict[str, str]:
    """A child of any age whose weight lies on a limit of what is believed, one gram beside it, or anywhere."""
    days = rng.choice((rng.randint(0, 120), rng.randint(0, 7400), *JOINTS))
    texts = {"medicine": "paracetamol", "route": "oral", "dose": "100 mg", "every": "6 hours", "for": "pain"}
    if rng.random() < 0.6:
        texts |= {"born": str(TODAY - timedelta(days=days)), "on": str(TODAY)}
    else:
        texts["age"] = rng.choice((f"{days} days", f"{days // 7} weeks", f"{days * 16 // 487} months", f"{days // 366} years"))
    texts |= {"sex": rng.choice(("female", "male"))} if rng.random() < 0.7 else {}
    texts |= {"gestation": rng.choice(GESTATIONS)} if rng.random() < 0.2 else {}
    child = read_order(texts)[1]
    held = weighing(child, body_of(child), FORMULARY)
    ends = [end for end in held.limits if end] if not isinstance(held, str) else []
    grams = rng.choice(ends) if ends and rng.random() < 0.8 else rng.randint(400, 140_000)
    return texts | {"weight": rng.choice((f"{grams} g", f"{grams + 1} g", f"{grams - 1} g", f"{grams // 1000} kg", f"{grams // 450} lb"))}


def test_weights_near_what_is_believed() -> None:
    """Every result column alike, `weight_z` among them, over ages, sexes and gestations."""
    rng = random.Random(4)
    batch = compare([weighed_order(rng) for _ in range(3000)])
    assert batch.slow < 1500


@pytest.mark.parametrize("dose", ["700 mg a day", "7 mL"])
def test_amounts_that_are_no_whole_nanogram(dose: str) -> None:
    order = {
        "medicine": "paracetamol",
        "route": "oral",
        "dose": dose,
        "times_a_day": "3",
        "weight": "14.2 kg",
        "age": "3 years",
        "product": "oral-liquid-120-in-5",
    }
    compare([order])
