"""`dosecheck formulary stress`: how much of what is known to go wrong the figures would catch."""

from __future__ import annotations

import json
from datetime import date

import click

from dosecheck.cli.options import Once, open_formulary
from dosecheck.cli.order import refuse
from dosecheck.cli.text import formulary_line, heading, wrapped
from dosecheck.errors import DosecheckError, FormularyError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine
from dosecheck.saving import save

_CAUTION = (
    "Drawn orders, not real ones: the shares tell where to look, not how safe a ward is. A slip that stays within the range is "
    "seen by nobody who goes by the figures; prescriber, pharmacist and local guidance decide."
)
_SHOWN = 10  # of the blindest spots, and of the medicines with the lowest share caught
_MOST = 1000


@click.command("stress", epilog="Exit status: 0 done, 2 bad input.")
@click.argument("folder", required=False)
@click.option("--medicine", metavar="NAME", cls=Once, help="only this one")
@click.option("--orders", type=click.IntRange(1, _MOST), default=10, show_default=True, help="right orders for each regimen")
@click.option("--seed", type=click.IntRange(0, 10**9), default=1, show_default=True, help="the same seed gives the same orders")
@click.option("--svg", metavar="FILE", cls=Once, help="a heat map, medicine by slip, as SVG")
@click.option("--png", metavar="FILE", cls=Once, help="the same as PNG")
@click.option("--json", "as_json", is_flag=True, help="answer as JSON")
def command(folder: str | None, medicine: str | None, orders: int, seed: int, svg: str | None, png: str | None, as_json: bool) -> int:
    """How much it would catch: right orders for children of all ages, known slips seeded in them, all of them checked.

    It counts by medicine and slip what was caught, what was missed, and false alarms on right orders, and shows where the
    formulary is blind, each time with an order to run. The 10 orders a regimen of the default take some 15 seconds for
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


def stress_text(found, said: dict) -> str:
    """80 columns: the overview, the slips, the traps, where it is blind, and the sources."""
    wrong = sum(count.whole for count in found.cells.values())
    lines = [
        heading(f"{found.rights.whole:,} right orders and {wrong:,} wrong ones"),
        wrapped(
            f"{found.regimens} regimens of {len(found.medicines)} medicines, {said['orders_each']} right orders each, seed {said['seed']}."
        ),
        wrapped(f"Right orders flagged: {_of(found.rights)}."),
        wrapped(_weighted(found)),
        *_slips(found),
        *_traps(found),
        *_alarms(found),
        *_medicines(found),
        *_blind(found),
        *_sources(),
    ]
    lines += [wrapped(f"Written: {', '.join(said['written'])}.")] if said["written"] else []
    return "\n".join([*lines, "", wrapped(_CAUTION), formulary_line(said["formulary"])])


def _percent(share) -> str:
    """Rounded, but never up to 100 % or down to 0 %."""
    number = f"{float(share) * 100:.1f}"
    return ">99.9" if number == "100.0" and share != 1 else "<0.1" if number == "0.0" and share else number.removesuffix(".0")


def _interval(part: int, whole: int) -> str:
    from dosecheck.workshop.stress.wilson import wilson

    low, high = wilson(part, whole)
    return f"{_percent(low)} to {_percent(high)}"


def _of(count) -> str:
    return f"{count.caught:,} of {count.whole:,} ({_percent(count.share)} %; 95 % interval {_interval(count.caught, count.whole)} %)"


def _weighted(found) -> str:
    if found.weighted is None:
        return "No slip with a published share fits any of these orders."
    return f"Wrong orders caught, each slip counted by its published share: {_percent(found.weighted)} %."


def _slips(found) -> list[str]:
    from dosecheck.workshop.stress.evidence import shares
    from dosecheck.workshop.stress.tally import slip_words

    lines = ["", heading("By slip")]
    lines.append(f"  {'slip':<22}{'orders':>7}{'stop':>7}{'query':>7}{'not-ch':>7}{'missed':>7}  {'caught, 95 %':<13}{'share':>6}")
    for (slip, way), count in found.by_slip.items():
        numbers = "".join(f"{number:>7}" for number in (count.whole, count.stop, count.query, count.not_checked, count.within))
        share = shares().get((slip, way))
        lines.append(
            f"  {slip_words(slip, way):<22}{numbers}  {_interval(count.caught, count.whole):<13}{_percent(share) if share else '-':>6}"
        )
    lines.append(
        wrapped("All but the counts in %. Caught is stop, query or not-checked (not-ch); those asked about only are under query.", "  ")
    )
    lines.append(wrapped("share: how often the slip is seeded by what was published; - where no study read gives it.", "  "))
    return lines


def _traps(found) -> list[str]:
    lines = ["", heading("Right orders that look wrong")]
    lines += [wrapped(f"{name}: flagged {_of(count)}", "  - ") for name, count in found.traps.items()]
    return lines if found.traps else []


def _alarms(found) -> list[str]:
    lines = ["", heading("Right orders that were flagged")]
    for row in found.alarms:
        lines.append(wrapped(f"{row.medicine}/{row.regimen}, {row.number}: {row.codes}. {row.sentence}", "  - "))
        lines.append(f"      {row.command}")
    none = [wrapped(f"No right order could be drawn for {', '.join(found.undrawn)}.", "  ")] if found.undrawn else []
    return (lines if found.alarms else []) + none


def _medicines(found) -> list[str]:
    rows = sorted(found.by_medicine.items(), key=lambda row: (row[1].share, row[0]))[:_SHOWN]
    return [
        "",
        heading("Medicines with the lowest share caught"),
        *(wrapped(f"{name}: caught {_of(count)}", "  - ") for name, count in rows),
    ]


def _blind(found) -> list[str]:
    from dosecheck.workshop.stress.tally import slip_words

    if not found.blind:
        return ["", "No seeded slip passed."]
    lines = [
        "",
        heading(f"Where it is blind: {len(found.blindest)} regimens let some slip pass; the blindest {min(_SHOWN, len(found.blindest))}"),
    ]
    for row in found.blindest[:_SHOWN]:
        more = sum(1 for other in found.blind if other[:2] == row[:2]) - 1
        besides = f" {more} more slip{'s' * (more != 1)} pass{'es' * (more == 1)} there at times." if more else ""
        spot = f"{row.medicine}/{row.regimen}, {slip_words(row.slip, row.way)}"
        lines.append(wrapped(f"{spot}: {row.caught} of {row.orders} caught; {row.why}.{besides}", "  - "))
        lines.append(f"      {row.command}")
    return lines


def _sources() -> list[str]:
    from dosecheck.workshop.stress.evidence import sources

    interval = "Intervals: Wilson EB, J Am Stat Assoc 1927;22:209-212."
    return ["", heading("Sources of the shares"), *(wrapped(said, "  - ") for said in [*sources(), interval])]
