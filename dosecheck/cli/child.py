"""`dosecheck child`: what can be reckoned of one child.  Exit status 0 reckoned, 1 a doubtful particular, 4 nothing to reckon, 2 bad input."""

from __future__ import annotations

import json
from typing import Any

import click

from dosecheck.cli.options import child_options, common_options, open_formulary, texts_of
from dosecheck.cli.order import refuse
from dosecheck.cli.text import Sources, block, foot, heading, wrapped
from dosecheck.errors import FormularyError, InputError
from dosecheck.records import NOT_CHECKED, QUERY, read_order
from dosecheck.rules.particulars import Particulars, Section, particulars

STATUS = {"reckoned": 0, QUERY: 1, NOT_CHECKED: 4}
_HEADLINES = {
    "reckoned": "One child's particulars. No order was checked.",
    QUERY: "QUERY: look again at what was told. No order was checked.",
    NOT_CHECKED: "NOT RECKONED: nothing can be reckoned from what was told. No order was checked.",
}


@click.command("child", epilog="Exit status: 0 reckoned, 1 query (look again), 4 nothing to reckon, 2 bad input.")
@child_options
@common_options
@click.pass_context
def command(ctx: click.Context, folder: str | None, as_json: bool, **fields: Any) -> int:
    """One child's age, growth, guessed weights, surface, ideal weight and kidneys."""
    if not any(fields.values()):
        raise click.UsageError('Say something of the child: --weight "14.2 kg" --age "3 years 2 months" --height "96 cm" --sex female', ctx)
    try:
        _, child = read_order(texts_of(fields))
        found = particulars(child, open_formulary(folder))
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, "Nothing was reckoned: the child's particulars cannot be read.")
    click.echo(json.dumps(found.as_dict(), indent=2, ensure_ascii=False) if as_json else child_text(found))
    return STATUS[found.outcome]


def child_text(found: Particulars) -> str:
    """The answer for eyes: doubts first, then each sort of figure, then the sources."""
    sources = Sources()
    parts = [heading(wrapped(_HEADLINES[found.outcome]))]
    parts.append(block("Why", [f.message for f in found.findings if f.outcome]))
    parts.append(block("Read as", [f"{name.replace('_', ' ')}: {text}" for name, text in found.understood.items()]))
    parts += [_section(section, sources) for section in found.sections]
    parts.append(block("Notes", [f.message for f in found.findings if not f.outcome]))
    parts += [sources.text(), foot(found.formulary, found.caution)]
    return "\n\n".join(part for part in parts if part)


def _section(section: Section, sources: Sources) -> str:
    """Each figure on a line of its own, with its working and remarks beneath it."""
    lines = [heading(wrapped(section.title))]
    for row in section.rows:
        if row.value:
            lines.append(wrapped(f"{row.name}: {row.value}{sources.mark(row.source)}", "  ", "      "))
            lines += [wrapped(text, "      ") for text in (*row.working, row.note) if text]
        else:
            lines.append(wrapped(f"{row.name}: not reckoned ({row.note})", "  ", "      "))
    lines += [wrapped(note, "  Note: ") for note in section.notes]
    return "\n".join(lines)
