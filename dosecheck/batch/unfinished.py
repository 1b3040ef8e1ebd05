"""What an unfinished run writes down after each chunk, and whether another run may go on from there."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple, Self

import polars as pl
import pyarrow as pa

from dosecheck.batch.ledger import Tally
from dosecheck.batch.origin import Print
from dosecheck.errors import FileError
from dosecheck.saving import save

STATE = "state.json"
_AFRESH = "delete that folder to start afresh."


class State(NamedTuple):
    """How far a run has come.

    settings: what must be the same for a run to go on.
    done: so many chunks are answered.
    line: where the next refused row will begin in the file of refused rows.
    whole: the last chunk was one of them, and all is written.
    tally: the counts of those chunks.
    prints: the files of the working folder, by name, as they were then.
    """

    settings: dict[str, Any]
    done: int
    line: int
    whole: bool
    tally: Tally
    prints: dict[str, Print]

    def save(self, folder: Path) -> None:
        """Raises OSError: it cannot be written."""
        try:
            save(folder / STATE, json.dumps(self._asdict()).encode())
        except FileError as error:
            raise OSError(0, error.why.removeprefix("It cannot be written: ").rstrip(".")) from error

    @classmethod
    def of(cls, given: dict[str, Any]) -> Self:
        """Raises KeyError or TypeError: something is missing or is another thing."""
        tally = Tally(*(tuple(each) if isinstance(each, list) else each for each in given["tally"]))
        return cls(**{**given, "tally": tally, "prints": {name: Print(*each) for name, each in given["prints"].items()}})


def must_be_same(settings: dict[str, Any]) -> dict[str, Any]:
    """With the libraries, whose every version may write the same rows as other bytes; as JSON gives it back."""
    return json.loads(json.dumps({**settings, "libraries": f"polars {pl.__version__}, pyarrow {pa.__version__}"}))


def earlier(results: Path, folder: Path, settings: dict[str, Any], resume: bool) -> State | None:
    """How far an earlier run has come; None where nothing was answered.

    Raises:
        FileError: there is one, and `resume` is false, or it was of other settings, or what it wrote down is damaged.
    """
    try:
        given = json.loads((folder / STATE).read_bytes())
        if resume:
            _compare(results, folder, given["settings"], settings)
        state = State.of(given)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise damaged(results, folder, f"{STATE} is no state of this version of the program") from None
    if not resume:
        why = f"An earlier run of this result stopped after {state.tally.rows:,} rows; they are kept in {folder.name}."
        raise FileError(str(results), why, f"Add --resume to go on with it, or {_AFRESH}")
    return state


def _compare(results: Path, folder: Path, was: dict[str, Any], now: dict[str, Any]) -> None:
    other = [f"{name} was {was.get(name)!r} and is {now.get(name)!r}" for name in now if was.get(name) != now.get(name)]
    if other:
        why = f"The unfinished run in {folder.name} was another: {'; '.join(other)}."
        raise FileError(str(results), why, f"Run as before, or {_AFRESH}")


def damaged(results: Path, folder: Path, what: str) -> FileError:
    return FileError(str(results), f"The unfinished run in {folder.name} is damaged: {what}.", _AFRESH.capitalize())


def begun_on(results: str | Path) -> date | None:
    """The day of an unfinished run, which stands for undated rows also when it goes on after midnight; None where there is none."""
    folder = Path(f"{os.path.realpath(results)}.unfinished")
    try:
        return date.fromisoformat(json.loads((folder / STATE).read_bytes())["settings"]["undated_rows"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
