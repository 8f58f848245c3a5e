"""Words about simulated cases. May import: nothing."""

from __future__ import annotations

from typing import Final

__all__ = ["LABORATORY", "POLICY_WORDS"]

POLICY_WORDS: Final = {
    "looking ahead": "as advised: each check by its worth, pairs of checks looked at",
    "one step": "the same without looking at pairs",
    "cheapest first": "the cheapest check next, until one fault is likely enough",
    "likeliest first": "a check of the likeliest fault next, until one is likely enough",
    "chance over cost": "the check of most chance for its cost next, until one is likely enough",
    "likeliest at once": "no check: the likeliest fault is mended",
    "change everything": "no check: every part that may well be at fault is changed",
}
LABORATORY: Final = {
    "title": "What each way of going about it costs, on simulated cases",
    "head": "{engine}: {cases:simulated case|simulated cases} from {starts:complaint and age|complaints and ages}, "
    "seed {seed}. All policies meet the same vehicles and the same answers.",
    "same": "The vehicles are drawn from the numbers that the policies know.",
    "other": "The vehicles are drawn from other numbers than the policies know.",
    "policy": "policy",
    "total": "mean total",
    "error": "±",
    "checks": "checks",
    "check_cost": "for checks",
    "wrong": "wrong parts",
    "returns": "come back",
    "dearer": "dearer by",
    "least": "with the truth known from the start: {least} (± {error}); nobody can be cheaper on average.",
    "means": "{currency}, before tax; ± is the standard error of the mean. 'Wrong parts' counts jobs with parts that "
    "were all sound; 'dearer by' compares with the first row on the same cases. What happens after the repair is "
    "averaged exactly for each vehicle, not drawn.",
    "names": "The policies",
    "axis": "mean total in {currency}; the line reaches two standard errors to either side",
    "picture": "What each policy costs on average",
    "csv": "Every case is in {path}.",
    "plot": "The picture is in {path}.",
    "progress": "simulated cases",
}
