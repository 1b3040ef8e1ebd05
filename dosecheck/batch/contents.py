"""What the texts of a column show, where its name shows nothing: names of medicines, products, purposes, doses, weights, dates.

By the very readers and names that answer the file.  A column is taken for what half of its distinct texts are; a column of
dates could be several of our fields, and which one only the user knows.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import polars as pl

from dosecheck.errors import InputError
from dosecheck.formulary.load import Formulary
from dosecheck.records import read_field

DATES = ("born", "weighed", "on")
_TEXTS = 60  # distinct texts looked at
_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")


def distinct_texts(column: pl.Series, most: int = _TEXTS) -> list[str]:
    """The first distinct texts of a column, in its order."""
    return column.drop_nulls().unique(maintain_order=True).head(most).to_list()


class Contents:
    """Tells what columns hold.

    Args:
        formulary: whose medicines, products and purposes are known.
    """

    def __init__(self, formulary: Formulary) -> None:
        medicines = formulary.medicines()
        products = {product.id for medicine in medicines for product in medicine.products}
        purposes = {purpose for medicine in medicines for regimen in medicine.regimens for purpose in regimen.purposes}
        routes = {regimen.route for medicine in medicines for regimen in medicine.regimens}
        self._shows: dict[str, Callable[[str], bool]] = {
            "medicine": lambda text: formulary.medicine(text) is not None,
            "product": lambda text: text.strip().lower() in products,
            "route": lambda text: text.strip().lower() in routes,
            "for": lambda text: text.strip().lower() in purposes,
            "weight": lambda text: _reads("weight", text),
            "dose": lambda text: _reads("dose", text) and not _NUMBER.fullmatch(text.strip()),
        }

    def field(self, column: pl.Series) -> str:
        """Our field, or "" where nothing is shown."""
        texts = distinct_texts(column)
        return next((field for field, shows in self._shows.items() if texts and _half(texts, shows)), "")


def are_dates(column: pl.Series) -> bool:
    texts = distinct_texts(column)
    return bool(texts) and _half(texts, lambda text: _reads("on", text))


def are_numbers(column: pl.Series) -> bool:
    """Bare ones, whose unit can only stand in the header."""
    texts = distinct_texts(column)
    return bool(texts) and _half(texts, lambda text: _NUMBER.fullmatch(text.strip()) is not None)


def _half(texts: list[str], shows: Callable[[str], bool]) -> bool:
    return 2 * sum(map(shows, texts)) >= len(texts)


def _reads(field: str, text: str) -> bool:
    try:
        return read_field(field, text) is not None
    except InputError:
        return False
