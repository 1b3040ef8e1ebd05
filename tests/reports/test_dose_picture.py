"""Dose against weight: the corners are those solved by hand, each side of every line is what the check says, and the drawing is
safe and self-contained."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from dosecheck import Child, Formulary, Order, check_order
from dosecheck.formulary.medicine import Regimen
from dosecheck.printing.dose_picture import Mark, dose_picture
from dosecheck.records import QUERY, STOP, WITHIN
from dosecheck.rules.codes import worst
from dosecheck.rules.outline import KG, Outline, Point, outline, weights_of

REAL = Formulary(Path(__file__).parents[2] / "formulary")
MG = 10**6


def regimen(medicine: str, id_: str) -> Regimen:
    return next(r for r in REAL.medicine(medicine).regimens if r.id == id_)


def drawn(medicine: str, id_: str, low: str = "", high: str = "", doses: int | None = None) -> Outline:
    found = regimen(medicine, id_)
    span = (Fraction(low) * KG, Fraction(high) * KG) if low else weights_of(found, REAL.growth_reference)
    return outline(found, span, doses)


def plain(points: tuple[Point, ...]) -> list[tuple[Fraction, Fraction]]:
    """Corners in kg and mg."""
    return [(weight / KG, dose / MG) for weight, dose in points]


def test_corners_of_paracetamol_solved_by_hand() -> None:
    """15 mg/kg and at most 1 g a dose (WHO 2012, annex 1, A1.8): 1000 / 15 = 66 2/3 kg.  The stop 10 % above: 1000 / 16.5 kg.
    The low end is 13.5 mg/kg, held at 900 mg from 900 / 13.5 = 66 2/3 kg."""
    found = drawn("paracetamol", "oral-pain-child", "10", "80")
    assert plain(found.high) == [(10, 150), (Fraction(200, 3), 1000), (80, 1000)]
    assert plain(found.stop) == [(10, 165), (Fraction(2000, 33), 1000), (80, 1000)]
    assert plain(found.low) == [(10, 135), (Fraction(200, 3), 900), (80, 900)]
    assert [(cap.limit.text, cap.binds.value / KG) for cap in found.caps] == [("1 g", Fraction(200, 3))]


BY_HAND = [
    # medicine, regimen, the figure and maximum as published (the places stand in the regimen's source), the weight where they meet
    ("adrenaline", "nebulised-croup-child", "0.5 mg/kg, at most 5 mg", Fraction(10)),
    ("adrenaline", "subcutaneous-wheeze-child", "10 micrograms/kg, at most 300 micrograms", Fraction(30)),
    ("adrenaline", "intravenous-cardiac-arrest-child", "10 micrograms/kg, at most 1 mg", Fraction(100)),
    ("fentanyl", "intranasal-pain-child", "1.5 micrograms/kg, at most 75 micrograms", Fraction(50)),
    ("paracetamol", "intravenous-pain-child-4-hourly", "12.5 mg/kg, at most 650 mg", Fraction(52)),
    ("amoxicillin", "oral-infection-child", "25 mg/kg, at most 1 g", Fraction(40)),
]


@pytest.mark.parametrize(("medicine", "id_", "published", "meet"), BY_HAND)
def test_where_a_published_maximum_begins_to_hold(medicine: str, id_: str, published: str, meet: Fraction) -> None:
    found = drawn(medicine, id_)
    per_kg, most = published.split(", at most ")
    assert [cap.binds.value / KG for cap in found.caps] == [meet], per_kg
    assert found.caps[0].limit.text.replace(",", "") in (most, most.replace("1 mg", "1000 micrograms"))


def test_a_dose_of_a_day_is_shared_over_the_doses() -> None:
    """8 mg/kg a day of trimethoprim in 2 doses (US label): 4 mg/kg a dose, so 80 mg at 20 kg."""
    found = drawn("co-trimoxazole", "oral-urinary-child", "10", "20", 2)
    assert plain(found.high) == [(10, 40), (20, 80)]


def test_a_figure_by_body_surface_has_no_outline() -> None:
    found = regimen("co-trimoxazole", "oral-pneumocystis-prophylaxis-child")
    assert outline(found, (10 * KG, 20 * KG), 2) is None


# ---- against the engine ----


def age_in(one: Regimen) -> str:
    """An age inside the regimen's band, in words: its start, or 20 days, 1 month, 11 months before its end."""
    band = one.entry.get("age", {"from": "5 years"})
    if "from" in band:
        return band["from"]
    number, unit = band["below"].split()
    return (
        "11 months"
        if unit.startswith("year")
        else "20 days"
        if band["below"] in ("1 month", "28 days", "2 months")
        else f"{int(number) - 1} {unit}"
    )


def all_single() -> list[tuple[str, Regimen]]:
    """Every regimen of one dose by mass that the outline has, and that an order can meet without more particulars of the child."""
    found = [(m.id, r) for m in REAL.medicines() for r in m.regimens if r.kind == "mass" and r.per == "dose" and not r.span.continuous]
    return [(name, one) for name, one in found if not {"gestation", "postmenstrual", "corrected"} & set(one.entry)]


def at(points: tuple[Point, ...], weight: Fraction) -> Fraction:
    """The straight line between corners, at a weight."""
    (w1, d1), (w2, d2) = next((a, b) for a, b in pairwise(points) if a[0] <= weight <= b[0])
    return d1 + (d2 - d1) * (weight - w1) / (w2 - w1)


