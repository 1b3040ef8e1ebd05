"""What a file of orders seems to hold: a map of its columns to look at.

A proposal only: a name may mislead, and a unit in a header is what somebody once meant.  Where a name says nothing, the first
texts of the column may (`contents.py`).  Whoever proposes nothing is certain; where two columns could fill one field, both are
named and neither is taken.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from dosecheck.batch.colmap import KNOWN, ColumnMap, unit_fault
from dosecheck.batch.contents import DATES, Contents, are_dates, are_numbers, distinct_texts
from dosecheck.batch.spelt import Spelt, spelt, spelt_dates, spelt_decimals, told
from dosecheck.batch.understood import Column, rows_of
from dosecheck.batch.written import with_points

NEEDED = ("medicine", "dose")
_FEW = 12  # distinct texts that may be a list of codes

# Names that exports give their columns, without marks and in small letters.  Common practice, no source.
_NAMES = {
    "order_id": "orderid orderno ordernr ordernumber prescriptionid rxid",
    "child_id": "childid childno patientid patientno patientnr patno patnr patient pid mrn hospitalnumber nhsnumber encounterid",
    "medicine": "medicine drug drugname medication medicationname medicinename product productname item generic genericname",
    "route": "route routeofadministration adminroute roa",
    "for": "for indication purpose reason",
    "dose": "dose dosevalue doseamount singledose doseordered dosequantity",
    "every": "every frequency freq interval schedule",
    "times_a_day": "timesaday timesperday dosesperday",
    "product": "productid",
    "weight": "weight wt bodyweight patientweight actualweight",
    "weighed": "weighed weightdate dateweighed",
    "age": "age ageatorder patientage",
    "born": "born dob dateofbirth birthdate",
    "on": "on orderdate date prescribedon orderedon startdate",
    "sex": "sex gender",
    "height": "height ht bodyheight length",
    "gestation": "gestation gestationalage ga",
    "creatinine": "creatinine scr",
    "course": "course duration days",
    "given_at": "givenat administeredat administrationtime admintime timegiven giventime",
}
_OURS = {name: ours for ours, names in _NAMES.items() for name in names.split()} | {field.replace("_", ""): field for field in KNOWN}
_UNITS = {
    "kg": "kg", "g": "g", "lb": "lb", "lbs": "lb", "mg": "mg", "mcg": "micrograms", "ug": "micrograms", "micrograms": "micrograms", "ml": "mL",
    "mgkg": "mg/kg", "years": "years", "yrs": "years", "months": "months", "weeks": "weeks", "wks": "weeks", "days": "days", "hours": "hours",
    "hrs": "hours", "cm": "cm", "m": "m", "umoll": "micromol/L",
}  # fmt: skip
_PARTS = re.compile(r"[^A-Za-z0-9]+")
_SEVERAL = re.compile(r"[/|,;()\[\]]")  # "Wirkstoff / drug": either may be known
_PER_UNIT = re.compile(
    r"(/|[ _](per|pro|par|por)[ _]|[a-z]g[ _])\W*[ck][gm]\W*$", re.IGNORECASE
)  # a dose by weight, "mg/kg" or "mg_kg", is no weight
_ASKED = {
    ("date", True): "Only so are its first dates real.",
    ("date", False): "Is the day or the month first?",
    ("decimal", True): "Is that a decimal comma?",
    ("decimal", False): "Some of its commas are thousands marks.",
}
_UNIT_TELLS = {"kg": "weight", "cm": "height"}  # what else would be counted in it?


class Guess(NamedTuple):
    """One of our fields, and the columns that could fill it, each with the unit that its header tells ("" for none); `by` says why;
    `written` is how some of them are written, where that is not the plain way."""

    field: str
    columns: tuple[tuple[str, str], ...]
    by: str = "its name"
    written: tuple[tuple[str, Spelt], ...] = ()

    @property
    def clear(self) -> bool:
        return len(self.columns) == 1 and all(way.sure for _, way in self.written)

    @property
    def needed(self) -> bool:
        """Whether the map has to say it: a column that has our name and is plainly written is read as it stands."""
        return self.columns != ((self.field, ""),) or bool(self.written)


class Proposal(NamedTuple):
    """`guesses` in the order of our own fields; `dates`: columns of dates and how they are written, each of which could fill one of
    `open_dates`; `rest`: nothing is known of them but their texts, where those are few."""

    guesses: tuple[Guess, ...] = ()
    dates: tuple[tuple[str, Spelt | None], ...] = ()
    open_dates: tuple[str, ...] = ()
    rest: tuple[tuple[str, tuple[str, ...]], ...] = ()


def propose(names: Sequence[str]) -> list[Guess]:
    """What the names alone suggest, in the order of our own fields; a column that has our name already needs no map."""
    return [guess for guess in _by_name(names) if guess.needed]


def _by_name(names: Sequence[str]) -> list[Guess]:
    found: dict[str, list[tuple[str, str]]] = {}
    for name in names:
        ours, unit = _field_of(name)
        if ours:
            found.setdefault(ours, []).append((name, unit))
    return [Guess(field, tuple(found[field])) for field in KNOWN if field in found]


def _field_of(name: str) -> tuple[str, str]:
    """Our field of a header, and the unit in it; ("", "") where nothing known is named."""
    whole = _field_of_words(name)
    if whole[0]:
        return whole
    parts = {found for part in _SEVERAL.split(name) if (found := _field_of_words(part))[0]}
    return parts.pop() if len(parts) == 1 else ("", "")


def _field_of_words(name: str) -> tuple[str, str]:
    parts = [part.lower() for part in _PARTS.split(name) if part]
    whole = "".join(parts)
    if whole in _OURS:
        return _OURS[whole], ""
    for length in (2, 1):  # "dose_mg_kg", "weight_kg"
        head, unit = "".join(parts[:-length]), _UNITS.get("".join(parts[-length:]), "")
        if head in _OURS and unit and not unit_fault(_OURS[head], unit):
            return _OURS[head], unit
    return "", ""


def propose_from(rows: pl.DataFrame, contents: Contents) -> Proposal:
    """What the names suggest, and the first rows of those columns whose names say nothing.

    Args:
        rows: text columns as the file has them.
    """
    rows, named = rows_of(rows), _by_name(rows.columns)
    taken, filled = {column for guess in named for column, _ in guess.columns}, {guess.field for guess in named}
    found: dict[str, list[tuple[str, str]]] = {}
    dates, rest = [], []
    for name in (name for name in rows.columns if name not in taken):
        field, unit = _shown_by(rows[name], contents)
        if field and field not in filled:
            found.setdefault(field, []).append((name, unit))
        elif (way := spelt_dates(rows[name])) or are_dates(rows[name]):
            dates.append((name, way))
        else:
            rest.append((name, _few(rows[name])))
    guesses = {guess.field: guess for guess in named}
    guesses |= {field: Guess(field, tuple(columns), "what is in it") for field, columns in found.items()}
    known = (guesses[field]._replace(written=_ways(rows, guesses[field])) for field in KNOWN if field in guesses)
    open_dates = tuple(field for field in DATES if field not in filled)
    return Proposal(tuple(guess for guess in known if guess.needed), tuple(dates), open_dates, tuple(rest))


def _ways(rows: pl.DataFrame, guess: Guess) -> tuple[tuple[str, Spelt], ...]:
    ways = ((column, spelt(rows[column], guess.field)) for column, _ in guess.columns)
    return tuple((column, way) for column, way in ways if way)


def _few(column: pl.Series) -> tuple[str, ...]:
    """The texts of what may be a list of codes; none of a column with many, which may be names of people."""
    texts = distinct_texts(column, _FEW + 1)
    return tuple(texts) if len(texts) <= _FEW else ()


def _shown_by(column: pl.Series, contents: Contents) -> tuple[str, str]:
    column = with_points(told(column)) if spelt_decimals(column) else column
    unit = _UNITS.get(([part.lower() for part in _PARTS.split(column.name) if part] or [""])[-1], "")
    if unit in _UNIT_TELLS and not _PER_UNIT.search(column.name) and are_numbers(column):
        return _UNIT_TELLS[unit], unit
    return contents.field(column), ""


def map_text(proposal: Proposal, seen: Sequence[Column] = ()) -> str:
    """The proposal as a map: what is clear as lines, what is not as comments; and the codes of the columns `seen`, to be filled in."""
    lines = ["# Proposed from names and first rows: look at each line before you use it.", "[columns]"]
    lines += [line for guess in proposal.guesses for column in guess.columns for line in _lines(guess, *column)]
    lines += [f"# decide: {_either(proposal.open_dates)} = {text}" for date in proposal.dates for text in _date_values(*date)]
    lines += [f"# not known, carried through: {_quoted(name)}{_holding(texts)}" for name, texts in proposal.rest]
    for column in seen:
        if column.codes:
            lines += [
                "",
                '# Not read: write what each means, "" where it tells nothing, and take the "# " away.',
                f"# [codes.{column.field}]",
            ]
            lines += [f'# {_quoted(code)} = "(what it means)"' for code in column.codes]
    return "\n".join(lines) + "\n"


def _either(fields: Sequence[str]) -> str:
    """ "born, weighed or on"."""
    return " or ".join(filter(None, (", ".join(fields[:-1]), *fields[-1:]))) or "a date"


def _holding(texts: Sequence[str]) -> str:
    return f", with {', '.join(map(_quoted, texts))}" if texts else ""


def _lines(guess: Guess, column: str, unit: str) -> list[str]:
    """One for each way in which the column may be written."""
    way = dict(guess.written).get(column)
    asked = ["Is that the unit?"] * bool(unit) + ([_ASKED[way.key, way.sure]] if way else [])
    asked += [f"By {guess.by}."] * (guess.by != "its name")
    said = f"  # {' '.join(asked)}" if asked else ""
    return ["# decide: " * (not guess.clear) + f"{guess.field} = {value}{said}" for value in _values(column, unit, way)]


def _values(column: str, unit: str, way: Spelt | None) -> list[str]:
    """What a map has for the column, once for each way."""
    keys = f"column = {_quoted(column)}" + (f', unit = "{unit}"' if unit else "")
    if way:
        return [f'{{ {keys}, {way.key} = "{spelling}" }}' for spelling in way.spellings]
    return [f"{{ {keys} }}" if unit else _quoted(column)]


def _date_values(column: str, way: Spelt | None) -> list[str]:
    asked = f"  # {_ASKED['date', way.sure]}" if way else ""
    return [f"{value}{asked}" for value in _values(column, "", way)]


def _quoted(text: str) -> str:
    """As TOML writes any text."""
    return '"' + "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04X}" for c in text) + '"'


def map_of(guesses: Sequence[Guess]) -> ColumnMap:
    """What is clear of a proposal."""
    clear = [guess for guess in guesses if guess.clear]
    written = {guess.field: way.spellings[0] for guess in clear for _, way in guess.written}
    return ColumnMap({guess.field: guess.columns[0] for guess in clear}, {}, written=written)
