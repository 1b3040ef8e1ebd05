"""The doses that a child has had, matched to the formulary: whose ingredient, how much of it, and when.

A fixed-dose combination counts for each of its ingredients; names, products and routes of one ingredient count
together.  Nothing is ever converted from one ingredient to another, nor from one route to another.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
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
    """One dose given, with its names matched: `medicine` None is not in the formulary, `product` None not told or unknown."""

    given: DoseGiven
    medicine: Medicine | None
    product: Product | None
    unknown_product: str
    route: str

    @property
    def first(self) -> Fraction:
        return -self.given.ago[1]

    @property
    def last(self) -> Fraction:
        return -self.given.ago[0]

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

    @property
    def timed(self) -> Timed:
        return Timed(self.had.first, self.had.last, self.amount.high.value if self.amount else None)

    @property
    def of_other_kind(self) -> bool:
        """The amount is known, but not in the kind that was asked for (mg and puffs)."""
        code = self.problem[0] if self.problem else ""
        return code == "kind-differs" or (code == "product-needed" and self.had.given.dose.kind.split("/")[0] in DRUG)


class History:
    """All doses told, for one child and one order (whose medicine, product and route stand in where none is named)."""

    def __init__(
        self, earlier: Earlier, child: Child, formulary: Formulary, medicine: Medicine, product: Product | None, route: str
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
                yield Entry(had, None, ("product-unknown", {"name": had.unknown_product, "has": [p.id for p in had.medicine.products]}))
                continue
            found = amount_of(had.given.dose, own, kind, Given(had.medicine, had.product, self._child, None))
            yield Entry(had, _as_given(found, had), None) if isinstance(found, Amount) else Entry(had, None, found)

    def said(self, moment: Seconds) -> str:
        """ "in 3 hours, at 18:30", "now" """
        if moment <= 0:
            return "now" if moment == 0 else f"{show_length(-moment)} ago"
        return f"in {show_length(moment)}" + (f", at {self.clock(moment)}" if self.now else "")

    def clock(self, moment: Seconds) -> str:
        """The time of day in the zone of the check, with the date when it is another day; a part of a minute counts up."""
        upward = -(-(self.now.instant + moment) // 60) * 60
        local = at_instant(upward, self.now.zone)
        return local.strftime("%H:%M" if local.date() == self.now.day else "%H:%M on %Y-%m-%d")


def _as_given(amount: Amount, had: Had) -> Amount:
    """Its steps are those of a dose given, not of the order."""
    return amount._replace(steps=tuple(step._replace(what=f"given {had.given.when}") for step in amount.steps))


def _match(given: DoseGiven, formulary: Formulary, medicine: Medicine, product: Product | None, route: str) -> Had:
    """`of` names a medicine if the formulary has one of that name, else an ingredient of the order's medicine."""
    mine, basis = medicine, given.inside and given.of
    if given.inside or given.of:
        mine = formulary.medicine(given.inside or given.of)
        if mine is None and not given.inside and medicine.ingredient(given.of):
            mine, basis = medicine, given.of
    dose = given.dose._replace(basis=basis) if basis else given.dose
    used = product if given.product is None and mine is medicine else None
    named = mine.product(given.product) if mine and given.product else None
    unknown = given.product if given.product and mine and named is None else ""
    used = named or used
    routes = used.routes if used else ()
    told = given.route or (route if route in routes or not routes else routes[0] if len(routes) == 1 else "")
    return Had(given._replace(dose=dose), mine, used, unknown, told or "")


def history_of(
    earlier: Earlier, child: Child, body: Body, formulary: Formulary, medicine: Medicine, product: Product | None, route: str | None
) -> History:
    """The history of one order.

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
