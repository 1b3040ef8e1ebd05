"""Made questions: the same from the same seed, right by an independent reckoning, plausible, and safely written."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from cli.door import spawn
from drill.bank import FOLDER, POOL, SEEDS, question, questions
from formulary.lint_folder import REGIMEN, folder, medicine

from dosecheck import Formulary, InputError
from dosecheck.body.growth import lms_at
from dosecheck.body.lms import z_score
from dosecheck.drill.kinds import KINDS
from dosecheck.drill.make import make, remake
from dosecheck.drill.pool import Pool
from dosecheck.drill.question import LEVELS, CannotFill, Question
from dosecheck.reading import read_age, read_weight

ALL = list(questions())
CHAINS = [asked for asked in ALL if asked.kind in ("dose-by-weight", "shared-dose", "maximum", "volume", "tablets")]
IN_MG = {"mg": Fraction(1), "g": Fraction(1000), "micrograms": Fraction(1, 1000), "units": Fraction(1), "mmol": Fraction(1)}
KG_PER_LB = Fraction("0.45359237")


def number(text: str) -> tuple[Fraction, str]:
    found = re.match(r"([0-9.]+) (\S+)", text)
    return Fraction(found[1]), found[2]


def reckoned(asked: Question) -> Fraction:
    """The answer again from the told figures alone, with none of the house's arithmetic, in mg (or units), mL or tablets."""
    told = dict(asked.given)
    figure, unit = number(told["dose"])
    top, _, below = unit.partition("/")
    dose = figure * IN_MG[top]
    if below == "kg":
        weight, scale = number(told["weight"])
        dose *= weight * (KG_PER_LB if scale == "lb" else 1)
    if told["dose"].endswith(" a day"):
        dose /= int(told["doses_a_day"])
    if "max_single" in told:
        most, unit = number(told["max_single"])
        dose = min(dose, most * IN_MG[unit])
    if "In hand" not in asked.text:
        return dose
    return dose / strength(told["strength"])


def strength(text: str) -> Fraction:
    """mg (or units) in 1 mL or in one tablet."""
    percent = re.fullmatch(r"([0-9.]+) %", text)
    if percent:
        return Fraction(percent[1]) * 10
    if text.startswith("1 in "):
        return Fraction(1000, int(text[5:]))
    amount, unit = number(text.replace("/", " /", 1) if re.search(r"[a-z]/", text) else text)
    volume = re.search(r" in ([0-9.]+) mL", text)
    return amount * IN_MG[unit] / (Fraction(volume[1]) if volume else 1)


@pytest.mark.parametrize("asked", CHAINS, ids=[asked.id for asked in CHAINS])
def test_model_answers_recomputed(asked: Question) -> None:
    """H29: the model answer is what the told figures come to."""
    unit = asked.answer.unit
    assert asked.answer.number * IN_MG.get(unit, Fraction(1)) == reckoned(asked)


def test_conversions_by_powers_of_ten() -> None:
    power = {"nanograms": -9, "micrograms": -6, "mg": -3, "g": 0, "mL": -3, "L": 0}
    for seed in range(60):
        for level in LEVELS:
            asked = question("conversion", level, seed)
            amount, unit = number(dict(asked.given)["amount"])
            steps = power[unit if unit in power else unit + "s"] - power[asked.answer.unit]
            assert asked.answer.number == amount * Fraction(10) ** steps


def test_the_same_seed_gives_the_same_question() -> None:
    for asked in ALL[::5]:
        assert remake(asked.id, Pool(Formulary(FOLDER))) == asked


def test_other_seeds_give_other_questions() -> None:
    for kind in KINDS:
        for level in LEVELS:
            texts = {question(kind, level, seed).text for seed in range(SEEDS)}
            assert len(texts) >= SEEDS // 2, (kind, level)


def test_same_bytes_under_any_hash_seed() -> None:
    """H23, MR36: a question and its mark are the same in every process."""
    asked = ["drill", "question", "volume", "--level", "3", "--seed", "17", "--json", "--formulary", str(FOLDER)]
    marked = ["drill", "mark", question("volume", 3, 7).id, "--answer", "1 mL", "--formulary", str(FOLDER)]
    for args in (asked, marked):
        said = {spawn(*args, PYTHONHASHSEED=seed) for seed in ("0", "1", "42")}
        assert len(said) == 1 and next(iter(said)).out


