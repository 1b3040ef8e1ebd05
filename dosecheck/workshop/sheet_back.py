"""A reviewed spreadsheet brought back into a formulary: read, held against it, linted as a whole, and only then written."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from typing import NamedTuple

from dosecheck.errors import DosecheckError, Fault, FileError, FormularyFault, InputError
from dosecheck.formulary.approvals import standings
from dosecheck.formulary.folder import fingerprint, parse, read_folder
from dosecheck.formulary.lint import lint_files
from dosecheck.formulary.plainly import shown
from dosecheck.saving import save
from dosecheck.workshop.sheet_files import read
from dosecheck.workshop.sheet_grammar import BAND, grids
from dosecheck.workshop.sheet_in import Row, Wanted, regimen_of, wanted
from dosecheck.workshop.sheet_merge import Change, Plan, plan


class Brought(NamedTuple):
    """What a spreadsheet changes: the changes, entries that have no row and stay, approvals that lapse, hidden rows that were
    read, and the files that were written (none with `check`)."""

    changes: tuple[Change, ...]
    missing: tuple[Change, ...]
    lapsed: tuple[str, ...]
    hidden: tuple[str, ...]
    written: tuple[str, ...]


def from_sheet(sheet: str, into: str, check: bool = False, remove: bool = False, force: bool = False) -> Brought:
    """Brings the rows of a workbook, or of a folder of CSV files, into the formulary in the folder `into`.

    Args:
        check: tell what would change, and write nothing.
        remove: remove entries that have no row.
        force: also where the formulary was edited after the spreadsheet was made of it; the spreadsheet's figures then hold.

    Raises:
        InputError: every fault of cells, columns and sheets at once, or of the formulary that would come of it.
        FileError, FormularyError: the spreadsheet or the folder cannot be read or written.
    """
    files = read_folder(into)
    want = wanted(*read(sheet))
    planned = plan(files, want, remove)
    if planned.changes:
        _refuse_older(files, want, force)
        _refuse_lost_bands(planned, remove)
        _refuse_faults(files, want, planned)
    if not check:
        _write(into, files, planned)
    return Brought(planned.changes, planned.missing, tuple(_lapsed(files, planned)), want.hidden, () if check else tuple(planned.files))


def _refuse_older(files: dict[str, bytes], want: Wanted, force: bool) -> None:
    stands = fingerprint(files)
    if stands != want.fingerprint and not force:
        why = f"The formulary is not the one that this spreadsheet was made of ({want.fingerprint}): its fingerprint is {stands} now."
        write = "Somebody edited it since. Make the spreadsheet again, or write --force to let the spreadsheet's figures hold everywhere."
        raise InputError([Fault("fingerprint", "", why, write)])


def _refuse_lost_bands(planned: Plan, remove: bool) -> None:
    """A band has no name by which it could stay while the others of its regimen change."""
    lost = [one for one in planned.changes if not one.key and one.after is None]
    if lost and not remove:
        why = "The formulary has this row, and the spreadsheet has fewer for its regimen."
        raise InputError([Fault(f"{one.file}, {one.entry}", "", why, "Write all its rows again, or add --remove.") for one in lost])


def _after(files: dict[str, bytes], planned: Plan) -> dict[str, bytes]:
    return {name: content for name, content in {**files, **planned.files}.items() if content is not None}


def _refuse_faults(files: dict[str, bytes], want: Wanted, planned: Plan) -> None:
    found = lint_files(_after(files, planned)).faults
    if found:
        rows = dict(reversed(list(_rows_by_entry(want))))
        raise InputError([_in_sheet(fault, rows) for fault in found])


def _rows_by_entry(want: Wanted) -> Iterator[tuple[tuple[str, str], Row]]:
    """Each row by the file and entry as a fault of lint names them."""
    bands: dict[int, int] = {}
    for grid in grids().values():
        for row in want.rows[grid.name]:
            if grid.place == "head":
                yield (row.fixed[0], ""), row
            elif grid.place == "table":
                yield (grid.file, f"source {shown(row.fixed[0])}" if grid.name == "sources" else row.fixed[0]), row
            elif grid.place == "band":
                regimen = regimen_of(row, want.rows)[0]
                bands[id(regimen)] = number = bands.get(id(regimen), 0) + 1
                yield (row.fixed[0], f"regimen {shown(row.fixed[1])}, {BAND} {number}"), row
            else:
                name = row.entry.get("title" if grid.kind == "section" else "id", "")
                yield (grid.file or row.fixed[0], f"{grid.kind.replace('_', ' ')} {shown(name)}"), row


def _in_sheet(fault: FormularyFault, rows: dict[tuple[str, str], Row]) -> Fault:
    """A fault of the formulary told by the cell that it comes from, or by its file where no row says it."""
    entry, key = fault.entry, fault.key
    if fault.file == "policy.toml":
        entry, _, key = key.partition(".")
    row = rows.get((fault.file, entry)) or rows.get((fault.file, entry.partition(", line ")[0]))
    if row is None:
        return Fault(", ".join(part for part in (fault.file, fault.entry, fault.key) if part), "", fault.why, fault.write)
    return row.fault(key, fault.why, fault.write)


def _lapsed(files: dict[str, bytes], planned: Plan) -> Iterator[str]:
    """Approvals that held before and hold no more."""
    for name, content in planned.files.items():
        if content is None or name not in files or "/" not in name:
            continue
        before = {(one.kind, one.id, one.figures): one.people for one in standings(parse(name, files[name]))}
        kept = {(one.kind, one.id, one.figures) for one in standings(parse(name, content)) if one.people}
        for (kind, id_, figures), people in before.items():
            if people and (kind, id_, figures) not in kept:
                yield f"{name}, {kind.replace('_', ' ')} {id_}, checked by {' and '.join(people)}"


def _write(folder: str, files: dict[str, bytes], planned: Plan) -> None:
    """All of them; if one cannot be written, those before it are put back."""
    for name in planned.files:
        if _now(os.path.join(folder, name)) != files.get(name):
            raise DosecheckError(f"{name} was changed while the spreadsheet was read. Nothing was written; try again.")
    done: list[str] = []
    try:
        for name, content in planned.files.items():
            _put(os.path.join(folder, name), content)
            done.append(name)
    except (FileError, OSError) as error:
        failed, before = name, reversed(done)
        for name in before:
            with contextlib.suppress(FileError, OSError):
                _put(os.path.join(folder, name), files.get(name))
        why = error.why if isinstance(error, FileError) else f"It cannot be written: {error.strerror}."
        raise FileError(os.path.join(folder, failed), why, "The files before it were put back as they were.") from None


def _now(path: str) -> bytes | None:
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return None


def _put(path: str, content: bytes | None) -> None:
    if content is None:
        os.remove(path)
    else:
        os.makedirs(os.path.dirname(path), exist_ok=True)
        save(path, content)
