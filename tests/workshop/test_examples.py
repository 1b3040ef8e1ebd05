"""The examples in the files of the formulary: each comes out as printed, by one order and by the columns; a wrong one is a fault."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from cli.door import dosecheck, flat
from formulary.lint_folder import REGIMEN, medicine
from formulary.lint_folder import folder as files

from dosecheck import Formulary
from dosecheck.batch.columns import FIELDS
from dosecheck.batch.run import Batch
from dosecheck.formulary import folder as reading
from dosecheck.workshop.examples import Example, examples, failing

SHIPPED = Path(__file__).parents[2] / "formulary"
FORMULARY = Formulary(SHIPPED)
ORDERS = [example for example in examples(FORMULARY) if "dose" in example.given]
WEIGHT = 'given = { route = "oral", for = "pain", product = "liquid", weight = "16 kg", age = "4 years" }\n'
SOURCE = 'source = { id = "invented-handbook-2024", place = "table 3" }\n'
ORDER = 'given = { route = "oral", for = "pain", dose = "240 mg", every = "6 hours", weight = "16 kg", age = "4 years" }\n'
PRODUCT = '[[product]]\nid = "liquid"\nname = "oral liquid"\nform = "oral liquid"\nroutes = ["oral"]\nstrength = "120 mg in 5 mL"\nmeasure = [ { step = "0.5 mL" } ]\n'


def test_every_shipped_example_comes_out_as_printed() -> None:
    assert [str(fault) for fault in failing(FORMULARY)] == []
    assert len(ORDERS) >= 400


def test_the_columns_answer_every_example_alike() -> None:
    rows = pl.DataFrame([{field: one.given.get(field) for field in FIELDS} for one in ORDERS], schema=dict.fromkeys(FIELDS, pl.String))
    batch = Batch(FORMULARY, date(2026, 11, 25))
    batch.screen.least_part = 0
    answers = batch.answer(rows)
    wrong = [one.id for one, got in zip(ORDERS, answers["outcome"], strict=True) if got != one.expect["outcome"]]
    lacking = [
        one.id
        for one, got in zip(ORDERS, answers["codes"], strict=True)
        if not set(one.expect.get("codes", [])) <= set((got or "").replace(",", " ").replace(";", " ").split())
    ]
    assert (wrong, lacking) == ([], [])
    assert batch.slow < len(ORDERS) / 2


def test_each_example_has_its_own_id_in_the_whole_formulary() -> None:
    assert [id_ for id_, count in Counter(one.id for one in examples(FORMULARY)).items() if count > 1] == []


def made(folder: Path, example: str) -> Path:
    """A formulary of one invented medicine with one example."""
    text = medicine(more=REGIMEN + PRODUCT + SOURCE + f'\n[[example]]\nid = "one"\n{SOURCE}{example}')
    for name, content in files(medicines_exampol=text).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    return folder


@pytest.mark.parametrize(
    ("example", "expected"),
    [
        (ORDER + 'expect = { outcome = "stop" }', 'expect.outcome: "stop" was expected, and "within" came out.'),
        (ORDER + 'expect = { outcome = "within", codes = ["dose-above-range"] }', 'expect.codes: "dose-above-range" was expected, and "'),
        (ORDER.replace("16 kg", "16,0 kg") + 'expect = { outcome = "within" }', "given: It cannot be read: weight"),
        (WEIGHT + 'expect = { largest = "250 mg" }', 'expect.largest: "250 mg" was expected, and "240 mg" came out.'),
        (WEIGHT + 'expect = { volume = "9 mL" }', 'expect.volume: "9 mL" was expected, and "10 mL" came out.'),
        (WEIGHT.replace("4 years", "1 month") + 'expect = { largest = "240 mg" }', "0 regimens fit."),
    ],
)
def test_an_example_that_fails_is_a_fault_of_lint(tmp_path: Path, example: str, expected: str) -> None:
    result = dosecheck("formulary", "lint", str(made(tmp_path, example)))
    shown = flat(result.out)
    assert result.status == 2
    assert f"medicines/exampol.toml:{line_of(tmp_path, expected.partition('.')[0])}:" in shown, shown
    assert 'example "one"' in shown and expected in shown, shown


def line_of(path: Path, start: str) -> int:
    """Of the line `given` or `expect`, whichever the message is about."""
    rows = (path / "medicines" / "exampol.toml").read_text("utf-8").splitlines()
    return next(n for n, row in enumerate(rows, 1) if row.startswith("given" if start.startswith("given") else "expect"))


@pytest.mark.parametrize(
    "example", [ORDER + 'expect = { outcome = "within" }', WEIGHT + 'expect = { largest = "240 mg", volume = "10 mL" }']
)
def test_an_example_that_holds_is_no_fault(tmp_path: Path, example: str) -> None:
    assert failing(Formulary(made(tmp_path, example))) == []


def test_a_check_does_not_read_the_examples(monkeypatch: pytest.MonkeyPatch) -> None:
    """Their text is cut off before TOML is parsed."""
    seen: list[str] = []
    real = reading.tomllib.loads
    monkeypatch.setattr(reading.tomllib, "loads", lambda text, **more: seen.append(text) or real(text, **more))
    assert isinstance(examples(FORMULARY)[0], Example) and any("[[example]]" in text for text in seen)
    seen.clear()
    assert Formulary(SHIPPED).medicine("paracetamol") is not None
    assert seen and not any("[[example]]" in text for text in seen)
