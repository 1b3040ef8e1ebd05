"""`dosecheck formulary approvals`: who has checked which figures, and which were changed since."""

from __future__ import annotations

import json
from typing import Any

import click

from dosecheck.cli.options import common_options, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import formulary_line, heading, wrapped
from dosecheck.errors import FormularyError, InputError
from dosecheck.formulary.approvals import Standing
from dosecheck.workshop.approve import MEANS, Signed
from dosecheck.workshop.approve import approvals as find_approvals

UNREAD = "Nothing was looked at."


@click.command("approvals", epilog="Exit status: 0 all of them are approved, 1 some are not, 2 bad input.")
@click.argument("medicine", required=False)
@common_options
def command(medicine: str | None, folder: str | None, as_json: bool) -> int:
    """Who has checked which figures, which still want a check, and which were changed since."""
    try:
        formulary = open_formulary(folder)
        found = find_approvals(formulary, medicine)
    except (InputError, FormularyError) as error:
        return refuse(error, as_json, UNREAD)
    if as_json:
        click.echo(json.dumps({"files": [as_dict(one) for one in found], "formulary": formulary.about()}, indent=2, ensure_ascii=False))
    else:
        whole = [signed_text(one) if medicine or one.approved or _begun(one) else _waiting(one) for one in found]
        done = sum(one.approved for one in found)
        click.echo("\n".join([*whole, "", f"{done} of {len(found)} files approved.", wrapped(MEANS), formulary_line(formulary.about())]))
    return 0 if all(one.approved for one in found) else 1


def _begun(signed: Signed) -> bool:
    return any(one.people or one.lapsed for one in signed.standings)


def _waiting(signed: Signed) -> str:
    people = "two people" if signed.needed > 1 else "one person"
    return wrapped(f"{signed.file}: {signed.status}; {len(signed.standings)} entries, none checked; needs {people}")


def signed_text(signed: Signed) -> str:
    """One file: what was changed since it was checked and what still wants a check, then who checked the others."""
    parts = [heading(signed.file) + (": approved" if signed.approved else f": not approved (its status says {signed.status})")]
    if signed.needed > 1:
        parts.append(wrapped("High risk: each figure is checked by two different people.", "  "))
    parts += [wrapped(_wanting(one), "  - ") for one in signed.wanting]
    done = [one for one in signed.standings if one not in signed.wanting]
    people = dict.fromkeys(name for one in done for name in one.people)
    entries = "entry" if len(done) == 1 else "entries"
    parts += [wrapped(f"{len(done)} {entries} checked, by {', '.join(people)}", "  - ")] if done else []
    return "\n".join(parts)


def _wanting(one: Standing) -> str:
    said = f"checked by {' and '.join(one.people)}; a second person is still to check it" if one.people else "not checked"
    if one.lapsed:
        said += f"; CHANGED since {' and '.join(one.lapsed)} checked it"
    return f"{_named(one)}: {said}"


def _named(one: Standing) -> str:
    return "names and ingredients" if one.kind == "medicine" else f"{one.kind.replace('_', ' ')} {one.id}"


def as_dict(signed: Signed) -> dict[str, Any]:
    return {
        "medicine": signed.medicine,
        "file": signed.file,
        "status": signed.status,
        "approved": signed.approved,
        "people_needed": signed.needed,
        "entries": [one._asdict() for one in signed.standings],
    }
