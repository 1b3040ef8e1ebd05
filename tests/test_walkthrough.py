"""The README's way of a new figure, from the edit to the signature, walked as it stands there."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
STEPS = re.search(r"```sh\n(dosecheck formulary copy .*?)```", README, re.S)[1].splitlines()
SAID = re.search(r"loosened limits first; a side may.*?```text\n(.*?)```", README, re.S)[1]
ORDERS = """order_id,medicine,route,for,dose,every,weight,age,on
a,ibuprofen,oral,pain,100 mg,6 hours,10 kg,2 years,2026-10-02
b,ibuprofen,oral,pain,100 mg,8 hours,10 kg,2 years,2026-10-03
c,paracetamol,oral,pain,150 mg,6 hours,10 kg,2 years,2026-10-04
"""


@pytest.mark.skipif(os.name == "nt", reason="the README's lines are those of a Unix shell")
def test_the_readme_s_walk_from_the_edit_to_the_signature(tmp_path: Path) -> None:
    """Every line ends as its comment says, `diff` prints what is shown, and the figure is approved at the end."""
    (tmp_path / "orders.csv").write_text(ORDERS, "utf-8")
    (tmp_path / "dosecheck").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m dosecheck "$@"\n', "utf-8")
    (tmp_path / "dosecheck").chmod(0o755)
    env = {**os.environ, "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}
    said = {}
    for line in STEPS:
        told = re.search(r"# ([0-9]):", line)
        done = subprocess.run(["sh", "-c", line], cwd=tmp_path, env=env, capture_output=True, text=True, check=False, timeout=300)
        assert done.returncode == (int(told[1]) if told else 0), (line, done.stdout, done.stderr)
        said[line.split()[2]] = " ".join(done.stdout.split())
    assert " ".join(SAID.split()) in said["diff"] and "1 outcome differs" in said["replay"]
    assert "1 of 1 files approved." in said["approvals"]
    assert all((tmp_path / name).stat().st_size > 100 for name in ("changes.html", "changed-orders.csv", "book.html"))
