"""What is not read, and what the message says to write instead: the bad inputs, and what a tired hand writes."""

import time

import pytest

from dosecheck.errors import TextError
from dosecheck.quantity import UNITS, Quantity, factor
from dosecheck.reading import (
    read_age,
    read_count,
    read_date,
    read_dose,
    read_frequency,
    read_length,
    read_strength,
    read_time,
    read_volume,
    read_weeks,
    read_weight,
    read_yes,
)

READERS = (
    read_weight, read_length, read_volume, read_time, read_strength, read_dose, read_frequency, read_count, read_age, read_weeks,
    read_date, lambda text: read_yes(text, "answer"),
)  # fmt: skip

# (row of the bad inputs, reader, text, a word of the message)
NUMBERS = [
    ("B001", read_weight, "12,5 kg", "decimal with a point"),
    ("B001", read_weight, "12,5", "decimal with a point"),
    ("B001", read_dose, "1,500 mg", "thousands without a mark"),
    ("B003", read_dose, "1.234,5 mg", "point"),
    ("B004", read_dose, "1 000 mg", "without the space"),
    ("B004", read_dose, "1\u00a0000 mg", "U+00A0"),
    ("B004", read_dose, "1\u2009000 mg", "U+2009"),
    ("B005", read_dose, ".5 mg", "Write the zero"),
    ("B006", read_dose, "1O mg", "letter O"),
    ("B006", read_dose, "l0 mg", "letter O or l"),
    ("B006", read_dose, "I5 mg", "mixes letters"),
    ("B006", read_weight, "1l kg", "letter O or l"),
    ("B007", read_weight, "\uff11\uff12 kg", "U+FF11"),
    ("B007", read_weight, "\u0661\u0662 kg", "U+0661"),
    ("B008", read_weight, "1_0 kg", "digits alone"),
    ("B009", read_weight, "nan", "missing"),
    ("B009", read_weight, "nan kg", "not a number"),
    ("B009", read_weight, "NaN kg", "not a number"),
    ("B009", read_weight, "sNaN", "start with a number"),
    ("B010", read_dose, "inf mg", "not a number"),
    ("B010", read_dose, "-inf mg", "sign"),
    ("B010", read_dose, "Infinity", "not a number"),
    ("B010", read_dose, "1e400 mg", "Write the number out"),
    ("B011", read_dose, "1e999999 mg", "Write the number out"),
    ("B011", read_weight, "1e999999", "Write the number out"),
    ("B012", read_dose, "1e3 mg", "Write the number out"),
    ("B013", read_dose, "0x10 mg", "x10"),
    ("B013", read_dose, "010 mg", "needless zero"),
    ("B013", read_dose, "1b", "not known"),
    ("B013", read_age, "010 months", "whole units"),
    ("B014", read_weight, "0", "unit"),
    ("B014", read_weight, "0 kg", "above zero"),
    ("B014", read_weight, "0.0 kg", "above zero"),
    ("B014", read_weight, "-0 kg", "above zero"),
    ("B014", read_weight, "0 lb 0 oz", "above zero"),
    ("B015", read_dose, "9" * 400 + " mg", "403 characters"),
    ("B015", read_dose, "1234567890123 mg", "12 digits"),
    ("B016", read_dose, "\u22125 mg", "U+2212"),
    ("B016", read_dose, "\u20135 mg", "U+2013"),
    ("B016", read_dose, "+5 mg", "without a sign"),
    ("B017", read_dose, "½ tab", "U+00BD"),
    ("B017", read_dose, "1/2 tablet", "as a decimal"),
    ("B017", read_dose, "1½ tablets", "U+00BD"),
    ("B018", read_dose, "~15 mg", "one figure"),
    ("B018", read_dose, "about 15 mg", "one figure"),
    ("B018", read_dose, "15? mg", "one figure"),
    ("B018", read_dose, "<15 mg", "one figure"),
    ("B019", read_dose, "5%", "%"),
    ("B019", read_dose, "1:1000", ":1000"),
    ("B019", read_dose, "1 in 1000", "in 1000"),
    ("B019", read_strength, "1:1000", ":1000"),
    ("B019", read_strength, "0 %", "zero"),
    ("B094", read_weight, "-0.0 kg", "without a sign"),
    ("B094", read_dose, "1E1 mg", "Write the number out"),
    ("B098", read_weight, "-12 kg", "above zero"),
    ("B099", read_weight, "1_0", "digits alone"),
]
UNIT_TEXTS = [
    ("B020", read_dose, "15", "Write the unit"),
    ("B020", read_dose, "2 to 10", "to 10"),
    *(("B021", read_dose, f"15 {word}", 'Write "mg"') for word in ("mgs", "mg.", "Mg", "MG", "mG", "mgm")),
    ("B021", read_dose, "15 mg/KG", 'Write "kg"'),
    *(("B024", read_dose, f"5 {word}", '"mL"') for word in ("cc", "mls", "ML", "Ml", "tsp", "teaspoon", "tbsp")),
    ("B024", read_dose, "2 puff(s)", "not known"),
    ("B024", read_dose, "1 amp", "amount of medicine, or its volume"),
    ("B024", read_dose, "1 tab", 'Write "tablets"'),
    *(("B026", read_dose, text, '"units" in full') for text in ("10 U", "10U", "10 u", "10u", "10IU", "10 iu", "10U/kg")),
    *(("B030", read_weight, text, "kg") for text in ("10 kg 500", "14 kg 200 g", "1 st 8", "22.5 lb 4 oz")),
    ("B030", read_weight, "22 lb 16 oz", "below 16"),
    ("B030", read_weight, "2 st 14 lb", "below 14"),
    ("B030", read_weight, "2.5 st 3 lb", "kg"),
    ("B030", read_weight, "33 #", 'weight in "kg"'),
    ("B029", read_weight, "33", "unit"),
    ("H01", read_dose, "5 mEq", "valence"),
    ("H01", read_dose, "10 ng/d", '"a day" after a dose'),
]
FREQUENCIES = [
    *(("B037", read_frequency, t, "Write it out") for t in ("q4-6h", "q6h", "prn", "OD", "od", "QOD", "bd", "tds", "qds", "6/24", "stat")),
    ("B037", read_frequency, "4-6 hours", 'with "to"'),
    ("B037", read_frequency, "6", "Write"),
    ("B037", read_frequency, "6 to 4 hours", "from a shorter to a longer"),
    ("B037", read_frequency, "6 months", "Write"),
    ("H13", read_frequency, "3 day", "3 times a day"),
    ("H13", read_frequency, "every 2 to 3 day", "every 3 days"),
    ("H13", read_frequency, "2 daily", "4 times a day"),
    ("H13", read_frequency, "0.5 minutes", "Write an infusion"),
    ("H13", read_frequency, "0 hours", "above zero"),
    ("H13", read_frequency, "301 times a day", "from 1 to 300"),
    *(("H13", read_count, text, 'Write it as "4"') for text in ("0", "-1", "four", "4.0", "04", "301", "4 a day", "1e2")),
]
DATES_AND_AGES = [
    *(("B038", read_date, t, "2024-02-29") for t in ("21-04-03", "2021-4-3", "20210403", "2021-W14-6", "03/04/2021", "3 May 2021")),
    *(("B039", read_date, t, "month and the day") for t in ("2023-02-29", "2024-02-30", "2021-13-01", "0000-00-00", "2021-04-31")),
    ("B042", read_age, "18", '"18 months" or "18 years"'),
    ("B043", read_age, "2.5 years", "2 years 6 months"),
    *(("B043", read_age, t, "in full") for t in ("2y6m", "30/12", "5/7", "18 mo", "3 yrs", "3 years 2", "-3 years")),
    *(("B043", read_age, t, "in full") for t in ("2 months 3 years", "3 years 4 years")),
    ("B041", read_age, "121 years", "120 years"),
    ("B046", read_date, "2021-04-03T23:30:00-08:00", "2024-02-29"),
    *(("H17", read_weeks, t, "31 weeks 4 days") for t in ("31", "31+4", "31/40", "19 weeks", "51 weeks", "31 weeks 7 days", "term")),
    ("H16", read_time, "2 months", "30 minutes"),
    ("H16", read_time, "30 m", '"minutes"'),
]
# What a person may well write, with two readings or with one that a hurried reader would miss.
DOUBTFUL = [
    *(("H04", read_dose, f"15 mg{t}", "Write one of them") for t in ("/dose/day", "/kg/day/dose", " a day per dose", "/day a day")),
    *(("H04", read_dose, t, "Write the day last") for t in ("15 mg/day/kg", "15 mg/days/kg", "15 mg per day per kg")),
    *(("H04", read_dose, f"80 mg {t}", "in its own field") for t in ("every 6 hours", "four times a day", "once daily", "twice a day")),
    ("H04", read_dose, "80 mg of trimethoprim twice a day", "in its own field"),
    ("H04", read_dose, "15 mg a day to 20 mg", "range"),
    ("H04", read_dose, "15 mg/kg/day to 20 mg/kg", "range"),
    ("H04", read_dose, "5 mg/kg/h a day", "not a unit of a dose"),
    ("H04", read_dose, "5 mg/kg/m2", "not a unit of a dose"),
    ("H04", read_dose, "5 mg/kg to 10 mg", "range"),
    ("H04", read_dose, "10 to 5 mg", "from a smaller to a larger"),
    ("H04", read_dose, "15 mg/24h", "not known"),
    ("H04", read_dose, "15 mg tds", "not known"),
    ("H05", read_dose, "5 mg/mL", "not a unit of a dose"),
    ("H05", read_dose, "120 mg/5 mL", "not known"),
    ("H05", read_strength, "120 mg", "in a volume or in one counted thing"),
    ("H05", read_strength, "5 mg/mL in 5 mL", "in a volume or in one counted thing"),
    ("H05", read_strength, "120 mg in 0 mL", "above zero"),
    ("H08", read_dose, "2-10 puffs", 'with "to"'),
    ("H08", read_dose, "1 million units", "Write the number out"),
    ("H03", read_weight, "501 kg", "at most 500 kg"),
    ("H03", read_length, "9.6 m", "20 to 250 cm"),
    ("H03", read_length, "96 mm", "20 to 250 cm"),
    ("H01", read_dose, "5 m g", "not known"),
    ("H01", read_dose, "1 gr", "not known"),
]
TABLE = [*NUMBERS, *UNIT_TEXTS, *FREQUENCIES, *DATES_AND_AGES, *DOUBTFUL]


