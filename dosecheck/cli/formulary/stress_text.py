"""The answer of `dosecheck formulary stress` in 80 columns; only the orders to run are longer."""

from __future__ import annotations

from dosecheck.cli.text import formulary_line, heading, wrapped
from dosecheck.workshop.stress.evidence import shares, sources
from dosecheck.workshop.stress.tally import slip_words
from dosecheck.workshop.stress.wilson import wilson

_SHOWN = 10  # of the blindest spots, and of the medicines with the lowest share caught


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
    return "\n".join([*lines, "", wrapped(said["caution"]), formulary_line(said["formulary"])])


def _percent(share) -> str:
    """Rounded, but never up to 100 % or down to 0 %."""
    number = f"{float(share) * 100:.1f}"
    return ">99.9" if number == "100.0" and share != 1 else "<0.1" if number == "0.0" and share else number.removesuffix(".0")


def _interval(part: int, whole: int) -> str:
    low, high = wilson(part, whole)
    return f"{_percent(low)} to {_percent(high)}"


def _of(count) -> str:
    return f"{count.caught:,} of {count.whole:,} ({_percent(count.share)} %; 95 % interval {_interval(count.caught, count.whole)} %)"


def _weighted(found) -> str:
    if found.weighted is None:
        return "No slip with a published share fits any of these orders."
    return f"Wrong orders caught, each slip counted by its published share: {_percent(found.weighted)} %."


def _slips(found) -> list[str]:
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
    rows = sorted(found.weighted_by_medicine.items(), key=lambda row: (row[1], row[0]))[:_SHOWN]
    lines = [f"{name}: {_percent(share)} % by published shares; of all {_of(found.by_medicine[name])}" for name, share in rows]
    return ["", heading("Medicines with the lowest share caught"), *(wrapped(line, "  - ") for line in lines)]


def _blind(found) -> list[str]:
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
    interval = "Intervals: Wilson EB, J Am Stat Assoc 1927;22:209-212."
    return ["", heading("Sources of the shares"), *(wrapped(said, "  - ") for said in [*sources(), interval])]
