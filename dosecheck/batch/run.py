"""A file of orders checked: chunk after chunk, in input order, one result row for each input row, with a summary.

Memory holds one chunk of at most `CHUNK_ROWS` rows, and 16 bytes a row for the list of children.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from datetime import date
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import NamedTuple

import polars as pl

from dosecheck.batch.chunk import Chunk
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.columns import FIELDS, Read, distinct
from dosecheck.batch.files import ResultWriter, read_orders
from dosecheck.batch.repeats import Repeats
from dosecheck.batch.screen import Screen, Screened
from dosecheck.errors import FileError, InputError, KindError
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.records import NOT_CHECKED, OUTCOMES, read_order
from dosecheck.rules.check import check_order
from dosecheck.rules.verdict import Verdict

CHUNK_ROWS = 300_000
RESULTS = ("outcome", "codes", "regimen", "one_dose", "dose_per_kg", "most_for_one_dose", "times_the_most", "binding_limit", "source", "sentence")
_REQUIRED = ("medicine", "dose")
_DECIMALS = 3


class Summary(NamedTuple):
    """`rows` = the sum of `outcomes`; of those `refused` could not be read and `slow` went one by one."""

    rows: int
    outcomes: dict[str, int]
    refused: int
    slow: int
    repeats: Repeats
    fingerprint: str


class Batch:
    """Answers tables of orders against one formulary.

    Args:
        formulary: what to check against.
        today: the date of the order for rows that give none.
    """

    def __init__(self, formulary: Formulary, today: date) -> None:
        self.formulary, self.today = formulary, today
        self.screen = Screen(formulary)
        self.slow = 0

    def answer(self, rows: pl.DataFrame) -> pl.DataFrame:
        """One result row for each row of text columns, in order: the columns of RESULTS, all text.

        Args:
            rows: columns named as the options of `dosecheck order`, with "_" for "-"; others are not looked at.
        """
        dated = self._dated(rows)
        screened, read = self.screen.screen(dated)
        self.slow += len(screened.slow)
        one_by_one = [(row, *self._one(dated, row)) for row in screened.slow]
        single = pl.DataFrame(one_by_one, schema=_schema(), orient="row")
        unread = _unread(read)
        answers = _texts(screened._replace(rows=screened.rows.sort("row")))
        if len(single) or len(unread):
            answers = pl.concat([answers, single, unread]).sort("row")
        return answers.select(RESULTS)

    def _dated(self, rows: pl.DataFrame) -> pl.DataFrame:
        on = pl.lit(self.today.isoformat())
        return rows.with_columns(pl.col("on").fill_null(on) if "on" in rows.columns else on.alias("on"))

    def _one(self, rows: pl.DataFrame, row: int) -> tuple[str | None, ...]:
        """The one-order engine's answer to one row."""
        texts = {name: value for name, value in zip(rows.columns, rows.row(row), strict=True) if name in FIELDS and value is not None}
        try:
            verdict = check_order(*read_order(texts), self.formulary)
        except InputError as error:
            return (NOT_CHECKED, "unreadable", *[None] * 7, _not_read("; ".join(map(str, error.faults))))
        except Exception as error:  # fails closed: one row that breaks the engine is never an all-clear, and hurts only itself
            return (NOT_CHECKED, "internal-fault", *[None] * 7, _not_read(f"an unexpected fault ({type(error).__name__}); please report it"))
        return _verdict_texts(verdict, read_order(texts)[1].weight)


def _not_read(why: str) -> str:
    return f"NOT CHECKED. The row cannot be read: {why}"


def _schema() -> dict[str, type[pl.DataType]]:
    return {"row": pl.UInt32, **dict.fromkeys(RESULTS, pl.String)}


def _unread(read: Read) -> pl.DataFrame:
    """Rows with a field that cannot be read, each with all its faults."""
    rows = pl.DataFrame({"row": pl.int_range(read.height, dtype=pl.UInt32, eager=True), "why": read.error}).filter(pl.col("why").is_not_null())
    nothing = {name: pl.lit(None, dtype=pl.String) for name in RESULTS}
    return rows.select("row", **{**nothing, "outcome": pl.lit(NOT_CHECKED), "codes": pl.lit("unreadable"), "sentence": pl.lit(_not_read("")) + pl.col("why")})


