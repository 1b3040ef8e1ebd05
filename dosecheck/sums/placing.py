"""Where a day's dose of an inhaled medicine lies: low, medium or high by each published table that the formulary has.

Countries differ, so no table speaks unnamed.  A table whose figures are of another device, output, particle or age gives
no band, and says why.
"""

from __future__ import annotations

from typing import NamedTuple

from dosecheck.body.age import Age
from dosecheck.formulary.daily_bands import UNLISTED, DailyBand, daily_bands, holds_age
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import UNITS, Quantity
from dosecheck.showing import show
from dosecheck.sums.frame import Doubt
from dosecheck.sums.inhaler import Inhaled

_DAY = UNITS["time"]["days"]
FAR = 10  # times the largest printed figure: a slip of the unit


class Tables(NamedTuple):
    """Which tables are asked: `named` by the user or the policy, else all; `asked` when a band is wanted at all."""

    age: Age | None
    named: str | None
    asked: bool


class Placing(NamedTuple):
    """`bands`: table to (band, row); `reasons`: table to why it gives none."""

    bands: dict[str, tuple[str, DailyBand]]
    reasons: dict[str, str]


def tables_of(formulary: Formulary, age: Age | None, table: str | None) -> Tables:
    """The policy's table where the user names none."""
    return Tables(age, table or formulary.policy.get("inhaled_table", {}).get("value"), age is not None or table is not None)


def placed(inhaled: Inhaled, daily: Quantity, tables: Tables) -> Placing:
    """The band by each table that is asked."""
    rows: dict[str, list[DailyBand]] = {}
    for row in daily_bands(inhaled.medicine.daily_bands):
        rows.setdefault(row.table, []).append(row)
    amount = Quantity(daily.value * _DAY, "mass", "micrograms")
    placing = Placing({}, {})
    for name in [tables.named] if tables.named else rows:
        if name not in rows:
            placing.reasons[name] = f"it is no table of {inhaled.medicine.id} here (there is {', '.join(rows) or 'none'})"
            continue
        found = _row(rows[name], inhaled, tables.age)
        band = found if isinstance(found, str) else found.place(amount)
        if isinstance(found, str) or band == UNLISTED:
            placing.reasons[name] = band if isinstance(found, str) else f"{show(amount)} lies {UNLISTED}: {found.text}"
        else:
            placing.bands[name] = (band, found)
    return placing


def _row(rows: list[DailyBand], inhaled: Inhaled, age: Age | None) -> DailyBand | str:
    """The one row of a table that fits, or why none does."""
    if age is None:
        return "it goes by age, and the age is not told"
    facts = {"months": (age.months_lo, age.months_hi), "days": (age.days_lo, age.days_hi)}
    held = [(row, holds_age(row, facts)) for row in rows]
    of_age = [row for row, holds in held if holds]
    if not of_age:
        straddles = any(holds is None for _, holds in held)
        ages = "; ".join(dict.fromkeys(row.age_text for row in rows))
        return f"the age as told lies across the edge of its rows ({ages})" if straddles else f"no row for this age ({ages})"
    reasons = {row.id: row.unlike(inhaled.kind) for row in of_age}
    fitting = [row for row in of_age if not reasons[row.id]]
    return fitting[0] if fitting else "; or ".join(dict.fromkeys(reasons.values()))


# ---- what is said of it ----


def open_question(placing: Placing, tables: Tables) -> str:
    """Why no band could be given, where one is wanted; "" when there is one."""
    if not tables.asked or placing.bands:
        return ""
    return " ".join(f"No band by {name}: {why}." for name, why in placing.reasons.items()) or "The formulary has no table of this medicine."


def place_notes(placing: Placing, tables: Tables) -> list[str]:
    if not tables.asked:
        return ["No band was looked up: give the age (and, if you go by one table, its name)."] if placing.reasons else []
    notes = [f"No band by {name}: {why}." for name, why in placing.reasons.items()] if placing.bands else []
    silent = [name for name, (_, row) in placing.bands.items() if not row.output]
    return notes + ([f"Not said whether metered or delivered amounts are meant: {', '.join(silent)}."] if silent else [])


def place_doubts(inhaled: Inhaled, daily: Quantity, placing: Placing, when: str = "") -> list[Doubt]:
    doubts = []
    if _differ({band for band, _ in placing.bands.values()}):
        said = "; ".join(f"{band} by {name}" for name, (band, _) in placing.bands.items())
        doubts.append(Doubt("tables-differ", f"The tables differ{when}: {said}. Name the one you go by."))
    for name, (band, row) in placing.bands.items():
        if " or " in band:
            doubts.append(Doubt("end-in-two-bands", f"{name} prints this dose under both {band.replace(' or ', ' and ')}: {row.text}."))
    ends = [end.value for row in daily_bands(inhaled.medicine.daily_bands) for each in row.ends for end in (each.low, each.high) if end]
    if ends and daily.value * _DAY > FAR * max(ends):
        text = f"More than {FAR} times the largest figure of any table of {inhaled.medicine.id}: were micrograms and mg mistaken?"
        doubts.append(Doubt("far-above-every-band", text))
    return doubts


def _differ(bands: set[str]) -> bool:
    """A threshold that is not reached says "not high", which fits low and medium alike."""
    return len(bands - {"not high"}) > 1 or {"high", "not high"} <= bands


def ranks(placing: Placing) -> dict[str, int]:
    """Table to the place of its band among low, medium and high; only where the band is one of them."""
    order = {"below low": 0, "low": 1, "medium": 2, "high": 3}
    return {name: order[band] for name, (band, _) in placing.bands.items() if band in order}
