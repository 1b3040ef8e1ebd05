"""`dosecheck formulary copy`: a copy of the example to make your own."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from dosecheck.cli.text import wrapped
from dosecheck.errors import FileError
from dosecheck.formulary.folder import packaged_folder


@click.command("copy")
@click.argument("folder")
def command(folder: str) -> int:
    """A copy of the example formulary to make your own; the folder must not exist yet."""
    target = Path(folder)
    if target.exists():
        raise FileError(folder, "It exists already; nothing was overwritten.", "Name a new folder.")
    try:
        shutil.copytree(packaged_folder(), target)
    except OSError as error:
        raise FileError(folder, f"It cannot be written: {error.strerror}.", "Name a folder that you may write to.") from None
    click.echo(wrapped(f"Copied to {folder}. Edit the files under {folder}/medicines, then: dosecheck formulary lint {folder}"))
    return 0
