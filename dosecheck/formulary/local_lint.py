"""A site's own changes: what they name must exist, and the medicine with them in it must still be right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import PurePosixPath

from dosecheck.errors import FormularyFault
from dosecheck.formulary.limits import Policy
from dosecheck.formulary.load import merge
from dosecheck.formulary.medicine_lint import Sound, medicine_problems, plain_tables, unknown
from dosecheck.formulary.plainly import ENTRIES, Problem, Raw, to_fault


def _base_of(local: Sound) -> str:
    return f"medicines/{local.head['medicine']}.toml"


def _locals(sounds: dict[str, Sound]) -> Iterator[tuple[str, Sound]]:
    return ((name, sound) for name, sound in sounds.items() if name.startswith("local/") and "medicine" in sound.head)


def local_problems(files: Iterable[str], sounds: dict[str, Sound]) -> Iterator[tuple[str, Problem]]:
    """(file, problem) of names that stand for nothing, and of entries that two local files change."""
    medicines = [PurePosixPath(name).stem for name in files if name.startswith("medicines/")]
    changed: dict[tuple[str, str, str], str] = {}
    for name, local in _locals(sounds):
        medicine = local.head["medicine"]
        if medicine not in medicines:
            yield name, unknown(medicine, medicines, "medicine")._replace(place=("medicine",))
        base = sounds.get(_base_of(local))
        for n, id_ in enumerate(local.head.get("withdraw", []) if base else []):
            if id_ not in base.ids["regimen"]:
                yield name, unknown(id_, base.ids["regimen"], "regimen")._replace(place=("withdraw", n))
        for kind in ENTRIES:
            for number, entry in local.entries[kind]:
                other = changed.setdefault((medicine, kind, entry["id"]), name)
                if other != name:
                    yield name, Problem((kind, number, "id"), f"{other} changes it too, and one would hide the other.", "Keep one of them.")


def merged_faults(sounds: dict[str, Sound], policy: Policy) -> Iterator[FormularyFault]:
    """What is wrong with a medicine only once a site's changes are in it; told of the local file that brings it."""
    medicines = {name: _numbered(plain_tables(sound), sound.ids) for name, sound in sounds.items() if name.startswith("medicines/")}
    for name, local in _locals(sounds):
        base = medicines.get(_base_of(local))
        if base is None:
            continue
        merged = _merged(base, local)
        before = set(_faults_of(base, name, policy))
        yield from (fault for fault in _faults_of(merged, name, policy) if fault not in before)
        medicines[_base_of(local)] = merged


def _merged(base: Sound, local: Sound) -> Sound:
    ids = {kind: list(dict.fromkeys(base.ids[kind] + local.ids[kind])) for kind in ENTRIES}
    return _numbered(merge({"status": "draft", **plain_tables(base)}, plain_tables(local)), ids)


def _numbered(raw: Raw, ids: dict[str, list[str]]) -> Sound:
    """The entries with their places in `raw` itself."""
    return Sound({key: raw[key] for key in raw if key not in ENTRIES}, {kind: list(enumerate(raw[kind])) for kind in ENTRIES}, ids)


def _faults_of(sound: Sound, file: str, policy: Policy) -> list[FormularyFault]:
    return [to_fault(file, plain_tables(sound), problem) for problem in medicine_problems(sound, policy)]
