"""The formulary as a book, as data: a chapter a medicine, and what stands before them (policy, status, sources, index).

Texts come from the compiled formulary and from its files; doses by weight come from `book_weights.py`.
"""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from dosecheck.errors import Fault, InputError
from dosecheck.formulary.daily_bands import DailyBand, daily_bands
from dosecheck.formulary.folder import VERSION
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Medicine, source_text
from dosecheck.reports.book_checks import UNCHECKED, Checks, checks_of, summary
from dosecheck.reports.book_entry import Cited, Entry, cited, entries, steps_in_words
from dosecheck.rules.verdict import CAUTION

MARK = "Not for clinical use"
NOT_APPROVED = "Status {status}: not for clinical use until a pharmacist has checked and approved these figures."
HIGH_RISK = "HIGH RISK: nothing above a figure per kg or per m2 is let pass as a query; a weight that is not measured is asked about."


class ProductRow(NamedTuple):
    name: str
    id: str
    routes: str
    measured: str
    more: str
    source: Cited | None
    checked: str


class AgeRow(NamedTuple):
    text: str
    only: str
    source: Cited
    checked: str


class BandRow(NamedTuple):
    """One line of a published table of daily doses."""

    who: str
    bands: tuple[tuple[str, str], ...]
    note: str
    source: Cited
    checked: str


class Chapter(NamedTuple):
    """One medicine; `loud` is what must be seen first."""

    medicine: Medicine
    loud: tuple[str, ...]
    ingredients: tuple[tuple[str, str], ...]
    products: tuple[ProductRow, ...]
    entries: tuple[Entry, ...]
    age_limits: tuple[AgeRow, ...]
    daily_bands: tuple[BandRow, ...]
    checked: str

    @property
    def anchor(self) -> str:
        return f"medicine-{self.medicine.id}"


class PolicyRow(NamedTuple):
    name: str
    value: str
    reason: str


class Book(NamedTuple):
    """`names`: every name and alias to the chapter's anchor; `sources`: those cited, numbered as they stand."""

    on: date
    chapters: tuple[Chapter, ...]
    policy: tuple[PolicyRow, ...]
    sources: tuple[tuple[int, dict[str, Any]], ...]
    names: tuple[tuple[str, str, str], ...]
    review: str
    overdue: bool
    mark: str
    formulary: dict[str, str]
    caution: str
    version: str

    def as_dict(self) -> dict[str, Any]:
        """What was made, in short."""
        return {
            "medicines": [chapter.medicine.id for chapter in self.chapters],
            "regimens": sum(len(chapter.entries) for chapter in self.chapters),
            "sources": len(self.sources),
            "on": str(self.on),
            "mark": self.mark,
            "review": self.review,
            "formulary": self.formulary,
            "caution": self.caution,
        }


def make_book(formulary: Formulary, on: date, names: tuple[str, ...] = ()) -> Book:
    """The whole formulary, or the medicines of `names` alone.

    Raises:
        InputError: names that are none of this formulary, all at once.
    """
    medicines = _asked(formulary, names)
    known = formulary.sources()
    numbers = {id_: number for number, id_ in enumerate(_sources_of(medicines, known), 1)}
    chapters = tuple(_chapter(medicine, formulary, numbers, known, on) for medicine in medicines)
    review = formulary.policy.get("review_by", {}).get("value")
    return Book(
        on=on,
        chapters=chapters,
        policy=tuple(_policy(formulary.policy)),
        sources=tuple((number, known[id_]) for id_, number in numbers.items()),
        names=_index(chapters),
        review=str(review or ""),
        overdue=bool(formulary.review_overdue(on)),
        mark="" if all(medicine.status == "approved" for medicine in medicines) else MARK,
        formulary=formulary.about(),
        caution=CAUTION,
        version=VERSION,
    )


def _asked(formulary: Formulary, names: tuple[str, ...]) -> list[Medicine]:
    if not names:
        return formulary.medicines()
    found = {name: formulary.medicine(name) for name in names}
    faults = []
    for name in (name for name, medicine in found.items() if medicine is None):
        near = formulary.near(name)
        write = f"Did you mean {' or '.join(near)}?" if near else "Write a name as the formulary has it, such as one of its files' names."
        faults.append(Fault("medicine", name, "This formulary has no medicine of that name.", write))
    if faults:
        raise InputError(faults)
    return sorted({medicine.id: medicine for medicine in found.values()}.values(), key=lambda medicine: medicine.id)


