"""The command line: thin commands, each loaded only when it is called.

Every command reads its input, calls one public function, shows the answer.  Errors raised on purpose become one
plain message and exit status 2; an unexpected fault is never an all-clear: exit status 4.
"""

from __future__ import annotations

import sys

import click

from dosecheck.cli.lazy import LazyGroup
from dosecheck.errors import DosecheckError
from dosecheck.formulary.folder import VERSION

_COMMANDS = {
    "order": "Check one order.",
    "dose": "What the formulary's figures come to for a child.",
    "chart": "Check a child's chart: orders and doses given.",
    "child": "What can be reckoned of one child: growth, surface, kidneys ...",
    "batch": "Check a file of orders.",
    "sum": "Sums that are no regimen: infusions, dilutions, fluids ...",
    "drill": "Questions about doses, marked; which mistake it was.",
    "sheet": "One page for one child: doses, tubes, shocks, fluids.",
    "serve": "The page for the bedside, on this machine.",
    "journal": "Look after the journal of the page for the bedside.",
    "demo": "A first look: an example order and an example file.",
    "formulary": "Look at, lint and copy formularies.",
    "codes": "What each finding code means.",
}


@click.group(
    cls=LazyGroup,
    package="dosecheck.cli",
    about=_COMMANDS,
    elsewhere={"serve": "dosecheck.web.command"},
    context_settings={"help_option_names": ["--help"], "max_content_width": 80},
)
@click.version_option(VERSION, message="dosecheck %(version)s")
def cli() -> None:
    """A second pair of eyes for the arithmetic of children's medicine doses.

    It checks; the prescriber decides, and local guidance comes first.
    """


def run() -> None:
    """The command line with every error made plain."""
    try:
        status = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Stopped. Nothing more was checked.", err=True)
        status = 130
    except click.ClickException as error:
        error.show()
        status = 2
    except DosecheckError as error:
        click.echo(f"Cannot go on.\n{error}", err=True)
        status = 2
    except SystemExit:  # click leaves with 1 when the pipe it prints into is closed, and 1 would say "query" here
        status = 2
    except Exception as error:  # fails closed: whatever went wrong, nothing was checked
        click.echo(f"NOT CHECKED: an unexpected fault stopped dosecheck ({type(error).__name__}: {error}). Please report it.", err=True)
        status = 4
    sys.exit(status if isinstance(status, int) else 0)
