"""Words of the list of cases, of closing, and of how good the predictions were. May import: the standard library."""

from __future__ import annotations

__all__ = ["CASES", "CURED_SAID", "SURE_SAID"]

CASES: dict[str, str] = {
    "search": "Find cases",
    "words": "Words in the case, or a number plate",
    "found": "Where this was found",
    "state": "Open or closed",
    "any": "any",
    "open": "open",
    "closed": "closed",
    "all": "All cases",
    "hits": "{count} found.",
    "hits_more": "More than {count} found.",
    "no_more": "These are the newest {most}; older ones are found by their words.",
    "none_open": "No case is open.",
    "calibration": "How good the predictions were",
    "calibration_none": "No case of the book is closed yet. Once some are, their predictions are scored here.",
    "picture": "Foretold and come true",
    "journal": "Journal and closing",
    "entries": "Everything that was written",
    "alike": "Cases like this one",
    "alike_none": "This case cannot be compared as it stands: {why}",
    "close": "Close the case",
    "close_how": "What was really wrong, and what it took. It is what the book learns from.",
    "cured": "Is the complaint gone?",
    "was_found": "What was found ({number})",
    "nothing": "nothing more",
    "likeliest": "likeliest as the case stands",
    "every": "every fault",
    "where": "Where ({number})",
    "as_named": "as named",
    "sure": "How sure ({number})",
    "was_fitted": "What was fitted or done ({number})",
    "fitted_where": "Where it was done ({number})",
    "time": "Time it took, such as 95 min",
    "cost": "What it cost in the end before tax, such as 269 {currency}",
    "note": "What else there is to say",
    "do_close": "Close it",
    "reopen": "Open it again",
    "remark": "A remark",
    "remark_do": "Add the remark",
}

CURED_SAID: dict[str, str] = {"yes": "yes", "partly": "partly", "no": "no", "not_known": "not known"}
SURE_SAID: dict[str, str] = {"seen": "seen", "measured": "measured after the repair", "inferred": "inferred"}
