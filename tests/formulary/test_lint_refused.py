"""A formulary that cannot be used is refused whole, in bounded time, when it is opened; no figure of it is used."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from pathlib import Path
from time import perf_counter

import pytest
from lint_folder import POLICY, REGIMEN, folder, medicine

from dosecheck.errors import FormularyError
from dosecheck.formulary.folder import parse
from dosecheck.formulary.load import Formulary


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stamps of these folders stay out of the user's cache."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def written(where: Path, **files: str | bytes | None) -> Path:
    for name, content in folder(**files).items():
        (where / name).parent.mkdir(parents=True, exist_ok=True)
        (where / name).write_bytes(content)
    return where


def why_not(where: Path, **files: str | bytes | None) -> str:
    start = perf_counter()
    with pytest.raises(FormularyError) as error:
        Formulary(written(where, **files))
    assert perf_counter() - start < 10
    return str(error.value)


def test_the_small_formulary_opens(tmp_path: Path) -> None:
    formulary = Formulary(written(tmp_path))
    assert formulary.names == ["exampol"]
    assert formulary.medicine("exampol").regimens[0].id == "oral-child"


def test_a_fault_in_one_medicine_refuses_the_folder_and_names_every_fault(tmp_path: Path) -> None:
    said = why_not(tmp_path, medicines_secondol="id = ", medicines_exampol=medicine().replace("min_gap", "min_gpa"))
    assert "medicines/exampol.toml" in said and "medicines/secondol.toml" in said


def test_a_fault_refuses_again_when_it_is_opened_again(tmp_path: Path) -> None:
    said = why_not(tmp_path, medicines_exampol=medicine().replace("min_gap", "min_gpa"))
    assert why_not(tmp_path, medicines_exampol=medicine().replace("min_gap", "min_gpa")) == said


def test_fifty_megabytes(tmp_path: Path) -> None:
    assert "larger than 5,000,000 bytes" in why_not(tmp_path, medicines_exampol=b"#" * 50_000_000)


def test_a_hundred_thousand_short_regimens(tmp_path: Path) -> None:
    said = why_not(tmp_path, medicines_exampol=medicine(more='[[regimen]]\nid="a"\n' * 100_000))
    assert said == "medicines/exampol.toml, regimen: There are more than 1000 entries. Look for a copy too many."


@pytest.mark.parametrize("deep", ["[" * 10_000, "{a=" * 10_000])
def test_nested_ten_thousand_deep(tmp_path: Path, deep: str) -> None:
    said = why_not(tmp_path, medicines_exampol=medicine(head=f"note = {deep}"))
    assert said.startswith("medicines/exampol.toml") and "\n" not in said


def test_a_number_of_thousands_of_digits(tmp_path: Path) -> None:
    assert "A number has thousands of digits." in why_not(tmp_path, medicines_exampol=medicine(head="high_risk = " + "9" * 5000))


def test_a_review_date_in_the_past_is_told_with_each_answer_and_is_no_fault(tmp_path: Path) -> None:
    formulary = Formulary(written(tmp_path, policy=POLICY + 'review_by = { value = 2020-12-31, reason = "r" }'))
    assert formulary.review_overdue(date(2024, 5, 1)) == "2020-12-31"
    assert formulary.review_overdue(date(2020, 12, 31)) == ""


def test_a_mark_of_encoding_before_the_text_does_no_harm() -> None:
    assert parse("x", b"\xef\xbb\xbfid = 1") == {"id": 1}


def test_a_child_at_the_edge_of_two_bands_is_in_the_upper_one(tmp_path: Path) -> None:
    rows = "".join(
        f'[[regimen.band]]\nweight = {{ from = "{low} kg", below = "{high} kg" }}\ndose = "{low}0 mg"\n'
        for low, high in ((10, 15), (15, 20))
    )
    formulary = Formulary(written(tmp_path, medicines_exampol=medicine(more=REGIMEN.replace('dose = "15 mg/kg"\n', "") + rows)))
    weight = 15 * 10**12
    held = [
        row.id
        for row in formulary.medicine("exampol").regimens
        for band in row.bands
        if band.fact == "weight" and band.holds((weight, weight))
    ]
    assert held == ["oral-child, band 2"]


def test_a_stamped_folder_never_loads_pydantic(tmp_path: Path) -> None:
    written(tmp_path)
    code = f"from dosecheck.formulary.load import Formulary; Formulary({str(tmp_path)!r}); import sys; print('pydantic' in sys.modules)"
    said = [subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() for _ in range(2)]
    assert said == ["True", "False"]


# ---- what stands in the folder and is no plain file of it ----


def test_a_link_out_of_the_folder_a_pipe_and_a_folder_are_refused_together(tmp_path: Path) -> None:
    """None of them is opened: a pipe would never end, and a link's figures are not this folder's."""
    where = written(tmp_path / "f")
    (tmp_path / "outside.toml").write_text(medicine("outside"), "utf-8")
    (where / "medicines/outside.toml").symlink_to(tmp_path / "outside.toml")
    os.mkfifo(where / "medicines/pipe.toml")
    (where / "medicines/folder.toml").mkdir()
    (where / "medicines/nowhere.toml").symlink_to(tmp_path / "nosuch")
    with pytest.raises(FormularyError) as error:
        Formulary(where)
    said = [(fault.file, fault.why) for fault in error.value.faults]
    assert said == [
        ("medicines/folder.toml", "It is no plain file."),
        ("medicines/nowhere.toml", "It is a link that leads out of the folder."),
        ("medicines/outside.toml", "It is a link that leads out of the folder."),
        ("medicines/pipe.toml", "It is no plain file."),
    ]


def test_a_link_inside_the_folder_is_a_file_of_it(tmp_path: Path) -> None:
    where = written(tmp_path / "f")
    (where / "medicines/exampol.toml").rename(where / "kept.txt")
    (where / "medicines/exampol.toml").symlink_to(where / "kept.txt")
    assert Formulary(where).names == ["exampol"]


def test_a_hundred_megabytes_are_refused_unread(tmp_path: Path) -> None:
    where = written(tmp_path / "f")
    with open(where / "medicines/big.toml", "wb") as file:
        file.truncate(100_000_000)
    start = perf_counter()
    with pytest.raises(FormularyError, match="medicines/big.toml: The file is larger than 5,000,000 bytes"):
        Formulary(where)
    assert perf_counter() - start < 0.5


def test_two_files_for_one_medicine(tmp_path: Path) -> None:
    said = why_not(tmp_path / "f", medicines_other=medicine())
    assert "medicines/other.toml" in said and "not the name of the file" in said and "is a name in medicines/exampol.toml too" in said


def test_a_half_written_file_and_bytes_that_are_not_utf_8(tmp_path: Path) -> None:
    """Both are named, each with its line; nothing of the folder answers."""
    half = medicine().encode()[:-40]
    with pytest.raises(FormularyError) as error:
        Formulary(written(tmp_path / "f", medicines_exampol=half, medicines_latin=medicine("latin").encode() + b"# \xb5g\n"))
    found = {fault.file: fault for fault in error.value.faults}
    assert found["medicines/exampol.toml"].line > 10 and found["medicines/latin.toml"].line > 10
    assert "not UTF-8" in found["medicines/latin.toml"].why
