"""Words of the counter, for the service advisor; what the customer reads comes from the language files.

May import: the standard library only.
"""

from __future__ import annotations

__all__ = ["COUNTER"]

COUNTER: dict[str, str] = {
    "title": "Counter",
    "how": "Choose what stands side by side and the language, then turn the screen to the customer.",
    "language": "Language of the customer's page and estimate",
    "compare": "Options side by side: two or three, or none for the usual ones",
    "barred": "not offered: {why}",
    "look": "Show these",
    "turn": "Turn the screen to the customer",
    "page_pdf": "Customer's page as PDF, one side of A4",
    "page_html": "Customer's page as a file",
    "print": "Print",
    "back": "Back",
    "money": "Money and work of an option",
    "estimate": "Estimate",
    "estimate_of": "Estimate: {what}",
    "estimate_pdf": "Estimate as PDF",
    "estimate_csv": "as CSV",
    "estimate_json": "as JSON",
    "sheet": "Work sheet",
    "sheet_of": "Work sheet: {what}",
    "sheet_pdf": "Work sheet as PDF",
    "chose": "What the customer chose",
    "chosen_now": "Chosen: {what}",
    "chosen_none": "Nothing is noted yet.",
    "chosen_before": "The case has gone on since that was noted: work and price may be others now. Show the customer "
    "the options as they stand, and note the choice anew.",
    "choose": "Note it",
    "choose_none": "none of these for now",
    "choose_what": "The customer chose",
    "noted": "The customer chose: {what}; about {price} with tax. {limit}",
    "limit": "Call before it goes above {limit}.",
    "noted_none": "The customer chose none of the options for now.",
    "english": "The estimate is in the language chosen above, the work sheet in English.",
    "waits": "The page is being worked out ...",
    "not_these": "These cannot stand side by side:",
    "gone": "'{what}' is not among the options as the case stands now. Tick others, and show these.",
    "not_now": "There is no page for the customer as the case stands:",
}
