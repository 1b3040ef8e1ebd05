"""Dose against weight as a picture: what is within, a query or a stop, for one regimen or the bands of one table.

Words and hatching before colour: greys alone, "STOP" cross-hatched, "query" dotted, the figures' own range filled, a maximum
as a labelled line with the weight from which it holds.  The corners are exact (`rules/outline.py`) and rounded only to
pixels.  Self-contained, for a page or a file of its own; every name in it begins with `key`, so that many stand on one page.
A page may recolour the classes `paper`, `ink`, `range` and `hatch`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

from dosecheck.quantity import UNITS, Quantity, factor
from dosecheck.rules.outline import KG, Outline, Point
from dosecheck.showing import show, show_as_asked

WIDTH, HEIGHT = 360, 232
_RIGHT, _TOP, _BOTTOM = 338, 8, 162
_LETTER = Fraction(31, 5)  # px: a letter of a label in 11 px
_ROOM = Fraction(27, 20)  # the dose axis goes this far above the highest stop
_MOST_LABELS = 8


class Mark(NamedTuple):
    """One order in the picture: where it lies, in base units, and what to call it."""

    weight: Fraction
    dose: Fraction
    words: str


class _Scale(NamedTuple):
    """From base units to pixels."""

    weights: tuple[Fraction, Fraction]
    top: Fraction
    left: Fraction

    def x(self, weight: Fraction) -> Fraction:
        low, high = self.weights
        return self.left + (weight - low) * (_RIGHT - self.left) / (high - low)

    def y(self, dose: Fraction) -> Fraction:
        return _BOTTOM - min(dose, self.top) * (_BOTTOM - _TOP) / self.top

    def path(self, points: list[Point]) -> str:
        return " ".join(f"{_px(self.x(weight))},{_px(self.y(dose))}" for weight, dose in points)


def dose_picture(pieces: list[Outline], title: str, figure: str, key: str, mark: Mark | None = None) -> str:
    """The picture as an SVG element.

    Args:
        pieces: outlines side by side on the weight axis, lightest first; one, unless a table gives bands of weight.
        title: what it is of, for readers by ear and eye; `figure`: the dose in words, such as "15 mg/kg".
        key: letters and digits, another for each picture on a page.
        mark: an order to be shown where it lies.
    """
    tops = [dose for piece in pieces for _, dose in piece.stop] + ([mark.dose] if mark else [])
    doses = _dose_ticks(pieces[0], max(tops) * _ROOM)
    left = 12 + max(len(words) for _, words in doses) * _LETTER
    scale = _Scale((pieces[0].weights[0], pieces[-1].weights[1]), max(tops) * _ROOM, left)
    parts = [
        *_head(title, describe(pieces, figure), key),
        *(shape for piece in pieces for shape in _areas(piece, scale, key)),
        *_axes(scale, doses),
        *_plate("STOP", left + 8, Fraction(_TOP + 13), "start", scale, bold=True),
        *(_labels(pieces[0], scale, figure) if len(pieces) == 1 else _steps(pieces, scale)),
        *(_mark(mark, scale) if mark else ()),
        *_legend(pieces, key),
        "</svg>",
    ]
    return "".join(parts)


def describe(pieces: list[Outline], figure: str) -> str:
    """The picture in words: the figure, each corner, what is above and below."""
    said = [figure] if figure else []
    for piece in pieces:
        said.append("Most for one dose: " + ", ".join(_corner(piece, point) for point in piece.high))
        said += [f"{cap.limit.name} {cap.limit.text} from {show(cap.binds)}" for cap in piece.caps]
    said.append("Above this a query, further above a stop" if any(p.high != p.stop for p in pieces) else "Above this a stop")
    said.append("below the range a query" if any(p.low for p in pieces) else "the source gives no low end")
    return ". ".join(said[:-1]) + f"; {said[-1]}."


def _corner(piece: Outline, point: Point) -> str:
    return f"{show(piece.quantity(point[1]), down=True)} at {show(_kg(point[0]))}"


def _kg(weight: Fraction) -> Quantity:
    return Quantity(weight, "weight", "kg")


# ---- pixels and marks ----


def _px(value: Fraction | int) -> str:
    return f"{float(round(value, 1)):g}"


def _text(words: str, x: Fraction | int, y: Fraction | int, anchor: str = "start", bold: bool = False) -> str:
    more = (f' text-anchor="{anchor}"' if anchor != "start" else "") + (' font-weight="bold"' if bold else "")
    return f'<text class="ink" x="{_px(x)}" y="{_px(y)}"{more}>{escape(words)}</text>'


def _plate(words: str, x: Fraction, y: Fraction, anchor: str, scale: _Scale, bold: bool = False) -> Iterator[str]:
    """A label on a ground of its own, kept inside the picture."""
    width = len(words) * _LETTER + 6
    left = {"start": x - 3, "end": x + 3 - width, "middle": x - width / 2}[anchor]
    left = max(scale.left + 1, min(left, _RIGHT - width))
    yield f'<rect class="paper" x="{_px(left)}" y="{_px(y - 10)}" width="{_px(width)}" height="13" fill="#fff"/>'
    yield _text(words, left + width / 2, y, "middle", bold)


def _line(x1: Fraction | int, y1: Fraction | int, x2: Fraction | int, y2: Fraction | int, more: str = "") -> str:
    return f'<path class="ink" d="M{_px(x1)} {_px(y1)}L{_px(x2)} {_px(y2)}" stroke="#111"{more}/>'


def _head(title: str, description: str, key: str) -> Iterator[str]:
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" '
        f'aria-labelledby="{key}-t {key}-d" font-family="Liberation Sans, Arial, DejaVu Sans, sans-serif" font-size="11" fill="#111">'
    )
    yield f'<title id="{key}-t">{escape(title)}</title><desc id="{key}-d">{escape(description)}</desc>'
    yield (
        f'<defs><pattern id="{key}-s" width="6" height="6" patternUnits="userSpaceOnUse"><path class="hatch" d="M0 0L6 6M6 0L0 6" stroke="#777"/></pattern>'
        f'<pattern id="{key}-q" width="5" height="5" patternUnits="userSpaceOnUse"><circle class="ink" cx="2" cy="2" r="1.1" fill="#111"/></pattern></defs>'
    )
    yield f'<rect class="paper" width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>'


def _areas(piece: Outline, scale: _Scale, key: str) -> Iterator[str]:
    """Stop, query and within, each between two lines; the most as a heavy line."""
    start, end = piece.weights
    ceiling = [(end, scale.top), (start, scale.top)]
    floor = list(reversed(piece.low)) or [(end, Fraction(0)), (start, Fraction(0))]
    yield f'<polygon points="{scale.path([*piece.stop, *ceiling])}" fill="url(#{key}-s)"/>'
    if piece.high != piece.stop:
        yield f'<polygon points="{scale.path([*piece.high, *reversed(piece.stop)])}" fill="url(#{key}-q)"/>'
    yield f'<polygon class="range" points="{scale.path([*piece.high, *floor])}" fill="#ccc"/>'
    yield f'<polyline class="ink" points="{scale.path(list(piece.high))}" fill="none" stroke="#111" stroke-width="2.2"/>'
    if piece.low:
        yield f'<polyline class="ink" points="{scale.path(list(piece.low))}" fill="none" stroke="#111" stroke-width="0.8"/>'


def _dose_ticks(piece: Outline, top: Fraction) -> list[tuple[Fraction, str]]:
    """Doses to stand on the axis, in base units, and their words: all in the unit that the highest reads best in."""
    each = factor(piece.unit, piece.kind)
    doses = [n * each for n in _ticks(Fraction(0), top / each, 4)]
    unit = show(piece.quantity(doses[-1])).rpartition(" ")[2]
    best = unit if unit in UNITS.get(piece.kind, {}) else piece.unit
    return [(dose, show_as_asked(piece.quantity(dose).to(best)) if dose else "0") for dose in doses]


def _axes(scale: _Scale, doses: list[tuple[Fraction, str]]) -> Iterator[str]:
    yield _line(scale.left, _TOP, scale.left, _BOTTOM) + _line(scale.left, _BOTTOM, _RIGHT, _BOTTOM)
    for dose, words in doses:
        y = scale.y(dose)
        yield _line(scale.left - 4, y, scale.left, y) + _text(words, scale.left - 6, y + 4, "end")
    low, high = scale.weights
    for number in _ticks(low / KG, high / KG, 5):
        x = scale.x(number * KG)
        yield _line(x, _BOTTOM, x, _BOTTOM + 4) + _text(show(_kg(number * KG)), x, _BOTTOM + 16, "middle")


def _ticks(low: Fraction, high: Fraction, most: int) -> list[Fraction]:
    """At most `most` + 1 round numbers from low to high, evenly spaced."""
    rough = (high - low) / most
    power = Fraction(1)
    while power > rough:
        power /= 10
    while power * 10 <= rough:
        power *= 10
    step = next(times * power for times in (Fraction(1), Fraction(2), Fraction(5), Fraction(10)) if times * power >= rough)
    first = -(-low // step)
    return [step * n for n in range(int(first), int(high // step) + 1)]


# ---- labels ----


def _labels(piece: Outline, scale: _Scale, figure: str) -> Iterator[str]:
    """Each maximum above its line, with the weight from which it holds, and the figure below its own."""
    for cap in piece.caps[:2]:
        x, y = scale.x(cap.binds.value), scale.y(cap.dose.value)
        if cap.binds.value > piece.weights[0]:
            yield _line(x, y, x, _BOTTOM, ' stroke-dasharray="3 3"')
        a_day = " a day" if cap.limit.name == "daily maximum" else ""
        yield from _plate(f"at most {cap.limit.text}{a_day}, from {show(cap.binds)}", Fraction(_RIGHT), y - 6, "end", scale, bold=True)
    (w1, d1), (w2, d2) = piece.high[:2]
    x, y = scale.x((w1 + 2 * w2) / 3), scale.y((d1 + 2 * d2) / 3)
    yield from _plate(figure, x + 10, min(y + 24, Fraction(_BOTTOM - 5)), "start", scale, bold=True)


def _steps(pieces: list[Outline], scale: _Scale) -> Iterator[str]:
    """The edges between bands of weight, and the most in each where there is room."""
    for piece in pieces[1:]:
        x = scale.x(piece.weights[0])
        yield _line(x, _BOTTOM, x, scale.y(piece.high[0][1]), ' stroke-dasharray="3 3"')
    for piece in pieces if len(pieces) <= _MOST_LABELS else ():
        words = show(piece.quantity(max(dose for _, dose in piece.high)), down=True)
        left, right = map(scale.x, piece.weights)
        if right - left > len(words) * _LETTER + 6:
            yield from _plate(words, (left + right) / 2, scale.y(max(dose for _, dose in piece.high)) - 5, "middle", scale, bold=True)


def _mark(mark: Mark, scale: _Scale) -> Iterator[str]:
    """A diamond, and its words."""
    x, y = scale.x(mark.weight), scale.y(mark.dose)
    yield f'<path class="paper ink" d="M{_px(x)} {_px(y - 7)}l7 7l-7 7l-7 -7z" fill="#fff" stroke="#111" stroke-width="2"/>'
    yield from _plate(mark.words, x, max(y - 12, Fraction(_TOP + 11)), "middle", scale, bold=True)


def _legend(pieces: list[Outline], key: str) -> Iterator[str]:
    """Each filling in words."""
    low = "below: query" if any(piece.low for piece in pieces) else "the source gives no low end"
    rows = [(f"url(#{key}-s)", "STOP", "do not give as written")]
    rows += [(f"url(#{key}-q)", "QUERY", "a little above the most")] * any(piece.high != piece.stop for piece in pieces)
    rows += [("#ccc", "within the figures", low)]
    for place, (fill, name, words) in enumerate(rows):
        y = _BOTTOM + 26 + 15 * place
        kind = ' class="range"' if fill == "#ccc" else ""
        yield f'<rect{kind} x="40" y="{y}" width="22" height="11" fill={quoteattr(fill)} stroke="#555"/>'
        yield f'<text class="ink" x="68" y="{y + 10}"><tspan font-weight="bold">{name}</tspan>: {words}</text>'
