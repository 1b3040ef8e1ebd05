"""The 24 hours of a chart as a picture: for each ingredient its doses on a line of time, and how full the day is.

Words and shapes before colour: a filled circle was given, an open diamond is ordered, a triangle is the next dose, and a
hatched stretch is too soon.  Readable at 320 px; amounts and units stand in one piece.
"""

from __future__ import annotations

from dosecheck.printing.svg import MARGIN, WIDTH, Page
from dosecheck.rules.chart import ALONE, ChartVerdict
from dosecheck.rules.chart_blocks import Block, Row
from dosecheck.rules.present import next_in_words
from dosecheck.rules.windows import DAY, Seconds
from dosecheck.showing import show

_RIGHT = WIDTH - MARGIN
_HOUR = 3600
_SHORT = {"stop": "STOP", "query": "QUERY", "not-checked": "NOT CHECKED", "within": "WITHIN"}
_BAR, _OVER, _LETTER = 190, 20, 8  # px: a bar up to its limit, what may stick out, a letter of a label
_LEGEND = "Circle: given. Diamond: ordered, if given now. Triangle: next dose. Hatched: too soon after the last dose."
_INK, _FILL = "#111", "#3b6ea5"


def timeline_svg(verdict: ChartVerdict) -> str:
    """A self-contained SVG of the whole chart."""
    page = Page()
    page.line(_SHORT[verdict.outcome], size=24, weight="bold", step=34)
    page.y += 4
    page.lines(verdict.headline.partition(": ")[2] or verdict.headline)
    who = [verdict.child_id] + [verdict.child[name] for name in ("age", "weight") if name in verdict.child]
    page.lines(", ".join(filter(None, who)), font_weight="bold") if any(who) else None
    page.lines(f"at {verdict.now}")
    for finding in verdict.findings:
        page.lines(f"{_SHORT[finding.outcome]}: {finding.message}") if finding.outcome else None
    for block in verdict.blocks:
        _block(page, block, verdict)
    _without_block(page, verdict)
    page.y += 8
    page.lines(_LEGEND, size=11)
    page.lines(ALONE, size=11) if len(verdict.blocks) > 1 else None
    page.lines(verdict.caution, size=11)
    return page.whole(f"{_SHORT[verdict.outcome]}: doses of 24 hours", _description(verdict))


def _description(verdict: ChartVerdict) -> str:
    """The picture in words, for who cannot see it."""
    said = [verdict.headline, f"At {verdict.now}."]
    for block in verdict.blocks:
        rows = "; ".join(f"{row.clock} {show(row.amount) if row.amount else 'amount not known'}" for row in block.rows if not row.planned)
        said.append(f"{block.ingredient}: {rows or 'no dose given in the last 24 hours'}.")
        said += [f"{name}: {outcome}. {_next(next_)}." for name, outcome, next_ in block.ordered]
    return " ".join(said)


def _next(found) -> str:
    if found is None:
        return "Next dose: cannot be said"
    words = next_in_words(found)
    return f"Next dose: {words['earliest']}" + (f", at most {words['measured'] or words['most']}" if words["most"] else "")


def _without_block(page: Page, verdict: ChartVerdict) -> None:
    """Orders of which no ingredient is known: never left out of the picture."""
    shown = {name for block in verdict.blocks for name, _, _ in block.ordered}
    for each in verdict.orders:
        if each.name not in shown:
            page.line(each.order.medicine or "no medicine", size=18, weight="bold", step=30)
            _order(page, verdict, each.name, each.verdict.outcome)


def _block(page: Page, block: Block, verdict: ChartVerdict) -> None:
    page.y += 14
    page.shape("line", x1=MARGIN, y1=page.y, x2=_RIGHT, y2=page.y, stroke=_INK, stroke_width=2)
    page.line(block.ingredient, size=18, weight="bold", step=24)
    for name, outcome, found in block.ordered:
        _order(page, verdict, name, outcome)
        page.lines(_next(found) + ".", font_weight="bold")
    _strip(page, block, verdict)
    labels = [_total(row, block) for row in block.rows]
    full = min(_BAR, WIDTH - 2 * MARGIN - _OVER - _LETTER * max(map(len, labels), default=0))
    for row, label in zip(block.rows, labels, strict=True):
        _row(page, row, label, full)
    if any(row.share is not None for row in block.rows):
        page.lines(f"Bars: the 24 hours to then, against {block.ceiling.words}, whichever is nearer.", size=11)


def _order(page: Page, verdict: ChartVerdict, name: str, outcome: str) -> None:
    _badge(page, name, outcome)
    page.y += 2
    for reason in _reasons(verdict, name):
        page.lines(reason)


def _reasons(verdict: ChartVerdict, name: str) -> list[str]:
    """The first of what stands against an order; the text has all."""
    each = next(each for each in verdict.orders if each.name == name)
    return [f.message for f in each.verdict.findings if f.outcome and f.code != "given-medicine-unknown"][:1]


