"""The sheet as a short text: what stands on the page, without the arithmetic."""

from __future__ import annotations

from collections.abc import Iterator

from dosecheck.cli.text import block, formulary_line, heading, wrapped
from dosecheck.reports.rows import Row
from dosecheck.reports.sheet import Part, Sheet


def sheet_text(sheet: Sheet, written: str | None) -> str:
    """80 columns; the mark and what is doubtful come first."""
    parts = [heading(wrapped(f"Doses for one child: {sheet.child}, {sheet.on}"))]
    parts.append("\n".join(filter(None, (heading(sheet.mark.upper()), wrapped(sheet.status)))))
    parts.append(block("LOOK AT THIS FIRST", sheet.doubts))
    parts.append("\n".join(wrapped(text, f"  {name:8}", " " * 10) for name, text in _child(sheet)))
    parts += [_part(part) for part in sheet.parts]
    parts.append(block("Notes", sheet.notes))
    parts.append(wrapped(sheet.caution))
    parts.append(formulary_line(sheet.formulary))
    parts.append(
        wrapped(f"Written: {written}") if written else wrapped("The page with the arithmetic: --out sheet.pdf or --out sheet.html")
    )
    return "\n\n".join(part for part in parts if part)


def _child(sheet: Sheet) -> Iterator[tuple[str, str]]:
    weight, _, _ = sheet.understood["weight"].partition(", ")
    known = (sheet.understood.get("weighed", "no date"), sheet.understood.get("weight_for_age", ""))
    how = "how it was got is not told" if sheet.weight_is == "not told" else sheet.weight_is
    yield "Age", sheet.understood["age"]
    yield "Weight", ", ".join(filter(None, (weight, how.upper() if sheet.weight_is == "estimated" else how, *known)))


def _part(part: Part) -> str:
    return "\n".join([heading(part.title), *(line for row in part.rows for line in _row(row))])


def _row(row: Row) -> Iterator[str]:
    name = f"{row.name} ({row.how})" if row.how else row.name
    if row.why_not:
        yield wrapped(f"{name}: NO DOSE HERE. {' '.join(row.why_not)}", "  - ")
    elif row.is_sum:
        yield wrapped(f"{name}: {'; '.join(f'{result.name}: {result.value}' for result in row.results)}", "  - ")
    else:
        measure = f"; to measure {row.measure} of {row.product}" if row.measure else f"; {row.product}" if row.product else ""
        yield wrapped(f"{name}: {row.dose}{measure}", "  - ")
    yield from (wrapped(f"ASK FIRST: {doubt}", "      ") for doubt in row.doubts)
