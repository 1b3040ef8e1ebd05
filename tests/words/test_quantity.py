"""Exact amounts: every factor against pint, kinds that never mix, conversions that come back, no binary float."""

import operator
from fractions import Fraction
from itertools import permutations, product
from pathlib import Path

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dosecheck
from dosecheck.errors import KindError
from dosecheck.quantity import BELOW, COUNTED, DRUG, UNITS, Quantity, factor, kind_of

OURS = pint.UnitRegistry(Path(dosecheck.__file__).with_name("units.txt"), non_int_type=Fraction)
THEIRS = pint.UnitRegistry(non_int_type=Fraction)

# kind -> the base unit of quantity.py as (pint unit of units.txt, how many of them it is).
BASES = {
    "mass": ("gram", Fraction(1, 10**9)),
    "activity": ("unit", Fraction(1, 10**3)),
    "substance": ("mol", Fraction(1, 10**9)),
    "charge": ("equivalent", Fraction(1, 10**9)),
    "weight": ("kg", Fraction(1, 10**12)),
    "volume": ("litre", Fraction(1, 10**9)),
    "time": ("second", Fraction(1)),
    "length": ("metre", Fraction(1, 10**6)),
    "surface": ("m2", Fraction(1, 10**6)),
    "energy": ("J", Fraction(1)),
    "creatinine": ("creatinine_unit", Fraction(1, 10)),
    "filtration": ("mL_min_173m2", Fraction(1)),
}
# Our unit -> its name in units.txt, where they differ; "g" of drug and "g" of child are two units there.
NAMES = {
    ("mass", "g"): "gram", ("weight", "g"): "body_gram", ("volume", "L"): "litre", ("length", "m"): "metre",
    ("creatinine", "micromol/L"): "creatinine_unit", ("creatinine", "mg/dL"): "creatinine_mg_dL", ("filtration", "mL/min/1.73 m2"): "mL_min_173m2",
}  # fmt: skip
# Kinds that pint's own definitions cannot turn into one another without a molar mass (tests/body/test_renal.py has it).
ALONE = ("activity", "charge", "creatinine", "filtration")
# Our unit -> the name in pint's own definitions, which know nothing of ours.
OWN = {
    "nanograms": "nanogram", "micrograms": "microgram", "mg": "milligram", "g": "gram", "micromol": "micromole",
    "mmol": "millimole", "mol": "mole", "kg": "kilogram", "lb": "pound", "st": "stone", "oz": "ounce", "microlitres": "microliter",
    "mL": "milliliter", "L": "liter", "mm": "millimeter", "cm": "centimeter", "m": "meter", "J": "joule", "m2": "meter ** 2",
}  # fmt: skip

UNITS_OF_KINDS = [(kind, unit) for kind in BASES for unit in UNITS[kind]]
KINDS = [*UNITS, "mass/weight", "mass/surface", "mass/time/weight", "mass/volume", "volume/weight", "mass/puff"]
fractions = st.fractions(min_value=Fraction(1, 10**12), max_value=10**12)


def one(kind: str) -> Quantity:
    """One of the first units of each part of a kind."""
    top, *below = (next(iter(UNITS[part])) for part in kind.split("/"))
    unit = "/".join([top, *(BELOW.get(name, name) for name in below)])
    return Quantity(factor(unit, kind), kind, unit)


# ---- factors ----


@pytest.mark.parametrize(("kind", "unit"), UNITS_OF_KINDS)
def test_each_factor_is_that_of_units_txt_by_pint(kind, unit):
    base, share = BASES[kind]
    magnitude = OURS.Quantity(Fraction(1), NAMES.get((kind, unit), unit)).to(base).magnitude
    assert isinstance(magnitude, (Fraction, int)) and magnitude / share == UNITS[kind][unit]


@pytest.mark.parametrize(("kind", "unit"), [(k, u) for k, u in UNITS_OF_KINDS if k not in ALONE])
def test_each_factor_is_that_of_the_definitions_that_pint_ships(kind, unit):
    ours, theirs = ((u, OWN.get(u, u.removesuffix("s"))) for u in (unit, next(iter(UNITS[kind]))))
    expected = THEIRS.Quantity(Fraction(1), ours[1]).to(theirs[1]).magnitude
    assert expected == Fraction(UNITS[kind][unit], UNITS[kind][theirs[0]])


def test_units_txt_has_every_kind_as_its_own_dimension():
    dimensions = {str(OURS.Quantity(1, base).dimensionality) for base, _ in BASES.values()}
    assert len(dimensions) == len(BASES)
    with pytest.raises(pint.DimensionalityError):
        OURS.Quantity(1, "gram") + OURS.Quantity(1, "kg")


def test_factors_are_whole_and_counted_things_count_one():
    assert all(type(n) is int and n > 0 for units in UNITS.values() for n in units.values())
    assert set(COUNTED) == set(UNITS) - set(BASES)
    assert all(list(UNITS[thing].values()) == [1] for thing in COUNTED)


