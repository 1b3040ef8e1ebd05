"""Child and order: every field strictly, all faults at once, place-holders missing, exact values of the right kind only."""

from dataclasses import FrozenInstanceError
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosecheck.errors import DosecheckError, Fault, InputError
from dosecheck.quantity import Quantity
from dosecheck.reading import (
    AgeParts,
    Dose,
    Frequency,
    read_age,
    read_dose,
    read_frequency,
    read_length,
    read_time,
    read_volume,
    read_weight,
)
from dosecheck.records import CHILD_FIELDS, ORDER_FIELDS, Child, Order, read_order

CHILD = {
    "weight": "14.2 kg", "weighed": "2026-05-01", "weight_is": "measured", "age": "3 years 2 months", "born": "2023-02-11",
    "on": "2026-05-02", "gestation": "31 weeks 4 days", "height": "96 cm", "sex": "female", "creatinine": "62 micromol/L",
}  # fmt: skip
ORDER = {
    "medicine": " Paracetamol ", "route": "ORAL", "dose": "240 mg", "every": "6 hours", "as_needed": "yes", "at_most": "4",
    "over": "30 minutes", "made_up_to": "50 mL", "course": "5 days", "for_": "pain", "step": "first",
    "condition": "Asthma; kidney  failure ;", "product": "liquid-120",
}  # fmt: skip
PLACEHOLDERS = ["", " ", "   ", "N/A", "n/a", "unknown", "Unknown", "-", "?", "null", "nan", "NaN", "none", "TBC"]
FIELDS = [(Child, name) for name in CHILD_FIELDS] + [(Order, name) for name in ORDER_FIELDS]


def faults_of(make, **given) -> list[Fault]:
    with pytest.raises(InputError) as caught:
        make(**given)
    return caught.value.faults


def as_written(make, name: str, value: object):
    """One field alone; a date of birth or of a weight does not stand without the date of the order."""
    dated = {"on": "2026-05-02"} if name in ("born", "weighed") else {}
    return getattr(make(**{name: value, **dated}), name)


# ---- what is read ----


def test_every_field_of_a_child_is_read():
    child = Child(**CHILD)
    assert (child.weight.number, child.height.number, child.gestation) == (Fraction("14.2"), 96, 221)
    assert (child.born, child.on, child.weighed) == (date(2023, 2, 11), date(2026, 5, 2), date(2026, 5, 1))
    assert (child.age, child.weight_is, child.sex) == (AgeParts(3, 2), "measured", "female")


def test_every_field_of_an_order_is_read():
    order = Order(**ORDER)
    assert (order.medicine, order.route, order.for_, order.step, order.product) == ("paracetamol", "oral", "pain", "first", "liquid-120")
    assert (order.dose, order.every) == (read_dose("240 mg"), read_frequency("6 hours"))
    assert (order.as_needed, order.once, order.at_most, order.times_a_day) == (True, False, 4, None)
    assert (order.over.number, order.made_up_to.number, order.course.number) == (30, 50, 5)
    assert order.condition == ("asthma", "kidney failure")


def test_nothing_given_is_nothing_known():
    assert all(getattr(Child(), name) is None for name in CHILD_FIELDS)
    assert (Order().once, Order().as_needed, Order().condition, Order().dose) == (False, False, (), None)


def test_records_are_frozen():
    with pytest.raises(FrozenInstanceError):
        Child(weight="14.2 kg").weight = read_weight("15 kg")


@pytest.mark.parametrize("placeholder", PLACEHOLDERS)
def test_mr26_a_placeholder_counts_as_not_given_in_every_field(placeholder):
    for make, name in FIELDS:
        assert getattr(make(**{name: placeholder}), name) == getattr(make(), name)
    assert Child(**dict.fromkeys(CHILD_FIELDS, placeholder)) == Child()
    assert Order(**dict.fromkeys(ORDER_FIELDS, placeholder)) == Order()
    assert Order(condition=["asthma", placeholder]).condition == ("asthma",)


def test_none_counts_as_not_given_in_every_field():
    assert Child(**dict.fromkeys(CHILD_FIELDS)) == Child() and Order(**dict.fromkeys(ORDER_FIELDS)) == Order()


# ---- all faults at once ----


