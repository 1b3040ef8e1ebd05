"""`dosecheck formulary fmt`: files put in order, or only looked at."""

from __future__ import annotations

import json

import click

from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.errors import FormularyError
from dosecheck.saving import save
from dosecheck.workshop.tidy import tidied_files


@click.command("fmt", epilog="Exit status: 0 in order, or put in order; 1 with --check: something is not in order; 2 bad input.")
@click.argument("paths", nargs=-1, required=True, metavar="FILE or DIR ...")
@click.option("--check", is_flag=True, help="write nothing; say which files are not in order")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(paths: tuple[str, ...], check: bool, as_json: bool) -> int:
    """Put the keys of a formulary's files in the order of its README, and align them; comments and values stay.

    Keys are ordered within a paragraph: an empty line keeps apart what stands above and below it.
    """
    try:
        found = tidied_files(paths)
    except FormularyError as error:
        return refuse(error, as_json, unusable="Nothing was written.")
    odd = [path for path, (now, ordered) in found.items() if now != ordered]
    for path in () if check else odd:
        save(path, found[path][1])
    if as_json:
        click.echo(json.dumps({"files": len(found), "written": not check, "not_in_order": odd}, indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join([*(f"{path}: {'not in order' if check else 'put in order'}" for path in odd), _counted(len(found), len(odd))]))
    return 1 if check and odd else 0


def _counted(files: int, odd: int) -> str:
    return wrapped(f"{files} file{'s' * (files != 1)} looked at, {odd} of them {'was' if odd == 1 else 'were'} not in order.")
