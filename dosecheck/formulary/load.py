"""The formulary as an object: a folder read whole, linted once, its medicines compiled when asked for.

The figures are always read from the folder itself.  The user's cache holds only a stamp, "this folder, by hash,
passed lint with this version", and an index of names to files; both are checked against what is opened, and without
a writable cache all still works, more slowly.
"""

from __future__ import annotations

import os
from datetime import date
from typing import TYPE_CHECKING, Any

from dosecheck.errors import FormularyError, FormularyFault
from dosecheck.formulary.approvals import status_of
from dosecheck.formulary.folder import figures, find_folder, fingerprint, parse, read_folder, read_stamp, section, write_stamp
from dosecheck.formulary.limits import Policy, share
from dosecheck.formulary.medicine import Medicine, compile_medicine
from dosecheck.formulary.shelf import Asked, Shelf, build, version_of
from dosecheck.formulary.weight_z import far_above, z_bands

if TYPE_CHECKING:
    from dosecheck.formulary.sheet import Section


def merge(raw: dict[str, Any], local: dict[str, Any]) -> dict[str, Any]:
    """The base file with a site's changes: the same id is replaced, a new one added, a withdrawn one left out."""
    merged = dict(raw)
    for key in ("regimen", "product", "age_limit", "daily_band"):
        mine = [{**entry, "origin": "local", "reason": local["reason"]} for entry in local.get(key, [])]
        gone = {entry["id"] for entry in mine} | (set(local.get("withdraw", [])) if key == "regimen" else set())
        merged[key] = [entry for entry in raw.get(key, []) if entry["id"] not in gone] + mine
    merged["status"] = min(raw["status"], local.get("status", "draft"), key=_RANK.get)
    return merged


_RANK = {"example": 0, "draft": 1, "approved": 2}
_MOST_SHELVES = 10_000  # remembered; beyond it the memory starts afresh, since orders may hold free text