def test_all_faults_of_a_child_come_at_once():
    wrong = {
        "weight": "14,2 kg",
        "age": "18",
        "born": "2023-02-29",
        "gestation": "31+4",
        "height": "96",
        "sex": "f",
        "weight_is": "guessed",
    }
    faults = faults_of(Child, **wrong)
    assert [fault.field for fault in faults] == ["weight", "weight_is", "age", "born", "gestation", "height", "sex"]
    assert all(fault.why and fault.write for fault in faults)
    assert [fault.given for fault in faults][:3] == ["14,2 kg", "guessed", "18"]


def test_all_faults_of_an_order_and_a_child_come_together():
    with pytest.raises(DosecheckError) as caught:
        read_order(
            {"dose": "15", "every": "qds", "for": "pa\u200bin", "times_a_day": "0", "weight": "-12 kg", "on": None, "age": "2.5 years"}
        )
    faults = caught.value.faults
    assert [fault.field for fault in faults] == ["dose", "every", "times_a_day", "for", "weight", "age"]
    lines = str(caught.value).splitlines()
    assert len(lines) == 6 and lines[0].startswith('dose "15": The dose has no unit.') and "U+200B" in lines[3]


def test_read_order_takes_for_by_either_name_and_leaves_unknown_names_alone():
    order, child = read_order({"for": "pain", "weight": "14.2 kg", "ward": "7", "dose": None})
    assert (order.for_, order.dose, child.weight.number) == ("pain", None, Fraction("14.2"))
    assert read_order({"for_": "pain"})[0] == Order(for_="pain")


# ---- contradictions ----


@pytest.mark.parametrize(
    ("given", "fields"),
    [
        ({"born": "2024-02-29"}, ["on"]),
        ({"born": "2026-05-03", "on": "2026-05-02"}, ["born"]),
        ({"weighed": "2026-05-03", "on": "2026-05-02"}, ["weighed"]),
        ({"weighed": "2024-02-28", "born": "2024-02-29", "on": "2026-05-02"}, ["weighed"]),
        ({"weighed": "2026-05-03", "born": "2026-05-04", "on": "2026-05-02"}, ["born", "weighed", "weighed"]),
    ],
)
def test_dates_that_contradict_each_other_are_all_named(given, fields):
    assert [fault.field for fault in faults_of(Child, **given)] == fields


def test_dates_on_the_same_day_do_not_contradict():
    assert Child(born="2026-05-02", weighed="2026-05-02", on="2026-05-02").born == date(2026, 5, 2)


@pytest.mark.parametrize(
    ("given", "fields"),
    [
        ({"every": "6 hours", "times_a_day": "4"}, ["times_a_day"]),
        ({"every": "6 hours", "once": "yes"}, ["once"]),
        ({"times_a_day": 4, "once": True}, ["once"]),
        ({"once": True, "at_most": "4"}, ["once"]),
        ({"every": "once", "as_needed": True}, ["once"]),
        ({"every": "6 hours", "once": "yes", "at_most": 3}, ["once", "once"]),
    ],
)
def test_two_answers_to_how_often_contradict(given, fields):
    assert [fault.field for fault in faults_of(Order, **given)] == fields


def test_a_denied_once_contradicts_nothing():
    assert Order(every="6 hours", once="no", as_needed="no", at_most="4").once is False


# ---- names ----


@pytest.mark.parametrize("code", [0x00, 0x09, 0x0A, 0x7F, 0xA0, 0xAD, 0x2009, 0x200B, 0x200F, 0x202E, 0x2028, 0x3000, 0xFEFF, 0xD800])
def test_a_hidden_character_in_a_name_is_named_by_its_code(code):
    for name in ("medicine", "route", "for_", "product", "condition"):
        (fault,) = faults_of(Order, **{name: f"para{chr(code)}cetamol"})
        assert f"U+{code:04X}" in fault.why and fault.field == name.rstrip("_")
        assert fault.given.isascii() and fault.given.isprintable()


def test_a_foreign_letter_stays_in_the_name_so_that_it_never_matches():
    assert Order(medicine="p\u0430racetamol").medicine != "paracetamol"


def test_case_and_outer_spaces_of_a_name_do_not_matter():
    assert Order(medicine="Paracetamol ") == Order(medicine="PARACETAMOL") == Order(medicine="  paracetamol")


def test_a_very_long_name_is_refused_with_a_short_message():
    for name in ("medicine", "condition"):
        for text in ("a" * 200_000, "\u200b" * 200_000):
            (fault,) = faults_of(Order, **{name: text})
            assert "200000 characters" in fault.why and len(str(fault)) < 400