@pytest.mark.parametrize(("row", "read", "text", "word"), TABLE, ids=[f"{row}-{ascii(text)[:30]}" for row, _, text, _ in TABLE])
def test_refused_with_what_to_write(row, read, text, word):
    with pytest.raises(TextError) as caught:
        read(text)
    error = caught.value
    assert word in str(error), str(error)
    assert error.why.endswith(".") and error.write.endswith(('"', ".", '".')) and error.given.isprintable()


@pytest.mark.parametrize("text", ["", "   ", "N/A", "unknown", "-", "?", "null", "nan"])
def test_mr26_what_is_missing_is_said_to_be_missing(text):
    for read in READERS:
        with pytest.raises(TextError, match="is missing"):
            read(text)


LONG = ["1", "1,", "1 ", "1 to ", "1/", "a day ", "O1", "1 mg in ", "\u200b", "1 year ", "(", "9" * 99 + " kg "]


@pytest.mark.parametrize("text", ["1e999999", "1e999999 mg", *(piece * 10_000 for piece in LONG)], ids=lambda text: ascii(text[:8]))
def test_sheer_length_is_refused_at_once_with_a_short_message(text):
    start = time.perf_counter()
    for read in READERS:
        with pytest.raises(TextError) as caught:
            read(text)
        assert len(str(caught.value)) < 300 and len(caught.value.given) < 300
    assert time.perf_counter() - start < 0.5


