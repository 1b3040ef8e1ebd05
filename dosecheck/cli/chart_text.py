"""A chart's answer as plain text in 80 columns: the outcome, each order, and each ingredient's 24 hours as bars."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

from dosecheck.cli.text import WIDTH, Sources, block, foot, heading, next_text, wrapped
from dosecheck.rules.chart import ALONE, ChartVerdict, Ordered
from dosecheck.rules.chart_blocks import Block, Row
from dosecheck.showing import show

_BAR, _BEYOND, _LEAST = 20, 4, 4


def chart_text(verdict: ChartVerdict) -> str:
    """The whole answer."""
    sources = Sources()
    parts = [heading(wrapped(verdict.headline)), _who(verdict)]
    parts.append(block("Why, of the chart", [f.message for f in verdict.findings if f.outcome]))
    parts += [_order(each, sources) for each in verdict.orders]
    parts += [_ingredient(each) for each in verdict.blocks]
    parts.append(wrapped(ALONE) if len(verdict.blocks) > 1 else "")
    parts.append(block("Not checked", dict.fromkeys(line for each in verdict.orders for line in each.verdict.not_checked)))
    parts.append(block("Notes", dict.fromkeys(f.message for each in verdict.orders for f in each.verdict.findings if not f.outcome)))
    parts.append(sources.text())
    parts.append(foot(verdict.formulary, verdict.caution))
    return "\n\n".join(part for part in parts if part)


def _who(verdict: ChartVerdict) -> str:
    child = [verdict.child_id] + [verdict.child[name] for name in ("age", "weight") if name in verdict.child]
    child += [f"{name} {verdict.child[name]}" for name in ("weighed", "born", "gestation", "height") if name in verdict.child]
    told = "doses given: not told" if verdict.given is None else f"doses given: {verdict.given or 'none'}"
    lines = (
        ("Child", ", ".join(filter(None, child)) or "nothing told"),
        ("Now", verdict.now),
        ("Chart", f"current orders: {len(verdict.orders) or 'none'}; {told}"),
    )
    return "\n".join(wrapped(text, f"  {label:7}") for label, text in lines)


def _order(each: Ordered, sources: Sources) -> str:
    """One order: what it is, its outcome in capitals, why, and its next dose."""
    told = each.verdict.understood
    what = [told.get(name, "") for name in ("medicine", "route", "for", "dose", "how_often", "product")]
    lines = [
        heading(wrapped(f"{each.name}, {each.order.medicine or 'no medicine'}: {each.verdict.outcome.upper().replace('-', ' ')}")),
        wrapped("; ".join(filter(None, what)), "  "),
    ]
    reasons = [f for f in each.verdict.findings if f.outcome and f.code != "given-medicine-unknown"]  # that is told of the chart
    lines += [wrapped(f"{f.message}{sources.mark(f.source)}", "  - ") for f in reasons]
    if each.verdict.next_dose:
        lines.append(wrapped(f"Next dose by the doses given: {next_text(_words(each))}.", "  "))
    elif each.verdict.earlier is not None:
        lines.append(wrapped(f"Next dose by the doses given: {each.verdict.next_dose_withheld or 'cannot be said.'}", "  "))
    if each.verdict.working:
        lines += ["  Working:", *(wrapped(step.text, "    - ") for step in each.verdict.working)]
    return "\n".join(dict.fromkeys(lines))


def _words(each: Ordered) -> dict[str, str]:
    from dosecheck.rules.present import next_in_words

    return next_in_words(each.verdict.next_dose)


def _ingredient(each: Block) -> str:
    """The 24 hours to now: each dose with the running total of 24 hours, and a bar for the nearest daily limit."""
    lines = [heading(f"{each.ingredient}, the 24 hours to now")]
    total = f", {each.total_in_words}" if each.total_in_words not in ("", "not known") else ""
    given = f"Given: {each.count} dose{'s' * (each.count != 1)}{total}; the last {each.last}." if each.last else "Given: none told."
    lines.append(wrapped(given + (f" At most: {each.ceiling.words}." if each.ceiling.words else " No daily limit is read here."), "  "))
    lines += _table(each)
    return "\n".join(lines)


def _table(each: Block) -> list[str]:
    """One line a dose: when, how much, the bar, the total and the number of the 24 hours to then; a note below if need be."""
    cells = [(row.clock, show(row.amount) if row.amount else "not known", row.total_in_words, _number(row, each)) for row in each.rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    room = min(WIDTH - sum(widths) - 10 - _BEYOND - 1, _BAR)
    lines = []
    for row, (clock, amount, total, number) in zip(each.rows, cells, strict=True):
        bar = f"  {_bar(row.share, room)}" if row.share is not None and room >= _LEAST else ""
        line = f"  {clock:<{widths[0]}}  {amount:>{widths[1]}}{bar}  {total:>{widths[2]}}  {number:<{widths[3]}}  {row.note}".rstrip()
        lines += [line] if len(line) <= WIDTH else [line.removesuffix(row.note).rstrip(), f"  {'':<{widths[0]}}  {row.note}"]
    if any(row.share is not None for row in each.rows) and room >= _LEAST:
        lines.append("  Bar: the 24 hours to then, against the nearest daily limit, which is the |.")
    return lines


def _number(row: Row, each: Block) -> str:
    return f"{row.count} of {each.ceiling.count}" if each.ceiling.count else str(row.count)


def _bar(share: Fraction, room: int) -> str:
    """`#` up to the limit `|`, and `!` beyond it; a part of a mark counts as a whole one."""
    marks = ceil(share * room)
    over = min(marks - room, _BEYOND) if marks > room else 0
    return "#" * min(marks, room) + "." * (room - marks) + "|" + "!" * over + " " * (_BEYOND - over)