def test_conditions_are_a_sorted_set_from_text_or_list():
    assert (
        Order(condition="b; A ;a").condition == Order(condition=["A", "b"]).condition == Order(condition=("b", "a")).condition == ("a", "b")
    )


# ---- exact values ----


def test_exact_values_that_are_already_read_are_taken():
    child = {"weight": "14.2 kg", "height": "96 cm", "age": "3 years", "born": "2023-02-11", "on": "2026-05-02"}
    dates = {"born": date(2023, 2, 11), "on": date(2026, 5, 2)}
    assert Child(weight=read_weight("14.2 kg"), height=read_length("96 cm"), age=read_age("3 years"), **dates) == Child(**child)
    readers = {"dose": read_dose, "every": read_frequency, "over": read_time, "made_up_to": read_volume, "course": read_time}
    order = {"dose": "2 to 10 puffs", "every": "6 hours", "over": "30 minutes", "made_up_to": "50 mL", "course": "5 days"}
    assert Order(**{name: read(order[name]) for name, read in readers.items()}, at_most=4) == Order(**order, at_most="4")
    assert Order(dose=Quantity(240 * 10**6, "mass", "mg")).dose == read_dose("240 mg")
    assert Order(dose=read_dose("5 mg/kg/h").high).dose == read_dose("5 mg/kg/h")


EXACT = [
    Quantity(240 * 10**6, "mass", "mg"), Quantity(10**12, "weight", "kg"), Quantity(96 * 10**4, "length", "cm"), Quantity(620, "creatinine", "micromol/L"),
    Quantity(60, "time", "minutes"), Quantity(10**6, "volume", "mL"), read_dose("240 mg"),
    AgeParts(3, 2), Frequency(times=4), date(2026, 5, 1),
]  # fmt: skip
ALLOWED = {
    "weight": "weight", "height": "length", "creatinine": "creatinine", "over": "time", "course": "time", "made_up_to": "volume", "dose": "mass volume dose",
    "age": "age", "every": "every", "weighed": "date", "born": "date", "on": "date",
}  # fmt: skip


def name_of(value: object) -> str:
    types = {Dose: "dose", AgeParts: "age", Frequency: "every", date: "date"}
    return value.kind if isinstance(value, Quantity) else types[type(value)]


def test_an_exact_value_is_taken_only_where_it_belongs():
    for make, name in FIELDS:
        for value in EXACT:
            if name_of(value) in ALLOWED.get(name, "").split():
                assert as_written(make, name, value) is not None
            else:
                (fault,) = faults_of(make, **{name: value})
                assert fault.field == name.rstrip("_")


BARE = [14.2, 0.0, float("nan"), float("inf"), 14, 0, -1, 10**5000, Decimal("14.2"), Fraction(71, 5), b"14.2 kg", datetime(2026, 5, 1)]


@pytest.mark.parametrize("value", BARE, ids=[f"{type(value).__name__}{n}" for n, value in enumerate(BARE)])
def test_a_bare_number_is_refused_in_every_field(value):
    for make, name in FIELDS:
        if name in ("times_a_day", "at_most") and value == 14 and type(value) is int:
            continue  # a whole count needs no unit
        (fault,) = faults_of(make, **{name: value})
        assert fault.field == name.rstrip("_") and fault.write and len(fault.given) < 40


@pytest.mark.parametrize("value", [True, False])
def test_yes_and_no_are_answers_and_nothing_else(value):
    for make, name in FIELDS:
        if name in ("once", "as_needed"):
            assert getattr(make(**{name: value}), name) is value
        else:
            faults_of(make, **{name: value})


ANYTHING = st.one_of(st.text(max_size=30), st.lists(st.text(max_size=5), max_size=3), st.dictionaries(st.text(), st.none(), max_size=1))


@given(st.sampled_from(FIELDS), ANYTHING)
@settings(deadline=None, max_examples=300)
def test_any_value_of_any_field_is_read_or_refused(field, value):
    make, name = field
    try:
        make(**{name: value})
    except InputError as error:
        assert error.faults and str(error)


def test_a_count_out_of_reach_is_shown_in_its_fault():
    assert Order(times_a_day="300").times_a_day == 300
    assert [f.why for f in faults_of(Order, times_a_day="301")] == ["The number of doses is not from 1 to 300."]
    assert str(faults_of(Order, at_most="301")[0]).startswith('at_most "301": ')