@pytest.mark.parametrize("text", [(piece * 200)[:200] for piece in (*LONG, "1 mg/", "1 of ", "1.1", "1 lb ", "O" * 199 + "1")], ids=ascii)
def test_texts_of_just_under_the_length_limit_take_no_time(text):
    start = time.perf_counter()
    for read in READERS:
        with pytest.raises(TextError):
            read(text)
    assert time.perf_counter() - start < 0.5


def test_a_number_too_long_to_print_is_refused_too():
    for read in (*READERS[:6], read_frequency, read_count, read_age, read_weeks, read_date):
        with pytest.raises(TextError):
            read(10**5000)


# ---- MR05: the wrong kind is never a number ----

KIND_OF_READER = {read_weight: "weight", read_length: "length", read_volume: "volume", read_time: "time"}
DOSE_KINDS = {"mass", "activity", "substance", "volume", "puff", "tablet", "capsule", "drop", "suppository", "sachet", "dose"}


@pytest.mark.parametrize("read", KIND_OF_READER)
def test_mr05_a_unit_of_another_kind_is_refused(read):
    own = KIND_OF_READER[read]
    for kind, units in UNITS.items():
        for unit in set(units) - set(UNITS[own]):
            with pytest.raises(TextError, match="unit"):
                read(f"5 {unit}")
            with pytest.raises(TextError, match="another kind"):
                read(Quantity(5 * units[unit], kind, unit))
    for unit in UNITS[own]:
        with pytest.raises(TextError, match="unit"):
            read(f"5 {unit}/day")


def test_mr05_a_dose_is_of_a_medicine():
    for kind in set(UNITS) - DOSE_KINDS:
        for unit in set(UNITS[kind]) - {"g"}:
            with pytest.raises(TextError, match="unit"):
                read_dose(f"5 {unit}")
        with pytest.raises(TextError, match="another kind"):
            read_dose(Quantity(5, kind, next(iter(UNITS[kind]))))


@pytest.mark.parametrize(("unit", "kind"), [("mg/mL", "mass/volume"), ("mg/puff", "mass/puff"), ("mg/day", "mass/time")])
def test_an_exact_value_is_held_to_the_same_rules_as_text(unit, kind):
    with pytest.raises(TextError, match="unit"):
        read_dose(Quantity(5 * factor(unit, kind), kind, unit))


@pytest.mark.parametrize("value", [0, -1])
def test_an_exact_value_is_above_zero_and_within_reach(value):
    for read in (read_weight, read_dose):
        with pytest.raises(TextError, match="zero"):
            read(Quantity(value, "weight" if read is read_weight else "mass", "g"))
    with pytest.raises(TextError, match="500 kg"):
        read_weight(Quantity(501 * 10**12, "weight", "kg"))
    with pytest.raises(TextError, match="250 cm"):
        read_length(Quantity(251 * 10**4, "length", "cm"))
