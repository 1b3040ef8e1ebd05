"""A million orders under two formularies beside one run of `dosecheck batch` on the same file (whole processes).  In one run.

python tests/bench/bench_replay.py [ROWS]
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from bench_batch import ROOT, run, write_orders


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as place:
        orders, results, other = (Path(place) / name for name in ("orders.csv", "results.csv", "other"))
        write_orders(orders, rows)
        shutil.copytree(ROOT / "formulary", other)
        file = other / "medicines" / "paracetamol.toml"
        file.write_text(file.read_text("utf-8").replace('"15 mg/kg"', '"14 mg/kg"'), "utf-8")
        once = min(run("-m", "dosecheck", "batch", str(orders), "--out", str(results))[0] for _ in range(3))
        # the command ends with 1 where outcomes differ, which `run` would take for a failure
        call = "import sys; from dosecheck.cli import cli; cli.main(sys.argv[1:], standalone_mode=False)"
        twice = min(run("-c", call, "formulary", "replay", str(ROOT / "formulary"), str(other), str(orders))[0] for _ in range(3))
    print(f"{rows:,} orders: batch {once:.2f} s, replay {twice:.2f} s, {twice / once:.2f} times; {rows / twice:,.0f} orders a second")


if __name__ == "__main__":
    main()
