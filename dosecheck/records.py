"""What is known of a child and of an order: plain, frozen records.

`Child` and `Order` take text as a user writes it (or an exact value already read, or an exact pint quantity) and read every field strictly;
all faults come at once, in one `InputError`.  Ages are worked out in `body/age.py`, outcomes in `rules/check.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from dosecheck import reading
from dosecheck.errors import Fault, InputError, TextError
from dosecheck.quantity import Quantity
from dosecheck.reading import AgeParts, Dose, Frequency

WITHIN, QUERY, NOT_CHECKED, STOP = "within", "query", "not-checked", "stop"
OUTCOMES = (WITHIN, QUERY, STOP, NOT_CHECKED)
STEPS = ("first", "repeat", "loading", "maintenance")


def _one_of(*allowed: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        word = reading.plain(text, "choice", allowed[0])
        if word not in allowed:
            raise TextError(word, f"It is none of {', '.join(allowed)}.", f'Write "{allowed[0]}", for example.')
        return word

    return read


def read_name(text: str) -> str:
    """A name to be matched later: outer spaces and case do not matter, hidden characters are named by code."""
    reading.short_text(text, "name", "paracetamol")
    strange = next((c for c in text if not c.isprintable() or (c.isspace() and c != " ")), None)
    if strange is not None:
        raise TextError(ascii(text)[1:-1], f"It holds the hidden character U+{ord(strange):04X}.", "Type it again.")
    return " ".join(text.split()).lower()


def _names(value: str | tuple[str, ...] | list[str]) -> tuple[str, ...]:
    parts = value if isinstance(value, (list, tuple)) else reading.short_text(value, "condition", "asthma").split(";")
    return tuple(sorted({read_name(part) for part in parts if not reading.is_missing(part)}))


def _yes(text: str | bool) -> bool:
    return reading.read_yes(text, "answer")


_READERS: dict[str, Callable[[Any], Any]] = {
    "weight": reading.read_weight,
    "weighed": lambda text: reading.read_date(text, "date of the weight"),
    "weight_is": _one_of("measured", "stated", "estimated"),
    "age": reading.read_age,
    "born": lambda text: reading.read_date(text, "date of birth"),
    "on": lambda text: reading.read_date(text, "date of the order"),
    "gestation": reading.read_weeks,
    "height": reading.read_length,
    "sex": _one_of("female", "male"),
    "creatinine": reading.read_creatinine,
    "medicine": read_name,
    "route": read_name,
    "for_": read_name,
    "step": _one_of(*STEPS),
    "condition": _names,
    "dose": reading.read_dose,
    "every": reading.read_frequency,
    "times_a_day": reading.read_count,
    "once": _yes,
    "as_needed": _yes,
    "at_most": reading.read_count,
    "over": reading.read_time,
    "made_up_to": reading.read_volume,
    "course": lambda text: reading.read_time(text, "length of the course", "5 days"),
    "product": read_name,
}
_ALREADY_READ = {"age": AgeParts, "dose": Dose, "every": Frequency}


def read_field(name: str, value: Any, default: Any = None) -> Any:
    """What the text of one field says; a blank or a place-holder counts as not given.

    Raises:
        InputError: with the one fault.
    """
    if reading.is_missing(value):
        return default
    if isinstance(value, _ALREADY_READ.get(name, ())):
        return value
    try:
        return _READERS[name](reading.pint_text(value) if hasattr(value, "magnitude") else value)
    except TextError as error:
        raise InputError([Fault(name.rstrip("_"), error.given, error.why, error.write)]) from None


def _read_fields(record: Any) -> None:
    """Replaces each text by what it says; all faults at once."""
    faults = []
    for field in fields(record):
        try:
            object.__setattr__(record, field.name, read_field(field.name, getattr(record, field.name), field.default))
        except InputError as error:
            faults += error.faults
    faults += record._contradictions() if not faults else []
    if faults:
        raise InputError(faults)


@dataclass(frozen=True)
class Child:
    """One child.  Every field may be left out; what a check then cannot do, it says.

    Args:
        weight: "14.2 kg" (or g; st, lb and oz with their unit).
        weighed: date of the weight, "2026-05-01".
        weight_is: "measured", "stated" or "estimated".
        age: whole units, "3 years 2 months"; or `born` with `on`, the date of the order.
        gestation: at birth, "31 weeks" or "31 weeks 4 days".
        height: "96 cm".
        sex: "female" or "male".
        creatinine: in the blood, "62 micromol/L" or "0.7 mg/dL".

    Raises:
        InputError: every field that cannot be read, at once.
    """

    weight: Quantity | None = None
    weighed: date | None = None
    weight_is: str | None = None
    age: AgeParts | None = None
    born: date | None = None
    on: date | None = None
    gestation: int | None = None
    height: Quantity | None = None
    sex: str | None = None
    creatinine: Quantity | None = None

    def __post_init__(self) -> None:
        _read_fields(self)

    def _contradictions(self) -> list[Fault]:
        faults = []
        if self.born and not self.on:
            faults.append(Fault("on", "", "A date of birth needs the date of the order.", 'Write it as "2026-05-01".'))
        if self.weighed and not self.on:
            faults.append(Fault("on", "", "A date of the weight needs the date of the order.", 'Write it as "2026-05-01".'))
        if self.born and self.on and self.born > self.on:
            faults.append(
                Fault("born", str(self.born), f"The date of birth is after the date of the order, {self.on}.", "Look at both dates.")
            )
        if self.weighed and self.on and self.weighed > self.on:
            faults.append(Fault("weighed", str(self.weighed), f"The weight is dated after the order, {self.on}.", "Look at both dates."))
        if self.weighed and self.born and self.weighed < self.born:
            faults.append(Fault("weighed", str(self.weighed), f"The weight is dated before the birth, {self.born}.", "Look at both dates."))
        return faults


@dataclass(frozen=True)
class Order:
    """What somebody wrote, for one child.

    Args:
        medicine, route: names as the formulary has them.
        dose: "240 mg", "15 mg/kg", "5 mL", "2 to 10 puffs", "600 mg a day", "80 mg of trimethoprim".
        every: "6 hours", "4 to 6 hours"; or `times_a_day`: 4; or `once`: True.
        as_needed: given only when needed; `at_most` then says how many in 24 hours.
        over: how long one dose takes, "30 minutes"; made_up_to: "50 mL"; course: "5 days".
        for_: what it is for; step: first, repeat, loading or maintenance; condition: what applies to the child.
        product: id of the product in hand, never chosen for you.

    Raises:
        InputError: every field that cannot be read, at once.
    """

    medicine: str | None = None
    route: str | None = None
    dose: Dose | None = None
    every: Frequency | None = None
    times_a_day: int | None = None
    once: bool = False
    as_needed: bool = False
    at_most: int | None = None
    over: Quantity | None = None
    made_up_to: Quantity | None = None
    course: Quantity | None = None
    for_: str | None = None
    step: str | None = None
    condition: tuple[str, ...] = ()
    product: str | None = None

    def __post_init__(self) -> None:
        _read_fields(self)

    def _contradictions(self) -> list[Fault]:
        said = [name for name in ("every", "times_a_day", "once") if getattr(self, name)]
        faults = []
        if len(said) > 1:
            faults.append(Fault(said[1], "", f'"{said[0]}" and "{said[1]}" both say how often.', "Give one of them."))
        if (self.once or (self.every and self.every.once)) and (self.at_most or self.as_needed):
            faults.append(
                Fault("once", "", "One dose only, and as needed or at most so many: they contradict each other.", "Give one of them.")
            )
        counted = [name for name in ("every", "times_a_day", "at_most") if getattr(self, name)]
        if self.dose and self.dose.per == "time" and counted:
            faults.append(
                Fault(
                    counted[0],
                    "",
                    "The dose is an infusion, per minute or per hour, and has no number of doses.",
                    "Leave one of the two out.",
                )
            )
        return faults


CHILD_FIELDS = tuple(field.name for field in fields(Child))
ORDER_FIELDS = tuple(field.name for field in fields(Order))
_DEFAULTS = {record: {field.name: field.default for field in fields(record)} for record in (Order, Child)}


def texts_of(fields: dict[str, Any], today: date) -> dict[str, Any]:
    """The fields that are told, with today as the date of the order when none is."""
    told = {name: value for name, value in fields.items() if value not in (None, (), [], "", False)}
    return {"on": today.isoformat(), **told}


def read_order(texts: dict[str, Any]) -> tuple[Order, Child]:
    """The order and the child of one row or one command line; the faults of both come together.

    Args:
        texts: field name ("for" as well as "for_") to text; unknown names are the caller's matter.
    """
    return _both(texts, lambda record, given: record(**given))


def order_of_read(values: dict[str, Any]) -> tuple[Order, Child]:
    """The same of fields that `read_field` has read already; None is not given."""
    return _both(values, _of_read)


def _both(fields_given: dict[str, Any], make: Callable[[type, dict[str, Any]], Any]) -> tuple[Order, Child]:
    given = {("for_" if name == "for" else name): value for name, value in fields_given.items() if value is not None}
    faults: list[Fault] = []
    made: list[Any] = []
    for record, names in ((Order, ORDER_FIELDS), (Child, CHILD_FIELDS)):
        try:
            made.append(make(record, {name: given[name] for name in names if name in given}))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return made[0], made[1]


def _of_read(record: type, given: dict[str, Any]) -> Any:
    made = object.__new__(record)
    for name, value in {**_DEFAULTS[record], **given}.items():
        object.__setattr__(made, name, value)
    faults = made._contradictions()
    if faults:
        raise InputError(faults)
    return made
