"""A page of SVG drawn from the top down: text lines, shapes, and the height that they come to.

Self-contained: no script, no link, nothing fetched.  All text is escaped here, once.
"""

from __future__ import annotations

import textwrap
from xml.sax.saxutils import escape, quoteattr

from dosecheck.showing import keep_together

WIDTH, MARGIN = 360, 14
_COLUMNS, _BOLD = 46, 40  # characters of 13 px that fit between the margins


class Page:
    """`y` is where the next thing goes."""

    def __init__(self) -> None:
        self.y = 0
        self._parts: list[str] = []

    def shape(self, name: str, **attributes: object) -> None:
        """<name .../> with `_` in an attribute's name standing for `-`."""
        told = " ".join(f"{key.replace('_', '-')}={quoteattr(str(value))}" for key, value in attributes.items())
        self._parts.append(f"<{name} {told}/>")

    def text(self, words: str, x: float = MARGIN, y: float | None = None, size: int = 13, weight: str = "normal", **more: object) -> None:
        told = {"x": x, "y": self.y if y is None else y, "font_size": size, "font_weight": weight} | more
        attributes = " ".join(f"{key.replace('_', '-')}={quoteattr(str(value))}" for key, value in told.items())
        self._parts.append(f"<text {attributes}>{escape(words)}</text>")

    def line(self, words: str, size: int = 13, weight: str = "normal", step: int | None = None, **more: object) -> None:
        """One line of text, and down."""
        self.y += step or size + 5
        self.text(words, size=size, weight=weight, **more)

    def lines(self, words: str, size: int = 13, **more: object) -> None:
        """Wrapped text; an amount is never parted from its unit."""
        columns = (_BOLD if more.get("font_weight") == "bold" else _COLUMNS) * 13 // size
        for part in textwrap.wrap(keep_together(words), columns, break_long_words=False, break_on_hyphens=False):
            self.line(part.replace("\u00a0", " "), size, **more)

    def whole(self, title: str, description: str) -> str:
        """The file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {self.y + 16:g}" width="100%" role="img" '
            'aria-labelledby="title desc" font-family="Verdana, DejaVu Sans, sans-serif" fill="#111">'
        )
        hatch = (
            '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            '<rect width="6" height="6" fill="#fff"/><rect width="2" height="6" fill="#555"/></pattern></defs>'
        )
        named = f'<title id="title">{escape(title)}</title><desc id="desc">{escape(description)}</desc>'
        ground = f'<rect width="{WIDTH}" height="{self.y + 16:g}" fill="#fff"/>'
        return "\n".join((head, named, hatch, ground, *self._parts, "</svg>", ""))