def _sources_of(medicines: list[Medicine], known: dict[str, Any]) -> list[str]:
    """Ids of the sources that the medicines name, by title."""
    texts = [text for m in medicines for part in (m.products, m.regimens, m.age_limits) for text in (each.source for each in part)]
    texts += [source_text(entry["source"]) for m in medicines for entry in m.daily_bands]
    used = {text.partition(", ")[0] for text in texts if text}
    return sorted(used, key=lambda id_: (known[id_]["title"].lower(), id_))


def _index(chapters: tuple[Chapter, ...]) -> tuple[tuple[str, str, str], ...]:
    """(name, anchor, the name that the chapter has; empty where it is the same), by name."""
    rows = [(name, c.anchor, "" if name == c.medicine.name.lower() else c.medicine.name) for c in chapters for name in c.medicine.names]
    return tuple(sorted(row for row in rows if row[2] != row[0]))


def _policy(policy: dict[str, Any]) -> list[PolicyRow]:
    return [PolicyRow(key.replace("_", " "), _value(line), line.get("reason", "")) for key, line in policy.items()]


def _value(line: dict[str, Any]) -> str:
    if "bands" in line:
        return "; ".join(f"from {band['from']}: {band['low']} to {band['high']}" for band in line["bands"])
    value = line.get("value", "")
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


# ---- a chapter ----


def _chapter(medicine: Medicine, formulary: Formulary, numbers: dict[str, int], known: dict[str, Any], on: date) -> Chapter:
    loud = [NOT_APPROVED.format(status=f'"{medicine.status}"')] if medicine.status != "approved" else []
    loud += [HIGH_RISK] if medicine.high_risk else []
    checks = checks_of(medicine, formulary)
    made = entries(medicine, formulary, numbers, known, checks, on)

    def cite(text: str) -> Cited:
        return cited(text, numbers, known)

    return Chapter(
        medicine=medicine,
        loud=tuple(loud),
        ingredients=tuple((i.id, ", ".join(i.groups)) for i in medicine.ingredients),
        products=tuple(
            ProductRow(
                p.name,
                p.id,
                ", ".join(p.routes),
                steps_in_words(p),
                _particulars(p),
                cite(p.source) if p.source else None,
                _seen(checks, "product", p.id),
            )
            for p in medicine.products
        ),
        entries=made,
        age_limits=tuple(
            AgeRow(
                a.limit.text + _local(a.origin == "local"),
                "; ".join(filter(None, (", ".join(a.routes), ", ".join(a.purposes)))),
                cite(a.source),
                _seen(checks, "age_limit", a.id),
            )
            for a in medicine.age_limits
        ),
        daily_bands=tuple(_band(row, cite(row.source), _seen(checks, "daily_band", row.id)) for row in daily_bands(medicine.daily_bands)),
        checked=summary(checks),
    )


def _particulars(product: Any) -> str:
    said = [product.form, f"{product.release} release" if product.release != "immediate" else "", product.strength_text, product.device]
    said += [product.output and f"{product.output} dose", product.particle and f"{product.particle} particle"]
    said += [f"{product.puffs} puffs when new" if product.puffs else "", "local" if product.origin == "local" else ""]
    return "; ".join(filter(None, said))


def _local(is_local: bool) -> str:
    return " (local)" if is_local else ""


def _band(row: DailyBand, source: Cited, checked: str) -> BandRow:
    who = ", ".join(
        filter(None, (row.age_text, *row.devices, row.output and f"{row.output} dose", row.particle and f"{row.particle} particle"))
    )
    return BandRow(who + _local(row.local), tuple((ends.name, ends.text) for ends in row.ends), row.note, source, checked)


def _seen(checks: Checks, kind: str, id_: str) -> str:
    """Who has checked it; that nobody has is said once, of the whole medicine."""
    text = checks[kind, id_, None].text
    return "" if text == UNCHECKED else text
