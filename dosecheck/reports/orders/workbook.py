"""The report as a workbook, one sheet for each part; identifiers and whatever was ordered stay text."""

from __future__ import annotations

import re
from collections import Counter
from decimal import Decimal
from typing import Any

from dosecheck.batch.chunk import shown
from dosecheck.printing.workbook import number_cell, openpyxl, saved, text_cell
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP
from dosecheck.reports.orders.ranges import written
from dosecheck.reports.orders.rates import Rate
from dosecheck.reports.orders.report import LONGEST_TEXT, Report
from dosecheck.reports.orders.two_runs import TwoRuns

_WIDEST = 70
_NOT_IN_A_NAME = re.compile(r"[\[\]:*?/\\]")
_RATE = ("per 100 orders", "95 % interval")
Row = list[str | int | Decimal]


def to_xlsx(report: Report) -> bytes:
    """Raises:
    DosecheckError: openpyxl is missing.
    """
    book = openpyxl("take --out NAME.html").Workbook(write_only=True)
    for name, header, rows in _sheets(report):
        _write(book, name, header, rows)
    return saved(book)


def _sheets(report: Report) -> list[tuple[str, list[str], list[Row]]]:
    sheets = [
        ("Summary", ["what", "number or text"], _summary(report)),
        ("Look first", ["outcome", "times the most", "order id", "child id", "row", "order", "how", "found", "sources"], _first(report)),
        (
            "Not checked",
            ["orders", "why", "codes", "medicines", "first rows"],
            [
                [
                    r.count,
                    "\n".join((r.kind, *r.sentences)).strip(),
                    r.codes.replace(";", "; "),
                    r.medicine_words,
                    ", ".join(map(str, r.rows)),
                ]
                for r in report.unchecked
            ],
        ),
    ]
    for table in report.tables:
        lines = [[line.name, line.rows, *_counts(line.outcomes), *_rate(line.flags)] for line in table.lines]
        sheets.append((f"By {table.column}", [table.column, "orders", *OUTCOMES, f"flags {_RATE[0]}", _RATE[1]], lines))
    pairs = [[p.medicine, p.code, p.flags.count, report.share_of_flags(p.flags.count), *_rate(p.flags)] for p in report.pairs]
    sheets.append(("Asks most", ["medicine", "code", "flags", "of all flags", *_RATE], pairs))
    found = [[f.code, *(f.outcomes[name] for name in (STOP, QUERY, NOT_CHECKED)), *_rate(f.share), f.meaning] for f in report.found]
    sheets.append(("Findings", ["code", STOP, QUERY, NOT_CHECKED, *_RATE, "meaning"], found))
    ranges = [
        [s.scale.medicine, s.scale.regimen, s.scale.range_words, s.below, s.inside, s.above, s.scale.in_words(s.furthest)]
        for s in report.strips
    ]
    sheets.append(("Ranges", ["medicine", "regimen", "range", "below", "in it", "above", "furthest"], ranges))
    if report.charts:
        header = ["outcome", "child id", "ingredient", "at", "code", "found", "rows of the file of doses"]
        found = [[c.outcome, c.child_id, c.ingredient, c.at, c.code, c.sentence, c.rows] for c in report.charts.first]
        sheets.append(("Charts", header, found))
    if report.two_runs:
        sheets.append(("Two runs", ["before", "now", "orders"], [[a, b, count] for (a, b), count in report.two_runs.table.items()]))
        sheets.append(("Changed", ["before", "now", "order id", "row", "order", "order before"], _changes(report.two_runs)))
    return sheets


def _summary(report: Report) -> list[Row]:
    rows: list[Row] = [["results", report.name], ["orders", report.rows]]
    rows += [[name, report.outcomes[name]] for name in OUTCOMES]
    rows += [["of the not-checked, could not be read", report.unreadable], ["flags per 100 orders", report.flags.per_100]]
    rows += [["95 % interval", report.flags.interval]]
    rows += [[f"{name}: not among those to look at first", report.not_first[name]] for name in (STOP, QUERY)]
    if report.two_runs:
        runs = report.two_runs
        rows += [["compared with", runs.before], ["in both", runs.matched], ["outcome changed", runs.changed], ["new", runs.new.count]]
        rows += [["gone", runs.gone.count], ["ids that stand more than once", runs.twice.words]]
    rows += [["figures of the check, formulary", report.fingerprint], ["names, sources and ranges, formulary", report.formulary]]
    rows += [["ledger", report.proof]]
    if report.charts:
        count = report.charts.outcomes.total()
        rows += [["findings of charts", count], ["findings of charts: not in the sheet Charts", count - len(report.charts.first)]]
    rows += [["notice", notice] for notice in report.notices]
    return [*rows, ["caution", report.caution], ["earlier doses", "Each order was checked alone: doses given before are not in it."]]


def _first(report: Report) -> list[Row]:
    rows: list[Row] = []
    for each in report.first:
        times = "" if each.times is None else Decimal(written(each.times).replace(",", ""))
        sources = "\n".join(report.sources[number - 1] for number in each.sources)
        rows.append([each.outcome, times, each.order_id, each.child_id, each.row, each.order, each.how, each.sentence, sources])
    return rows


def _changes(runs: TwoRuns) -> list[Row]:
    return [[c.before, c.after, c.order_id or "", c.row, c.order, c.was] for c in runs.changes]


def _counts(outcomes: Counter[str]) -> list[int]:
    return [outcomes[name] for name in OUTCOMES]


def _rate(each: Rate) -> Row:
    return [Decimal(each.per_100) if each.per_100 else "", each.interval]


def _write(book: Any, name: str, header: list[str], rows: list[Row]) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    page = book.create_sheet(_NOT_IN_A_NAME.sub(" ", shown(name, 31))[:31])
    page.freeze_panes = "A2"
    wrap, top = Alignment(wrap_text=True, vertical="top"), Alignment(vertical="top")
    for at, title in enumerate(header):
        longest = max((len(line) for row in rows for line in str(row[at]).split("\n")), default=0)
        page.column_dimensions[get_column_letter(at + 1)].width = max(len(title) + 4, min(longest + 2, _WIDEST))
    page.append([text_cell(page, _plain(title), Font(bold=True), top, PatternFill("solid", fgColor="E7E6E6")) for title in header])
    for row in rows:
        page.append([text_cell(page, _plain(v), None, wrap) if isinstance(v, str) else number_cell(page, v, top) for v in row])
    page.auto_filter.ref = f"A1:{get_column_letter(len(header))}{len(rows) + 1}"


def _plain(text: str) -> str:
    """Lines of our own are kept; whatever else is hidden is written out."""
    return "\n".join(shown(line, LONGEST_TEXT) for line in text.split("\n"))
