"""All faults of a formulary at once: each file by itself, then names, sources and local changes against each other.

A broken file is a fault and the others are still looked at.  The shape of files is in `models.py`, what one entry must
agree on in `agree.py`, one medicine's entries together in `medicine_lint.py`.  What is no fault, and yet worth a look, is
advice: `workshop/advice/`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any, NamedTuple

from dosecheck.errors import FormularyError, FormularyFault
from dosecheck.formulary import models
from dosecheck.formulary.folder import ACCEPTED, figures, parse
from dosecheck.formulary.limits import Policy, share
from dosecheck.formulary.local_lint import local_problems, merged_faults
from dosecheck.formulary.medicine_lint import MOST_ROWS, Sound, medicine_problems, sound_part, unknown
from dosecheck.formulary.names import clashes, ingredient_clashes, names_of
from dosecheck.formulary.placed import placed, placed_by_id
from dosecheck.formulary.plainly import ENTRIES, EXAMPLES, POLICY_EXAMPLES, Place, Problem, Raw, position, problems, shown, tables, to_fault
from dosecheck.formulary.sheet import FILE as SHEET
from dosecheck.formulary.sheet_lint import SheetFile, sheet_problems

_DEFAULT = Policy(Fraction(1, 10), Fraction(1, 10))


class LintReport(NamedTuple):
    """`faults` stop the formulary from being used; `index` is every name, in lower case, to its file."""

    faults: list[FormularyFault]
    index: dict[str, str]


def lint_files(files: dict[str, bytes]) -> LintReport:
    """Every fault of a folder, in the order of its files and of what stands in them.

    Args:
        files: relative name to content, as `folder.read_folder` gives them.
    """
    raws, faults = _parsed(files)
    found: dict[str, list[Problem]] = defaultdict(list)
    sounds = _shapes(raws, found)
    policy = _policy(raws.get("policy.toml", {}), found)
    for name, sound in sounds.items():
        if name.startswith("medicines/"):
            found[name] += [*_stem(name, raws[name]), *_examples_last(name, files[name], raws[name]), *medicine_problems(sound, policy)]
    names = names_of(raws)
    told = (*clashes(names), *ingredient_clashes(raws), *_unknown_sources(raws), *local_problems(files, sounds))
    for name, problem in (*told, *sheet_problems(raws.get(SHEET, {}), found[SHEET], files, sounds)):
        found[name].append(problem)
    for name, ones in found.items():
        ordered = sorted(ones, key=lambda one: position(raws[name], one.place))
        faults += [placed(to_fault(name, raws[name], problem), files[name], problem.place) for problem in ordered]
    faults += [placed_by_id(fault, files[fault.file]) for fault in merged_faults(sounds, policy)]
    index = {text.strip().lower(): name for text, name, _ in names}
    return LintReport(sorted(dict.fromkeys(faults), key=lambda fault: fault.file), index)


def _parsed(files: dict[str, bytes]) -> tuple[dict[str, Raw], list[FormularyFault]]:
    raws: dict[str, Raw] = {}
    faults: list[FormularyFault] = []
    for name in sorted({*files, "policy.toml", "sources.toml"}):
        if name not in files:
            faults.append(FormularyFault(name, "", "", "The file is missing.", 'Make a formulary with "dosecheck formulary copy DIR".'))
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
        crowded = [kind for kind in ENTRIES if len(tables(raw, kind)) > MOST_ROWS]
        found[name] += [Problem((kind,), f"There are more than {MOST_ROWS} entries.", "Look for a copy too many.") for kind in crowded]
        model = model_of(name)
        if model:
            examples = POLICY_EXAMPLES if name == "policy.toml" else EXAMPLES
            found[name] += problems(model, {key: value for key, value in raw.items() if key not in crowded}, examples)
        if name.startswith(("medicines/", "local/")):
            sounds[name] = sound_part(raw, found[name])
    return sounds


def model_of(name: str) -> Any:
    """The model of a file by its name in the folder; None for one that is not read."""
    whole = {"policy.toml": models.PolicyFile, "sources.toml": models.SourcesFile, SHEET: SheetFile, ACCEPTED: models.AcceptedFile}
    parts = {"medicines": models.MedicineFile, "local": models.LocalFile}
    return whole.get(name) or parts.get(name.partition("/")[0])


def _policy(raw: Raw, found: dict[str, list[Problem]]) -> Policy:
    """The grading that limits are compiled with; a stand-in where the file is not right."""
    if not raw or found["policy.toml"]:
        return _DEFAULT
    allowance = share(raw["point_allowance"]["value"])
    if allowance >= 1:
        why = "From 100 % on no dose would be too small."
        found["policy.toml"].append(Problem(("point_allowance", "value"), why, 'Write it as "10 %".'))
    return Policy(share(raw["query_up_to"]["value"]), allowance)


def _stem(name: str, raw: Raw) -> Iterator[Problem]:
    stem = PurePosixPath(name).stem
    if isinstance(raw.get("id"), str) and raw["id"] != stem:
        yield Problem(("id",), f'{shown(raw["id"])} is not the name of the file, "{stem}".', "Make both the same.")


def _examples_last(name: str, content: bytes, raw: Raw) -> Iterator[Problem]:
    """A check parses a file only up to its first example: what it then reads must be all the rest."""
    try:
        cut = figures(name, content)
    except FormularyError:
        cut = None
    if cut != {key: value for key, value in raw.items() if key != "example"}:
        why = "Something else stands after the first example, or the line [[example]] is written otherwise or inside a text."
        yield Problem(("example",), why, "Write each one as [[example]] at the start of a line, after all other entries.")


# ---- sources ----


def _sources_in(raw: Raw) -> Iterator[tuple[Place, str]]:
    """(place, id) of every source that a file names."""
    for kind in ENTRIES:
        for number, entry in enumerate(tables(raw, kind)):
            for path in ((), ("equals",)):
                node = entry
                for part in (*path, "source", "id"):
                    node = node.get(part) if isinstance(node, dict) else None
                if isinstance(node, str) and node:  # an empty one is told as such
                    yield (kind, number, *path, "source", "id"), node


def _named_table(name: str, raw: Raw) -> Iterator[tuple[Place, str]]:
    """The table of daily bands that policy.toml names, by its source."""
    line = raw.get("inhaled_table") if name == "policy.toml" else None
    if isinstance(line, dict) and isinstance(line.get("value"), str):
        yield ("inhaled_table", "value"), line["value"]


def _unknown_sources(raws: dict[str, Raw]) -> Iterator[tuple[str, Problem]]:
    known = raws.get("sources.toml")
    if known is None:
        return
    for name, raw in raws.items():
        for place, id_ in (*_sources_in(raw), *_named_table(name, raw)):
            if id_ not in known:
                near = unknown(id_, list(known), "source")
                write = near.write if near.write.startswith("Did") else f"Add [{shown(id_)[1:-1]}] to sources.toml."
                yield name, Problem(place, f"There is no source {shown(id_)} in sources.toml.", write)
