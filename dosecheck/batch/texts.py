"""Result columns as text: each class's words, each row's own numbers, rounded once, to three decimals."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction

import polars as pl

from dosecheck.batch.amounts import written_in
from dosecheck.batch.answers import sentence_of, told_of
from dosecheck.batch.coded import code_of
from dosecheck.batch.columns import Distinct, Read, distinct
from dosecheck.batch.figures import SHOWN_MOST
from dosecheck.batch.screen import Screened
from dosecheck.errors import KindError
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, Child
from dosecheck.rules.facts import body_of
from dosecheck.rules.verdict import Verdict
from dosecheck.rules.weighing import single_z
from dosecheck.showing import show_number

RESULTS = (
    "outcome",
    "codes",
    "regimen",
    "one_dose",
    "dose_per_kg",
    "most_for_one_dose",
    "times_the_most",
    "binding_limit",
    "weight_z",
    "source",
    "sentence",
)


_DECIMALS = 3
_NULL_IF_EMPTY = ("regimen", "source")


def not_read(why: str) -> str:
    return f"NOT CHECKED. The row cannot be read: {why}"


def unanswered(code: str, sentence: str) -> tuple[str | None, ...]:
    """The result columns of a row that has no verdict."""
    return (NOT_CHECKED, code, *[None] * (len(RESULTS) - 3), sentence)


def schema() -> dict[str, type[pl.DataType]]:
    return {"row": pl.UInt32, **dict.fromkeys(RESULTS, pl.String)}


def unread_rows(read: Read) -> pl.DataFrame:
    """Rows with a field that cannot be read, each with all its faults."""
    rows = pl.DataFrame({"row": pl.int_range(read.height, dtype=pl.UInt32, eager=True), "why": read.error}).filter(
        pl.col("why").is_not_null()
    )
    nothing = {name: pl.lit(None, dtype=pl.String) for name in RESULTS}
    return rows.select(
        "row",
        **{**nothing, "outcome": pl.lit(NOT_CHECKED), "codes": pl.lit("unreadable"), "sentence": pl.lit(not_read("")) + pl.col("why")},
    )


def result_texts(screened: Screened, weight_z: pl.Series, others: pl.DataFrame) -> pl.DataFrame:
    """The columns of RESULTS for every row, in order, all coded (pl.Enum): a class, and an amount, has many rows.

    No code goes by what an earlier chunk of the run held, so that a run that is gone on with writes the same bytes.

    Args:
        weight_z: the z-score of every row of the chunk, in hundredths.
        others: `row` and RESULTS of the rows that were answered otherwise.
    """
    told = {**_of_classes(screened), **_own_numbers(screened, weight_z)}
    codes = {name: code_of(pl.concat([texts, others[name]])) for name, (_, texts) in told.items()}
    columns = [texts.cast(codes[name]).gather(index).alias(name) for name, (index, texts) in told.items()]
    answers = screened.rows.select("row").with_columns(columns).select("row", *RESULTS)
    if len(others):
        answers = pl.concat([answers, others.with_columns(pl.col(name).cast(kind) for name, kind in codes.items())]).sort("row")
    return answers.select(RESULTS)


def _of_classes(screened: Screened) -> dict[str, Distinct]:
    """What all rows of a class share, and the limit that binds; of both only what stands in these rows, in the order in which it comes."""
    index, numbers = distinct(screened.rows["class"])
    answers = [screened.classes[number].answered for number in numbers]
    shared = {name: [getattr(each, name) for each in answers] for name in ("outcome", "codes", "sentence")}
    shared |= {name: [getattr(each, name) or None for each in answers] for name in _NULL_IF_EMPTY}
    bound, numbers = distinct(screened.rows["bound"])
    told = {name: Distinct(index, pl.Series(texts, dtype=pl.String)) for name, texts in shared.items()}
    return {**told, "binding_limit": Distinct(bound, pl.Series([screened.bounds[number] for number in numbers], dtype=pl.String))}


def _own_numbers(screened: Screened, weight_z: pl.Series) -> dict[str, Distinct]:
    """Each row's own numbers, rounded once, to three decimals."""
    of = screened.rows["class"]
    wide = screened.rows.with_columns(pl.Series([c.scale for c in screened.classes], dtype=pl.Int64).gather(of).alias("scale"))
    numbers = wide.select(
        one_dose=_thousandths(pl.col("high"), pl.col("scale")),
        dose_per_kg=_thousandths(pl.col("high").cast(pl.Int128) * 10**12, pl.col("scale").cast(pl.Int128) * pl.col("weight")),
        most_for_one_dose=_thousandths(pl.col("least"), pl.col("scale"), down=True),
        times_the_most=_thousandths(pl.col("high"), pl.col("least")),
    )
    patterns = {"one_dose": " {}", "dose_per_kg": " {}/kg", "most_for_one_dose": " {}", "times_the_most": ""}
    index, names = distinct(pl.Series([c.unit for c in screened.classes], dtype=pl.String))
    units = Distinct(index.gather(of), names)
    index, hundredths = distinct(weight_z.gather(screened.rows["row"]))
    z = Distinct(index, _decimals(pl.Series(hundredths, dtype=pl.Int64), 2))
    return {**{name: _written(numbers[name], units, pattern) for name, pattern in patterns.items()}, "weight_z": z}


