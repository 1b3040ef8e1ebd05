"""`dosecheck formulary stress`: how much of what is known to go wrong the figures would catch."""

from __future__ import annotations

import json
from datetime import date

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.errors import DosecheckError, FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine
from dosecheck.saving import save

_CAUTION = (
    "Drawn orders, not real ones: the shares tell where to look, not how safe a ward is. Seeded are the slips named above, most of them double or "
    "more: no published share was found for smaller errors, and they are not counted. A slip that stays within the range is "
    "seen by nobody who goes by the figures; prescriber, pharmacist and local guidance decide."
)
_MOST = 1000


@click.command("stress", epilog="Exit status: 0 done, 2 bad input.")
@click.argument("folder", required=False)
@click.option("--medicine", metavar="NAME", cls=Once, help="only this one")
@click.option("--orders", type=click.IntRange(1, _MOST), default=20, show_default=True, help="right orders for each regimen")
@click.option("--seed", type=click.IntRange(0, 10**9), default=1, show_default=True, help="the same seed gives the same orders")
@click.option("--svg", metavar="FILE", cls=Once, help="a heat map, medicine by slip, as SVG")
@click.option("--png", metavar="FILE", cls=Once, help="the same as PNG")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, medicine: str | None, orders: int, seed: int, svg: str | None, png: str | None, as_json: bool) -> int:
    """How much it would catch: right orders for children of all ages, known slips seeded in them, all of them checked.

    It counts by medicine and slip what was caught, what was missed, and false alarms on right orders, and shows where the
    formulary is blind, each time with an order to run. The 20 orders a regimen of the default take some 15 seconds for
    250 regimens.
    """
    try:
        from dosecheck.workshop.stress.run import stress
    except ImportError:
        raise DosecheckError('Files of orders need polars and pyarrow. Install them: pip install "polars>=1.30" "pyarrow>=17"') from None
    try:
        formulary = open_formulary(folder)
    except FormularyError as error:
        return refuse(error, as_json, "Nothing was tried.")
    if svg or png:
        from dosecheck.workshop.stress.heat_map import library

        library()
    found = stress(formulary, date.today(), orders, seed, _medicine(formulary, medicine))
    drawn = _draw(found, (svg, "svg"), (png, "png")) if svg or png else []
    said = {"orders_each": orders, "seed": seed, "written": drawn, "formulary": formulary.about(), "caution": _CAUTION}
    if as_json:
        from dosecheck.workshop.stress.evidence import read

        whole = {**said, **found.as_dict(), "evidence": read()}
        click.echo(json.dumps(whole, indent=2, ensure_ascii=False))
    else:
        from dosecheck.cli.formulary.stress_text import stress_text

        click.echo(stress_text(found, said))
    return 0


def _medicine(formulary: Formulary, name: str | None) -> Medicine | None:
    if not name:
        return None
    found = formulary.medicine(name)
    if found is None:
        near = formulary.near(name)
        raise click.UsageError(f'No medicine named "{name}".' + (f" Did you mean {' or '.join(near)}?" if near else ""))
    return found


def _draw(found, *files: tuple[str | None, str]) -> list[str]:
    from dosecheck.workshop.stress.heat_map import heat_map

    for path, form in files:
        if path:
            save(path, heat_map(found, form))
    return [path for path, _ in files if path]
