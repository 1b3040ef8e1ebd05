"""The same page as a PDF: one A4 page, tagged for readers by ear, in the largest print that fits."""

from __future__ import annotations

from typing import Any

from dosecheck.errors import DosecheckError
from dosecheck.reports.page import SIZES, to_html
from dosecheck.reports.sheet import Sheet


def to_pdf(sheet: Sheet) -> bytes:
    """Raises:
    DosecheckError: weasyprint or a system library of its is missing, or the list is too long for one page.
    """
    html = _weasyprint()
    for size in SIZES:
        document = html(string=to_html(sheet, size)).render(pdf_variant="pdf/ua-1")
        if len(document.pages) == 1:
            return document.write_pdf(pdf_variant="pdf/ua-1")
    raise DosecheckError(
        f"In the smallest print ({SIZES[-1]} points) the sheet still fills more than one page. Leave lines out of sheet.toml."
    )


def _weasyprint() -> Any:
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # OSError: its system library, Pango, is not there
        how = 'Write: pip install "dosecheck[pdf]" (and, where it is missing, your system\'s Pango library), or take --out NAME.html and print that.'
        raise DosecheckError(f"A PDF needs weasyprint, which cannot be loaded here ({type(error).__name__}). {how}") from None
    return HTML
