"""Nothing depends on the machine: MR18 (time zone, locale) and MR36 (hash seed, folder, time of day)."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from relations.kit import FOLDER

REPO = FOLDER.parent
BORN = ("2024-02-29", "2023-05-05", "2023-05-04", "2023-05-03", "2026-04-04", "2026-04-03", "2014-05-04")
ORDER = [
    "order",
    "--medicine",
    "paracetamol",
    "--route",
    "oral",
    "--dose",
    "300 mg",
    "--every",
    "6 hours",
    "--weight",
    "14.2 kg",
    "--on",
    "2026-05-04",
    "--product",
    "oral-liquid-120-in-5",
]
# one process answers many children, so that few processes are needed
SCRIPT = f"""
import sys
from dosecheck.cli import run
for born in {BORN!r}:
    for form in ([], ["--json"]):
        sys.argv = ["dosecheck", *{ORDER!r}, "--formulary", {str(FOLDER)!r}, "--born", born, *form]
        try:
            run()
        except SystemExit as stop:
            print(stop.code)
"""
ORDERS = """order_id,medicine,route,for,dose,every,weight,born,on
1,paracetamol,oral,pain,213 mg,6 hours,14.2 kg,2023-05-04,2026-05-04
2,paracetamol,oral,,320 mg,6 hours,14.2 kg,2024-02-29,2025-03-01
3,gentamicin,intravenous,,100 mg,24 hours,14.2 kg,2023-05-04,2026-05-04
4,co-trimoxazole,oral,,5 mL,12 hours,14.2 kg,2023-05-04,2026-05-04
5,ibuprofen,oral,pain,"1,5 mg",6 hours,14.2 kg,2023-05-04,2026-05-04
"""


def output(args: list[str], folder: Path | None = None, **env: str) -> bytes:
    done = subprocess.run(
        [sys.executable, *args],
        capture_output=True,
        cwd=folder or REPO,
        env={**os.environ, "PYTHONPATH": str(REPO), **env},
        check=False,
        timeout=120,
    )
    assert b"Traceback" not in done.stderr, done.stderr
    return done.stdout + done.stderr + str(done.returncode).encode()


@cache
def usual() -> bytes:
    found = output(["-c", SCRIPT], TZ="UTC", LC_ALL="C.UTF-8", PYTHONHASHSEED="0")
    assert found.count(b'"outcome": "') >= 2 * len(BORN) and found.endswith(b"0")
    return found


@pytest.mark.parametrize(
    ("zone", "locale"),
    [
        ("<-12>12", "C"),
        ("<+14>-14", "de_DE.UTF-8"),
        ("<-0330>3:30", "ar_EG.UTF-8"),
        ("<+0545>-5:45", "th_TH"),
        ("GMT0BST,M3.5.0/1,M10.5.0", "tr_TR.UTF-8"),
    ],
)
def test_mr18_age_does_not_depend_on_the_machine(zone: str, locale: str) -> None:
    """MR18: in any time zone and locale the same dates give the same age, verdict and text."""
    assert output(["-c", SCRIPT], TZ=zone, LC_ALL=locale, PYTHONUTF8="1") == usual()


@pytest.mark.parametrize("seed", ["1", "2", "12345"])
def test_mr36_same_bytes_under_any_hash_seed(seed: str, tmp_path: Path) -> None:
    """MR36: the same bytes under any hash seed and from any folder."""
    assert output(["-c", SCRIPT], folder=tmp_path, PYTHONHASHSEED=seed) == usual()


def test_mr36_a_file_of_orders_too(tmp_path: Path) -> None:
    """MR36: the result file and the summary have the same bytes under any hash seed, time zone and number of threads."""
    (tmp_path / "orders.csv").write_text(ORDERS, "utf-8")
    seen = set()
    for seed, zone, threads in (("1", "UTC", "1"), ("77", "<+14>-14", "2"), ("random", "<-12>12", "3")):
        args = ["-m", "dosecheck", "batch", str(tmp_path / "orders.csv"), "--out", str(tmp_path / "out.csv"), "--formulary", str(FOLDER)]
        said = output(args, PYTHONHASHSEED=seed, TZ=zone, POLARS_MAX_THREADS=threads)
        seen.add((said, (tmp_path / "out.csv").read_bytes()))
    assert len(seen) == 1
