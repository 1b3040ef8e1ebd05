"""The options that say of a file of orders what its name does not."""

from __future__ import annotations

from collections.abc import Callable

import click

from dosecheck.cli.options import Once

_DELIMITERS = ("comma", "semicolon", "tab", "pipe")


def asked_options(function: Callable) -> Callable:
    """--delimiter, --form."""
    form = click.Choice(("csv", "tsv", "jsonl", "arrow"))
    function = click.option("--form", type=form, cls=Once, help='of standard input and output, written "-"')(function)
    text = "what separates the fields of a CSV file; a comma when left out"
    return click.option("--delimiter", type=click.Choice(_DELIMITERS), cls=Once, help=text)(function)


def asked_of(delimiter: str | None, form: str | None):
    """The options as `dosecheck.batch.forms.Asked`."""
    from dosecheck.batch.forms import DELIMITERS, Asked

    return Asked(DELIMITERS[delimiter] if delimiter else "", form or "")
