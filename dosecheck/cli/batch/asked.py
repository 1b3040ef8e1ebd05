"""The options that say of a file of orders what its name does not."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from dosecheck.cli.options import Once

_DELIMITERS = ("comma", "semicolon", "tab", "pipe")
_FORMS = ("csv", "tsv", "jsonl", "arrow")


def asked_options(function: Callable) -> Callable:
    """--delimiter, --form, --sheet, --query; the command gets `asked`, which makes `dosecheck.batch.forms.Asked` when it is called."""

    @wraps(function)
    def packed(*args: Any, delimiter: str | None, form: str | None, sheet: str | None, query: str | None, **others: Any) -> Any:
        return function(*args, asked=lambda: _asked(delimiter, form, sheet, query), **others)

    told = (
        ("--delimiter", click.Choice(_DELIMITERS), "what separates the fields of a CSV file; a comma when left out"),
        ("--form", click.Choice(_FORMS), 'of standard input and output, written "-"'),
        ("--sheet", click.STRING, "of a workbook that has several"),
        ("--query", click.STRING, "of a database, in place of a table after the #"),
    )
    for flag, kind, words in reversed(told):
        packed = click.option(flag, type=kind, cls=Once, help=words)(packed)
    return packed


def _asked(delimiter: str | None, form: str | None, sheet: str | None, query: str | None) -> Any:
    from dosecheck.batch.forms import DELIMITERS, Asked  # polars loads only when a file is read

    return Asked(DELIMITERS[delimiter] if delimiter else "", form or "", sheet or "", query or "")
