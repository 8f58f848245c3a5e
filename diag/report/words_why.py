"""Words for people on the page that says why. May import: the standard library only."""

from __future__ import annotations

__all__ = ["WEIGHT_SCALE", "WHY"]

WEIGHT_SCALE: tuple[tuple[float, str], ...] = (
    (20.0, "decisive"),
    (15.0, "very strong"),
    (10.0, "strong"),
    (5.0, "substantial"),
    (0.05, "slight"),
    (0.0, "tells nothing"),
)
"""Least size in decibans of each word: the grades of Jeffreys, Theory of Probability (3rd ed. 1961, appendix B), whose
steps are half powers of ten of the ratio and so five decibans each; from memory. 'Slight'
is his 'not worth more than a bare mention'; 'tells nothing' is what rounds to 0.0.
Decibans: ten times the logarithm to base ten of the ratio (Good 1985)."""

WHY = {
    "heading": "Why: {fault}",
    "for": "It is above all '{finding}' that speaks for it ({words})",
    "for_settles": "'{finding}' alone makes it certain",
    "nothing_for": "Nothing that was told speaks for it",
    "against": "against it speaks first '{finding}' ({words})",
    "against_settles": "'{finding}' rules it out",
    "nothing_against": "nothing speaks against it",
    "short": "{fault}: {words} ({per_cent}). {for_}; {against}.",
    "nothing_told": "{fault}: {words} ({per_cent}). Nothing was told yet; this is how common it is.",
    "findings": "What speaks for it and against it, in the order told",
    "means": (
        "Decibans: + for it, - against it; 3 double the odds, 10 make them ten times. They add up, from before "
        "anything was told to now. What a finding adds depends on what was told before it; 'taken back' is what the "
        "finding alone makes now, all else staying: take it back, and the odds fall by so much."
    ),
    "told": "what was told",
    "decibans": "decibans",
    "in_words": "in words",
    "then": "then",
    "taken_back": "taken back",
    "before": "before anything was told",
    "now": "now",
    "direction_for": "for: {words}",
    "direction_against": "against: {words}",
    "settles": "settles it",
    "silent": "{count:more tells nothing of it (0.0); --all shows it|more tell nothing of it (0.0); --all shows them}.",
    "after": "{what} (after: {work})",
    "contrast": "Why this, and not: {rival}",
    "contrast_short": (
        "The first without the second: {only_fault}; the second without the first: {only_rival}; both: {both}."
    ),
    "contrast_for": "What tells them apart most is '{finding}' ({decibans} decibans for {fault}, {words}).",
    "contrast_settles": "'{finding}' settles which of the two it is: {fault}.",
    "contrast_prior": "What tells them apart most is how common each is ({decibans} decibans for {fault}, {words}).",
    "contrast_none": "Nothing that was told tells them apart; what stands is how common they are.",
    "neighbours": "What each cylinder's findings do to the others: {component}",
    "neighbours_means": (
        "Decibans for (+) or against (-) the fault of a row that all findings told of a column's place add now."
    ),
    "at": "at",
    "chance": "chance",
    "parts": "Why this repair and not the next best",
    "parts_short": "{best}: {ahead} less in the end, on average, than {other}.",
    "part": "part",
    "this": "this",
    "next": "the next",
    "difference": "difference",
    "total": "expected total",
    "worth": "What the answers so far were worth",
    "worth_line": "Without '{finding}' the advice would be: {plan}. On all that is known that costs {saved} more.",
    "worth_barred": "Without '{finding}' the advice would be: {plan}. That is barred now: {barred}.",
    "worth_none": "Any one of the answers could have been left out: the advice would be the same.",
    "worth_rest": "Without any one of the other {count}, the advice would be the same.",
    "turning": "What would turn the advice",
    "turning_line": "{finding}: {outcome} ({per_cent}): then {plan}; that saves {saved} against today's advice.",
    "turning_barred": "{finding}: {outcome} ({per_cent}): then {plan}; today's advice would be barred.",
    "turning_none": "Of {count:possible answer that was|possible answers that were} tried, none would turn it.",
    "turning_count": "{count:possible answer was|possible answers were} tried, of the checks worth most first.",
    "turning_left": "{count:further question was|further questions were} not tried.",
    "ask_advice": "--advice says what the advice rests on and what would turn it.",
}
