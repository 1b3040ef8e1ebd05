"""`dosecheck formulary show`: one medicine, for eyes."""

from __future__ import annotations

import json

import click

from dosecheck.cli.options import common_options, open_formulary
from dosecheck.cli.text import formulary_line, heading, wrapped
from dosecheck.formulary.daily_bands import DailyBand, daily_bands
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, Regimen, source_text
from dosecheck.rules.present import bands_in_words


@click.command("show")
@click.argument("medicine")
@common_options
def command(medicine: str, folder: str | None, as_json: bool) -> int:
    """One medicine: products, regimens, age limits, each with its source."""
    formulary = open_formulary(folder)
    found = formulary.medicine(medicine)
    if found is None:
        near = formulary.near(medicine)
        raise click.UsageError(
            f'No medicine named "{medicine}" in this formulary.' + (f" Did you mean {' or '.join(near)}?" if near else "")
        )
    click.echo(
        json.dumps(_as_dict(found, formulary), indent=2, ensure_ascii=False, default=str) if as_json else medicine_text(found, formulary)
    )
    return 0


def _as_dict(medicine: Medicine, formulary: Formulary) -> dict:
    return {
        "id": medicine.id,
        "names": medicine.names,
        "status": medicine.status,
        "high_risk": medicine.high_risk,
        "note": medicine.note,
        "products": [
            {"id": p.id, "name": p.name, "routes": p.routes, "strength": p.strength_text, "source": formulary.source(p.source)}
            for p in medicine.products
        ],
        "regimens": [
            {
                **r.entry,
                "limits": [{"name": lim.name, "text": lim.text, "outcome": lim.outcome} for lim in r.limits],
                "source": formulary.source(r.source),
            }
            for r in medicine.regimens
        ],
        "age_limits": [{"id": a.id, "text": a.limit.text, "source": formulary.source(a.source)} for a in medicine.age_limits],
        "daily_bands": [{**entry, "source": formulary.source(source_text(entry["source"]))} for entry in medicine.daily_bands],
        "formulary": formulary.about(medicine),
    }


def medicine_text(medicine: Medicine, formulary: Formulary) -> str:
    """All that stands in the file, for eyes."""
    names = ", ".join(medicine.names[1:])
    lines = [heading(medicine.id) + (f" (also: {names})" if names else "")]
    lines.append(wrapped(f"status {medicine.status}" + ("; high risk" if medicine.high_risk else "") + f"; file {medicine.file}", "  "))
    lines += [wrapped(medicine.note.strip(), "  ")] if medicine.note else []
    lines.append(heading("Products"))
    lines += [wrapped(f"{p.id}: {p.name}; {', '.join(p.routes)}", "  - ") for p in medicine.products] or ["  none"]
    lines.append(heading("Regimens"))
    lines += [_regimen(r, formulary) for r in medicine.regimens] or ["  none"]
    lines += [heading("Age limits")] if medicine.age_limits else []
    lines += [wrapped(f"{a.limit.text}. {formulary.source(a.source)}", "  - ") for a in medicine.age_limits]
    lines += [heading("Low, medium and high daily doses, by table")] if medicine.daily_bands else []
    lines += [_daily_band(row, formulary) for row in daily_bands(medicine.daily_bands)]
    lines.append(formulary_line(formulary.about(medicine)))
    return "\n".join(lines)


def _daily_band(row: DailyBand, formulary: Formulary) -> str:
    what = [row.age_text, *row.devices, row.output, row.particle and f"{row.particle} particle", "local" if row.local else ""]
    lines = [wrapped(f"{row.table}: {', '.join(filter(None, what))}", "  - "), wrapped(row.text, "      ")]
    lines += [wrapped(f"note: {row.note}", "      ")] if row.note else []
    return "\n".join([*lines, wrapped(f"{formulary.source(row.source)} <{formulary.source_address(row.source)}>", "      ")])


def _regimen(regimen: Regimen, formulary: Formulary) -> str:
    what = (
        [regimen.route, "for " + " or ".join(regimen.purposes)]
        + ([regimen.step] if regimen.step else [])
        + [f"with {c}" for c in sorted(regimen.conditions)]
    )
    lines = [wrapped(bands_in_words(regimen), "  - "), wrapped(", ".join(what), "    ")]
    lines += [wrapped(f"{limit.name}: {limit.text} ({limit.outcome} when broken)", "      ") for limit in regimen.limits]
    lines += [wrapped(f"local: {regimen.reason}", "      ")] if regimen.reason else []
    lines += [wrapped(f"no daily maximum: {regimen.no_daily}", "      ")] if regimen.no_daily else []
    lines += [wrapped(f"ask first: {line}", "      ") for line in regimen.ask_first] + (
        [wrapped(f"note: {regimen.note}", "      ")] if regimen.note else []
    )
    lines.append(wrapped(f"in force from {regimen.valid_from}; {regimen.checked}", "      "))
    lines.append(wrapped(f"{formulary.source(regimen.source)} <{formulary.source_address(regimen.source)}>", "      "))
    return "\n".join(lines)