def _texts(screened: Screened) -> pl.DataFrame:
    """The classes' texts and each row's own numbers, rounded once, to three decimals."""
    classes = screened.classes
    table = pl.DataFrame(
        [(c.answered.outcome, c.answered.codes, c.answered.regimen or None, c.answered.source or None, c.answered.sentence, c.unit, c.scale) for c in classes],
        schema={**dict.fromkeys(("outcome", "codes", "regimen", "source", "sentence", "unit"), pl.String), "scale": pl.Int64},
        orient="row",
    )[screened.rows["class"]]
    offsets = [0]
    for c in classes:
        offsets.append(offsets[-1] + len(c.bounds))
    bounds = pl.Series([text for c in classes for text in c.bounds], dtype=pl.String)
    place = pl.Series(offsets[:-1], dtype=pl.Int64).gather(screened.rows["class"]) + screened.rows["bound"] if classes else screened.rows["bound"]
    wide = pl.concat([screened.rows, table], how="horizontal")
    numbers = wide.select(
        one_dose=_thousandths(pl.col("high"), pl.col("scale")),
        dose_per_kg=_thousandths(pl.col("high").cast(pl.Int128) * 10**12, pl.col("scale").cast(pl.Int128) * pl.col("weight")),
        most_for_one_dose=_thousandths(pl.col("least"), pl.col("scale")),
        times_the_most=_thousandths(pl.col("high"), pl.col("least")),
    )
    units = {"one_dose": " {}", "dose_per_kg": " {}/kg", "most_for_one_dose": " {}", "times_the_most": ""}
    written = {name: _written(numbers[name], wide["unit"], pattern) for name, pattern in units.items()}
    bound = bounds.gather(place) if len(bounds) else pl.lit(None, dtype=pl.String)
    return wide.with_columns(binding_limit=bound, **written).select("row", *RESULTS)


