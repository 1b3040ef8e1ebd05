"""Options that several commands share; each may be given once, and all are texts read by `reading.py`."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import click

from dosecheck import records
from dosecheck.errors import Fault, InputError, TextError
from dosecheck.formulary.load import Formulary
from dosecheck.reading import read_date


class Once(click.Option):
    """An option that is refused when it is given twice; click alone would keep the last."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, multiple=True, **kwargs)

    def type_cast_value(self, ctx: click.Context, value: Any) -> Any:
        values = super().type_cast_value(ctx, value)
        if len(values) > 1:
            raise click.UsageError(f"{self.opts[-1]} is given twice. Give it once.", ctx)
        return values[0] if values else None


_MEDICINE = (
    ("--medicine", "NAME", "the medicine, as the formulary has it"),
    ("--route", "ROUTE", "oral, rectal, intravenous ..."),
    ("--for", "WHAT", "what it is for"),
    ("--step", "STEP", "first, repeat, loading or maintenance"),
)
_HOW = (
    ("--every", "TIME", 'such as "6 hours" or "4 to 6 hours"'),
    ("--times-a-day", "N", "number of doses in 24 hours"),
    ("--at-most", "N", "most doses in 24 hours, when given as needed"),
    ("--over", "TIME", 'how long one dose takes: "30 minutes"'),
    ("--made-up-to", "VOLUME", 'final volume: "50 mL"'),
    ("--course", "TIME", 'length of the course: "5 days"'),
    ("--product", "ID", "the product in hand; none is ever chosen for you"),
)
_CHILD = (
    ("--weight", "WEIGHT", 'such as "14.2 kg"'),
    ("--weighed", "DATE", "date of the weight, 2026-05-01"),
    ("--weight-is", "KIND", "measured, stated or estimated"),
    ("--age", "AGE", 'such as "3 years 2 months"'),
    ("--born", "DATE", "date of birth, 2023-03-14"),
    ("--on", "DATE", "date of the order; today when left out"),
    ("--gestation", "WEEKS", 'at birth: "31 weeks"'),
    ("--height", "LENGTH", 'such as "96 cm"'),
    ("--sex", "SEX", "female or male"),
    ("--creatinine", "AMOUNT", 'in the blood: "62 micromol/L" or "0.7 mg/dL"'),
)


def _add(rows: tuple[tuple[str, str, str], ...]) -> Callable:
    def decorate(function: Callable) -> Callable:
        for flag, metavar, text in reversed(rows):
            name = flag.strip("-").replace("-", "_")
            function = click.option(flag, "for_" if name == "for" else name, metavar=metavar, help=text, cls=Once)(function)
        return function

    return decorate


def medicine_options(function: Callable) -> Callable:
    """--medicine, --route, --for, --step, --condition."""
    condition = click.option("--condition", metavar="TEXT", multiple=True, help="a condition that the formulary names; repeatable")
    return _add(_MEDICINE)(condition(function))


def how_options(function: Callable) -> Callable:
    """How often, how fast, which product."""
    once = click.option("--once", is_flag=True, help="one dose only")
    as_needed = click.option("--as-needed", is_flag=True, help="given only when needed")
    return _add(_HOW)(once(as_needed(function)))


def child_options(function: Callable) -> Callable:
    """Everything about the child."""
    return _add(_CHILD)(function)


def earlier_options(function: Callable) -> Callable:
    """--given, --none-given, --now."""
    text = 'a dose given before: "210 mg 5 hours ago", "10 mL of paracetamol as oral-liquid-120-in-5, 4 to 5 hours ago"; repeatable'
    function = click.option(
        "--now", metavar="TIME", help='time of the check, for doses given at a time: "2026-05-04 13:10+01:00"', cls=Once
    )(function)
    function = click.option("--none-given", is_flag=True, help="no dose was given before")(function)
    return click.option("--given", metavar="DOSE", multiple=True, help=text)(function)


def common_options(function: Callable) -> Callable:
    """--formulary and --json."""
    function = click.option("--json", "as_json", is_flag=True, help="answer as JSON")(function)
    return click.option("--formulary", "folder", metavar="DIR", help="the formulary's folder", cls=Once)(function)


def as_of_option(function: Callable) -> Callable:
    """--as-of."""
    text = "check by the figures of that day, not of the day of the order"
    return click.option("--as-of", metavar="DATE", help=text, cls=Once)(function)


def texts_of(fields: dict[str, Any]) -> dict[str, Any]:
    """The fields of one order, with today as the date of the order when none is given."""
    return records.texts_of(fields, date.today())


def open_formulary(folder: str | None, as_of: str | tuple[()] | None = None) -> Formulary:
    """Args: as_of: the text of --as-of; click gives () where it was left out.

    Raises:
        InputError: it is no date.
        FormularyError: every fault of the folder at once.
    """
    if as_of in (None, ()):
        return Formulary(folder)
    try:
        return Formulary(folder, read_date(as_of, "date of the figures"))
    except TextError as error:
        raise InputError([Fault("as-of", error.given, error.why, error.write)]) from None


def day_of(text: str | tuple[()] | None, what: str = "date") -> date:
    """What --on says; today where it was left out.

    Raises:
        InputError: it is no date.
    """
    try:
        return read_date(text, what) if text else date.today()
    except TextError as error:
        raise InputError([Fault("on", error.given, error.why, error.write)]) from None
