"""`dosecheck sum NAME`: one sum, with its working.  Exit status 0 reckoned, 1 query, 4 not covered, 2 bad input."""

from __future__ import annotations

import json
from itertools import groupby
from typing import Any

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import block, foot, heading, wrapped
from dosecheck.errors import FormularyError, InputError
from dosecheck.records import NOT_CHECKED, QUERY
from dosecheck.sums.frame import RECKONED, Field, Reckoned, Sum, work_out
from dosecheck.sums.listing import SUMS, find

STATUS = {RECKONED: 0, QUERY: 1, NOT_CHECKED: 4}
_EPILOG = "Exit status: 0 reckoned, 1 query (look again), 4 not covered by the formula, 2 bad input."


class _Sums(click.Group):
    """One subcommand a sum, made from the sum's own fields when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(SUMS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        asked = find(name)
        return _command(name, asked) if asked else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for group, names in groupby(SUMS, key=lambda name: SUMS[name].group):
            with formatter.section(group):
                formatter.write_dl([(name, SUMS[name].about) for name in names])


@click.group("sum", cls=_Sums, epilog=_EPILOG)
def command() -> None:
    """Sums that are no regimen: infusions, dilutions, fluids and the like.

    `dosecheck sum NAME --help` says what a sum needs.
    """


def _command(name: str, asked: Sum) -> click.Command:
    def run(as_json: bool, folder: str | None = None, **texts: Any) -> int:
        given = {field.name: texts[field.name] for field in asked.fields}
        try:
            reckoned = work_out(name, asked, given, open_formulary(folder) if asked.by_formulary else None)
        except (InputError, FormularyError) as error:
            return refuse(error if as_json else _as_options(error), as_json, "Nothing was reckoned: the sum cannot be read.")
        click.echo(json.dumps(reckoned.as_dict(), indent=2, ensure_ascii=False) if as_json else sum_text(reckoned))
        return STATUS[reckoned.outcome]

    options = [_option(field) for field in asked.fields]
    if asked.by_formulary:
        options.append(Once(["--formulary", "folder"], metavar="DIR", help="the formulary's folder"))
    options.append(click.Option(["--json", "as_json"], is_flag=True, help="answer as JSON"))
    help_text = f"{asked.title}: {SUMS[name].about}."
    return click.Command(
        name, params=options, callback=run, help=help_text, short_help=SUMS[name].about, epilog=_EPILOG, no_args_is_help=True
    )


def _as_options(error: InputError | FormularyError) -> InputError | FormularyError:
    """The faults of a sum's fields under the names of their options: "per-percent"."""
    if isinstance(error, FormularyError):
        return error
    return InputError([fault._replace(field=fault.field.replace("_", "-")) for fault in error.faults])


def _option(field: Field) -> click.Option:
    needed = field.needed or "when left out" in field.help
    words = f'{field.help}, such as "{field.example}"' + ("; repeatable" if field.many else "" if needed else "; may be left out")
    flags = [f"--{field.name.replace('_', '-')}", field.name]
    return click.Option(flags, metavar="TEXT", help=words, multiple=True) if field.many else Once(flags, metavar="TEXT", help=words)


def sum_text(reckoned: Reckoned) -> str:
    """A sum's answer for eyes: what it comes to first, then why to look again, then the working."""
    answer = reckoned.answer
    parts = [heading(wrapped(f"{reckoned.title}. {reckoned.headline}"))]
    parts.append("\n".join(wrapped(f"{r.name}: {r.text}" + (f" ({r.note})" if r.note else ""), "  ", "      ") for r in answer.results))
    parts.append(block("Why", [*filter(None, [reckoned.not_covered]), *(doubt.text for doubt in answer.doubts)]))
    parts.append(block("Read as", [f"{name.replace('_', ' ')}: {text}" for name, text in reckoned.understood.items()]))
    parts.append(block("Working", [step.text for step in answer.steps]))
    parts.append(block("Notes", answer.notes))
    parts.append(block("Sources", answer.sources))
    parts.append(foot(reckoned.formulary, reckoned.caution))
    return "\n\n".join(part for part in parts if part)
