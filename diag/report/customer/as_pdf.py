"""The customer's page as a PDF. May import: pictures, and the modules of this folder, typesetting."""

from __future__ import annotations

from dataclasses import asdict

from diag.pictures import ACCENT, INK, LINE, MUTED, TINT
from diag.report.customer.map import MM_PER_UNIT, map_of, map_width
from diag.report.customer.record import CustomerPage
from diag.report.typesetting import pdf_of

__all__ = ["page_pdf"]


def page_pdf(page: CustomerPage) -> bytes:
    """The page on one side of A4, tagged (PDF/UA-1). Raises DiagError where the content does not fit."""
    colours = {"ink": INK, "muted": MUTED, "line": LINE, "accent": ACCENT, "tint": TINT}
    content = {"page": asdict(page), "colours": colours, "map_mm": MM_PER_UNIT * map_width(page)}
    return pdf_of("customer", content, {"map": map_of(page)})
