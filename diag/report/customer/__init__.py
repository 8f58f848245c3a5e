"""The customer's page, one side of A4: one record of content, and from it text, HTML and PDF, in any language.

All its words come from a language file. May import: every room below, the modules of `diag.report`, and typst, which
nothing else imports, where a PDF is asked for.
"""

from diag.report.customer.as_html import page_html
from diag.report.customer.as_pdf import page_pdf
from diag.report.customer.as_text import page_blocks
from diag.report.customer.composing import customer_page
from diag.report.customer.map import map_of
from diag.report.customer.record import CustomerBank, CustomerCylinder, CustomerOption, CustomerPage, OptionRow, Section
from diag.report.customer.speaking import Speaker

__all__ = [
    "CustomerBank",
    "CustomerCylinder",
    "CustomerOption",
    "CustomerPage",
    "OptionRow",
    "Section",
    "Speaker",
    "customer_page",
    "map_of",
    "page_blocks",
    "page_html",
    "page_pdf",
]
