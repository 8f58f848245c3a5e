"""Words for people on the page about doubt. May import: the standard library only."""

from __future__ import annotations

__all__ = ["DOUBT", "HOW_FAR", "NUMBERS", "PRICE_NUMBERS"]

DOUBT = {
    "heading": "Does the advice stand?",
    "stands": "The advice stands in {count} of 100 draws{error}",
    "error": " (give or take {points})",
    "turns_first": "; what would turn it first is {number}: {now} now, from {turn} on {option} is better.",
    "turns_first_below": "; what would turn it first is {number}: {now} now, below {turn} {option} is better.",
    "nothing_turns": "; none of the numbers that matter most turns it by itself.",
    "advice": "Advice: {advice}; {lead} cheaper than the next best option.",
    "alone": "Advice: {advice}; there is no other option that is not barred.",
    "draws": (
        "Each of {draws:draw|draws} takes all {numbers} numbers behind the advice again, each as far off as its "
        "strength lets it be, and decides anew (seed {seed}). Followed in every draw, the advice costs {regret} more "
        "on average than the best of each. {basis}"
    ),
    "all_judged": "The numbers are {judged}, and so is what they are worth.",
    "some_judged": "{some:number is|numbers are} {judged}, and so is what they are worth; the others are counted.",
    "others": "What is best in the other draws",
    "option": "option",
    "share": "in 100 draws",
    "matters": "The numbers that matter most, and how far each would have to move",
    "number": "number",
    "now": "now",
    "turn": "turns at",
    "then": "then better",
    "far": "how far that is",
    "swing": "can cost",
    "matters_mean": (
        "'Can cost': how much of its lead the advice loses when the number is off as far as it may well be."
    ),
    "no_turn": "no value",
    "lines": "Where another option begins to win",
    "from": "from",
    "to": "to",
    "best": "best then",
    "lines_mean": "Along each number all else stays as it is; '(now)' marks the stretch of its present value.",
    "barred_here": "{option} (what is dangerous decides here, not money)",
    "stretch_now": "{option} (now)",
    "crossings": "All crossings: where two options change places",
    "at": "at",
    "below": "cheaper below",
    "above": "cheaper above",
    "no_crossings": "No two options change places along these numbers.",
    "more": "{count:crossing between single options; --all shows it|crossings between single options; "
    "--all shows them}.",
    "judged": "{name} ({judged})",
}

HOW_FAR: tuple[tuple[float, str], ...] = (
    (0.5, "close: it may easily be wrong by so much"),
    (1.0, "within what it may well be wrong by"),
    (2.0, "a little beyond what it may well be wrong by"),
    (4.0, "far off"),
    (float("inf"), "out of reach"),
)
"""Up to how many standard deviations of the law of a number each of these words holds."""

NUMBERS = {
    "fault": "the chance that it is {component}{where}",
    "chance": "how common it is: {component} {state}",
    "fresh": "chance that a new one is {state}: {component}",
    "disturbed": "chance that other work leaves it {state}: {component}",
    "lapses": "chance that it is {state} after '{cause}': {component}",
    "given": "how common it is with {cause}: {component} {state}",
    "fails_as": "share of failures that are {state}: {component}",
    "shape": "how steeply it wears out: {component}",
    "scale": "how long most last: {component}",
    "unnoticed": "how long a failure stays unnoticed: {component}",
    "scale_under": "how much of its life is left under {cause}: {component}",
    "cause": "how often {cause} makes '{severity}' {level}",
    "background": "how often '{severity}' is {level} of itself",
    "finding": "how often '{finding}' shows at {level}",
    "finding_under": "how often '{finding}' shows at {level}, under {condition}",
    "lasting": "how often what is taken for '{finding}' is there under all conditions",
    "reading": "{what} of '{reading}' at {level}",
    "reading_other": "{what} of '{reading}'",
    "minutes": "minutes of '{repair}'",
    "money": "outside work of '{repair}'",
    "risk": "chance of '{risk}' at '{repair}'",
    "risk_at": "chance of '{risk}' at '{repair}', {level}",
    "risk_minutes": "minutes of '{risk}' at '{repair}'",
    "risk_money": "money of '{risk}' at '{repair}'",
    "risk_years": "years since an injector was last out from which '{risk}' is likelier at '{repair}'",
    "risk_times": "how many times likelier '{risk}' is then at '{repair}'",
    "days": "days that the vehicle stands for '{repair}'",
    "part": "price of '{part}'",
    "part_wait": "days to wait for '{part}'",
    "answer": "what '{answer}' tells",
    "other": "{path}",
}

PRICE_NUMBERS = {
    "labour_per_hour": "labour rate for an hour",
    "finish_minutes": "minutes of leak check and road test",
    "diagnosis_minutes": "minutes of diagnosis at a return visit",
    "km_per_year": "kilometres driven in a year",
    "horizon_months": "months that the vehicle is kept",
    "horizon_km": "kilometres that the vehicle is kept",
    "discount_per_year": "discount of later money a year",
    "return_visit": "what a return visit costs the customer",
    "tow": "cost of a tow",
    "damage_of_driving_on": "damage of driving on with a blown seal",
    "damage_per_month": "damage of each further month with a blown seal",
    "driven_on_months": "months that a vehicle is driven on with a blown seal",
    "day_without_vehicle": "what a day without the vehicle costs the customer",
    "removal_odds_in_a_year": "how much harder an injector comes out after a year with a blown seal",
    "guarantee_share": "share of a come-back that the workshop bears as guarantee",
    "goodwill_share": "share of a come-back that the workshop bears as goodwill",
    "lost_trust": "what a come-back costs the workshop in trust",
    "margin": "share of an invoice that is left to the workshop",
}
