"""dosecheck: a second pair of eyes for the arithmetic of children's medicine doses.

Everything a user needs comes from here; see the README for a runnable example.
"""

from dosecheck.errors import DosecheckError, FileError, FormularyError, InputError, KindError, TextError
from dosecheck.formulary.folder import VERSION as __version__
from dosecheck.formulary.load import Formulary
from dosecheck.quantity import Quantity
from dosecheck.reading import read_amount, read_dose, read_strength, read_weight
from dosecheck.records import Child, Order, read_order
from dosecheck.rules.check import check_order
from dosecheck.rules.codes import Finding
from dosecheck.rules.verdict import Verdict
from dosecheck.showing import show

_WHEN_ASKED = {  # a single check need not load them
    "check_chart": "dosecheck.rules.chart",
    "check_frame": "dosecheck.batch.frame",
    "read_chart": "dosecheck.chart_file",
    "reckon_sum": "dosecheck.sums.listing",
}

__all__ = [
    "Child",
    "DosecheckError",
    "FileError",
    "Finding",
    "Formulary",
    "FormularyError",
    "InputError",
    "KindError",
    "Order",
    "Quantity",
    "TextError",
    "Verdict",
    "__version__",
    "check_chart",
    "check_frame",
    "check_order",
    "read_amount",
    "read_chart",
    "read_dose",
    "read_order",
    "read_strength",
    "read_weight",
    "reckon_sum",
    "show",
]


def __getattr__(name: str) -> object:
    from importlib import import_module

    if name in _WHEN_ASKED:
        return getattr(import_module(_WHEN_ASKED[name]), name)
    raise AttributeError(f"dosecheck has no {name}")
