"""Answers as plain text for eyes: 80 columns, the outcome in words first, good without colour.

The outcome comes first, then the reason, then the working, then source and caution.  Every door but JSON prints
through here.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import click

from dosecheck.formulary.measures import AT_MOST
from dosecheck.rules.present import kept_in_words, next_in_words
from dosecheck.rules.reckon import Figures, Reckoning
from dosecheck.rules.verdict import Suggestion, Verdict
from dosecheck.showing import keep_together, show

WIDTH = 79
_STATES = {"met": "kept", "broken": "BROKEN", "not-checked": "not checked", "to observe": "to observe"}


def wrapped(text: str, lead: str = "", hang: str | None = None) -> str:
    """The text in lines of 79 columns; an amount is never parted from its unit."""
    glued = keep_together(text)
    lines = textwrap.wrap(
        glued,
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * len(lead) if hang is None else hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(lines).replace("\u00a0", " ")


def heading(text: str) -> str:
    return click.style(text, bold=True)


def verdict_text(verdict: Verdict) -> str:
    """One order's answer."""
    sources = Sources()
    parts = [heading(wrapped(verdict.headline)), _understood(verdict.understood)]
    reasons = [f for f in verdict.findings if f.outcome]
    parts.append(block("Why", dict.fromkeys(f"{f.message}{sources.mark(f.source)}" for f in reasons) or [kept_in_words(verdict)]))
    parts.append(block("It would fit if (a hint to look at, not a correction)", verdict.slips))
    parts.append(block("Working", [step.text for step in verdict.working]))
    parts.append(_limits(verdict, sources))
    if verdict.next_dose or verdict.next_dose_withheld:
        words = verdict.next_dose_withheld or next_text(next_in_words(verdict.next_dose))
        parts.append(block("Next dose of this order, by the doses told", [words]))
    if verdict.suggestion:
        parts.append(block("With the product in hand", [suggestion_text(verdict.suggestion)]))
    parts.append(block("Not checked", verdict.not_checked))
    parts.append(block("To observe", verdict.to_observe))
    parts.append(block("Ask first (from the source)", verdict.ask_first))
    parts.append(block("Notes", [f.message for f in verdict.findings if not f.outcome]))
    parts.append(sources.text())
    parts.append(foot(verdict.formulary, verdict.caution))
    return "\n\n".join(part for part in parts if part)


def _understood(understood: dict[str, str]) -> str:
    first = [understood.get(name, "") for name in ("medicine", "route", "for", "step", "condition")]
    order = [understood.get("dose", "no dose"), understood.get("how_often", "how often is not told")]
    order += [f"{name.replace('_', ' ')} {understood[name]}" for name in ("over", "made_up_to", "course") if name in understood]
    order += [f"product: {understood['product']}"] if "product" in understood else []
    child = [understood[name] for name in ("age", "weight") if name in understood]
    child += [
        f"{name} {understood[name]}" for name in ("weighed", "born", "gestation", "height", "sex", "creatinine") if name in understood
    ]
    child += [understood["kidneys"]] if "kidneys" in understood else []
    lines = [
        ("Order", ", ".join(filter(None, first))),
        ("", "; ".join(order)),
        ("Child", ", ".join(child) or "nothing told"),
        ("", _for_age(understood)),
        ("Before", understood.get("earlier", "")),
        ("Date", understood.get("on", "")),
    ]
    return "\n".join(wrapped(text, f"  {label:7}") for label, text in lines if text)


def _for_age(understood: dict[str, str]) -> str:
    return f"weight for age: {understood['weight_for_age']}" if "weight_for_age" in understood else ""


def block(title: str, lines: Iterable[str]) -> str:
    lines = list(lines)
    if not lines:
        return ""
    return "\n".join([heading(title), *(wrapped(line, "  - ") for line in lines)])


def _limits(verdict: Verdict, sources: Sources) -> str:
    if not verdict.limits:
        return ""
    lines = [heading("Limits")]
    regimen = None
    for state in verdict.limits:
        if state.regimen.full_id != regimen:
            regimen = state.regimen.full_id
            lines.append(wrapped(f"regimen {regimen}{sources.mark(state.source)}", "  "))
        comes = f" = {show(state.comes_to, down=True)}" if state.comes_to and state.comes_to != state.limit.figure else ""
        comes += " a dose" if comes and "time" not in state.comes_to.kind else ""
        binds = "  <- binds" if state.binding else ""
        grade = f" ({state.limit.outcome} {'above' if state.limit.main.sense == AT_MOST else 'below'})"
        lines.append(wrapped(f"{state.limit.name}: {state.limit.text}{comes}{grade}{binds}", f"    {_STATES[state.state]:12}"))
    return "\n".join(lines)


