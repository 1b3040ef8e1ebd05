"""The same page as a PDF: one A4 page, tagged for readers by ear, in the largest print that fits."""

from __future__ import annotations

from dosecheck.errors import DosecheckError
from dosecheck.printing.pdf import VARIANT, weasyprint
from dosecheck.reports.page import SIZES, to_html
from dosecheck.reports.sheet import Sheet


def to_pdf(sheet: Sheet) -> bytes:
    """Raises:
    DosecheckError: weasyprint or a system library of its is missing, or the list is too long for one page.
    """
    html = weasyprint()
    for size in SIZES:
        document = html(string=to_html(sheet, size)).render(**VARIANT)
        if len(document.pages) == 1:
            return document.write_pdf(**VARIANT)
    raise DosecheckError(
        f"In the smallest print ({SIZES[-1]} points) the sheet still fills more than one page. Leave lines out of sheet.toml."
    )