def _thousandths(over: pl.Expr, under: pl.Expr) -> pl.Expr:
    """over / under in thousandths, rounded half up; null where either is.

    Doses stay below 10^12 base units, so 64 bits hold their thousandths; an amount per kg comes in 128.
    """
    return ((over * (2 * 10**_DECIMALS) + under) // (under * 2)).cast(pl.Int64)


def _written(thousandths: pl.Series, unit: pl.Series, pattern: str) -> pl.Series:
    """As text without trailing zeros, with the unit; each distinct amount is written once."""
    units = distinct(unit)
    keys = distinct(thousandths * len(units.values) + units.index.cast(pl.Int64) if pattern else thousandths)
    number = pl.Series(keys.values, dtype=pl.Int64)
    if pattern:
        names = pl.Series([pattern.format(name) for name in units.values], dtype=pl.String).gather(number % len(units.values))
        number = number // len(units.values)
    rest = (number % 10**_DECIMALS).cast(pl.String).str.zfill(_DECIMALS)
    text = ((number // 10**_DECIMALS).cast(pl.String) + "." + rest).str.strip_chars_end("0").str.strip_chars_end(".")
    return (text + names if pattern else text).gather(keys.index)


def _verdict_texts(verdict: Verdict, weight) -> tuple[str | None, ...]:
    """The same columns from a single order's verdict."""
    binding = [s for s in verdict.limits if s.binding]
    least = min(binding, key=lambda s: s.comes_to.value) if binding else None
    dose = verdict.one_dose
    unit = next(((r.span.high or r.span.low).unit.split("/")[0] for r in verdict.regimens), "")
    sentence = f"{verdict.headline} {' '.join(f.message for f in verdict.findings if f.outcome)}".strip()
    return (
        verdict.outcome, ";".join(verdict.codes), ";".join(r.full_id for r in verdict.regimens) or None,
        _plain(dose, unit) if dose else None, _plain(dose / weight.to("kg"), f"{unit}/kg") if dose and weight else None,
        _plain(least.comes_to, unit, down=True) if least else None, float_free(dose.value / least.comes_to.value) if dose and least and least.comes_to.value else None,
        f"{least.limit.name}, {least.limit.text}" if least else None, "; ".join(dict.fromkeys(s.regimen.source for s in verdict.limits)) or None, sentence,
    )  # fmt: skip


def _plain(amount: Quantity, unit: str, down: bool = False) -> str:
    """As columns write it: in the first regimen's unit where that is of its kind, without a mark between thousands."""
    with suppress(KindError):
        amount = amount.to(unit)
    return f"{float_free(amount.number, down)} {amount.unit}"


def float_free(ratio: Fraction, down: bool = False) -> str:
    """Rounded half up (or down) to three decimals, without a binary float."""
    thousandths = (2 * ratio.numerator * 10**_DECIMALS + (0 if down else ratio.denominator)) // (2 * ratio.denominator)
    whole, rest = divmod(thousandths, 10**_DECIMALS)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".")


def run_batch(
    orders: str | Path, results: str | Path, formulary: Formulary, today: date, columns: ColumnMap | None = None, progress: Callable[[int], None] = lambda rows: None
) -> Summary:
    """Checks a file of orders and writes the results beside it, whole or not at all.

    Args:
        orders, results: .csv, .parquet or .jsonl; the result keeps every input column and adds RESULTS after them.
        columns: the hospital's own names and codes.
        progress: called with the number of rows done.

    Raises:
        FileError: the file cannot be read or the result cannot be written; no result is left behind.
    """
    batch, outcomes, rows, refused = Batch(formulary, today), Counter(), 0, 0
    repeats = Repeats(formulary)
    chunks = _ahead(_joined(read_orders(orders, (*FIELDS, "order_id", "child_id"))))
    first = next(chunks)
    _check_columns(orders, first.rows.columns, columns)
    with ResultWriter(results, [*first.rows.columns, *RESULTS], source=orders, own=RESULTS) as writer, _Behind(writer.write) as written:
        for chunk in chain([first], chunks):
            mapped = columns.apply(chunk.rows) if columns else chunk.rows
            answers = _with_refused(batch.answer(mapped), chunk)
            written.put(pl.concat([chunk.rows, answers], how="horizontal"))
            repeats.add(mapped, rows)
            outcomes.update(dict(answers["outcome"].value_counts().iter_rows()))
            rows, refused = rows + len(answers), refused + answers["codes"].eq("unreadable").sum()
            progress(rows)
        _ = repeats.found  # reckoned while the last rows are being written
    return Summary(rows, {name: outcomes.get(name, 0) for name in OUTCOMES}, refused, batch.slow, repeats, formulary.fingerprint)


def _with_refused(answers: pl.DataFrame, chunk: Chunk) -> pl.DataFrame:
    """Rows that the file's own reader refused say so."""
    if not chunk.refused:
        return answers
    why = pl.DataFrame([(r.row, _not_read(f"line {r.line}: {r.why} {r.text}")) for r in chunk.refused], schema={"row": pl.UInt32, "why": pl.String}, orient="row")
    wide = answers.with_row_index("row").join(why, on="row", how="left", maintain_order="left")
    bad = pl.col("why").is_not_null()
    new = {"outcome": pl.lit(NOT_CHECKED), "codes": pl.lit("unreadable"), "sentence": pl.col("why")}
    return wide.select(*(pl.when(bad).then(new.get(name, pl.lit(None, dtype=pl.String))).otherwise(pl.col(name)).alias(name) for name in RESULTS))


def _check_columns(path: str | Path, names: list[str], columns: ColumnMap | None) -> None:
    """A column that is needed and missing, with the nearest header; and headers that the result would hide."""
    from difflib import get_close_matches

    names = columns.mapped_names(names, str(path)) if columns else names
    for needed in _REQUIRED:
        if needed not in names:
            near = get_close_matches(needed, names, n=1, cutoff=0.6)
            hint = f' Is it "{near[0]}"?' if near else ""
            raise FileError(str(path), f'The column "{needed}" is missing.{hint}', "Name it so, or map it with --columns.")
    unknown = [name for name in names if name not in (*FIELDS, "order_id", "child_id")]
    for name in unknown:
        near = get_close_matches(name, FIELDS, n=1, cutoff=0.8)
        if near and near[0] not in names:
            raise FileError(str(path), f'The column "{name}" looks like "{near[0]}", and would not be read.', f'Name it "{near[0]}", or map it with --columns.')
    hidden = [name for name in names if name in RESULTS]
    if hidden:
        raise FileError(str(path), f'The column "{hidden[0]}" has the name of a result column.', "Rename it.")


def _joined(chunks: Iterator[Chunk]) -> Iterator[Chunk]:
    """Small chunks put together, so that each part of a screen is worth its while; the first goes ahead alone."""
    held: list[Chunk] = []
    enough = 0
    for chunk in chunks:
        held.append(chunk)
        if sum(len(c.rows) for c in held) >= enough:
            yield _one_chunk(held)
            held, enough = [], CHUNK_ROWS
    if held:
        yield _one_chunk(held)


def _one_chunk(held: list[Chunk]) -> Chunk:
    if len(held) == 1:
        return held[0]
    refused, offset = [], 0
    for chunk in held:
        refused += [r._replace(row=r.row + offset) for r in chunk.refused]
        offset += len(chunk.rows)
    return Chunk(pl.concat([c.rows for c in held]), pl.concat([c.line for c in held]), refused)


def _ahead(items: Iterator[Chunk]) -> Iterator[Chunk]:
    """The same items, the next one made in a thread while the last is being used."""
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(next, items, None)
        while (item := coming.result()) is not None:
            coming = pool.submit(next, items, None)
            yield item


class _Behind:
    """Writes in a thread, one chunk at a time and in order; a fault of writing is raised at the next chunk or at the end."""

    def __init__(self, write: Callable[[pl.DataFrame], None]) -> None:
        self._write, self._pool = write, ThreadPoolExecutor(1)
        self._last: Future | None = None

    def __enter__(self) -> _Behind:
        return self

    def put(self, rows: pl.DataFrame) -> None:
        if self._last is not None:
            self._last.result()
        self._last = self._pool.submit(self._write, rows)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self._pool.shutdown()
        if kind is None and self._last is not None:
            self._last.result()
