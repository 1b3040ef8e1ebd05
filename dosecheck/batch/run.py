"""A file of orders checked: chunk after chunk, in input order, one result row for each input row, with a summary.

Memory holds some seven chunks of up to 300 000 rows, and up to three million rows of the list of children.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl

from dosecheck.batch.aside import aside, header_of, places
from dosecheck.batch.chunk import Chunk, in_codes
from dosecheck.batch.colmap import ColumnMap
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.files import read_coded, sources_of
from dosecheck.batch.forms import NOTHING, Asked
from dosecheck.batch.ledger import UNREADABLE, By, Tally, ledger, path_of
from dosecheck.batch.origin import Origin
from dosecheck.batch.out import is_pipe
from dosecheck.batch.pipeline import Behind, ahead, closed, joined
from dosecheck.batch.repeats import SCHEMA, Repeats
from dosecheck.batch.screen import Facts, Screen
from dosecheck.batch.slices import Slices
from dosecheck.batch.straight import Straight
from dosecheck.batch.texts import RESULTS, not_read, result_texts, schema, unanswered, unread_rows, verdict_texts
from dosecheck.batch.work import Piece, Work
from dosecheck.errors import FileError, InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, OUTCOMES, order_of_read
from dosecheck.rules.check import check_order

_REQUIRED = ("medicine", "dose")


class Summary(NamedTuple):
    """`rows` = the sum of `outcomes`; of those `refused` could not be read and `slow` went one by one.

    ledger: the file that proves it; None where the result is a pipe and none was asked for.
    aside: the file of refused rows, if any, as they were given.
    gone_on: so many rows were answered by an earlier, unfinished run.
    """

    rows: int
    outcomes: dict[str, int]
    refused: int
    slow: int
    repeats: Repeats
    fingerprint: str
    as_of: date | None
    ledger: Path | None = None
    aside: Path | None = None
    gone_on: int = 0


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
        return self.compare(self.facts(rows))().cast(pl.String)

    def facts(self, rows: pl.DataFrame) -> Facts:
        """The first half of `answer`, which may go ahead of the second in another thread."""
        return self.screen.facts(self._dated(rows))

    def compare(self, facts: Facts) -> Callable[[], pl.DataFrame]:
        """Does the rest of `answer` but the words, which the returned function puts to it, in another thread if need be.

        Every column is coded there (pl.Enum).
        """
        screened, read = self.screen.screen(facts), facts.read
        self.slow += len(screened.slow)
        one_by_one = [(row, *self._one(given)) for row, given in zip(screened.slow, read.rows(screened.slow), strict=True)]
        single = pl.DataFrame(one_by_one, schema=schema(), orient="row")
        unread = unread_rows(read)
        held = screened._replace(classes=list(screened.classes), bounds=list(screened.bounds))  # the next chunk adds to the screen's own
        return lambda: result_texts(held, read.weight_z, pl.concat([single, unread]))

    def _dated(self, rows: pl.DataFrame) -> pl.DataFrame:
        on = pl.lit(self.today.isoformat())
        if "on" not in rows.columns:
            return rows.with_columns(on.alias("on"))
        return rows.with_columns(pl.col("on").cast(pl.String).fill_null(on)) if rows["on"].null_count() else rows

    def _one(self, given: dict[str, Any]) -> tuple[str | None, ...]:
        """The one-order engine's answer to one row, whose fields were read."""
        try:
            order, child = order_of_read(given)
            return verdict_texts(check_order(order, child, self.formulary), child, self.formulary)
        except InputError as error:
            return unanswered("unreadable", not_read(" ".join(map(str, error.faults))))
        except Exception as error:  # fails closed: one row that breaks the engine is never an all-clear, and hurts only itself
            return unanswered("internal-fault", not_read(f"an unexpected fault ({type(error).__name__}); please report it"))


