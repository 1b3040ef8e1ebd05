"""`dosecheck drill paper`: a worksheet to print, and a key of its own."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from dosecheck.cli.drill.options import FORMULARY, JSON, refuse_drill
from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.text import wrapped
from dosecheck.drill.make import MOST_SEED
from dosecheck.drill.paper import FIRST, MOST_VERSIONS, Paper, Papers, told_of, version_name
from dosecheck.drill.paper_file import read_plan
from dosecheck.drill.paper_key import key_of
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import CAUTION, CannotFill
from dosecheck.errors import Fault, FileError, FormularyError, InputError
from dosecheck.saving import save
from dosecheck.tables_read import read_file

_EPILOG = "Exit status: 0 made, 4 the formulary cannot fill the paper (nothing is written), 2 bad input."
_FORMS = (".pdf", ".html")
_LEARNER = re.compile(r"[^\W_][\w .-]{0,39}")


@click.command("paper", epilog=_EPILOG)
@click.argument("file", metavar="FILE.toml")
@click.option("--out", metavar="FILE", cls=Once, help="the worksheets to write: a .pdf or a .html file")
@click.option("--key", metavar="FILE", cls=Once, help="the key to write, with workings and usual wrong answers")
@click.option("--version", "versions", metavar="NAME", multiple=True, help="A when left out; B, C ... have other figures; repeatable")
@click.option("--learners", metavar="FILE", cls=Once, help="a version for each: one invented id a line, the first has A")
@click.option("--seed", type=click.IntRange(0, MOST_SEED), help="instead of the seed in the file")
@FORMULARY
@JSON
def command(
    file: str,
    out: str | None,
    key: str | None,
    versions: tuple[str, ...],
    learners: str | None,
    seed: int | None,
    folder: str | None,
    as_json: bool,
) -> int:
    """A paper for a class: worksheets to print, and a key.

    FILE.toml says what is on it:

    \b
    title      = "Weights and volumes"
    calculator = false
    minutes    = 30
    pass_mark  = "80 %"
    seed       = 17               # left out: 1
    [[row]]                       # from the formulary
    kind       = "volume"         # of those that drill kinds lists
    level      = 2
    how_many   = 3
    [[row]]                       # your own, in a file beside this one
    own        = "own.toml"
    ids        = ["syrup-1"]      # left out: all of them

    The same file, seed, version and formulary give the same paper, byte for byte. Its code names them: formulary, file,
    seed, version. All versions have the same kinds, levels and numbers of steps, and no question of the formulary's twice.
    """
    for path in filter(None, (out, key)):
        if Path(path).suffix.lower() not in _FORMS:
            raise FileError(path, "A worksheet or a key is a page or a PDF.", "Use a .pdf or a .html file.")
    if not (out or key or as_json):
        raise click.UsageError("Nothing to write. Name --out, --key or both.")
    if out and key and Path(out).resolve() == Path(key).resolve():
        raise click.UsageError("--out and --key name the same file. The key is a file of its own.")
    if versions and learners:
        raise click.UsageError("Write --version or --learners: with learners each has the next version.")
    try:
        papers = Papers(read_plan(file), Pool(open_formulary(folder)), seed)
        named = read_learners(learners) if learners else [(name, "") for name in versions or (FIRST,)]
        made = [papers.version(name, learner) for name, learner in dict.fromkeys(named)]
    except (InputError, FormularyError, CannotFill) as error:
        return refuse_drill(error, as_json, "No paper was made.")
    _write(made, out, key)
    click.echo(_json(made, out, key) if as_json else _text(made, out, key))
    return 0


def read_learners(path: str) -> list[tuple[str, str]]:
    """(version, learner) for each line.

    Raises:
        FileError, InputError: it cannot be read; every fault at once.
    """
    try:
        lines = read_file(path).decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise FileError(path, "It is not UTF-8 text.", "Save it as UTF-8.") from None
    told = [(number, line.strip()) for number, line in enumerate(lines, 1) if line.strip()]
    names = [name for _, name in told]
    faults = []
    for number, name in told:
        if not _LEARNER.fullmatch(name):
            write = "Write 1 to 40 letters, digits, - and _ (an invented id is best)."
            faults.append(Fault(f"line {number}", ascii(name[:40])[1:-1], "It is no id of a learner.", write))
        elif names.index(name) < [n for n, _ in told].index(number):
            faults.append(Fault(f"line {number}", name, "This id stands twice.", "Give each learner one line."))
    if not told or len(told) > MOST_VERSIONS:
        faults.append(Fault("learners", "", f"There are {len(told)}.", f"Write 1 to {MOST_VERSIONS}, one a line."))
    if faults:
        raise InputError(faults)
    return [(version_name(number), name) for number, name in enumerate(names)]


def _write(papers: list[Paper], out: str | None, key: str | None) -> None:
    from dosecheck.drill.paper_page import key_html, worksheet_html

    pages = [(path, make(papers)) for path, make in ((out, worksheet_html), (key, key_html)) if path]
    contents = [(path, _content(html, path)) for path, html in pages]
    for path, content in contents:
        save(path, content)


def _content(html: str, path: str) -> bytes:
    if Path(path).suffix.lower() == ".html":
        return html.encode()
    from dosecheck.printing.pdf import to_pdf

    return to_pdf(html)


def _json(papers: list[Paper], out: str | None, key: str | None) -> str:
    """Answers only where a key was asked for."""
    shown = [paper.as_dict() | ({"key": [entry.as_dict() for entry in key_of(paper)]} if key else {}) for paper in papers]
    return json.dumps({**told_of(papers[0].plan), "papers": shown, "written": [p for p in (out, key) if p]}, indent=2, ensure_ascii=False)


def _text(papers: list[Paper], out: str | None, key: str | None) -> str:
    plan = papers[0].plan
    lines = [wrapped(f"{plan.title}: {plan.questions} questions, {plan.minutes} minutes, {plan.needed} right to pass.")]
    lines += [wrapped(f"{paper.code}{f'  {paper.learner}' if paper.learner else ''}", "  paper ") for paper in papers]
    lines += [wrapped(f"{what}: {path}") for what, path in (("Worksheets", out), ("Key", key)) if path]
    return "\n".join([*lines, "", wrapped(CAUTION)])
