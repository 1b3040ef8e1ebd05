"""The report as JSON."""

from __future__ import annotations

from collections import Counter
from typing import Any

from dosecheck.records import OUTCOMES
from dosecheck.reports.orders.charts import ChartFindings
from dosecheck.reports.orders.ranges import written
from dosecheck.reports.orders.rates import Rate
from dosecheck.reports.orders.report import Line, Report
from dosecheck.reports.orders.strips import Strip
from dosecheck.reports.orders.two_runs import TwoRuns


def report_dict(report: Report) -> dict[str, Any]:
    """All of it but the pictures; numbers with decimals are text."""
    return {
        "results": report.name,
        "rows": report.rows,
        "outcomes": {name: report.outcomes[name] for name in OUTCOMES},
        "unreadable": report.unreadable,
        "fingerprint": report.fingerprint,
        "ledger": report.proof,
        "notices": list(report.notices),
        "flags_per_100": _rate_dict(report.flags),
        "first": [f._replace(times=None if f.times is None else written(f.times).replace(",", ""))._asdict() for f in report.first],
        "flagged": report.flagged,
        "sources": list(report.sources),
        "by": {t.column: [_line_dict(line) for line in t.lines] for t in report.tables},
        "findings": [
            {"code": f.code, "meaning": f.meaning, "outcomes": _counts(f.outcomes), "per_100": _rate_dict(f.share)} for f in report.found
        ],
        "most_flags": [{"medicine": p.medicine, "code": p.code, "per_100": _rate_dict(p.flags)} for p in report.pairs],
        "ranges": [_strip_dict(strip) for strip in report.strips],
        "not_checked": [reason._asdict() for reason in report.unchecked],
        "compared": _runs_dict(report.two_runs) if report.two_runs else None,
        "charts": _charts_dict(report.charts) if report.charts else None,
        "caution": report.caution,
    }


def _counts(outcomes: Counter[str]) -> dict[str, int]:
    return {name: outcomes[name] for name in OUTCOMES}


def _rate_dict(each: Rate) -> dict[str, Any]:
    return {"count": each.count, "rows": each.rows, "per_100": each.per_100, "interval_95": each.interval}


def _line_dict(line: Line) -> dict[str, Any]:
    return {"value": line.name, **_counts(line.outcomes), "rows": line.rows, "flags_per_100": _rate_dict(line.flags)}


def _strip_dict(strip: Strip) -> dict[str, Any]:
    about = {"medicine": strip.scale.medicine, "regimen": strip.scale.regimen, "range": strip.scale.range_words}
    return {**about, "below": strip.below, "inside": strip.inside, "above": strip.above, "furthest": strip.scale.in_words(strip.furthest)}


def _charts_dict(charts: ChartFindings) -> dict[str, Any]:
    codes = {code: dict(outcomes) for code, outcomes in charts.codes}
    return {"file": charts.name, "outcomes": dict(charts.outcomes), "codes": codes, "first": [each._asdict() for each in charts.first]}


def _runs_dict(runs: TwoRuns) -> dict[str, Any]:
    told = runs._asdict()
    told["table"] = [{"before": before, "now": now, "orders": count} for (before, now), count in runs.table.items()]
    return told | {"changes": [change._asdict() for change in runs.changes], **{n: told[n]._asdict() for n in ("new", "gone", "twice")}}
