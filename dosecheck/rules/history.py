"""The doses that a child has had, matched to the formulary: whose ingredient, how much of it, and when.

A fixed-dose combination counts for each of its ingredients; names, products and routes of one ingredient count
together.  Nothing is ever converted from one ingredient to another, nor from one route to another.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, floor
from typing import NamedTuple

from dosecheck.earlier import DoseGiven, Earlier, Now
from dosecheck.errors import Fault, InputError
from dosecheck.formulary.load import Formulary
from dosecheck.formulary.medicine import Ingredient, Medicine, Product
from dosecheck.quantity import DRUG
from dosecheck.reading.clock import at_instant
from dosecheck.records import Child
from dosecheck.rules.amounts import Amount, Given, Problem, amount_of
from dosecheck.rules.facts import Body
from dosecheck.rules.present import given_in_words
from dosecheck.rules.windows import DAY, Seconds, Timed
from dosecheck.showing import show_length


class Had(NamedTuple):
    """One dose given, with its names matched: `medicine` None is not in the formulary, `product` None not told or unknown.

    `first` to `last`: when it was given, in whole seconds from now, at most 0; a part of a second makes it wider.
    """

    given: DoseGiven
    medicine: Medicine | None
    product: Product | None
    unknown_product: str
    route: str
    first: int
    last: int

    @property
    def text(self) -> str:
        """ "10 mL of paracetamol as oral liquid 120 mg in 5 mL, 5 hours ago" """
        return given_in_words(self.given, self.medicine, self.product)

    def part(self, ingredient: Ingredient) -> Ingredient | None:
        """This medicine's own entry of the ingredient, if the dose has it in it."""
        for own in self.medicine.ingredients if self.medicine else ():
            if set(own.names) & set(ingredient.names) and (self.product is None or own.id in self.product.strengths):
                return own
        return None


class Entry(NamedTuple):
    """One dose of one ingredient in one kind of amount; `problem` says why `amount` is None."""

    had: Had
    amount: Amount | None
    problem: Problem | None
    timed: Timed

    @property
    def of_other_kind(self) -> bool:
        """The amount is known, but not in the kind that was asked for (mg and puffs)."""
        code = self.problem[0] if self.problem else ""
        return code == "kind-differs" or (code == "product-needed" and self.had.given.dose.kind.split("/")[0] in DRUG)


class History:
    """All doses told, for one child and one order (whose medicine, product and route stand in where none is named)."""

    def __init__(
        self, earlier: Earlier, child: Child, formulary: Formulary, medicine: Medicine | None, product: Product | None, route: str
    ) -> None:
        self.now: Now | None = earlier.now
        self._child, self._formulary = child, formulary
        self.doses = tuple(_match(given, formulary, medicine, product, route) for given in earlier.doses)
        self._entries: dict[tuple[str, str], list[Entry]] = {}

    def entries(self, ingredient: Ingredient, kind: str) -> list[Entry]:
        """The doses of `ingredient` in amounts of `kind`, the earliest first."""
        key = (ingredient.id, kind)
        if key not in self._entries:
            self._entries[key] = sorted(self._of(ingredient, kind), key=lambda entry: (entry.had.first, entry.had.last))
        return self._entries[key]

    def _of(self, ingredient: Ingredient, kind: str) -> Iterator[Entry]:
        for had in self.doses:
            own = had.part(ingredient)
            if own is None:
                continue
            if had.unknown_product:
                yield _entry(had, ("product-unknown", {"name": had.unknown_product, "has": [p.id for p in had.medicine.products]}))
            else:
                yield _entry(had, amount_of(had.given.dose, own, kind, Given(had.medicine, had.product, self._child, None)))

    def said(self, moment: Seconds) -> str:
        """ "in 3 hours, at 18:30", "now" """
        if moment <= 0:
            return "now" if moment == 0 else f"{show_length(-moment)} ago"
        return f"in {show_length(moment)}" + (f", at {self.clock(moment)}" if self.now else "")

    def told(self, had: Had) -> str:
        """When a dose was given, by the clock where the time of the check is known: "07:30", "09:30 to 10:30"."""
        if self.now is None:
            return had.given.when
        first, last = (self.clock(moment) for moment in (had.first, had.last))
        if first == last:
            return first if had.first == had.last else f"{first} (an hour that came twice)"
        (time, _, day), (later, _, same) = first.partition(" "), last.partition(" ")
        return f"{time} to {later} {day}".rstrip() if day == same else f"{first} to {last}"

    def clock(self, moment: Seconds) -> str:
        """The time of day in the zone of the check, with the day when it is another; a part of a minute counts up."""
        upward = -(-(self.now.instant + moment) // 60) * 60
        local = at_instant(upward, self.now.zone)
        day = {-1: " yesterday", 0: "", 1: " tomorrow"}.get((local.date() - self.now.day).days)
        return f"{local:%H:%M}" + (f" on {local:%Y-%m-%d}" if day is None else day)


def _entry(had: Had, found: Amount | Problem) -> Entry:
    """The dose as it is counted; its steps are those of a dose given, not of the order."""
    if not isinstance(found, Amount):
        return Entry(had, None, found, Timed(had.first, had.last, None))
    value = found.high.value  # a whole number is quicker to compare than a fraction, and as exact
    amount = found._replace(steps=tuple(step._replace(what=f"given {had.given.when}") for step in found.steps))
    return Entry(had, amount, None, Timed(had.first, had.last, value.numerator if value.denominator == 1 else value))


def _match(given: DoseGiven, formulary: Formulary, medicine: Medicine | None, product: Product | None, route: str) -> Had:
    """`of` names a medicine if the formulary has one of that name, else an ingredient of the order's medicine."""
    mine, basis = medicine, given.inside and given.of
    if given.inside or given.of:
        mine = formulary.medicine(given.inside or given.of)
        if mine is None and not given.inside and medicine and medicine.ingredient(given.of):
            mine, basis = medicine, given.of
    dose = given.dose._replace(basis=basis) if basis else given.dose
    used = product if given.product is None and mine is medicine else None
    named = mine.product(given.product) if mine and given.product else None
    unknown = given.product if given.product and mine and named is None else ""
    used = named or used
    routes = used.routes if used else ()
    told = given.route or (route if route in routes or not routes else routes[0] if len(routes) == 1 else "")
    shortest, longest = given.ago
    return Had(given._replace(dose=dose), mine, used, unknown, told or "", -ceil(longest), -floor(shortest))


def history_of(
    earlier: Earlier,
    child: Child,
    body: Body,
    formulary: Formulary,
    medicine: Medicine | None = None,
    product: Product | None = None,
    route: str | None = None,
) -> History:
    """The history of one order; of a whole chart, where every dose names its own medicine.

    Raises:
        InputError: a dose was given before the child's birth.
    """
    oldest = (body.age.days_hi + 1) * DAY if body.age else None
    faults = [
        Fault("given", given.when, "The dose would have been given before the child's birth.", "Look at the time and at the age.")
        for given in earlier.doses
        if oldest is not None and given.ago[0] > oldest
    ]
    if faults:
        raise InputError(faults)
    return History(earlier, child, formulary, medicine, product, route or "")