def _thousandths(over: pl.Expr, under: pl.Expr, down: bool = False) -> pl.Expr:
    """over / under in thousandths, rounded half up (or down); null where either is.

    Doses stay below 10^12 base units, so 64 bits hold their thousandths; an amount per kg comes in 128.
    """
    return ((over * (2 * 10**_DECIMALS) + (0 if down else under)) // (under * 2)).cast(pl.Int64)


def _written(thousandths: pl.Series, units: Distinct, pattern: str) -> Distinct:
    """As text without trailing zeros, with the unit of each row; each distinct amount is written once."""
    keys = distinct(thousandths * len(units.values) + units.index.cast(pl.Int64) if pattern else thousandths)
    number = pl.Series(keys.values, dtype=pl.Int64)
    if pattern:
        names = pl.Series([pattern.format(name) for name in units.values], dtype=pl.String).gather(number % len(units.values))
        number = number // len(units.values)
    text = _decimals(number, _DECIMALS)
    return Distinct(keys.index, text + names if pattern else text)


def _decimals(scaled: pl.Series, places: int) -> pl.Series:
    """Whole numbers of the last decimal as text, without trailing zeros."""
    sign = pl.Series(["", "-"]).gather((scaled < 0).cast(pl.UInt32))
    rest = (scaled.abs() % 10**places).cast(pl.String).str.zfill(places)
    whole = (scaled.abs() // 10**places).cast(pl.String)
    return sign + (whole + "." + rest).str.strip_chars_end("0").str.strip_chars_end(".")


def verdict_texts(verdict: Verdict, child: Child, formulary: Formulary) -> tuple[str | None, ...]:
    """The same columns from a single order's verdict; what the limits come to in whole base units, as columns hold it."""
    weight, z = child.weight, single_z(child, body_of(child), formulary)
    dose = verdict.one_dose
    bounds = [s for s in verdict.limits if dose and s.comes_to and "/" not in s.comes_to.kind]
    least = min(bounds, key=lambda s: _whole(s.comes_to).value / (s.dose or 1)) if bounds else None  # 0: of a surface that rounds to none
    most = _whole(least.comes_to) if least else None
    dose = Quantity(least.dose, least.regimen.kind, written_in(least.regimen)) if least else dose
    unit = written_in(verdict.regimens[0]) if verdict.regimens else ""
    sentence = sentence_of(verdict.outcome, [told_of(f) for f in verdict.findings if f.outcome])
    return (
        verdict.outcome,
        ";".join(verdict.codes),
        ";".join(r.full_id for r in verdict.regimens) or None,
        _plain(dose, unit) if dose else None,
        _plain(dose / weight.to("kg"), f"{unit}/kg") if dose and weight else None,
        _plain(most, unit, down=True) if most else None,
        written_ratio(dose.value / most.value) if most and most.value else None,
        f"{least.limit.name}, {least.limit.text}" if least else None,
        None if z is None else show_number(Fraction(z)),
        "; ".join(dict.fromkeys(s.regimen.source for s in verdict.limits)) or None,
        sentence,
    )


def _whole(amount: Quantity) -> Quantity:
    """Rounded down to a whole base unit, and no more than is shown."""
    return Quantity(min(amount.value // 1, SHOWN_MOST), amount.kind, amount.unit)


def _plain(amount: Quantity, unit: str, down: bool = False) -> str:
    """As columns write it: in the first regimen's unit where that is of its kind, without a mark between thousands."""
    with suppress(KindError):
        amount = amount.to(unit)
    return f"{written_ratio(amount.number, down)} {amount.unit}"


def written_ratio(ratio: Fraction, down: bool = False) -> str:
    """Rounded half up (or down) to three decimals, without a binary float."""
    thousandths = (2 * ratio.numerator * 10**_DECIMALS + (0 if down else ratio.denominator)) // (2 * ratio.denominator)
    whole, rest = divmod(thousandths, 10**_DECIMALS)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".")