def judged(medicine: str, one: Regimen, weight: Fraction, dose: Fraction) -> str:
    """What the check makes of one dose by the limits of one dose and of a day's, at the fewest doses a day."""
    text = f"{int(dose) // MG}.{int(dose) % MG:06d}".rstrip("0").rstrip(".")
    found = REAL.medicine(medicine)
    of = f" of {found.ingredient(one.ingredient).names[-1]}" if found.basis_stated else ""
    told = {"for_": one.purposes[0], "condition": tuple(one.conditions), "step": one.step, "route": one.route}
    order = Order(medicine=medicine, dose=f"{text} mg{of}", times_a_day=min(one.entry.get("doses_a_day", [1])), **told)
    verdict = check_order(order, Child(weight=_kg(weight), age=age_in(one)), REAL)
    mine = [s for s in verdict.limits if s.regimen.id == one.id and s.limit.main.measure.split("/")[0] in ("dose", "daily", "average")]
    assert mine, verdict.findings
    return worst([WITHIN, *(s.limit.outcome for s in mine if s.state == "broken")])


def _kg(weight: Fraction) -> str:
    whole, tenth = divmod(int(weight * 10), 10)
    return f"{whole}.{tenth} kg".replace(".0 ", " ")


ALL = all_single()


@pytest.mark.parametrize(("medicine", "one"), ALL, ids=[f"{name}-{one.id}" for name, one in ALL])
def test_each_side_of_each_line_is_what_the_check_says(medicine: str, one: Regimen) -> None:
    """Every regimen of the example: one nanogram to either side of each line, at a light and at a heavy weight."""
    found = outline(one, weights_of(one, REAL.growth_reference))
    low, high = (end / KG for end in found.weights)
    for share in (Fraction(1, 8), Fraction(7, 8)):
        weight = Fraction(-(-(low + (high - low) * share) * 10 // 1), 10)
        most, stop = (_nanograms(at(points, weight * KG)) for points in (found.high, found.stop))
        assert judged(medicine, one, weight, most) == WITHIN
        assert judged(medicine, one, weight, stop + 1) == STOP
        assert judged(medicine, one, weight, most + 1) == (STOP if most == stop else QUERY)
        if found.low:
            least = -_nanograms(-at(found.low, weight * KG))
            assert judged(medicine, one, weight, least) == WITHIN
            assert judged(medicine, one, weight, least - 1) == QUERY


def _nanograms(dose: Fraction) -> int:
    """The last whole nanogram on the line or below it."""
    return int(dose // 1)


def test_the_weights_are_the_regimens_own_or_the_usual_of_its_ages() -> None:
    """A band of weight holds as it is; ages from z -2 to z 2 of WHO: girls of 2 years from 9.0 kg (WHO, weight for age, girls)."""
    assert drawn("paracetamol", "oral-pack-directions-2-months").weights[0] == 4 * KG
    assert drawn("paracetamol", "intravenous-pain-over-12-below-50-kg").weights[1] == 50 * KG
    assert drawn("paracetamol", "intravenous-pain-child").weights[0] == 9 * KG
    for medicine in REAL.medicines():
        for each in medicine.regimens:
            low, high = weights_of(each, REAL.growth_reference)
            assert 0 < low < high, each.id


# ---- the drawing ----


def picture(*pieces: Outline, **more: object) -> str:
    return dose_picture(list(pieces), "a <title> & more", "15 mg/kg", "k1", **more)


def test_the_drawing_is_whole_escaped_and_fetches_nothing() -> None:
    root = ET.fromstring(picture(drawn("paracetamol", "oral-pain-child")))
    assert root.find("{*}title").text == "a <title> & more"
    assert not any(name.endswith(("href", "src")) for element in root.iter() for name in element.attrib)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids)) and all(id_.startswith("k1") for id_ in ids)


def test_outcomes_are_told_in_words_and_fillings_not_by_colour() -> None:
    text = picture(drawn("paracetamol", "oral-pain-child"))
    assert all(
        word in text for word in ("STOP", "QUERY", "within the figures", "at most 1 g, from about 66.67 kg", "url(#k1-s)", "url(#k1-q)")
    )
    colours = set(re.findall(r"#([0-9a-f]{3})\b", text))
    assert all(len(set(colour)) == 1 for colour in colours)
    assert "QUERY" not in picture(drawn("fentanyl", "intranasal-pain-child"))  # a high-risk medicine has no margin


def test_amounts_on_the_axes_are_safe_and_inside() -> None:
    for medicine in REAL.medicines():
        for each in medicine.regimens:
            made = outline(
                each, weights_of(each, REAL.growth_reference), min(each.entry.get("doses_a_day", [1])) if each.per == "day" else None
            )
            if made is None:
                continue
            text = picture(made)
            labels = re.findall(r"<text[^>]*>([^<]*)</text>", text)
            assert len(labels) > 4
            assert not [label for label in labels if re.search(r"\.\d*0\b|(?<!\d)\.\d|\bmcg\b|\u00b5", label)], labels
            numbers = [float(n) for points in re.findall(r'points="([^"]*)"', text) for n in re.split("[ ,]", points)]
            assert all(0 <= number <= 360 for number in numbers), each.id


def test_one_order_is_marked_where_it_lies() -> None:
    found = drawn("paracetamol", "oral-pain-child", "10", "80")
    text = picture(found, mark=Mark(Fraction(14 * KG), Fraction(210 * MG), "210 mg at 14 kg"))
    assert "210 mg at 14 kg" in text and text.count("<polygon") == picture(found).count("<polygon")


def test_bands_of_weight_stand_side_by_side() -> None:
    """150 micrograms from 15 kg, 300 micrograms from 30 kg (the maker's auto-injectors)."""
    pieces = [drawn("adrenaline", f"intramuscular-auto-injector-child, band {n}") for n in (1, 2)]
    text = picture(*pieces)
    assert "300 micrograms" in text and text.count("<polyline") == 4
    assert pieces[0].weights[1] == pieces[1].weights[0] == 30 * KG
