"""What a row loop with exact pint quantities needs for the same job, on the medicines of `bench_batch.py`.

    python tests/bench/pint_loop.py ORDERS.csv     prints rows a second

It answers the same limits of the same oral regimens as the batch does, row by row, and writes nothing.
"""

from __future__ import annotations

import csv
import sys
import time
import tomllib
from datetime import date
from fractions import Fraction
from itertools import islice
from pathlib import Path

import pint

ROWS = 3000
UREG = pint.UnitRegistry(non_int_type=Fraction)
MEDICINES = Path(__file__).parents[2] / "formulary" / "medicines"


def figure(text: str) -> tuple[pint.Quantity, bool]:
    """The amount, and whether it is per kg."""
    return UREG.Quantity(text), "/kg" in text


def months(text: str) -> int:
    number, unit = text.split()
    return int(number) * {"year": 12, "mont": 1}.get(unit[:4], 0)


def regimens(name: str) -> list[dict]:
    found = []
    for entry in tomllib.loads((MEDICINES / f"{name}.toml").read_text("utf-8"))["regimen"]:
        if "dose" not in entry or entry["route"] != "oral" or "conditions" in entry:
            continue
        dose = entry["dose"] if isinstance(entry["dose"], dict) else {"low": entry["dose"], "high": entry["dose"]}
        age, daily = entry.get("age", {}), entry.get("max_daily")
        found.append({
            "for": entry["for"], "from": months(age.get("from", "0 months")), "below": months(age.get("below", "99 years")),
            "high": figure(dose["high"]) if "high" in dose else None, "low": figure(dose["low"]) if "low" in dose else None,
            "single": [figure(text) for text in entry.get("max_single", [])], "daily": [figure(text) for text in daily] if isinstance(daily, list) else [],
            "gap": UREG.Quantity(entry["min_gap"]) if "min_gap" in entry else None, "most": entry.get("max_doses"),
        })  # fmt: skip
    return found


def check(row: dict[str, str], entries: list[dict]) -> tuple[list[list[str]], Fraction]:
    dose, weight, gap = (UREG.Quantity(row[name]) for name in ("dose", "weight", "every"))
    born, on = date.fromisoformat(row["born"]), date.fromisoformat(row["on"])
    age = (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)
    doses = -int(-(UREG.Quantity("24 hours") / gap).to("").m // 1)
    day, answers = dose * doses, []

    def above(value: pint.Quantity, bound: tuple[pint.Quantity, bool], times: Fraction = Fraction(1)) -> bool:
        return (value / weight if bound[1] else value) > bound[0] * times

    for entry in entries:
        if (row["for"] and row["for"] not in entry["for"]) or not entry["from"] <= age < entry["below"]:
            continue
        broken = []
        if entry["high"]:
            broken += [name for name, times in (("query", Fraction(1)), ("stop", Fraction(11, 10))) if above(dose, entry["high"], times)]
        broken += ["low"] if entry["low"] and not above(dose, entry["low"], Fraction(9, 10)) else []
        broken += [name for name, value in (("single", dose), ("daily", day)) for bound in entry[name] if above(value, bound)]
        broken += ["gap"] if entry["gap"] is not None and gap < entry["gap"] else []
        broken += ["doses"] if entry["most"] and doses > entry["most"] else []
        answers.append(broken)
    return answers, (dose / weight).to("mg/kg").m


def main() -> None:
    with open(sys.argv[1], newline="") as file:
        rows = list(islice(csv.DictReader(file), ROWS))
    known = {name: regimens(name) for name in {row["medicine"] for row in rows}}
    start = time.perf_counter()
    for row in rows:
        check(row, known[row["medicine"]])
    print(len(rows) / (time.perf_counter() - start))


if __name__ == "__main__":
    main()