def next_text(words: dict[str, str]) -> str:
    """ "in 2 hours, at 18:30, at the earliest; at most 213 mg then" """
    when = "now" if words["earliest"] == "now" else f"{words['earliest']}, at the earliest"
    most = f"; at most {words['most']} then" if words["most"] else ""
    return when + most + (f", to measure: {words['measured']}" if words["measured"] else "")


def suggestion_text(suggestion: Suggestion) -> str:
    """ "oral liquid 120 mg in 5 mL: 8.5 mL = 204 mg is the most that can be measured" """
    if suggestion.measured is None:
        return f"{suggestion.product_name}: {suggestion.note}"
    return f"{suggestion.product_name}: the most that can be measured is {show(suggestion.measured)} = {show(suggestion.amount)} ({'; '.join(s.text for s in suggestion.steps[:1])})"


def foot(formulary: dict[str, str], caution: str) -> str:
    """The caution, and which formulary the figures are of."""
    if not formulary:
        return wrapped(caution)
    return f"{wrapped(caution)}\n{formulary_line(formulary)}"


def formulary_line(about: dict[str, str]) -> str:
    """Which formulary the figures are of, and of which day where one was asked for."""
    day = f", figures of {about['as_of']}" if about["as_of"] else ""
    return wrapped(f"Formulary: {about['name']} ({about['found']}), fingerprint {about['fingerprint']}{day}")


class Sources:
    """Numbers each source as it is first named."""

    def __init__(self) -> None:
        self.seen: dict[str, int] = {}

    def mark(self, source: str) -> str:
        return f" [{self.seen.setdefault(source, len(self.seen) + 1)}]" if source else ""

    def text(self) -> str:
        if not self.seen:
            return ""
        return "\n".join([heading("Sources"), *(wrapped(source, f"  [{number}] ") for source, number in self.seen.items())])


def reckoning_text(reckoning: Reckoning) -> str:
    """The `dose` command's answer."""
    parts = [
        heading(wrapped(f"What the figures come to: {reckoning.medicine or 'no medicine'}. No order was checked.")),
        _child_line(reckoning.understood),
    ]
    parts.append(block("In the way, or to think of", [f.message for f in reckoning.findings if f.outcome]))
    parts += [_figures(figures) for figures in reckoning.offered]
    parts.append(block("Notes", [f.message for f in reckoning.findings if not f.outcome]))
    parts.append(foot(reckoning.formulary, reckoning.caution))
    return "\n\n".join(part for part in parts if part)


def _child_line(understood: dict[str, str]) -> str:
    asked = ", ".join(understood[name] for name in ("route", "for", "step", "condition", "product") if name in understood)
    child = ", ".join(understood[name] for name in ("age", "weight", "height", "gestation", "kidneys") if name in understood)
    lines = (("Asked", asked), ("Child", child or "nothing told"), ("", _for_age(understood)))
    return "\n".join(wrapped(text, f"  {label:7}") for label, text in lines if text)


def _figures(figures: Figures) -> str:
    count = f", in {figures.doses} dose{'s' * (figures.doses != 1)} a day" if figures.doses else ""
    lines = [heading(wrapped(f"{figures.regimen.full_id} ({', '.join(figures.regimen.purposes)}{count})"))]
    lines.append(wrapped(_one_dose(figures), "  One dose: "))
    lines += [wrapped(f"{name}: {text}", "    ") for name, text in figures.rows]
    lines += [wrapped(line, "  - ") for line in figures.after]
    if figures.steps:
        lines += ["  Working:", *(wrapped(step.text, "    - ") for step in figures.steps)]
    if figures.products:
        lines += ["  To measure, at or below the most:", *(wrapped(suggestion_text(p), "    - ") for p in figures.products)]
    lines += [wrapped(note, "  Note: ") for note in figures.notes]
    lines.append(wrapped(figures.source, "  Source: "))
    return "\n".join(lines)


def _one_dose(figures: Figures) -> str:
    if figures.high is None:
        return (
            "see the limits below; what is missing is named above"
            if not figures.regimen.span.continuous
            else "an infusion: see the limits below"
        )
    if figures.low is None:
        return f"at most {show(figures.high, down=True)}; the source gives no low end"
    high = show(figures.high, down=True)
    return high if figures.low == figures.high else f"{show(figures.low)} to {high}"