def test_children_are_plausible() -> None:
    """Every told weight lies within 2 standard deviations for one sex at least, rounding of the youngest's weights aside."""
    for asked in ALL:
        told = dict(asked.given)
        if "age" not in told or "weight" not in told:
            continue
        age, weight = read_age(told["age"]), read_weight(told["weight"])
        months = (age.years or 0) * 12 + (age.months or 0)
        day = months * 30 + (180 if age.years else 15)
        kg = Decimal(weight.to("kg").number.numerator) / Decimal(weight.to("kg").number.denominator)
        assert min(abs(z_score(kg, lms_at("who", sex, day))) for sex in ("female", "male")) < 2.3, asked.text
        assert asked.text.startswith("SM-")


def test_texts_are_safely_written_and_say_what_is_wanted() -> None:
    for asked in ALL:
        shown = f"{asked.text} {asked.ask} {' '.join(step.text for step in asked.steps)}"
        assert not re.search(r"(?<![0-9])\.[0-9]|[0-9]\.[0-9]*0(?![0-9])|[0-9](?:mg|g|mL|kg)\b|\bmcg\b|µg|\bIU\b", shown), shown
        assert "Write " in asked.ask
        if not isinstance(asked.answer, str):
            assert re.search(r"the exact figure|rounded (down )?to ", asked.ask)


def test_answers_need_no_more_than_the_stated_rounding() -> None:
    for asked in ALL:
        if not isinstance(asked.answer, str) and asked.step is None:
            assert (asked.answer.number * 10**6).denominator == 1


def test_hints_never_tell_the_last_result() -> None:
    for asked in ALL:
        assert len(asked.hints) == len(asked.steps)
        assert all(hint.endswith("?") for hint in asked.hints[-1:])
        assert all(before.removesuffix("?") in after for before, after in pairwise(asked.hints))


def test_source_of_the_figure_is_told() -> None:
    assert all(asked.source for asked in CHAINS)


def test_an_id_of_another_formulary_is_refused() -> None:
    asked = question("volume", 1, 1)
    with pytest.raises(InputError, match="another formulary"):
        remake(asked.id[:-8] + "00000000", POOL)


@pytest.mark.parametrize("bad", ["", "volume", "volume.1.1", "volume.9.1.00000000", "x" * 10_000, "volume.1.-1.00000000", "\x00"])
def test_no_id(bad: str) -> None:
    with pytest.raises(InputError, match="no id of a question"):
        remake(bad, POOL)


def test_no_such_kind_level_or_seed_all_at_once() -> None:
    with pytest.raises(InputError) as caught:
        make("nope", 4, -1, POOL)
    assert [fault.field for fault in caught.value.faults] == ["kind", "level", "seed"]


def test_a_formulary_that_cannot_fill_a_kind_says_so(tmp_path) -> None:
    """One clear sentence, exit status 4."""
    fixed = medicine(more=REGIMEN.replace("15 mg/kg", "100 units").replace('["4 g"]', '{ none = "invented" }'))
    for name, content in folder(medicines_exampol=fixed).items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    for kind in ("dose-by-weight", "shared-dose", "maximum", "volume", "tablets"):
        with pytest.raises(CannotFill, match=f'cannot fill the kind "{kind}" at level 2: it needs'):
            make(kind, 2, 1, Formulary(tmp_path))
    said = spawn("drill", "question", "volume", "--formulary", str(tmp_path))
    assert said.status == 4 and " ".join(said.err.split()).startswith("This formulary cannot fill") and not said.out


def test_json_of_a_question_keeps_its_answer_to_itself() -> None:
    for asked in ALL:
        said = asked.as_dict()
        assert not {"answer", "steps", "working", "traps", "free"} & set(said)
        assert f"= {asked.shown_answer}" not in json.dumps(said, ensure_ascii=False)


def test_the_working_of_a_weight_in_pounds_tells_the_pounds() -> None:
    """0.45359237 kg to the pound, exactly (international yard and pound agreement, 1959)."""
    asked = next(question("dose-by-weight", 3, seed) for seed in range(5))
    pounds, _ = number(dict(asked.given)["weight"])
    assert asked.steps[0].text.startswith(f"weight in kg: {pounds} lb x 0.45359237 kg = about ")
