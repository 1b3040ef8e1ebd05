"""One line of advice, and the place in the files that it is about."""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.quantity import Quantity
from dosecheck.showing import show


class Advice(NamedTuple):
    """`about` is what an acceptance names: "paracetamol/oral-pain-child", "paracetamol", or an id of another file."""

    code: str
    about: str
    file: str
    entry: str
    why: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.entry) if part)
        return f"{place}: {self.why} [{self.code}]"


class Places:
    """Which file an entry stands in: the medicine's own, or a local one."""

    def __init__(self, formulary: Formulary) -> None:
        self._local: dict[tuple[str, str], str] = {}
        for name, content in formulary.files.items():
            if name.startswith("local/"):
                raw = parse(name, content)
                self._local.update({(raw["medicine"], entry["id"]): name for entry in raw.get("regimen", [])})

    def of(self, code: str, medicine: Medicine, regimen: Regimen, why: str) -> Advice:
        """Advice on one regimen, or on one row of its table by band."""
        own, _, band = regimen.id.partition(", band ")
        file = self._local.get((medicine.id, own), medicine.file) if regimen.origin == "local" else medicine.file
        entry = f'regimen "{own}"' + (f", band {band}" if band else "")
        return Advice(code, f"{medicine.id}/{own}", file, entry, why)


def edge_in_words(fact: str, edge: int) -> str:
    """An edge of a band as a file would write it: "12 years", "28 days", "10 kg", "34 weeks"."""
    kind = fact.rpartition(" ")[2]
    if fact == "weight":
        return show(Quantity(edge, "weight", "kg"))
    if kind == "months":
        number, unit = (edge // 12, "year") if edge and edge % 12 == 0 else (edge, "month")
    else:
        number, unit = (edge // 7, "week") if fact in ("postmenstrual days", "gestation") and edge % 7 == 0 else (edge, "day")
    return f"{number} {unit}{'s' * (number != 1)}"
