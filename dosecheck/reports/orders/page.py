"""The report as one self-contained page for screens and paper: no script, nothing fetched; all text of orders is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path

from dosecheck.batch.chunk import shown
from dosecheck.batch.texts import not_read
from dosecheck.formulary.folder import VERSION
from dosecheck.printing.templates import ours, style, template, whole
from dosecheck.records import NOT_CHECKED, OUTCOMES, QUERY, STOP, WITHIN
from dosecheck.reports.orders.ranges import Scale
from dosecheck.reports.orders.rates import SOURCE, Rate
from dosecheck.reports.orders.reasons import Reason
from dosecheck.reports.orders.report import LONGEST_TEXT, Report, Table
from dosecheck.reports.orders.strips import strip_picture, whisker

_FOLDER = Path(__file__).parent
_REASONS = 25  # why not checked, and as many kinds of what cannot be read; the workbook has all
_SHOWN_FIRST = (STOP, QUERY, NOT_CHECKED, WITHIN)
_CALLED = {STOP: "STOP", QUERY: "QUERY", NOT_CHECKED: "NOT CHECKED", WITHIN: "WITHIN"}


def to_html(report: Report) -> str:
    """The whole page as text."""
    return template(_FOLDER / "report.html").render(
        report=report,
        style=style(_FOLDER / "report.css"),
        called=_CALLED,
        outcomes=_SHOWN_FIRST,
        table_outcomes=OUTCOMES,
        pictures=[(strip, ours(strip_picture(strip, _title(strip.scale), f"k{n}"))) for n, strip in enumerate(report.strips)],
        whisker=lambda each, table: ours(whisker(each, _most(table))),
        interval_source=SOURCE,
        named=_named(report.unchecked),
        not_read=not_read(""),
        shown=partial(shown, most=LONGEST_TEXT),
        whole=whole,
        version=VERSION,
    )


def _named(reasons: Sequence[Reason]) -> list[Reason]:
    """The commonest, in the order given; what cannot be read is counted apart, as its rare kinds are those to be mended."""
    kinds = [reason for reason in reasons if reason.kind][:_REASONS]
    others = [reason for reason in reasons if not reason.kind][:_REASONS]
    return [reason for reason in reasons if reason in (*kinds, *others)]


def _title(scale: Scale) -> str:
    return f"{scale.medicine}, {scale.regimen}"


def _most(table: Table) -> Fraction:
    """Where the line of a table's rates ends: the highest upper end of lines with 20 orders or more, or of all."""
    ends = [line.flags for line in table.lines if line.rows >= 20] or [line.flags for line in table.lines]
    return max((Fraction(each.high) for each in ends if isinstance(each, Rate) and each.high is not None), default=Fraction(0))
