"""`dosecheck journal ...`: looking after what the page for the bedside wrote down."""

from __future__ import annotations

import click

from dosecheck.cli.lazy import LazyGroup

_COMMANDS = {
    "verify": "Whether every entry is as it was written.",
    "head": "Number and hash of the last entry, to note down elsewhere.",
    "export": "All entries as CSV.",
    "remove": "Remove what is older than so many days.",
}


@click.group("journal", cls=LazyGroup, package=__name__, about=_COMMANDS)
def command() -> None:
    """The journal of `dosecheck serve --journal FILE`: what was asked and answered, each entry bound to the last."""
