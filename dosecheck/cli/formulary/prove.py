"""`dosecheck formulary prove`: that the figures fit together, for every weight that the bands let in."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import formulary_line, heading, wrapped
from dosecheck.errors import FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.measures import MOST_BITS
from dosecheck.workshop.prove.claims import COUNTER, OPEN, PROVEN
from dosecheck.workshop.prove.proof import Proof, prove

_MEANS = {
    "children": "somebody can reach it, and no age limit stops them all",
    "room": "at every weight some dose is allowed",
    "order": "what asks comes no later than what stops",
    "one way": "a larger dose never turns a stop into less",
    "offer": "what the tool offers breaks no limit",
    "spread": "the doses listed fit into a day",
    "whole numbers": "no comparison overflows",
}
_CAUTION = (
    "Proven is that the figures fit together, not that they are right: that is for the pharmacist who compares them with their "
    "sources. Limits that hold only when an order states them (rates, courses, totals) were not looked at."
)


@click.command("prove", epilog="Exit status: 0 all proven, 1 a counter-example, 4 something could not be proven, 2 bad input.")
@click.argument("folder", required=False)
@click.option("--medicine", metavar="NAME", cls=Once, help="only this one")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, medicine: str | None, as_json: bool) -> int:
    """Prove that no figure contradicts another, for every weight in the bands: not by samples, but at every weight where limits meet."""
    try:
        formulary = open_formulary(folder)
    except FormularyError as error:
        return refuse(error, as_json, "Nothing was proven.")
    if medicine and formulary.medicine(medicine) is None:
        near = formulary.near(medicine)
        raise click.UsageError(f'No medicine named "{medicine}".' + (f" Did you mean {' or '.join(near)}?" if near else ""))
    proofs = prove(formulary, medicine or None)
    if as_json:
        whole = {"claims": _MEANS, "regimens": [proof.as_dict() for proof in proofs], "formulary": formulary.about(), "caution": _CAUTION}
        click.echo(json.dumps(whole, indent=2, ensure_ascii=False))
    else:
        click.echo(proofs_text(proofs, formulary))
    states = {proof.state for proof in proofs}
    return 1 if COUNTER in states else 4 if OPEN in states or not proofs else 0


def proofs_text(proofs: Sequence[Proof], formulary: Formulary) -> str:
    """The counts first, then what is not proven, then what was proven of how many."""
    count = Counter(proof.state for proof in proofs)
    lines = [
        heading(
            f"{len(proofs)} regimen{'s' * (len(proofs) != 1)}: {count[PROVEN]} proven, {count[COUNTER]} with a counter-example, {count[OPEN]} not proven"
        )
    ]
    for proof in (proof for proof in proofs if proof.state != PROVEN):
        lines += ["", heading(f"{proof.medicine}/{proof.regimen}") + f", {proof.children or 'children not known'}"]
        for result, example in zip(proof.results, proof.examples, strict=True):
            if result.state != PROVEN:
                at = f" At {proof.at(result)}." if result.weight is not None else ""
                lines.append(wrapped(f"{result.state.upper()}, {result.claim}: {result.why}{at}", "  - "))
                lines += [f"      {example.command}", f"      gives: {example.outcome}"] if example else []
    lines += ["", "Claims, for each number of doses that a regimen allows for:"]
    worst = max((result.bits for proof in proofs for result in proof.results), default=0)
    for claim, means in _MEANS.items():
        means += f", at most {worst} of {MOST_BITS} bits" if claim == "whole numbers" and worst else ""
        states = [result.state for proof in proofs for result in proof.results if result.claim == claim]
        lines.append(wrapped(f"{claim}: {means} ({states.count(PROVEN)} of {len(states)})", "  - "))
    return "\n".join([*lines, "", wrapped(_CAUTION), formulary_line(formulary.about())])
