"""Small made-up formularies for the oracle's tests: every key of the grammar, drawn by hypothesis.

Most of what is drawn passes lint; what does not is thrown away by the test.  All figures are invented.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st
from oracle_write import SOURCE, SOURCES, policy, written

EDGES = ("0 days", "7 days", "28 days", "3 months", "6 months", "1 year", "2 years", "6 years", "12 years", "18 years")
FIGURES = ("0.1", "0.15", "2.5", "7", "7.5", "10", "12.5", "15")
LARGER = {"0.1": "0.3", "0.15": "0.15", "2.5": "5", "7": "21", "7.5": "10", "10": "15", "12.5": "12.5", "15": "60"}
LARGEST = ("80", "100", "250")
WAYS = ("age", "age", "purpose", "route", "condition", "conditions", "step", "version", "weight", "early", "early", "ingredient")
KEPT = ("id", "valid_from", "route", "for", "age", "weight", "ingredient", "products", "covers", "source")
NEEDS = {
    "max_rate": "rate",
    "min_duration": "rate",
    "max_concentration": "concentration",
    "max_course": "course",
    "totals": "course",
}
EARLY: tuple[dict[str, Any], ...] = (
    {"gestation": {"below": "37 weeks"}},
    {"gestation": {"from": "36 weeks 3 days"}},
    {"postmenstrual": {"from": "44 weeks"}},
    {"postmenstrual": {"below": "42 weeks 1 day"}},
    {"corrected": {"from": "1 month", "below": "2 years"}},
    {"corrected": {"from": "14 days"}},
)

LIMITS = ({"age_below": "1 month"}, {"age_below": "2 years"}, {"weight_below": "6 kg"}, {"age_below": "6 months", "weight_below": "8 kg"})
EARLY_LIMITS = (
    {"postmenstrual_below": "41 weeks 1 day"},
    {"corrected_below": "1 month"},
    {"corrected_below": "10 days", "age_below": "3 months"},
)


class Maker:
    """Draws one formulary."""

    def __init__(self, draw: Any):
        self.draw = draw
        self.unit = self.pick("mg", "mg", "mg", "micrograms", "units", "mmol", "puffs")
        self.two = self.unit not in ("mmol", "puffs") and self.pick(False, False, True)
        self.early = self.pick(False, False, True)

    def pick(self, *choices: Any) -> Any:
        return self.draw(st.sampled_from(choices))

    def chance(self, one_in: int) -> bool:
        return self.pick(*([False] * (one_in - 1)), True)

    def files(self) -> dict[str, str]:
        medicine = self.medicine()
        files = {"policy.toml": self.policy(), "sources.toml": SOURCES, "medicines/exampol.toml": written(medicine)}
        if self.chance(4):
            files["local/site.toml"] = written(self.local(medicine))
        return files

    def policy(self) -> str:
        shares = {"query_up_to": self.pick("10 %", "10 %", "0 %", "25 %"), "point_allowance": self.pick("10 %", "10 %", "0 %", "12.5 %")}
        return policy(**shares, weight_age_infant="14 days", weight_age_child=self.pick("90 days", "4 weeks"))

    def medicine(self) -> dict[str, Any]:
        medicine: dict[str, Any] = {"id": "exampol", "name": "exampol", "aliases": ["exampolum"], "status": "example"}
        if self.chance(3):
            medicine["high_risk"] = True
        if self.chance(5):
            medicine["basis"] = "stated"
        medicine["ingredient"] = [{"id": "exampol", "aliases": ["base"]}] + ([{"id": "secundol"}] if self.two else [])
        if self.unit in ("mg", "units") and self.chance(3):
            medicine["ingredient"][0]["equals"] = {"amount": "1 unit", "is": "0.3 mg", "source": SOURCE}
        medicine["product"] = [self.product(n) for n in range(self.pick(0, 1, 2, 3))] if not self.two else [self.product(n) for n in (0, 1)]
        medicine["regimen"] = self.regimens(medicine["product"])
        medicine["age_limit"] = [self.age_limit(n) for n in range(self.pick(0, 0, 1, 2))]
        return {key: value for key, value in medicine.items() if value != []}

    def product(self, number: int) -> dict[str, Any]:
        unit = "mg" if self.unit == "puffs" else self.unit
        below, form = self.pick((" in 5 mL", "oral liquid"), ("/mL", "injection"), (" per tablet", "tablet"), (" per puff", "inhaler"))
        strengths = [f"{self.pick('10', '25', '100')} {unit}{below}" for _ in range(2)]
        both = {"strengths": {"exampol": strengths[0], "secundol": strengths[1]}} if self.two else {"strength": strengths[0]}
        made = {"id": f"product-{number}", "name": f"product {number}", "form": form, **both, "source": SOURCE}
        release = {"release": "modified"} if self.chance(6) else {}
        return {**made, "routes": self.pick(["oral"], ["oral", "intravenous"]), **release}

    # regimens: each a neighbour of the one before

    def regimens(self, products: list[dict]) -> list[dict[str, Any]]:
        edges = sorted(self.draw(st.sets(st.sampled_from(range(len(EDGES))), min_size=2, max_size=4)))
        start = {"valid_from": date(2020, 1, 1), "route": "oral", "for": self.pick(["pain"], ["pain", "fever"]), "source": SOURCE}
        if self.two:
            start["ingredient"] = "exampol"
        made: list[dict[str, Any]] = []
        for number in range(self.pick(1, 2, 3, 4)):
            place = min(number, len(edges) - 2)
            band = {"age": self._band(EDGES[edges[place]], EDGES[edges[place + 1]])}
            made.append({"id": f"r{number}", **start, **band, **self._apart(made, products)})
            made[-1] |= self.figures(made[-1])
        return made

    def _band(self, low: str, high: str) -> dict[str, str]:
        return self.pick({"from": low, "below": high}, {"from": low, "below": high}, {"below": high} if low == "0 days" else {"from": low})

    def _apart(self, made: list[dict], products: list[dict]) -> dict[str, Any]:
        """What parts a regimen from the others besides its age."""
        parts: dict[str, Any] = {}
        way = self.pick(*WAYS)
        if way == "purpose":
            parts["for"] = [self.pick("cough", "fever")]
        if way == "route":
            parts["route"] = "intravenous"
        if way in ("condition", "conditions"):
            parts["conditions"] = ["small"] if way == "condition" else ["small", "weak"]
        if way == "step":
            parts["step"] = self.pick("first", "repeat", "maintenance")
        if way == "version" and made:
            old = made[-1]
            kept = {key: old[key] for key in ("id", "route", "for", "age", "conditions", "step", "ingredient", "weight") if key in old}
            parts |= {**kept, "valid_from": date(2024, 6, 1)}
        if way == "weight":
            parts["weight"] = self.pick({"from": "10 kg"}, {"below": "10 kg"}, {"from": "5 kg", "below": "22.5 lb"})
        if way == "early" and self.early:
            parts |= self.pick(*EARLY)
        if way == "ingredient" and self.two and made:
            parts |= {"age": made[-1]["age"], "ingredient": "secundol"}
        return parts | self._products(parts, products)

    def _products(self, parts: dict[str, Any], products: list[dict]) -> dict[str, Any]:
        mine = [p["id"] for p in products if parts.get("route", "oral") in p["routes"] and "release" not in p]
        if mine and (self.two or self.chance(5)) and self.pick(True, True, False):
            covers = {"covers": ["secundol"]} if self.two and parts.get("ingredient") != "secundol" and self.pick(True, True, False) else {}
            return {"products": mine[: self.pick(1, 2)], **covers}
        return {"release": "modified"} if self.chance(12) else {}

    # figures

    def figures(self, regimen: dict[str, Any]) -> dict[str, Any]:
        below = self.pick("/kg", "/kg", "/kg", "", "", "/m2") if self.unit != "puffs" else ""
        if self.unit != "puffs" and self.chance(8):
            return self._infusion(below)
        low = self.pick(*FIGURES)
        figures: dict[str, Any] = {"max_daily": self._daily(below)}
        if (self.chance(2) and below != "/kg") or self.chance(4):
            sixty = [self._amount("60", "")]
            figures["max_single"] = self.pick([self._amount("21", below)], sixty, [*sixty, self._amount("60", below)])
        dose = self._dose(low, below, figures)
        if self.chance(6) and "age" in regimen and regimen["age"].get("from") is not None:
            figures |= {"band": self._table(low, below), "weight": {"from": "2 kg"}} if "weight" not in regimen else {"dose": dose}
        else:
            figures["dose"] = dose
        if self.chance(8):
            figures["doses_a_day"] = self.pick([2, 3, 4], [1, 4], [3])
        if self.chance(4):
            figures |= {"per": "day", "doses_a_day": self.pick([2], [2, 3], [1, 4], [2, 3, 6])}
        return figures | self._counts() | self._conduct() | self._odds(below)

    def _amount(self, number: str, below: str) -> str:
        return f"{number} {self.unit}{below}"

    def _dose(self, low: str, below: str, figures: dict) -> Any:
        high = LARGER[low]
        ways = ["point", "point", "range", "range", "high"] + ["low"] * ("max_single" in figures)
        way = self.pick(*ways)
        both = {"low": self._amount(low, below), "high": self._amount(high, below)}
        return both["low"] if way == "point" else both if way == "range" else {way: both[way]}

    def _table(self, low: str, below: str) -> list[dict[str, Any]]:
        """Rows by weight, one of which may have its own maxima."""
        edges = ["2 kg", "10 kg", "23 lb", "30 kg"][: self.pick(2, 3, 4)]
        bands = [{"from": a, "below": b} for a, b in pairwise(edges)] + [{"from": edges[-1]}]
        made: list[dict[str, Any]] = [{"weight": band, "dose": self._amount(self.pick(low, LARGER[low]), below)} for band in bands]
        if self.chance(2):
            made[-1] |= {"max_daily": [self._amount("90", "")], "max_doses": 3}
        return made

    def _daily(self, below: str) -> Any:
        most = self._amount(self.pick(*LARGEST), below)
        return self.pick({"none": "made up"}, {"none": "made up"}, [most], [self._amount("250", ""), most], [self._amount("250", "")])

    def _counts(self) -> dict[str, Any]:
        ways = ({"min_gap": "4 hours"}, {"min_gap": "30 minutes", "max_doses": 4}, {"max_doses": 6}, {"min_gap": "12 hours"}, {})
        return self.pick(*ways)

    def _conduct(self) -> dict[str, Any]:
        """How fast, how concentrated, how long; some of it required."""
        found: dict[str, Any] = {}
        if self.unit == "puffs":
            return {"max_course": "5 days"} if self.chance(4) else found
        amount = self._amount
        if self.chance(5):
            found["max_rate"] = self.pick([amount("1", "/kg/min")], [amount("30", "/h"), amount("2", "/kg/h")], [amount("5", "/m2/min")])
        if self.chance(6):
            found["min_duration"] = self.pick("15 minutes", "30 seconds")
        if self.chance(6):
            found["max_concentration"] = amount(self.pick("1", "10"), "/mL")
        if self.chance(5):
            found["max_course"] = self.pick("5 days", "1 week")
        if self.chance(5):
            most = self.pick([amount("100", "/kg")], [amount("400", "")], [amount("400", ""), amount("20", "/kg")])
            found["totals"] = [{"over": self.pick("episode", "course", "3 days", "36 hours"), "max": most}]
        required = sorted({NEEDS[key] for key in found})
        return found | ({"required": required} if required and self.chance(3) else {})

    def _odds(self, below: str) -> dict[str, Any]:
        found: dict[str, Any] = {}
        if self.chance(8):
            found["query_up_to"] = self.pick("0 %", "50 %")
        if self.chance(10):
            found["goes_by"] = self.pick("lean", "actual")
        if below and self.chance(5):
            found["floor"] = self._amount(self.pick("5", "20"), "")
        return found

    def _infusion(self, below: str) -> dict[str, Any]:
        unit = self.pick("/min", "/h")
        ends = {"low": self._amount("0.5", below + unit), "high": self._amount("7.5", below + unit)}
        dose = self.pick(self._amount("2.5", below + unit), ends)
        found: dict[str, Any] = {"dose": dose, "max_daily": self.pick({"none": "made up"}, [self._amount("20000", below)])}
        if self.chance(3):
            found["max_rate"] = [self._amount("30", unit)]
        return found

    def age_limit(self, number: int) -> dict[str, Any]:
        limit = {"id": f"limit-{number}", **self.pick(*LIMITS, *(EARLY_LIMITS if self.early else ()))}
        limit |= self.pick({}, {}, {"condition": "weak"}, {"routes": ["intravenous"]}, {"for": ["fever"]})
        return {**limit, "source": SOURCE}

    # a site's own

    def local(self, medicine: dict[str, Any]) -> dict[str, Any]:
        made: dict[str, Any] = {"medicine": "exampol", "reason": "Made up."}
        first = medicine["regimen"][0]
        if self.chance(2):
            made["withdraw"] = [self.pick(*medicine["regimen"])["id"]]
        if self.chance(2) and first["id"] not in made.get("withdraw", []):
            kept = {key: value for key, value in first.items() if key in KEPT}
            made["regimen"] = [{**kept, **self.figures(kept)}]
        if self.chance(3):
            made["age_limit"] = [{**self.age_limit(0), "id": self.pick("limit-0", "limit-of-ours")}]
        if self.chance(4) and medicine.get("product"):
            made["product"] = [self.product(0)]
        return made


@st.composite
def formularies(draw: Any) -> dict[str, str]:
    """Relative file name to text."""
    return Maker(draw).files()
