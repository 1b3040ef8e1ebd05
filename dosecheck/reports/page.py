"""The sheet as one self-contained page: no outside request, no script, one style for screens and paper."""

from __future__ import annotations

from pathlib import Path

from dosecheck.formulary.folder import VERSION
from dosecheck.printing.templates import style, template
from dosecheck.reports.rows import Row
from dosecheck.reports.sheet import Part, Sheet

_FOLDER = Path(__file__).parent
_OTHERS = ("born", "gestation", "height", "sex", "kidneys")


SIZES = ("7.6", "7.2", "6.8", "6.4", "6", "5.6", "5.2")  # points of the page's unit in print; the first that fits one page


def to_html(sheet: Sheet, size: str = SIZES[3], back: str = "") -> str:
    """The whole page as text; everything that came from outside is escaped.

    Args:
        size: of print; the screen has its own.
        back: where a link at the top leads to; none on paper, and none where it is left out.
    """
    weight, _, _ = sheet.understood["weight"].partition(", ")
    return template(_FOLDER / "sheet.html").render(
        sheet=sheet,
        halves=_halves(sheet.parts),
        weight=weight,
        how_weighed=_how_weighed(sheet),
        others=_others(sheet),
        style=style(_FOLDER / "sheet.css"),
        size=size,
        back=back,
        version=VERSION,
    )


def _how_weighed(sheet: Sheet) -> str:
    """ "measured on 2026-05-04; z -0.36, 36th centile (WHO, girls)"."""
    how = "how it was got is not told" if sheet.weight_is == "not told" else sheet.weight_is
    when = sheet.understood.get("weighed")
    known = [f"{how} on {when}" if when else f"{how}, without a date", sheet.understood.get("weight_for_age", "")]
    return "; ".join(filter(None, known))


def _others(sheet: Sheet) -> list[tuple[str, str]]:
    return [(name.capitalize(), sheet.understood[name]) for name in _OTHERS if name in sheet.understood]


def _halves(parts: tuple[Part, ...]) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """The sections in two columns of about the same height, in order."""
    heights = [2 + sum(map(_height, part.rows)) for part in parts]
    cut = min(range(len(parts) + 1), key=lambda n: abs(sum(heights[:n]) - sum(heights[n:])))
    return parts[:cut], parts[cut:]


def _height(row: Row) -> float:
    """About how many lines a row takes."""
    small = " ".join((*row.working, *row.keep, *row.doubts, *row.why_not, *(source.place for source in row.sources)))
    return 2 + len(small) / 100 + sum(1.3 + len(result.note) / 70 for result in row.results)
