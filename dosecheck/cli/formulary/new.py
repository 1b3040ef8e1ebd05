"""`dosecheck formulary new`: a medicine's file to fill in."""

from __future__ import annotations

import json
import os

import click

from dosecheck.cli.options import common_options
from dosecheck.cli.order import refuse
from dosecheck.cli.text import wrapped
from dosecheck.errors import FileError, FormularyError, InputError
from dosecheck.formulary.folder import find_folder, packaged_folder
from dosecheck.saving import save
from dosecheck.workshop.skeleton import new_file


@click.command("new", epilog="Exit status: 0 written, 2 bad input.")
@click.argument("medicine")
@common_options
def command(medicine: str, folder: str | None, as_json: bool) -> int:
    """A new medicine's file, status draft, with every key and what to write.

    Until it is filled in the formulary has faults, and answers nothing: do it in a copy.
    """
    place, found = find_folder(folder)
    if not folder and os.path.realpath(place) == os.path.realpath(packaged_folder()):
        raise FileError(
            place, f"It is {found}, which is not yours to edit.", 'Name your own with --formulary: "dosecheck formulary copy DIR".'
        )
    try:
        name, content = new_file(place, medicine)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "Nothing was written.", "Nothing was written.")
    path = os.path.join(place, name)
    os.makedirs(os.path.dirname(path), exist_ok=True)
    save(path, content)
    if as_json:
        click.echo(json.dumps({"file": path}, indent=2, ensure_ascii=False))
    else:
        click.echo(wrapped(f"Written: {path}. Fill it in; what is still to be done tells: dosecheck formulary lint {place}"))
    return 0
