"""The orders of one regimen as a strip: how many at which dose, against the range that the regimen gives.

Bars are filled by outcome as in the other pictures: within grey, query dotted, stop cross-hatched, not checked white.  The
range is a band between two lines, with its figures in words; three numbers say how many lie below, in and above it.  What
lies beyond twice the upper end stands in one bar at the edge, with its number and the furthest.  Heights and places are
reckoned from whole numbers and rounded only to pixels.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.sax.saxutils import escape

import polars as pl

from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.reports.orders.ranges import STEPS, Scale, written
from dosecheck.reports.orders.rates import Rate

_WIDTH, _HEIGHT = 360, 172
_LEFT, _RIGHT, _EDGE = 10, 316, 350  # the axis ends at _RIGHT; beyond it the bar at the edge
_TOP, _BOTTOM = 50, 130
_FITS = 600  # of a line across the picture: its characters times its size
_LEAST = 3  # px: one order among thousands is still seen
_STACK = (WITHIN, NOT_CHECKED, QUERY, STOP)


class Strip(NamedTuple):
    """What a strip shows, in numbers: rows below, in and above the range; beyond the axis, and the furthest of all."""

    scale: Scale
    below: int
    inside: int
    above: int
    beyond: int
    furthest: int
    bars: dict[int, dict[str, int]]

    @property
    def rows(self) -> int:
        return self.below + self.inside + self.above

    @property
    def words(self) -> str:
        """The picture in one sentence."""
        low = f"{self.below:,} below, " if self.scale.low else ""
        inside = "in the range" if self.scale.low else "up to it"
        far = f"; {self.beyond:,} beyond {self.scale.in_words(2 * self.scale.high)}" if self.beyond else ""
        ends = f"The range is {self.scale.range_words}" if self.scale.unit else "The line is the most for one dose"
        return f"{ends}: {low}{self.inside:,} {inside}, {self.above:,} above{far}. The furthest is {self.scale.in_words(self.furthest)}."


def strip_of(scale: Scale, bars: pl.DataFrame) -> Strip:
    """Args: bars: `zone`, `bar`, `outcome`, `len`, `value` of one scale, as the tally counts them."""
    zones, heights = {-1: 0, 0: 0, 1: 0}, {}
    for zone, bar, outcome, count in bars.select("zone", "bar", "outcome", "len").iter_rows():
        zones[zone] += count
        here = heights.setdefault(bar, {})
        here[outcome] = here.get(outcome, 0) + count
    return Strip(scale, zones[-1], zones[0], zones[1], sum(heights.get(2 * STEPS, {}).values()), bars["value"].max(), heights)


def strip_picture(strip: Strip, title: str, key: str) -> str:
    """The picture as an SVG element.

    Args:
        key: letters and digits, another for each picture on a page.
    """
    return "".join((*_head(strip, title, key), *_range(strip.scale), *_counts(strip), *_bars(strip, key), *_axis(strip), "</svg>"))


def _head(strip: Strip, title: str, key: str) -> Iterator[str]:
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" height="{_HEIGHT}" role="img" '
        f'aria-labelledby="{key}-t {key}-d" font-family="Liberation Sans, Arial, DejaVu Sans, sans-serif" font-size="12" fill="#111">'
        f'<title id="{key}-t">{escape(title)}</title><desc id="{key}-d">{escape(strip.words)}</desc>'
        f'<defs><pattern id="{key}-s" width="5" height="5" patternUnits="userSpaceOnUse"><path class="hatch" d="M0 0L5 5M5 0L0 5" stroke="#333" stroke-width="1.1"/></pattern>'
        f'<pattern id="{key}-q" width="4" height="4" patternUnits="userSpaceOnUse"><circle class="ink" cx="2" cy="2" r="1" fill="#111"/></pattern></defs>'
        f'<rect class="paper" width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>'
    )


def _x(value: int, scale: Scale) -> Fraction:
    return _LEFT + Fraction(value * (_RIGHT - _LEFT), 2 * scale.high)


def _range(scale: Scale) -> Iterator[str]:
    """The band, its two lines, and its figures below it."""
    left, right = _x(scale.low or 0, scale), _x(scale.high, scale)
    yield f'<rect class="band" x="{_px(left)}" y="{_TOP - 6}" width="{_px(right - left)}" height="{_BOTTOM - _TOP + 6}" fill="#e4e4e4"/>'
    for x in [left, right] if scale.low else [right]:
        yield f'<path class="ink" d="M{_px(x)} {_TOP - 6}V{_BOTTOM + 6}" stroke="#111" stroke-width="1.6"/>'
    yield _text(scale.range_words, (left + right) / 2 if scale.low else right, _BOTTOM + 19, "middle", 12, True)


def _counts(strip: Strip) -> Iterator[str]:
    """Three numbers, large, with what they count."""
    inside = "in the range" if strip.scale.low else "up to the most"
    places = [(_LEFT, "start", strip.below, "below")] if strip.scale.low else []
    middle = (150, "middle") if strip.scale.low else (_LEFT, "start")
    places += [(*middle, strip.inside, inside), (_EDGE, "end", strip.above, "above")]
    for x, anchor, count, what in places:
        yield _text(f"{count:,}", x, 18, anchor, 19, True) + _text(what, x, 33, anchor, 12, False)


def _bars(strip: Strip, key: str) -> Iterator[str]:
    fills = {WITHIN: "#999", NOT_CHECKED: "#fff", QUERY: f"url(#{key}-q)", STOP: f"url(#{key}-s)"}
    tallest = max(sum(here.values()) for here in strip.bars.values())
    width = Fraction(_RIGHT - _LEFT, 2 * STEPS)
    for bar, here in sorted(strip.bars.items()):
        left, wide = (Fraction(_RIGHT + 12), Fraction(_EDGE - _RIGHT - 12)) if bar == 2 * STEPS else (_LEFT + bar * width, width)
        y = Fraction(_BOTTOM)
        for outcome in _STACK:
            if count := here.get(outcome):
                tall = max(Fraction(count * (_BOTTOM - _TOP - 6), tallest), Fraction(_LEAST))
                y -= tall
                box = f'x="{_px(left + Fraction(1, 2))}" y="{_px(y)}" width="{_px(wide - 1)}" height="{_px(tall)}"'
                ground = "" if outcome in (WITHIN, NOT_CHECKED) else f'<rect class="paper" {box} fill="#fff"/>'
                kind = {WITHIN: "fill", NOT_CHECKED: "paper"}.get(outcome, "pattern")
                yield f'{ground}<rect class="{kind} edge" {box} fill="{fills[outcome]}" stroke="#111" stroke-width="0.8"/>'


def _axis(strip: Strip) -> Iterator[str]:
    scale, y = strip.scale, _BOTTOM + 19
    yield f'<path class="ink" d="M{_LEFT} {_BOTTOM}H{_RIGHT}" stroke="#111"/>'
    yield _text("0", _LEFT, y, "start", 12, False)
    if strip.beyond:
        yield f'<path class="ink" d="M{_RIGHT + 12} {_BOTTOM}H{_EDGE}" stroke="#111"/>'
        far = f"at the edge: {strip.beyond:,} beyond {written(2 * scale.high)}, the furthest {scale.in_words(strip.furthest)}"
        yield _text(far, _EDGE, _HEIGHT - 6, "end", min(11.5, round(_FITS / len(far), 1)), False)
    else:
        yield _text(scale.in_words(2 * scale.high), _RIGHT, y, "end", 12, False)


def _text(words: str, x: Fraction | int, y: int, anchor: str, size: float, bold: bool) -> str:
    more = (f' text-anchor="{anchor}"' if anchor != "start" else "") + (' font-weight="bold"' if bold else "")
    return f'<text class="ink" x="{_px(Fraction(x))}" y="{y}" font-size="{size:g}"{more}>{escape(words)}</text>'


def _px(value: Fraction) -> str:
    return f"{float(round(value, 1)):g}"


def whisker(rate: Rate, most: Fraction) -> str:
    """The rate as a dot on its interval, on a line from 0 to `most` of 1; an end beyond the line has no cap.  For the eye alone."""
    if rate.low is None or rate.high is None or not most:
        return ""
    low, dot, high = (100 * min(Fraction(each) / most, Fraction(1)) for each in (rate.low, Fraction(rate.count, rate.rows), rate.high))
    cap = "" if Fraction(rate.high) > most else f"M{_px(high)} 2v8"
    return (
        '<svg class="whisker" viewBox="-4 0 108 12" width="108" height="12" aria-hidden="true"><path class="faint" d="M0 6H100" stroke="#bbb"/>'
        f'<path class="ink" d="M{_px(low)} 6H{_px(high)}M{_px(low)} 2v8{cap}" stroke="#111" stroke-width="1.2"/>'
        f'<circle class="ink" cx="{_px(dot)}" cy="6" r="2.6" fill="#111"/></svg>'
    )
