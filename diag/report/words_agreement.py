"""What people read about fault codes by their state, the trim-code ledger, soft answers, and findings that disagree.

May import: nothing.
"""

from __future__ import annotations

__all__ = ["AGREEMENT", "CODES", "LEDGER", "SOFT"]

AGREEMENT = {
    "heading": "Do the findings agree?",
    "about": "They contradict each other about '{name}', {place}.",
    "alone": "What was told about '{name}', {place}, is hard to believe beside everything else.",
    "as_a_whole": "Taken together they contradict each other: each is likelier alone than beside the others.",
    "for": "For it",
    "against": "Against it",
    "told": "{what}: {said}",
    "again": "Look at these again first",
    "again_one": "{what} ({place})",
    "unlisted": "Something that is not listed here: {now} (before anything was told: {before}).",
    "rare": "So much out of the ordinary is rare: about 1 in {one_in} vehicles {whom} shows it (simulated: {draws}).",
    "rare_none": "So much out of the ordinary is rare: of {draws} simulated vehicles {whom} none shows as much.",
    "with_complaint": "with such a complaint",
    "of_all": "of all that are asked the same",
}

CODES = {
    "heading": "Fault codes",
    "read": "Read with their state",
    "line": "{code}, {name}, {place}: {words}",
    "with_status": "{code} (status 0x{status:02X})",
    "not_known": "not in this knowledge, without effect",
    "present": "present, it fails now; counts as stored",
    "stored": "stored, not failing now; counts as stored",
    "intermittent": "comes and goes: confirmed, and failed and passed in one cycle; counts as stored",
    "pending": "pending, not confirmed yet; counts as a soft answer",
    "passed": "tested and passed since the codes were cleared; counts as not stored",
    "not_tested": "not tested since the codes were cleared; tells nothing",
    "missing": "Expected under what is believed now, and not stored",
    "not_told": "Expected under what is believed now, and not told of (were they looked for?)",
    "missing_line": "{code}, {name}, {place}: {per_cent} to be expected",
    "proves_little": "No stored code proves little; it is counted with what it is worth.",
}

LEDGER = {
    "heading": "Trim codes",
    "cylinder": "cyl.",
    "part": "on the part",
    "unit": "in the control unit",
    "part_before": "part before",
    "unit_before": "unit before",
    "verdict": "they say",
    "look_at": "Look at this",
    "not_read": "not read",
    "empty": "none stored",
    "agrees": "agree",
    "not_stored": "no code stored: not coded",
    "old_code": "still the old injector's: not coded",
    "of_another": "belongs to the injector of cylinder {of}",
    "differs": "differ",
    "unknown": "cannot be compared",
    "same_part": "Injectors {cylinders} carry one and the same code; each has its own, so read them again.",
    "same_unit": "One and the same code is stored for cylinders {cylinders}.",
    "unchanged_part": "The new injector of {cylinders} carries the old one's code: was it changed, and which was read?",
    "unchanged_unit": "The code stored for {cylinders} is still the one of the injector that was there before.",
    "firing_order": (
        "The codes stand in the order of firing ({order}). If the control unit counts its injectors so, each may be "
        "right: find out before any is written."
    ),
    "exchanged": "The codes of cylinders {cylinders} are stored each in the place of the other.",
    "not_noted": "Of {cylinders} no code was noted.",
}

SOFT = {
    "heading": "What the soft answers count ({judged})",
    "for": "'{name}': {ratio:.2g} to 1 for it ({decibans:.0f} decibans)",
    "against": "'{name}': {ratio:.2g} to 1 against it ({decibans:.0f} decibans)",
    "nothing": "'{name}': nothing either way",
}
