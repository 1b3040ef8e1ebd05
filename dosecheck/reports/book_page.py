"""The book as one self-contained page, for screens and for paper: no script, nothing fetched, links to its sources alone."""

from __future__ import annotations

from pathlib import Path

from dosecheck.printing.templates import ours, style, template, whole
from dosecheck.reports.book import Book

_FOLDER = Path(__file__).parent


def to_html(book: Book, back: str = "") -> str:
    """The whole page as text; everything that came from the formulary is escaped.

    Args:
        back: where a link at the top leads to; none on paper, and none where it is left out.
    """
    return template(_FOLDER / "book.html").render(
        book=book, back=back, style=style(_FOLDER / "book.css"), drawn=ours, linked=_linked, whole=whole
    )


def _linked(address: str) -> bool:
    """Whether an address may be a link: a page on the web, never a script."""
    return address.startswith(("https://", "http://"))