def _badge(page: Page, name: str, outcome: str) -> None:
    """The outcome in words inside a frame: filled for a stop, dashed where it was not checked."""
    word = _SHORT[outcome]
    width = 12 + 9.5 * len(word)
    page.y += 8
    dash = {"stroke_dasharray": "4 3"} if outcome == "not-checked" else {}
    fill = _INK if outcome == "stop" else "#fff"
    page.shape(
        "rect", x=MARGIN, y=page.y, width=width, height=20, fill=fill, stroke=_INK, stroke_width=1 if outcome == "within" else 2, **dash
    )
    page.text(word, MARGIN + 6, page.y + 15, weight="bold", fill="#fff" if outcome == "stop" else _INK)
    page.text(name, MARGIN + width + 8, page.y + 15)
    page.y += 20


# ---- the line of time ----


def _strip(page: Page, block: Block, verdict: ChartVerdict) -> None:
    """From 24 hours before now to at least 6 hours after it."""
    ends = [found.at for _, _, found in block.ordered if found] + [block.gap_ends or 0]
    last = min(max(6 * _HOUR, *(end + 2 * _HOUR for end in ends)), DAY)

    def x(moment: Seconds) -> float:
        return round(float(MARGIN + 6 + (moment + DAY) * (_RIGHT - MARGIN - 12) / (DAY + last)), 1)

    top = page.y + 22
    axis = top + 18
    if block.gap_ends is not None and block.gap_ends > -DAY:
        start = max(-DAY, max(row.moment for row in block.rows if not row.planned)) if any(not row.planned for row in block.rows) else 0
        stop = min(block.gap_ends, last)
        page.shape("rect", x=x(start), y=axis - 9, width=round(x(stop) - x(start), 1), height=18, fill="url(#hatch)", stroke="#555")
    page.shape("line", x1=x(-DAY), y1=axis, x2=x(last), y2=axis, stroke=_INK)
    page.shape("line", x1=x(0), y1=top - 6, x2=x(0), y2=axis + 14, stroke=_INK, stroke_width=2)
    page.text("now", x(0), top - 9, size=11, weight="bold", text_anchor="middle")
    for hours in (-24, -18, -12, -6):
        page.shape("line", x1=x(hours * _HOUR), y1=axis - 4, x2=x(hours * _HOUR), y2=axis + 4, stroke=_INK)
        anchor = "start" if hours == -24 else "middle"
        page.text(f"{-hours} h", x(hours * _HOUR) - (4 if hours == -24 else 0), axis + 26, size=11, text_anchor=anchor)
    page.text("ago", x(-3 * _HOUR), axis + 26, size=11, text_anchor="middle")
    for row in block.rows:
        _mark(page, row, x, axis)
    for at in dict.fromkeys(found.at for _, _, found in block.ordered if found and 0 < found.at <= last):
        page.shape("path", d=f"M{x(at)} {axis - 7}l6 13h-12z", fill="#fff", stroke=_INK, stroke_width=2)
        page.text("next", x(at), axis + 26, size=11, text_anchor="middle")
    page.y = axis + 34


def _mark(page: Page, row: Row, x, axis: float) -> None:
    if row.planned:
        page.shape("path", d=f"M{x(0)} {axis - 7}l7 7l-7 7l-7 -7z", fill="#fff", stroke=_INK, stroke_width=2)
        return
    if row.first != row.moment:
        page.shape("line", x1=x(max(row.first, -DAY)), y1=axis, x2=x(row.moment), y2=axis, stroke=_INK, stroke_width=5)
    page.shape("circle", cx=x(row.moment), cy=axis, r=5, fill=_FILL, stroke=_INK)


# ---- one dose ----


def _total(row: Row, block: Block) -> str:
    """ "490 mg, 2 of 4"; "!" marks what is above a limit."""
    of = f"{row.count} of {block.ceiling.count}" if block.ceiling.count else f"{row.count} dose{'s' * (row.count != 1)}"
    return f"{row.total_in_words}, {of}" + (" !" if row.share is not None and row.share > 1 else "")


def _row(page: Page, row: Row, label: str, full: float) -> None:
    """When and how much; below it the bar, `full` px up to the limit, with the running total of 24 hours."""
    amount = show(row.amount) if row.amount else "amount not known"
    page.line(f"{row.clock}, {amount}", weight="bold", step=20)
    if row.note:
        page.line(row.note, size=11, step=14)
    page.y += 18
    page.text(label, _RIGHT, text_anchor="end")
    if row.share is None or full < 40:
        return
    top, share = page.y - 11, float(round(row.share * int(full), 1))
    page.shape("rect", x=MARGIN, y=top, width=min(share, full), height=11, fill="#fff" if row.planned else _FILL, stroke=_INK)
    if share > full:
        page.shape("rect", x=MARGIN + full, y=top, width=min(share - full, _OVER), height=11, fill="url(#hatch)", stroke=_INK)
    page.shape("line", x1=MARGIN + full, y1=top - 3, x2=MARGIN + full, y2=top + 14, stroke=_INK, stroke_width=3)
