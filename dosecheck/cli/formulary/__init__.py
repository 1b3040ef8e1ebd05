"""`dosecheck formulary ...`: the figures themselves, and the tools around an edit of them."""

from __future__ import annotations

import click

from dosecheck.cli.lazy import LazyGroup

_COMMANDS = {
    "show": "One medicine: products, regimens, age limits, each with its source.",
    "copy": "A copy of the example formulary to make your own.",
    "new": "A new medicine's file to fill in, every key explained.",
    "schema": "The JSON Schema of a file: completion and help in editors.",
    "fmt": "Put the keys of the files in order, and align them.",
    "lint": "Every fault of a formulary at once, and advice.",
    "advice": "What each code of advice means, and what to do.",
    "prove": "That no figure contradicts another, at any weight.",
    "diff": "What changed between two formularies, the riskiest first.",
    "replay": "A file of past orders under two formularies.",
    "stress": "How much it would catch: right orders with known slips.",
    "approve": "Write that you checked a medicine's figures.",
    "approvals": "Who has checked which figures, and which were changed since.",
    "to-sheet": "The formulary as a spreadsheet: a workbook or CSV files.",
    "from-sheet": "What was changed in a spreadsheet, brought back.",
    "book": "The whole formulary for reading and review: HTML or PDF.",
}


@click.group("formulary", cls=LazyGroup, package=__name__, about=_COMMANDS)
def command() -> None:
    """Look at, lint and copy formularies."""
