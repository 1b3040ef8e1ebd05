"""`dosecheck formulary book`: the whole formulary for reading and review.  Exit status 0 written, 2 bad input or nothing written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dosecheck.cli.options import Once, day_of, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import formulary_line, wrapped
from dosecheck.errors import FileError, FormularyError, InputError
from dosecheck.saving import save

if TYPE_CHECKING:
    from dosecheck.reports.book import Book

_FORMS = (".html", ".pdf")


@click.command("book", epilog="Exit status: 0 written, 2 bad input, or nothing written.")
@click.argument("folder", required=False)
@click.option("--out", metavar="FILE", required=True, help="the book to write: a .html or a .pdf file", cls=Once)
@click.option("--medicine", "names", metavar="NAME", multiple=True, help="these medicines alone; repeatable")
@click.option("--on", metavar="DATE", help='the date printed on it, "2026-05-04"; today when left out', cls=Once)
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, out: str, names: tuple[str, ...], on: str | None, as_json: bool) -> int:
    """The whole formulary as one page or PDF, for reading and for review.

    Every medicine with its products, regimens, limits, notes and sources, a table of doses by weight, and a picture of
    dose against weight. The same formulary and date give the same bytes.
    """
    from dosecheck.reports.book import make_book

    form = Path(out).suffix.lower()
    if form not in _FORMS:
        raise FileError(out, f'A book cannot end in "{form}".', "Use a .html or a .pdf file.")
    try:
        book = make_book(open_formulary(folder), day_of(on, "date of the book"), names)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "No book was made.")
    save(out, _content(book, form))
    said = book.as_dict()
    if as_json:
        click.echo(json.dumps({**said, "written": out}, indent=2, ensure_ascii=False))
        return 0
    click.echo(wrapped(f"Written: {out}. {len(said['medicines'])} medicines, {said['regimens']} regimens, {said['sources']} sources."))
    click.echo(wrapped(f"{book.mark}: not every medicine in it has been approved.")) if book.mark else None
    click.echo(formulary_line(book.formulary))
    return 0


def _content(book: Book, form: str) -> bytes:
    from dosecheck.reports.book_page import to_html

    html = to_html(book)
    if form == ".html":
        return html.encode()
    from dosecheck.printing.pdf import to_pdf

    return to_pdf(html)
