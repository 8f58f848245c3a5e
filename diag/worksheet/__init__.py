"""From a chosen plan to the work: its steps in order, everything counted, and the estimate; records without words.

May import: decision, casebook, knowledge_base, inference, basics.
"""

from diag.worksheet.choosing import Chosen, chosen_by_hand, chosen_option, jobs_from
from diag.worksheet.estimate import ChargeLine, Estimate, Range, RiskLine, as_estimated, estimate, tax_on, with_tax
from diag.worksheet.exchanges import parts_at
from diag.worksheet.order import Section, StepAt, sections_of
from diag.worksheet.work import Counted, ReadAgain, Work, minutes_of, work_of

__all__ = [
    "ChargeLine",
    "Chosen",
    "Counted",
    "Estimate",
    "Range",
    "ReadAgain",
    "RiskLine",
    "Section",
    "StepAt",
    "Work",
    "as_estimated",
    "chosen_by_hand",
    "chosen_option",
    "estimate",
    "jobs_from",
    "minutes_of",
    "parts_at",
    "sections_of",
    "tax_on",
    "with_tax",
    "work_of",
]
