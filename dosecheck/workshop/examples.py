"""The printed examples of a formulary's files, put through the very check that orders go through.

Their shape is `formulary/parts.py`; here each is answered, and a failing one is a fault like any other.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from dosecheck.errors import FormularyFault, InputError
from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.placed import placed
from dosecheck.records import read_order
from dosecheck.rules.check import check_order
from dosecheck.rules.reckon import reckon

_WRITE = "Look at the figures and at the example: one of them is not as printed."


class Example(NamedTuple):
    """`given` are an order's columns as text, with the medicine; `expect` as in the file, where it is number `number` from 0."""

    file: str
    number: int
    id: str
    given: dict[str, str]
    expect: dict[str, Any]


def examples(formulary: Formulary) -> list[Example]:
    """All of them, in the order of the files."""
    raws = {name: parse(name, content) for name, content in formulary.files.items() if name.startswith("medicines/")}
    return [
        Example(name, number, row["id"], {"medicine": raw["name"], **row["given"]}, row["expect"])
        for name, raw in raws.items()
        for number, row in enumerate(raw.get("example", []))
    ]


def failing(formulary: Formulary) -> list[FormularyFault]:
    """The examples that do not come out as printed: what was expected, what came out.

    Args:
        formulary: without a fault; a site's own changes count, so that an example can fail because of one.
    """
    return [
        _fault(example, key, why, formulary.files[example.file])
        for example in examples(formulary)
        for key, why in _differences(example, formulary)
    ]


def _fault(example: Example, key: str, why: str, content: bytes) -> FormularyFault:
    fault = FormularyFault(example.file, f'example "{example.id}"', key, why, _WRITE)
    return placed(fault, content, ("example", example.number, *key.split(".")))


def _differences(example: Example, formulary: Formulary) -> Iterator[tuple[str, str]]:
    try:
        order, child = read_order(example.given)
        got = _outcome(order, child, formulary) if order.dose else _sizes(order, child, formulary)
    except InputError as error:
        yield "given", f"It cannot be read: {'; '.join(map(str, error.faults))}"
        return
    for key, want in example.expect.items():
        missing = [code for code in want if code not in got[key]] if key == "codes" else [want] if got[key] != want else []
        if missing:
            came = ", ".join(got[key]) if key == "codes" else got[key]
            yield f"expect.{key}", f'"{", ".join(missing)}" was expected, and "{came}" came out. {got["why"]}'.rstrip()


def _outcome(order: Any, child: Any, formulary: Formulary) -> dict[str, Any]:
    verdict = check_order(order, child, formulary)
    return {"outcome": verdict.outcome, "codes": verdict.codes, "why": " ".join(f.message for f in verdict.findings if f.outcome)}


def _sizes(order: Any, child: Any, formulary: Formulary) -> dict[str, str]:
    """What the figures come to, as `dosecheck dose --json` writes it; more than one regimen is no one size."""
    answer = reckon(order, child, formulary).as_dict()
    found = answer["figures"] if len(answer["figures"]) == 1 else []
    one = found[0] if found else {"low": "", "high": "", "products": []}
    volume = next((product["measured"] for product in one["products"] if product["product"] == order.product), "")
    why = "" if found else f"{len(answer['figures'])} regimens fit. " + " ".join(finding["message"] for finding in answer["findings"])
    return {"least": one["low"], "largest": one["high"], "volume": volume, "why": why}