def test_a_factor_of_a_ratio_is_top_over_each_part_below():
    assert factor("mg/kg", "mass/weight") == Fraction(1, 10**6)
    assert factor("micrograms/kg/min", "mass/time/weight") == Fraction(1000, 60 * 10**12)
    assert factor("mg/suppository", kind_of("mass", "suppository")) == 10**6
    assert kind_of("mass", "weight", "time") == "mass/time/weight"


# ---- kinds never mix ----


@pytest.mark.parametrize("use", [operator.add, operator.lt, operator.le, operator.gt, operator.ge])
def test_no_two_kinds_add_or_compare(use):
    for left, right in permutations(KINDS, 2):
        with pytest.raises(KindError):
            use(one(left), one(right))
        assert one(left) != one(right)


@pytest.mark.parametrize("bare", [1, Fraction(1, 2), 0.5, None, "1 mg"])
def test_a_bare_number_is_no_quantity(bare):
    with pytest.raises(KindError):
        one("mass") + bare
    with pytest.raises(KindError):
        operator.le(one("mass"), bare)
    with pytest.raises(TypeError):
        bare + one("mass")
    assert one("mass") != bare


def test_the_weight_of_a_child_is_not_the_mass_of_a_drug():
    child, drug = Quantity(10**9, "weight", "g"), Quantity(10**9, "mass", "g")
    assert child != drug and len({child, drug}) == 2
    with pytest.raises(KindError, match="weight"):
        drug + child


def test_mr05_a_unit_of_another_kind_is_never_a_number():
    every = {unit for units in UNITS.values() for unit in units}
    for kind in UNITS:
        for unit in every - set(UNITS[kind]):
            with pytest.raises(KindError):
                one(kind).to(unit)
            with pytest.raises(KindError):
                Quantity(1, kind, unit).number  # noqa: B018


@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        ("mass/weight", "mg"), ("mass", "mg/kg"), ("mass/weight", "mg/m2"), ("mass/weight", "mg/kg/min"),
        ("mass/time/weight", "mg/kg"), ("mass/weight", "mL/kg"), ("mass/weight", "kg/mg"), ("mass/weight", "mg/kg/kg"),
        ("mass/volume", "mg/kg"), ("mass/weight", "mg/nonsense"), ("mass", ""), ("mass/time", "mg/kg"),
    ],
)  # fmt: skip
def test_mr05_a_ratio_with_another_basis_is_never_a_number(kind, unit):
    with pytest.raises(KindError, match="is not a unit of"):
        one(kind).to(unit)


# ---- conversions ----


@given(fractions)
@settings(deadline=None, max_examples=25)
def test_mr04_conversion_is_path_free_and_reversible(number):
    for kind in BASES:
        for first, second, third in product(UNITS[kind], repeat=3):
            start = Quantity(number * factor(first, kind), kind, first)
            there = start.to(second).to(third)
            assert there.number == start.to(third).number
            assert there.to(first).number == number and there == start


@given(fractions, fractions)
@settings(deadline=None, max_examples=50)
def test_a_ratio_times_what_stands_below_gives_back_the_top(number, other):
    for top, below in product(DRUG, ("weight", "surface", "volume", "time", "puff")):
        amount, per = one(top) * number, one(below) * other
        ratio = amount / per
        assert ratio.kind == kind_of(top, below)
        assert ratio * per == amount and (ratio * per).unit == amount.unit
        assert (ratio * 2 / 2) == ratio


def test_an_infusion_loses_its_parts_one_by_one_in_any_order():
    rate = Quantity(5 * factor("micrograms/kg/min", "mass/time/weight"), "mass/time/weight", "micrograms/kg/min")
    child, hour = Quantity(12 * 10**12, "weight", "kg"), Quantity(3600, "time", "hours")
    assert (rate * child * hour).number == (rate * hour * child).number == 3600
    assert (rate * child).unit == "micrograms/min" and (rate * hour).unit == "micrograms/kg"


@pytest.mark.parametrize(
    ("left", "right"), [("mass", "weight"), ("mass/weight", "volume"), ("mass/weight", "mass"), ("weight", "mass/weight")]
)
def test_a_product_without_that_kind_below_is_refused(left, right):
    with pytest.raises(KindError, match="cannot be multiplied"):
        one(left) * one(right)


@pytest.mark.parametrize(("left", "right"), [("mass", "mass"), ("mass", "mass/weight"), ("mass/volume", "volume"), ("mass/weight", "mass")])
def test_a_quotient_that_has_no_kind_of_its_own_is_refused(left, right):
    with pytest.raises(KindError, match="cannot be divided"):
        one(left) / one(right)


def test_equal_amounts_are_equal_in_any_unit():
    gram, milligrams = Quantity(10**9, "mass", "g"), Quantity(10**9, "mass", "mg")
    assert gram == milligrams and hash(gram) == hash(milligrams)
    assert gram <= milligrams and not gram < milligrams and (gram + milligrams).number == 2
    assert "1000 mg" in repr(milligrams)


@pytest.mark.parametrize("number", [0.1, 1.0, float("nan"), float("inf")])
def test_no_binary_float_ever_holds_an_amount(number):
    with pytest.raises(KindError, match="float"):
        Quantity(number, "mass", "mg")
    with pytest.raises(KindError, match="float"):
        one("mass") * number
    with pytest.raises(KindError, match="float"):
        one("mass") / number
