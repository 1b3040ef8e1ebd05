"""All faults of a formulary at once: each file by itself, then names, sources and local changes against each other.

A broken file is a fault and the others are still looked at.  The shape of files is in `models.py`, what one entry must
agree on in `agree.py`, one medicine's entries together in `medicine_lint.py`.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any, NamedTuple

from dosecheck.errors import FormularyError, FormularyFault
from dosecheck.formulary import models
from dosecheck.formulary.limits import Policy, share
from dosecheck.formulary.load import merge, parse
from dosecheck.formulary.medicine_lint import ENTRIES, Raw, Sound, medicine_problems, plain_tables, sound_part, tables, unknown
from dosecheck.formulary.plainly import Place, Problem, problems, shown

_DEFAULT = Policy(Fraction(1, 10), Fraction(1, 10))


class LintReport(NamedTuple):
    """`faults` stop the formulary from being used, `advice` does not; `index` is every name, in lower case, to its file."""

    faults: list[FormularyFault]
    advice: list[FormularyFault]
    index: dict[str, str]


def lint_files(files: dict[str, bytes]) -> LintReport:
    """Every fault of a folder, in the order of its files and of what stands in them.

    Args:
        files: relative name to content, as `load.read_folder` gives them.
    """
    raws, faults = _parsed(files)
    found: dict[str, list[Problem]] = defaultdict(list)
    sounds = _shapes(raws, found)
    policy = _policy(raws.get("policy.toml", {}), found)
    for name, sound in sounds.items():
        if name.startswith("medicines/"):
            found[name] += [*_stem(name, raws[name]), *medicine_problems(sound, policy)]
    names = _names(raws)
    for name, problem in (*_clashes(names), *_unknown_sources(raws), *_local_problems(raws, sounds)):
        found[name].append(problem)
    faults += [_fault(name, raws[name], problem) for name in found for problem in sorted(found[name], key=lambda p: _position(raws[name], p.place))]
    faults += [fault for name, sound in sounds.items() if name.startswith("local/") for fault in _merged_faults(name, sounds, policy)]
    index = {text.strip().lower(): name for text, name, _ in names if name.startswith("medicines/")}
    return LintReport(sorted(dict.fromkeys(faults), key=lambda fault: fault.file), _advice(raws), index)


def _parsed(files: dict[str, bytes]) -> tuple[dict[str, Raw], list[FormularyFault]]:
    raws: dict[str, Raw] = {}
    faults: list[FormularyFault] = []
    for name in sorted({*files, "policy.toml", "sources.toml"}):
        if name not in files:
            faults.append(FormularyFault(name, "", "", "The file is missing.", 'Make a whole formulary with "dosecheck formulary copy DIR".'))
            continue
        try:
            raws[name] = parse(name, files[name])
        except FormularyError as error:
            faults += error.faults
    return raws, faults


def _shapes(raws: dict[str, Raw], found: dict[str, list[Problem]]) -> dict[str, Sound]:
    """Holds each file against its model; gives back what is right of the medicine and local files."""
    sounds = {}
    for name, raw in raws.items():
        model = _model(name)
        if model:
            found[name] += problems(model, raw)
        if name.startswith(("medicines/", "local/")):
            sounds[name] = sound_part(raw, found[name])
    return sounds


def _model(name: str) -> Any:
    whole = {"policy.toml": models.PolicyFile, "sources.toml": models.SourcesFile}
    parts = {"medicines": models.MedicineFile, "local": models.LocalFile}
    return whole.get(name) or parts.get(name.partition("/")[0])


def _policy(raw: Raw, found: dict[str, list[Problem]]) -> Policy:
    """The grading that limits are compiled with; a stand-in where the file is not right."""
    if not raw or found["policy.toml"]:
        return _DEFAULT
    allowance = share(raw["point_allowance"]["value"])
    if allowance >= 1:
        found["policy.toml"].append(Problem(("point_allowance", "value"), "From 100 % on no dose would be too small.", 'Write it as "10 %".'))
    return Policy(share(raw["query_up_to"]["value"]), allowance)


def _stem(name: str, raw: Raw) -> Iterator[Problem]:
    stem = PurePosixPath(name).stem
    if isinstance(raw.get("id"), str) and raw["id"] != stem:
        yield Problem(("id",), f'{shown(raw["id"])} is not the name of the file, "{stem}".', "Make both the same.")


# ---- a problem becomes a fault ----


def _position(raw: Raw, place: Place) -> list[int]:
    """Where in the file a place stands; a key that is missing comes after those that are there."""
    position: list[int] = []
    node: Any = raw
    for part in place:
        if isinstance(node, dict):
            keys = list(node)
            position.append(keys.index(part) if part in node else len(keys))
            node = node.get(part)
        elif isinstance(node, list) and isinstance(part, int) and part < len(node):
            position.append(part)
            node = node[part]
        else:
            break
    return position


def _fault(file: str, raw: Raw, problem: Problem) -> FormularyFault:
    kind, *rest = problem.place or ("",)
    entry = ""
    if kind in ENTRIES and rest:
        number, *rest = rest
        entry = f"{kind.replace('_', ' ')} {_entry_name(raw, kind, number)}"
        if len(rest) > 1 and rest[0] == "band":
            entry += f", band {rest[1] + 1}"
            rest = rest[2:]
    elif file == "sources.toml":
        entry = f"source {shown(kind)}"
    else:
        rest = [kind, *rest]
    return FormularyFault(file, entry, ".".join(str(part) for part in rest if isinstance(part, str) and part), problem.why, problem.write)


def _entry_name(raw: Raw, kind: str, number: int) -> str:
    entry = tables(raw, kind)[number]
    id_ = entry.get("id") if isinstance(entry, dict) else None
    return shown(id_) if isinstance(id_, str) else str(number + 1)


# ---- names ----


def _names(raws: dict[str, Raw]) -> list[tuple[str, str, Place]]:
    """(name, file, place) of every id, name and alias of a medicine, right or wrong."""
    found = []
    for name, raw in raws.items():
        if name.startswith("medicines/"):
            found += [(raw[key], name, (key,)) for key in ("id", "name") if isinstance(raw.get(key), str)]
            found += [(alias, name, ("aliases", n)) for n, alias in enumerate(tables(raw, "aliases")) if isinstance(alias, str)]
    return found


# Letters of other alphabets that look like Latin ones.
_LOOK = str.maketrans("аеорсухіјѕԁԛԝһѵαονρικτυχ", "aeopcyxijsdqwhvaovpiktux")


def look(name: str) -> str:
    """What is left of a name when case, accents, hidden characters, kinds of hyphen and look-alike letters are taken away."""
    bare = []
    for char in unicodedata.normalize("NFKD", name.casefold()):
        category = unicodedata.category(char)
        if category == "Pd":
            bare.append("-")
        elif category[0] not in "MC":
            bare.append(char)
    return " ".join("".join(bare).translate(_LOOK).split())


def _clashes(names: list[tuple[str, str, Place]]) -> Iterator[tuple[str, Problem]]:
    """A name of two medicines, or two names that look alike; told in each file after the first, naming both."""
    first: dict[str, tuple[str, str]] = {}
    for text, file, place in names:
        other, other_file = first.setdefault(look(text), (text, file))
        if other_file == file:
            continue
        if other == text:
            yield file, Problem(place, f"{shown(text)} is a name in {other_file} too, so an order by it could mean either.", "A name belongs to one medicine only.")
        else:
            why = f"{shown(text)} looks like {shown(other)} in {other_file}: they differ only in case, accents, hyphens or hidden characters."
            yield file, Problem(place, why, "A name belongs to one medicine only; type it again if it was copied.")


# ---- sources ----


def _sources_in(raw: Raw) -> Iterator[tuple[Place, str]]:
    """(place, id) of every source that a file names."""
    for kind in ENTRIES:
        for number, entry in enumerate(tables(raw, kind)):
            for path in ((), ("equals",)):
                node = entry
                for part in (*path, "source", "id"):
                    node = node.get(part) if isinstance(node, dict) else None
                if isinstance(node, str):
                    yield (kind, number, *path, "source", "id"), node


def _unknown_sources(raws: dict[str, Raw]) -> Iterator[tuple[str, Problem]]:
    known = raws.get("sources.toml")
    if known is None:
        return
    for name, raw in raws.items():
        for place, id_ in _sources_in(raw):
            if id_ not in known:
                near = unknown(id_, list(known), "source")
                write = near.write if near.write.startswith("Did") else f"Add [{id_}] to sources.toml."
                yield name, Problem(place, f"There is no source {shown(id_)} in sources.toml.", write)


def _advice(raws: dict[str, Raw]) -> list[FormularyFault]:
    used = {id_ for raw in raws.values() for _, id_ in _sources_in(raw)}
    unused = [id_ for id_ in raws.get("sources.toml", {}) if id_ not in used]
    advice = [FormularyFault("sources.toml", f"source {shown(id_)}", "", "No figure names it.", "Leave it out, or look for its figures.") for id_ in unused]
    if not any(name.startswith("medicines/") for name in raws):
        advice.append(FormularyFault("medicines", "", "", "There is no medicine, so every order is not checked.", "Add a file to the folder."))
    return advice


# ---- local changes ----


def _base_of(raw: Raw) -> str:
    return f"medicines/{raw.get('medicine')}.toml"


def _local_problems(raws: dict[str, Raw], sounds: dict[str, Sound]) -> Iterator[tuple[str, Problem]]:
    medicines = [PurePosixPath(name).stem for name in raws if name.startswith("medicines/")]
    changed: dict[tuple[str, str, str], str] = {}
    for name, sound in sounds.items():
        if not name.startswith("local/") or "medicine" not in sound.head:
            continue
        base = sounds.get(_base_of(sound.head))
        if base is None:
            yield name, unknown(sound.head["medicine"], medicines, "medicine")._replace(place=("medicine",))
            continue
        for n, id_ in enumerate(sound.head.get("withdraw", [])):
            if id_ not in base.ids["regimen"]:
                yield name, unknown(id_, base.ids["regimen"], "regimen")._replace(place=("withdraw", n))
        for kind in ENTRIES:
            for number, entry in sound.entries[kind]:
                other = changed.setdefault((sound.head["medicine"], kind, entry["id"]), name)
                if other != name:
                    yield name, Problem((kind, number, "id"), f"{other} changes it too, and one would hide the other.", "Keep one of them.")


def _merged_faults(name: str, sounds: dict[str, Sound], policy: Policy) -> list[FormularyFault]:
    """What is wrong with the medicine only once this site's changes are in it; told of the local file."""
    base, local = sounds.get(_base_of(sounds[name].head)), sounds[name]
    if base is None:
        return []
    before = {fault._replace(file=name) for fault in _faults_of(base, name, policy)}
    tables_ = merge({"status": "draft", **plain_tables(base)}, plain_tables(local))
    ids = {kind: list(dict.fromkeys(base.ids[kind] + local.ids[kind])) for kind in ENTRIES}
    merged = Sound({key: value for key, value in tables_.items() if key not in ENTRIES}, {kind: list(enumerate(tables_[kind])) for kind in ENTRIES}, ids)
    return [fault for fault in _faults_of(merged, name, policy) if fault not in before]


def _faults_of(sound: Sound, file: str, policy: Policy) -> list[FormularyFault]:
    return [_fault(file, plain_tables(sound), problem) for problem in medicine_problems(_renumbered(sound), policy)]


def _renumbered(sound: Sound) -> Sound:
    return sound._replace(entries={kind: list(enumerate(entry for _, entry in sound.entries[kind])) for kind in ENTRIES})
