"""`dosecheck drill ...`: questions about doses, marked with the unit, and which mistake it was."""

from __future__ import annotations

import click

from dosecheck.cli.lazy import LazyGroup

_COMMANDS = {
    "practise": "Practise: what you get wrong comes again.",
    "record": "How you do, by kind and by slip; export, draw, remove.",
    "kinds": "The kinds of question, each with its three levels.",
    "question": "One question.",
    "mark": "An answer marked: which mistake it was, and the working.",
    "paper": "A worksheet for a class, and its key.",
    "class": "What a class answered, and what to teach next.",
}


@click.group("drill", cls=LazyGroup, package=__name__, about=_COMMANDS)
def command() -> None:
    """Questions about doses: each is marked with its unit, and a wrong answer told by the slip that gives it."""
