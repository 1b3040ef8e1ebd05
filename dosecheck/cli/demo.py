"""`dosecheck demo`: a newcomer's first look, on invented orders."""

from __future__ import annotations

import tempfile
from datetime import date
from importlib.resources import as_file, files
from pathlib import Path

import click

from dosecheck.cli.batch.check import summary_text
from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.text import heading, verdict_text, wrapped
from dosecheck.records import read_order
from dosecheck.rules.check import check_order

_ORDER = {
    "medicine": "paracetamol",
    "route": "oral",
    "for": "pain",
    "dose": "320 mg",
    "every": "6 hours",
    "product": "oral-liquid-120-in-5",
    "weight": "14.2 kg",
    "weight_is": "measured",
    "age": "3 years 2 months",
    "on": "2026-05-04",
}


@click.command("demo")
@click.option("--formulary", "folder", metavar="DIR", help="the formulary's folder", cls=Once)
def command(folder: str | None) -> int:
    """A first look: an example order and an example file of an invented clinic."""
    import polars as pl

    from dosecheck.batch.run import run_batch

    formulary = open_formulary(folder)
    click.echo(heading("Saltmarsh Island children's clinic (invented): one order") + "\n")
    click.echo("$ dosecheck order " + " ".join(f'--{name.replace("_", "-")} "{text}"' for name, text in _ORDER.items()) + "\n")
    click.echo(verdict_text(check_order(*read_order(_ORDER), formulary)))
    click.echo("\n" + heading("A file of orders") + "\n\n$ dosecheck batch orders.csv --out results.csv\n")
    with tempfile.TemporaryDirectory() as place, as_file(files("dosecheck.demo") / "orders.csv") as orders:
        results = Path(place) / "results.csv"
        summary = run_batch(orders, results, formulary, date(2026, 5, 4))
        rows = pl.read_csv(results, infer_schema=False)
    for order_id, medicine, dose, weight, sentence in rows.select("order_id", "medicine", "dose", "weight", "sentence").iter_rows():
        click.echo(wrapped(f"{medicine} {dose} at {weight}: {sentence}", f"  {order_id}  "))
    click.echo("\n" + summary_text(summary, "results.csv"))
    click.echo(
        "\n"
        + wrapped(
            "Next: dosecheck order --help, dosecheck formulary show paracetamol, dosecheck formulary copy my-formulary, dosecheck serve (with the extra web)"
        )
    )
    return 0