def run_batch(
    orders: str | Path,
    results: str | Path,
    formulary: Formulary,
    today: date,
    columns: ColumnMap | None = None,
    progress: Callable[[int], None] = lambda rows: None,
    asked: Asked = NOTHING,
    refused: str | Path | None = None,
    resume: bool = False,
    ledger_to: str | Path | None = None,
) -> Summary:
    """Checks a file of orders and writes the results beside it, whole or not at all.

    Args:
        orders, results: files of a form that `forms.py` knows; the result keeps every input column and adds RESULTS after them.
        columns: the hospital's own names and codes.
        progress: called with the number of rows done.
        asked: what the name of the orders does not say.
        refused: where refused rows are put aside; None: beside the result, if there are any.
        resume: go on with a run that was stopped; the result, and all beside it, is the same to the byte.
        ledger_to: where the ledger goes of a result that is a pipe or a table; that of a file stands beside it.

    Raises:
        FileError: the file cannot be read or the result cannot be written; no result is left behind.
    """
    batch, by = Batch(formulary, today), By(formulary, today, columns)
    folder = None if is_pipe(results) else Path(os.path.realpath(results)).parent
    known = (*FIELDS, "order_id", "child_id")
    coming = ahead(in_codes(joined(read_coded(orders, columns.to_read(known) if columns else known, asked))))
    with Origin(sources_of(orders)) as origin, closed(coming) as chunks, Slices(SCHEMA, folder) as kept:
        repeats = Repeats(formulary, kept)
        first = next(chunks)
        check_columns(orders, first.named, columns)
        aside_places = places(Path(os.path.realpath(results)), str(orders), asked.form, refused)
        names = [*first.rows.columns, *RESULTS]
        settings = {**by.as_dict(), "orders": [origin.names, origin.before], "options": [*asked, str(refused or "")], "columns": names}
        if resume and None in origin.before:
            raise FileError(str(orders), "What is no file cannot be read a second time.", "Leave --resume out.")
        if is_pipe(results):
            work: Work | Straight = Straight(results, names, RESULTS, asked.form, ledger_to, orders)
        elif ledger_to is not None:
            raise FileError(str(ledger_to), f"The ledger of a file stands beside it: {path_of(results).name}.", "Leave --ledger out.")
        else:
            work = Work(results, aside_places, names, RESULTS, header_of(first), settings, resume, orders)
        with work:
            at, told = 0, _Told(work.tally)
            batch.slow, gone_on = work.tally.one_by_one, work.tally.rows
            coming = ahead(_prepared(batch, columns, chain([first], chunks), work.done))
            with (
                closed(coming) as prepared,
                Behind(work.write) as written,
                Behind(lambda compared: written.put(told.piece(compared))) as worded,
            ):
                with Behind(lambda part: repeats.add(*part)) as noted:
                    for chunk, mapped, facts in prepared:
                        if facts is not None:
                            worded.put(_Compared(chunk, batch.compare(facts), batch.slow))
                        noted.put((mapped, at))
                        at += len(chunk.rows)
                        progress(at)
                _ = repeats.found  # reckoned while the last rows are being written
            read = list(zip(origin.names, origin.prints(), strict=True))
            if not work.whole:
                work.seal(ledger(read, told.tally, by, work.finish()))
    tally, real = told.tally, isinstance(work, Work)
    return Summary(
        tally.rows,
        dict(zip(OUTCOMES, tally.outcomes, strict=True)),
        tally.refused,
        tally.one_by_one,
        repeats,
        formulary.fingerprint,
        formulary.as_of,
        path_of(os.path.realpath(results)) if real else Path(ledger_to) if ledger_to else None,
        aside_places[0] if real and tally.refused else None,
        gone_on,
    )


class _Prepared(NamedTuple):
    """A chunk, its rows by our own names and codes, and the facts; None where it was answered before the run was stopped."""

    chunk: Chunk
    mapped: pl.DataFrame
    facts: Facts | None


def _prepared(batch: Batch, columns: ColumnMap | None, chunks: Iterable[Chunk], answered_before: int) -> Iterator[_Prepared]:
    for number, chunk in enumerate(chunks):
        mapped = columns.apply(chunk.rows) if columns else chunk.rows
        yield _Prepared(chunk, mapped, batch.facts(mapped) if number >= answered_before else None)


class _Compared(NamedTuple):
    """A chunk compared; `words` gives its answers, `one_by_one` is how many rows went so since the start."""

    chunk: Chunk
    words: Callable[[], pl.DataFrame]
    one_by_one: int


class _Told:
    """Puts the words to chunk after chunk, and counts it, while the next one is being compared."""

    def __init__(self, tally: Tally) -> None:
        self.tally = tally

    def piece(self, compared: _Compared) -> Piece:
        chunk = compared.chunk
        answers = _with_refused(compared.words(), chunk)
        self.tally = _counted(self.tally, answers, chunk, compared.one_by_one)
        rows = pl.concat([chunk.rows, answers], how="horizontal")
        return Piece(rows, aside(chunk, answers["codes"] == UNREADABLE, answers["sentence"]), self.tally)


def _counted(tally: Tally, answers: pl.DataFrame, chunk: Chunk, one_by_one: int) -> Tally:
    """With the rows of this chunk; `one_by_one` is how many went so since the start."""
    outcomes = Counter(dict(answers["outcome"].value_counts().iter_rows()))
    lines = (chunk.line[0], chunk.line[-1]) if len(chunk.line) else (None, None)
    return tally.plus(outcomes, int(answers["codes"].eq(UNREADABLE).sum()), one_by_one - tally.one_by_one, lines)


def answered(batch: Batch, mapped: pl.DataFrame, chunk: Chunk) -> pl.DataFrame:
    """The columns of RESULTS for every row of a chunk; rows that the file's own reader refused say so."""
    return _with_refused(batch.answer(mapped), chunk)


def _with_refused(answers: pl.DataFrame, chunk: Chunk) -> pl.DataFrame:
    """Rows that the file's own reader refused say so."""
    if not chunk.refused:
        return answers
    why = pl.DataFrame(
        [(r.row, not_read(f"{r.place}{': ' * bool(r.place)}{r.why} {r.text}")) for r in chunk.refused],
        schema={"row": pl.UInt32, "why": pl.String},
        orient="row",
    )
    wide = answers.cast(pl.String).with_row_index("row").join(why, on="row", how="left", maintain_order="left")
    bad = pl.col("why").is_not_null()
    new = {"outcome": pl.lit(NOT_CHECKED), "codes": pl.lit("unreadable"), "sentence": pl.col("why")}
    return wide.select(
        *(pl.when(bad).then(new.get(name, pl.lit(None, dtype=pl.String))).otherwise(pl.col(name)).alias(name) for name in RESULTS)
    )


def check_columns(path: str | Path, names: list[str], columns: ColumnMap | None) -> None:
    """A column that is needed and missing, with the nearest header; and headers that the result would hide."""
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
            raise FileError(
                str(path),
                f'The column "{name}" looks like "{near[0]}", and would not be read.',
                f'Name it "{near[0]}", or map it with --columns.',
            )
    hidden = [name for name in names if name in RESULTS]
    if hidden:
        raise FileError(str(path), f'The column "{hidden[0]}" has the name of a result column.', "Rename it.")
