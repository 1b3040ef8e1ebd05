"""The report of one result: numbers and words, ready for a page, a workbook or JSON.

Whatever is counted adds up: within, query, stop and not-checked are all the rows.  A flag is a query or a stop; a rate is
flags among all orders, the not-checked ones beside it.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from dosecheck.batch.colmap import ColumnMap
from dosecheck.errors import FileError
from dosecheck.formulary.load import Formulary
from dosecheck.records import NOT_CHECKED, QUERY, STOP
from dosecheck.reports.orders.charts import ChartFindings, read_charts
from dosecheck.reports.orders.proof import at_hand, ledger_of, notices
from dosecheck.reports.orders.ranges import Scales, written
from dosecheck.reports.orders.rates import Rate, rate
from dosecheck.reports.orders.reasons import Reason
from dosecheck.reports.orders.results import read_results, usual_columns
from dosecheck.reports.orders.sources import Sources
from dosecheck.reports.orders.strips import Strip, strip_of
from dosecheck.reports.orders.tally import MEDICINE, MOST_VALUES, Tally
from dosecheck.reports.orders.two_runs import TwoRuns, compare, how_words, order_words
from dosecheck.rules.catalogue import CATALOGUE
from dosecheck.rules.verdict import CAUTION

FIRST = 50
LONGEST_TEXT = 4_000  # characters of one text of a row; more is cut, with dots
_VALUES = 40  # lines of one table on the page; the rest are summed in one line
_PAIRS = 15
_ENOUGH, _STRIPS = 10, 24  # rows that make a picture, and the most pictures


class Line(NamedTuple):
    """One value of a column with its orders."""

    name: str
    outcomes: Counter[str]

    @property
    def rows(self) -> int:
        return self.outcomes.total()

    @property
    def flags(self) -> Rate:
        """Of no orders where none was checked: no flag in them tells nothing."""
        flags = self.outcomes[QUERY] + self.outcomes[STOP]
        return rate(flags, self.rows if self.outcomes[NOT_CHECKED] < self.rows else 0)


class Table(NamedTuple):
    """Lines by one column; `others` is how many values the last line sums up, 0 where there is none."""

    column: str
    lines: tuple[Line, ...]
    others: int


class Found(NamedTuple):
    """One finding code: in how many orders, what it means."""

    code: str
    meaning: str
    outcomes: Counter[str]
    share: Rate


class Pair(NamedTuple):
    """One finding of one medicine: how many flags have it, among the medicine's orders."""

    medicine: str
    code: str
    flags: Rate


class First(NamedTuple):
    """One order to look at; `how` is the rest of what was written; `times` is thousandths of the most for one dose, None where no maximum was reckoned."""

    row: int
    order_id: str
    child_id: str
    order: str
    how: str
    outcome: str
    times: int | None
    sentence: str
    sources: tuple[int, ...]

    @property
    def found(self) -> str:
        """The sentence without its lead, which says the outcome once more."""
        lead, _, rest = self.sentence.partition(". ")
        return rest if rest and lead.upper().startswith(self.outcome.upper()) else self.sentence

    @property
    def times_words(self) -> str:
        if self.times is None:
            return ""
        return "the most itself" if self.times == 1000 else f"{written(self.times)} times"


class Report(NamedTuple):
    """`fingerprint` of the formulary that the orders were checked by and `proof` that none is lost, "" where no ledger tells;
    `formulary` at hand, for names and ranges; `first` of `flagged` orders; `sources`: the texts that `First.sources` count from 1; `drawn` of `rows` are in `strips`."""

    name: str
    rows: int
    outcomes: Counter[str]
    unreadable: int
    on: str
    fingerprint: str
    proof: str
    formulary: str
    first: tuple[First, ...]
    sources: tuple[str, ...]
    tables: tuple[Table, ...]
    found: tuple[Found, ...]
    pairs: tuple[Pair, ...]
    more_pairs: int
    strips: tuple[Strip, ...]
    drawn: int
    unchecked: tuple[Reason, ...]
    two_runs: TwoRuns | None
    charts: ChartFindings | None
    notices: tuple[str, ...]
    caution: str = CAUTION

    @property
    def flagged(self) -> int:
        return self.outcomes[QUERY] + self.outcomes[STOP]

    @property
    def flags(self) -> Rate:
        return rate(self.flagged, self.rows)

    @property
    def not_first(self) -> Counter[str]:
        """How many stops and queries are not among the first."""
        return Counter({name: self.outcomes[name] - sum(f.outcome == name for f in self.first) for name in (STOP, QUERY)})

    def share_of_flags(self, count: int) -> str:
        """ "34 %", of all flags, rounded half up."""
        return f"{(200 * count + self.flagged) // (2 * self.flagged)} %"


