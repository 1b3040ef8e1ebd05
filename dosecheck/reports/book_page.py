"""The book as one self-contained page, for screens and for paper: no script, nothing fetched, links to its sources alone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from dosecheck.printing.templates import style, template
from dosecheck.reports.book import Book
from dosecheck.showing import keep_together

_FOLDER = Path(__file__).parent
_RATIO = re.compile("[^ ]*\\d\u00a0[^ ]*/[^ ]*")  # an amount with a stroke, at which a printer of pages would break the line


def to_html(book: Book, back: str = "") -> str:
    """The whole page as text; everything that came from the formulary is escaped.

    Args:
        back: where a link at the top leads to; none on paper, and none where it is left out.
    """
    return template(_FOLDER / "book.html").render(
        book=book, back=back, style=style(_FOLDER / "book.css"), drawn=_drawn, linked=_linked, whole=_whole
    )


def _whole(text: str) -> Any:
    """The text escaped, with no amount ever parted from its unit nor within it."""
    from markupsafe import Markup, escape

    return Markup(_RATIO.sub(lambda found: f'<span class="w">{found[0]}</span>', str(escape(keep_together(text)))))


def _drawn(picture: str) -> Any:
    """A picture of our own, whose texts are escaped already."""
    from markupsafe import Markup

    return Markup(picture)


def _linked(address: str) -> bool:
    """Whether an address may be a link: a page on the web, never a script."""
    return address.startswith(("https://", "http://"))
