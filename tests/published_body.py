"""Published rows about the child's body: surface by a named formula, weight guessed from age, kidney function."""

from __future__ import annotations

from collections.abc import Callable

from dosecheck import Quantity
from dosecheck.body.age import age_from_parts
from dosecheck.body.estimates import FORMULAE as GUESSES
from dosecheck.body.estimates import estimate
from dosecheck.body.renal import kidneys, stage_of
from dosecheck.body.surface import FORMULAE, area_by
from dosecheck.reading import read_age, read_creatinine, read_filtration, read_length, read_weight
from dosecheck.reading.figures import reader_of


def near(got: Quantity, row: dict, key: str) -> None:
    """Equal exactly, or within what the row says its source rounds to."""
    read = reader_of((got.kind,), key, row["expect"][key])
    want, margin = read(row["expect"][key]), read(row["within"]).value if "within" in row else 0
    assert not margin or row["rounding"]
    assert abs(got.value - want.value) <= margin, f"{got} is not {want}"


def surface(row: dict) -> None:
    """`surface`: height and weight by `formula`."""
    given = row["given"]
    formula = next(f for f in FORMULAE if f.name == given["formula"])
    near(area_by(formula, read_length(given["height"]) if "height" in given else None, read_weight(given["weight"])), row, "surface")


def guess(row: dict) -> None:
    """`guess`: an age by `formula`; `expect` a weight, or `refused` for an age outside the formula's."""
    found = estimate(
        next(f for f in GUESSES if f.name == row["given"]["formula"]), age_from_parts(**read_age(row["given"]["age"])._asdict())
    )
    if row["expect"].get("refused"):
        assert found.weight is None and found.why
    else:
        near(found.weight, row, "weight")


def renal(row: dict) -> None:
    """`kidneys`: height, creatinine and age to a GFR, and a GFR to its category."""
    given = row["given"]
    if "rate" in given:
        assert stage_of(read_filtration(given["rate"])) == row["expect"]["stage"]
        return
    found = kidneys(age_from_parts(**read_age(given["age"])._asdict()), read_length(given["height"]), read_creatinine(given["creatinine"]))
    near(found.rate, row, "rate")


CHECKS: dict[str, Callable[[dict], None]] = {"surface": surface, "guess": guess, "kidneys": renal}