def make_report(
    path: str,
    formulary: Formulary | None,
    columns: ColumnMap | None = None,
    by: Sequence[str] = (),
    first: int = FIRST,
    before: str | None = None,
    on: date | None = None,
    charts: str | None = None,
) -> Report:
    """Reads the result chunk after chunk, once; where two are compared, both twice more.

    Args:
        path, before: files that `dosecheck batch` wrote.
        formulary: for names, sources in words and ranges; None leaves ids and draws no ranges.
        columns: the map that the orders were checked with.
        by: columns to count by; those named ward or prescriber when none is given.
        first: how many orders to name as those to look at first, and of two runs how many that changed.
        on: the day printed on it.
        charts: a file that `dosecheck batch charts` wrote.

    Raises:
        FileError: a file is no result, or has no such column, or one with too many values to count by.
    """
    ledger = ledger_of(path)
    formulary, said = at_hand(formulary, ledger)
    scales = Scales(formulary)
    counted_by = list(dict.fromkeys(by)) or usual_columns(path)
    tally = Tally(scales, counted_by, first)
    for frame in read_results(path, columns, counted_by):
        tally.add(frame)
        if tally.too_many:
            why = f'The column "{tally.too_many}" has more than {MOST_VALUES:,} values.'
            raise FileError(path, why, "Count by a column of groups, such as a ward.")
    sources = Sources(formulary)
    strips, drawn = _strips(tally)
    unreadable = sum(count.total() for code, count in tally.codes() if code == "unreadable")
    return Report(
        name=os.path.basename(path),
        rows=tally.rows,
        outcomes=tally.outcomes,
        unreadable=unreadable,
        on=on.isoformat() if on else "",
        fingerprint=ledger.fingerprint,
        proof=ledger.proof,
        formulary=formulary.fingerprint if formulary else "",
        first=tuple(_first(row, sources) for row in tally.first.iter_rows(named=True)),
        sources=tuple(sources.seen),
        tables=tuple(_table(name, tally.groups(name)) for name in (MEDICINE, *counted_by)),
        found=tuple(
            Found(code, CATALOGUE[code].meaning if code in CATALOGUE else "", n, rate(n.total(), tally.rows)) for code, n in tally.codes()
        ),
        pairs=_pairs(tally),
        more_pairs=max(0, len(tally.pairs()) - _PAIRS),
        strips=strips,
        drawn=drawn,
        unchecked=tuple(tally.unchecked()),
        two_runs=compare(before, path, first, columns) if before else None,
        charts=read_charts(charts, first) if charts else None,
        notices=(*notices(path, ledger, tally.outcomes, unreadable), *said),
    )


def _table(column: str, groups: list[tuple[str, Counter[str]]]) -> Table:
    lines = [Line(*group) for group in groups]
    if len(lines) <= _VALUES:
        return Table(column, tuple(lines), 0)
    rest = lines[_VALUES - 1 :]
    others = Line(f"{len(rest):,} others", sum((line.outcomes for line in rest), Counter()))
    return Table(column, (*lines[: _VALUES - 1], others), len(rest))


def _pairs(tally: Tally) -> tuple[Pair, ...]:
    rows = {medicine: outcomes.total() for medicine, outcomes in tally.groups(MEDICINE)}
    return tuple(Pair(medicine, code, rate(count, rows[medicine])) for medicine, code, count in tally.pairs()[:_PAIRS])


def _strips(tally: Tally) -> tuple[tuple[Strip, ...], int]:
    found = [strip_of(tally.scales.known[number], bars) for number, bars in tally.bars().items()]
    enough = sorted((s for s in found if s.rows >= _ENOUGH), key=lambda s: (-s.rows, s.scale.medicine, s.scale.regimen))[:_STRIPS]
    shown = sorted(enough, key=lambda s: (s.scale.medicine, s.scale.regimen))
    return tuple(shown), sum(s.rows for s in shown)


def _first(row: dict[str, Any], sources: Sources) -> First:
    about = (row["order_id"] or "", row["child_id"] or "", order_words(row), how_words(row), row["outcome"], row["times"])
    return First(row["row"], *about, row["sentence"] or "", tuple(sources.numbers(row["source"])))
