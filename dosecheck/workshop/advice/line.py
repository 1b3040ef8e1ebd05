"""One line of advice, and the place in the files that it is about."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen
from dosecheck.formulary.placed import line_and_column
from dosecheck.formulary.plainly import Place
from dosecheck.quantity import Quantity
from dosecheck.showing import show


class Advice(NamedTuple):
    """`about` is what an acceptance names: "paracetamol/oral-pain-child", "paracetamol", or an id of another file.

    `line` and `column`, from 1, are those of the entry, or of the file's start where none is named; 0 where there is no file.
    """

    code: str
    about: str
    file: str
    entry: str
    why: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return self._told(self.file)

    @property
    def located(self) -> str:
        """As a fault's: where editors and terminals find it."""
        return self._told(f"{self.file}:{self.line}:{self.column}" if self.line else self.file)

    def _told(self, file: str) -> str:
        place = ", ".join(part for part in (file, self.entry) if part)
        return f"{place}: {self.why} [{self.code}]"


class Places:
    """Which file an entry stands in, the medicine's own or a local one, and where in it."""

    def __init__(self, formulary: Formulary) -> None:
        self._files = formulary.files
        self._raws: dict[str, dict[str, Any]] = {}
        self._local: dict[tuple[str, str], str] = {}
        for name in self._files:
            if name.startswith("local/"):
                raw = self._raw(name)
                self._local.update({(raw["medicine"], entry["id"]): name for entry in raw.get("regimen", [])})

    def of(self, code: str, medicine: Medicine, regimen: Regimen, why: str) -> Advice:
        """Advice on one regimen, or on one row of its table by band."""
        own, _, band = regimen.id.partition(", band ")
        file = self._local.get((medicine.id, own), medicine.file) if regimen.origin == "local" else medicine.file
        entry = f'regimen "{own}"' + (f", band {band}" if band else "")
        return self.placed(Advice(code, f"{medicine.id}/{own}", file, entry, why), regimen.valid_from)

    def placed(self, advice: Advice, valid_from: date | None = None) -> Advice:
        """With the place of its entry; of several with one id that of `valid_from`, or the first."""
        if advice.line or advice.file not in self._files:
            return advice
        line, column = line_and_column(self._files[advice.file], self._way(advice, valid_from))
        return advice._replace(line=line, column=column)

    def _way(self, advice: Advice, valid_from: date | None) -> Place:
        kind, _, rest = advice.entry.partition(' "')
        id_, _, band = rest.partition('"')
        if kind == "source":
            return (id_,)
        key = kind.replace(" ", "_")
        entries = self._raw(advice.file).get(key)
        for number, entry in enumerate(entries if isinstance(entries, list) else ()):
            if entry.get("id") == id_ and valid_from in (None, entry.get("valid_from")):
                return (key, number, "band", int(band.rpartition(" ")[2]) - 1) if band else (key, number)
        return (key,)

    def _raw(self, name: str) -> dict[str, Any]:
        if name not in self._raws:
            self._raws[name] = parse(name, self._files[name])
        return self._raws[name]


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
