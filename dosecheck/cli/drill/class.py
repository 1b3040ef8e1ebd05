"""`dosecheck drill class`: what a class answered, marked again, and what to teach next."""

from __future__ import annotations

import json
from pathlib import Path

import click

from dosecheck.cli.drill.options import FORMULARY, JSON, refuse_drill
from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.text import block, heading, wrapped
from dosecheck.drill.class_tally import Item, Learner, Slip
from dosecheck.drill.classroom import ClassView, see_class, share
from dosecheck.drill.make import MOST_SEED
from dosecheck.drill.paper import Papers
from dosecheck.drill.paper_file import read_plan
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CAUTION, CannotFill
from dosecheck.errors import FileError, FormularyError, InputError
from dosecheck.saving import save

_EPILOG = "Exit status: 0 every row marked, 1 some rows refused, 4 the formulary cannot fill the paper, 2 bad input, or nothing written."
_FORMS = (".html", ".pdf", ".csv")


@click.command("class", epilog=_EPILOG)
@click.argument("files", metavar="ANSWERS.csv...", nargs=-1, required=True)
@click.option("--paper", "plan", metavar="FILE.toml", cls=Once, help="the paper that a teacher's table is of")
@click.option("--seed", type=click.IntRange(0, MOST_SEED), help="instead of the seed in the paper's file")
@click.option("--out", metavar="FILE", cls=Once, help="write a .html or .pdf page, or a .csv table of the scores")
@FORMULARY
@JSON
def command(files: tuple[str, ...], plan: str | None, seed: int | None, out: str | None, folder: str | None, as_json: bool) -> int:
    """What a class answered: scores, slips, hard kinds, what to teach next.

    ANSWERS.csv is either a table that you fill in from the papers, one row an answer:

    \b
    learner,version,number,answer
    nurse-1,A,1,213 mg

    (version: the letter, or the whole code of the paper; invented ids are best), or what learners wrote with drill record
    --export. Every answer is marked again; a told result is taken only where the question cannot be made again.
    """
    if out and Path(out).suffix.lower() not in _FORMS:
        raise FileError(out, "A class is written as a page, a PDF or a table.", "Use a .html, .pdf or .csv file.")
    try:
        pool = Pool(open_formulary(folder))
        papers = Papers(read_plan(plan), pool, seed) if plan else None
        view = see_class(files, pool, papers)
    except (InputError, FormularyError, CannotFill) as error:
        return refuse_drill(error, as_json, "No class was seen.")
    if out:
        save(out, _content(view, Path(out).suffix.lower()))
    if as_json:
        click.echo(json.dumps(view.as_dict() | {"written": out or ""}, indent=2, ensure_ascii=False))
    else:
        click.echo(class_text(view) + (f"\n\nWritten: {out}" if out else ""))
    return 1 if view.refused else 0


def _content(view: ClassView, form: str) -> bytes:
    from dosecheck.drill.class_page import to_csv, to_html

    if form == ".csv":
        return to_csv(view).encode()
    html = to_html(view)
    if form == ".html":
        return html.encode()
    from dosecheck.printing.pdf import to_pdf

    return to_pdf(html)


def class_text(view: ClassView) -> str:
    """80 columns: what to teach next comes first."""
    told = f" {view.told} could not be marked again: their result is as told." if view.told else ""
    rows = f"{view.rows} row{'s' * (view.rows != 1)} read: {view.marked} marked, {len(view.refused)} refused.{told}"
    needed = f" {view.needed} right pass; open: missing or unread answers could still change it." if view.needed else ""
    parts = [
        heading(wrapped(f"Class: {view.title}")),
        wrapped(view.next),
        wrapped(rows + needed),
        wrapped(f"Marked by {', '.join(view.codes)}: the same must stand on the papers.") if view.codes else "",
        _table("Learners", "learner", "right", [(one.learner, f"{one.right} of {one.of}", _verdict(one)) for one in view.learners]),
        _table("Slips", "slip", "learners", [(s.slip, f"{s.learners} of {len(view.learners)}", _slip(view, s)) for s in view.slips]),
        _table(
            "Kinds, the hardest first", "kind", "right", [(k.kind, f"{k.right} of {k.answers}", share(k.difficulty)) for k in view.kinds]
        ),
        _table("Questions (difficulty; discrimination)", "question", "right", [_item(view, item) for item in view.items]),
        block("Answers to look at by hand", [f"{one.learner}, question {one.item}: {one.answer}" for one in view.unread]),
        block("Refused", map(str, view.refused)),
        wrapped(CAUTION),
    ]
    return "\n\n".join(part for part in parts if part)


def _table(title: str, first: str, second: str, rows: list[tuple[str, str, str]]) -> str:
    if not rows:
        return ""
    lines = [wrapped(text, f"  {name:<24} {number:<10} ", " " * 38) for name, number, text in rows]
    return "\n".join([heading(title), f"  {first:<24} {second}", *lines])


def _verdict(one: Learner) -> str:
    more = [f"{number} {what}" for number, what in ((one.unread, "not read"), (one.missing, "without a row")) if number]
    return ", ".join(filter(None, (one.verdict, f"version {one.version}" if one.version else "", *more))) or "-"


def _slip(view: ClassView, slip: Slip) -> str:
    more = f"; perhaps {slip.perhaps} more" if slip.perhaps else ""
    return f"{view.share_of(slip)}{more}{f'; {slip.says}' if slip.says else ''}"


def _item(view: ClassView, item: Item) -> tuple[str, str, str]:
    shown = view.why_none(item) if item.discrimination is None else str(item.discrimination)
    name = f"{item.item}  {item.kind} {item.level}" if view.needed else item.item
    return name, f"{item.right} of {item.answers}", f"{share(item.difficulty)}; {shown}"
