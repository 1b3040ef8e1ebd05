"""A page as a PDF, tagged for readers by ear."""

from __future__ import annotations

from typing import Any

from dosecheck.errors import DosecheckError

VARIANT = {"pdf_variant": "pdf/ua-1"}


def to_pdf(html: str) -> bytes:
    """The page of `html`, self-contained, on paper by its own print style.

    Raises:
        DosecheckError: weasyprint or a system library of its is missing.
    """
    return weasyprint()(string=html).write_pdf(**VARIANT)


def weasyprint() -> Any:
    """weasyprint's HTML, or one sentence that says what to install."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # OSError: its system library, Pango, is not there
        how = 'Write: pip install "dosecheck[pdf]" (and, where it is missing, your system\'s Pango library), or take --out NAME.html and print that.'
        raise DosecheckError(f"A PDF needs weasyprint, which cannot be loaded here ({type(error).__name__}). {how}") from None
    return HTML
