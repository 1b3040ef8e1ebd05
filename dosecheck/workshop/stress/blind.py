"""Where a formulary is blind: a slip that some wrong orders of a regimen pass with, and one of them to run."""

from __future__ import annotations

import shlex
from typing import Any, NamedTuple

_FLAGS = ("once",)


class Blind(NamedTuple):
    """`caught` of `orders`; `why` they pass; `command` shows one that passes."""

    medicine: str
    regimen: str
    slip: str
    way: str
    caught: int
    orders: int
    why: str
    command: str

    def as_dict(self) -> dict[str, Any]:
        return self._asdict()


def order_of(fields: dict[str, str], folder: str) -> str:
    """The row of a file as a command to paste; `folder`: of the formulary."""
    words = ["dosecheck", "order", "--formulary", folder]
    for name, text in fields.items():
        flag = f"--{name.replace('_', '-')}"
        for part in text.split(";") if name == "condition" else [text]:
            words += [flag] if name in _FLAGS else [flag, part]
    return shlex.join(words)
