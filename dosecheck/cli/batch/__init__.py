"""`dosecheck batch FILE ...` checks a file of orders; `dosecheck batch NAME ...` is what else is done with such files."""

from __future__ import annotations

import click

from dosecheck.cli.lazy import LazyGroup

_COMMANDS = {
    "check": "Check a file of orders; the word itself can be left out.",
    "charts": "Add up the doses of each child in a file with times.",
    "columns": "What the columns of a file seem to be, and what is understood of them.",
    "report": "What a file of results comes to: page, PDF or workbook.",
    "verify": "Compare a result with its ledger: nothing lost, nothing changed since.",
}


class _CheckUnlessNamed(LazyGroup):
    """Without the name of another command, what follows is a file to check: `dosecheck batch orders.csv --out results.csv`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] not in self.about and args != ["--help"]:
            args = ["check", *args]
        return super().parse_args(ctx, args)


@click.group("batch", cls=_CheckUnlessNamed, package=__name__, about=_COMMANDS)
def command() -> None:
    """Files of orders: `dosecheck batch orders.csv --out results.csv`.  A file with the name of a command is written ./check."""
