"""A picture as paper: an SVG of the pictures room on a page of its own size. May import: `typesetting`."""

from __future__ import annotations

from xml.etree import ElementTree

from diag.report.typesetting import pdf_of

__all__ = ["picture_pdf"]

_SVG = "{http://www.w3.org/2000/svg}"


def picture_pdf(svg: str) -> bytes:
    """The picture as a PDF of one page, its title and description (for screen readers) taken from the SVG.

    Raises UsageError where typst is not installed.
    """
    root = ElementTree.fromstring(svg)
    title, told = (root.findtext(f"{_SVG}{name}") or "" for name in ("title", "desc"))
    return pdf_of(
        "picture", {"title": title, "alternative": f"{title}. {told}".strip(), "language": "en"}, {"picture": svg}
    )
