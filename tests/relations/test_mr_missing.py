"""Missing, unknown, unmatched: MR26 to MR29."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relations.kit import ASK, PASSING, REAL, check, codes, numbers, orders, runs, tiny

from dosecheck import Finding, InputError
from dosecheck.batch.run import Batch
from dosecheck.batch.texts import RESULTS
from dosecheck.formulary.measures import AT_MOST
from dosecheck.records import NOT_CHECKED, QUERY, STOP, WITHIN
from dosecheck.rules.judge import judge

PLACEHOLDERS = ("", "  ", "N/A", "n/a", "unknown", "Unknown", "-", "?", "null", "nan", "NaN", "TBC", "none")
ALWAYS = {"medicine": {"medicine-missing"}, "route": {"route-missing"}, "dose": {"dose-missing"}}
UNFIT = {"purpose-unknown", "step-unknown", "no-regimen-for-child", "kind-differs"}  # such regimens do not fit the order
OFTEN = {"frequency-missing", "gap-not-told", "repeats-not-bounded", "count-needed"}


def without(texts: dict, *fields: str) -> dict:
    return {key: value for key, value in texts.items() if key not in fields}


@pytest.mark.parametrize("field", ALWAYS)
def test_mr26_a_needed_field_is_never_assumed(field: str) -> None:
    """MR26: without medicine, route or dose no order passes, and the answer names the field."""
    for texts in PASSING:
        verdict = check(without(texts, field))
        assert verdict.outcome == NOT_CHECKED and ALWAYS[field] <= codes(verdict), texts


def test_mr26_without_an_age() -> None:
    """MR26: without age and date of birth nothing passes."""
    for texts in PASSING:
        verdict = check(without(texts, "born", "weighed"))
        assert verdict.outcome == NOT_CHECKED and "age-missing" in verdict.codes


def test_mr26_without_a_weight() -> None:
    """MR26: where an upper limit or a band goes by weight, an order without one is not checked and says so."""
    needing = 0
    for texts in PASSING:
        before, after = check(texts), check(without(texts, "weight", "weighed", "weight_is"))
        needed = "/kg" in texts["dose"] or any(
            ("weight" in s.limit.main.measure and s.limit.main.sense == AT_MOST and s.state == "met")
            or any(b.fact == "weight" for b in s.regimen.bands)
            for s in before.limits
        )
        needing += needed
        assert not needed or (after.outcome == NOT_CHECKED and "weight-missing" in after.codes), texts
    assert needing > 150


def test_mr26_without_how_often() -> None:
    """MR26: without a frequency no order of single doses passes."""
    for texts in PASSING:
        bare = without(texts, "every", "times_a_day", "once", "at_most")
        if bare != texts:
            verdict = check(bare)
            assert verdict.outcome == NOT_CHECKED and codes(verdict) & OFTEN, texts


@pytest.mark.parametrize("field", ["for", "step", "condition", "product", "gestation", "height"])
def test_mr26_without_what_tells_regimens_apart(field: str) -> None:
    """MR26: an order that leaves out the purpose or the step is within only if it is so under every one that the formulary has."""
    for texts in PASSING:
        verdict = check(without(texts, field))
        assert verdict.codes or verdict.outcome == WITHIN
        if verdict.outcome != WITHIN:
            continue
        assert verdict.counts["due"] == verdict.counts["met"] > 0
        medicine = REAL.medicine(texts["medicine"])
        words = {
            word for r in medicine.regimens for word in (r.purposes if field == "for" else [r.step] if field == "step" and r.step else ())
        }
        for word in words:
            told = check({**texts, field: word})
            assert told.outcome == WITHIN or codes(told) & UNFIT or not told.limits, (texts, word)


@runs(60)
@given(st.sampled_from(PASSING), st.data())
def test_mr26_placeholders_are_missing(texts: dict, data: st.DataObject) -> None:
    """MR26: a blank or a place-holder is the same as nothing at all, in every field."""
    field = data.draw(st.sampled_from(sorted(texts)))
    away = {"on": ("on", "born", "weighed"), "born": ("born", "weighed")}.get(field, (field,))
    bare = without(texts, *away)
    for text in PLACEHOLDERS:
        assert numbers(check({**bare, field: text})) == numbers(check(bare))


def test_mr26_in_a_file_of_orders() -> None:
    """MR26: the same by columns: every needed field left out of every passing order, and each place-holder in its stead."""
    batch = Batch(REAL, date(2026, 5, 4))
    plain = [t for t in PASSING if t["gestation"] == "40 weeks"]
    rows, expected = [], []
    for n, texts in enumerate(plain):
        for field in ("medicine", "route", "dose", "born"):
            rows.append({**without(texts, "weighed"), field: PLACEHOLDERS[n % len(PLACEHOLDERS)] or None})
            expected.append("age-missing" if field == "born" else f"{field}-missing")
    answers = batch.answer(pl.DataFrame(rows))
    for row, outcome, told, code in zip(rows, answers["outcome"], answers["codes"], expected, strict=True):
        assert outcome == NOT_CHECKED and code in told.split(";"), row


# ---- unknown names ----

LETTERS = "abcdefghijklmnopqrstuvwxyz-0"


@runs(400)
@given(st.sampled_from(REAL.names), st.data())
def test_mr27_a_one_letter_mutant_is_another_name(name: str, data: st.DataObject) -> None:
    """MR27: a name with one letter changed, left out, doubled or swapped is not in the formulary; no limit is used."""
    place = data.draw(st.integers(0, len(name) - 1))
    head, letter, tail = name[:place], name[place], name[place + 1 :]
    mutant = data.draw(
        st.sampled_from(
            (head + tail, head + letter * 2 + tail, head + data.draw(st.sampled_from(LETTERS)) + tail, head + tail[:1] + letter + tail[1:])
        )
    )
    if " ".join(mutant.split()) in REAL.names or not mutant.strip(" -"):
        return
    verdict = check({**ASK, "medicine": mutant, "dose": "1 mg", "once": "yes"})
    assert (verdict.outcome, verdict.codes) == (NOT_CHECKED, ("medicine-unknown",))
    assert not verdict.limits and not verdict.working and verdict.one_dose is None and verdict.suggestion is None


@pytest.mark.parametrize(
    "name",
    [
        "para\u200bcetamol",
        "p\u0430racetamol",
        "para\u00a0cetamol",
        "paracetamol\u00ad",
        "\u202eparacetamol",
        "parac\u00e9tamol",
        "ｐaracetamol",
        "paracetamol\x00",
    ],
)
def test_mr27_hidden_and_foreign_letters(name: str) -> None:
    """MR27: a name with a hidden or foreign character matches nothing, and the character is named by its code."""
    strange = f"U+{next(ord(c) for c in name if not c.isascii() or not c.isprintable()):04X}"
    try:
        verdict = check({**ASK, "medicine": name, "dose": "1 mg", "once": "yes"})
    except InputError as error:
        assert strange in str(error)
        return
    assert verdict.codes == ("medicine-unknown",) and strange in verdict.findings[0].message


@runs(150)
@given(st.text(max_size=40))
def test_mr27_any_text_for_a_name(name: str) -> None:
    """MR27: no text that is not a name of the formulary is ever within."""
    try:
        verdict = check({**ASK, "medicine": name, "dose": "1 mg", "once": "yes"})
    except InputError:
        return
    assert verdict.outcome == NOT_CHECKED or " ".join(name.split()).lower() in REAL.names


@runs(150)
@given(st.sampled_from(PASSING), st.sampled_from(("route", "for", "step", "condition", "product")), st.integers(0, 60))
def test_mr27_mutants_of_other_names(texts: dict, field: str, place: int) -> None:
    """MR27: the same holds for routes, purposes, steps, conditions and products: a near name is never used."""
    if field not in texts:
        return
    text = texts[field]
    place %= len(text)
    try:
        verdict = check({**texts, field: text[:place] + text[place + 1 :]})
    except InputError:
        assert field == "step"
        return
    assert verdict.outcome in (NOT_CHECKED, STOP)


# ---- fields that no rule reads ----


def _without_size(finding: Finding) -> str:
    return finding.message.partition(", which is ")[0].rstrip(".") if finding.code.endswith("-below-range") else finding.message


@runs(100)
@given(orders(), st.sampled_from(("female", "male")))
def test_mr28_sex_is_read_by_the_growth_reference_alone(texts: dict, sex: str) -> None:
    """MR28: no rule of a medicine reads the sex; telling it may make a weight hard to believe for the age (or far
    above the centiles), never believable.  By a weight in doubt a low end is told without the size that it comes to."""
    bare, told = check(texts), check({**texts, "sex": sex})
    about = {"weight-not-believable", "weight-far-above"}
    assert numbers(bare)[2:] == numbers(told)[2:] and codes(bare) - about == codes(told) - about
    assert codes(bare) & about <= codes(told) & about and (bare.outcome == told.outcome or codes(bare) != codes(told))
    doubted = "weight-not-believable" in codes(told) - codes(bare)
    said = [[_without_size(f) if doubted else f.message for f in v.findings if f.code not in about] for v in (bare, told)]
    assert said[0] == said[1]
    assert not doubted or not any(", which is " in f.message for f in told.findings if f.code.endswith("-below-range"))
    assert {**bare.understood, "sex": sex, "weight_for_age": ""} == {**told.understood, "weight_for_age": ""}


@runs(25)
@given(st.lists(orders(), min_size=4, max_size=4), st.lists(st.text(max_size=300), min_size=4, max_size=4))
def test_mr28_other_columns_change_nothing(rows: list[dict], comments: list[str]) -> None:
    """MR28: columns that nothing reads (a comment, a ward, a reference) change no result."""
    batch = Batch(REAL, date(2026, 5, 4))
    plain = pl.DataFrame(rows, infer_schema_length=None)
    more = plain.with_columns(comment=pl.Series(comments), ward=pl.lit("=1+1"), order_id=pl.Series(reversed(comments)))
    assert batch.answer(plain).select(RESULTS).rows() == batch.answer(more).select(RESULTS).rows()


# ---- some of the limits only ----

FULL = {"dose": "5 mg/kg", "max_daily": ["20 mg/kg", "1 g"], "min_gap": "4 hours", "max_doses": 6, "min_duration": "10 minutes", "max_concentration": "10 mg/mL",
        "max_course": "7 days", "required": ["rate", "concentration", "course"]}  # fmt: skip
WHOLE = {**ASK, "dose": "100 mg", "every": "6 hours", "over": "20 minutes", "made_up_to": "20 mL", "course": "5 days"}
KNOCKED = {
    "weight": "weight-missing",
    "every": "frequency-missing",
    "over": "rate-not-stated",
    "made_up_to": "concentration-not-stated",
    "course": "course-not-stated",
}


@pytest.mark.parametrize("left_out", KNOCKED)
def test_mr29_a_partly_failed_check_is_not_a_pass(left_out: str) -> None:
    """MR29: with one fact missing, the limits that need it are named as not checked, and the others as kept."""
    formulary = tiny(FULL)
    assert check(WHOLE, formulary).outcome == WITHIN
    verdict = check(without(WHOLE, left_out), formulary)
    assert verdict.outcome == NOT_CHECKED and KNOCKED[left_out] in verdict.codes
    assert verdict.counts["met"] and verdict.counts["not-checked"] and not verdict.counts["broken"]
    assert len(verdict.not_checked) > 1


@pytest.mark.parametrize(
    "keys", [("min_gap",), ("max_daily",), ("max_doses",), ("min_gap", "max_daily"), ("min_gap", "max_daily", "max_doses")]
)
def test_mr29_a_broken_limit_beside_an_unknown_one(keys: tuple[str, ...]) -> None:
    """MR29: a stop stays a stop beside limits that could not be looked at; a query does not hide them."""
    formulary = tiny({"dose": "5 mg/kg", **{key: FULL[key] for key in keys}})
    asked = {**ASK, "dose": "100 mg"}
    assert check(asked, formulary).outcome == NOT_CHECKED
    assert check({**asked, "dose": "150 mg"}, formulary).outcome == STOP
    assert check({**asked, "dose": "101 mg"}, formulary).outcome == NOT_CHECKED
    assert check({**asked, "dose": "101 mg", "times_a_day": "3"}, formulary).outcome == QUERY


def test_mr29_within_is_counted_never_assumed() -> None:
    """MR29: with no limit due, or with one left unanswered, there is no "within" to fall back on."""
    regimen = tiny({"dose": "5 mg/kg", "max_doses": 6}).medicine("exampol").regimens[0]
    met = judge(regimen, lambda index, limit: True, once=False)
    assert (met.outcome, met.due, met.met) == (WITHIN, len(regimen.limits), len(regimen.limits))
    assert judge(regimen._replace(limits=()), lambda index, limit: True, once=False).outcome == NOT_CHECKED
    for unknown in range(len(regimen.limits)):
        assert (
            judge(regimen, lambda index, limit, unknown=unknown: "weight" if index == unknown else True, once=False).outcome == NOT_CHECKED
        )