class Formulary:
    """A folder of figures, as it was when read.  `name` and `fingerprint` stand on every answer; `files` is name to content.

    Args:
        folder: the formulary; None finds it as the command line does.
        as_of: the day whose figures are used for every order; None: each order goes by the figures of its own date.

    Raises:
        FormularyError: every fault of the folder at once.
    """

    def __init__(self, folder: str | os.PathLike[str] | None = None, as_of: date | None = None) -> None:
        self.as_of = as_of
        self.folder, self.found = find_folder(folder)
        self.files = read_folder(self.folder)
        self.fingerprint = fingerprint(self.files)
        self._index = self._linted_index()
        policy = parse("policy.toml", self.files["policy.toml"])
        self.policy = policy
        self.grading = Policy(share(policy["query_up_to"]["value"]), share(policy["point_allowance"]["value"]))
        self.z_bands, self.far_above = z_bands(policy), far_above(policy)
        self.growth_reference: str = policy.get("growth_reference", {}).get("value", "who")
        watched = policy.get("one_at_a_time")
        self.one_at_a_time = frozenset(watched["value"]) if watched else None  # None: every group
        self._medicines: dict[str, Medicine] = {}
        self._shelves: dict[tuple[str, Asked], Shelf] = {}
        self._source_texts: dict[str, str] = {}

    def _linted_index(self) -> dict[str, str]:
        known = read_stamp(self.fingerprint)
        files = {name for name in self.files if name.startswith("medicines/")}
        return known if known is not None and set(known.values()) == files else self._lint()

    def _lint(self) -> dict[str, str]:
        from dosecheck.formulary.lint import lint_files  # pydantic loads only here: a stamped folder never waits for it

        report = lint_files(self.files)
        if report.faults:
            raise FormularyError(report.faults)
        write_stamp(self.fingerprint, report.index)
        return report.index

    @property
    def names(self) -> list[str]:
        """Every name and alias, sorted."""
        return sorted(self._index)

    def medicine(self, name: str | None) -> Medicine | None:
        """The medicine of exactly that name or alias (case and outer spaces aside), or None; never a near miss."""
        name = name.strip().lower() if name else ""
        if name in self._index and name not in self._compiled(self._index[name]).names:
            self._index = self._lint()  # the stamp's index is not that of this folder
        return self._compiled(self._index[name]) if name in self._index else None

    def _compiled(self, file: str) -> Medicine:
        if file not in self._medicines:  # two threads may both find it so; one object is the medicine for either
            self._medicines.setdefault(file, compile_medicine(self._merged(file), self.grading, file))
        return self._medicines[file]

    def _merged(self, file: str) -> dict[str, Any]:
        raw = figures(file, self.files[file])
        raw["status"] = status_of(raw)
        for local_name, content in self.files.items():
            if local_name.startswith("local/"):
                local = parse(local_name, content)
                local["status"] = status_of(local, raw.get("high_risk", False))
                raw = merge(raw, local) if local.get("medicine") == raw["id"] else raw
        return raw

    def tables(self) -> list[dict[str, Any]]:
        """Every medicine as plain tables, a site's own changes merged in, without its examples, by file."""
        return [self._merged(file) for file in sorted(set(self._index.values()))]

    def medicines(self) -> list[Medicine]:
        """All of them, by id."""
        return [
            self.medicine(name) for name in sorted({file.removeprefix("medicines/").removesuffix(".toml") for file in self._index.values()})
        ]

    def sheet(self) -> tuple[Section, ...]:
        """What stands on the one-page sheet, in order.

        Raises:
            FormularyError: the formulary has no list for it.
        """
        from dosecheck.formulary.sheet import FILE, sections  # a check need not load it

        if FILE not in self.files:
            write = "Write one (formulary/README.md says how), or take that of a fresh copy: dosecheck formulary copy DIR."
            raise FormularyError([FormularyFault(FILE, "", "", "The file is missing, so nothing is listed for the sheet.", write)])
        return sections(parse(FILE, self.files[FILE]))

    def version(self, medicine: Medicine, on: date | None) -> int:
        """Which of the medicine's regimens are in force for an order of that date: `Asked.version`."""
        return version_of(medicine, self.as_of or on)

    def shelf(self, medicine: Medicine, asked: Asked) -> Shelf:
        """The regimens that an order asking so could mean; built once for each way of asking."""
        key = (medicine.id, asked)
        if len(self._shelves) >= _MOST_SHELVES:
            self._shelves.clear()
        if key not in self._shelves:
            self._shelves[key] = build(medicine, asked)
        return self._shelves[key]

    def near(self, name: str) -> list[str]:
        """Names that look like `name`: shown as a question, never used."""
        from difflib import get_close_matches

        return get_close_matches(name.lower(), self.names, n=3, cutoff=0.75)

    def source(self, text: str) -> str:
        """A regimen's "id, place" with the source written out: title, organisation, year, place."""
        if text not in self._source_texts:
            known = self._source(text)
            head = ", ".join(str(known[key]) for key in ("title", "organisation", "year") if key in known)
            self._source_texts[text] = f"{head}, {text.partition(', ')[2]}" if text else ""
        return self._source_texts[text]

    def source_address(self, text: str) -> str:
        return self._source(text).get("address", "")

    def sources(self) -> dict[str, dict[str, Any]]:
        """Every source by its id, as the file has them."""
        return parse("sources.toml", self.files["sources.toml"])

    def _source(self, text: str) -> dict[str, Any]:
        return section("sources.toml", self.files["sources.toml"], text.partition(", ")[0])

    def about(self, medicine: Medicine | None = None) -> dict[str, str]:
        """What every answer says of its formulary."""
        return {
            "name": self.folder,
            "found": self.found,
            "status": medicine.status if medicine else "",
            "fingerprint": self.fingerprint,
            "as_of": str(self.as_of or ""),
        }

    def review_overdue(self, on: date | None) -> str:
        """The policy's review date, when it has passed."""
        due = self.policy.get("review_by", {}).get("value")
        return str(due) if due and on and on > due else ""
