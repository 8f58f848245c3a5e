"""Words for people about learning and scoring. Sentences hold {names} that `.format` fills. May import: nothing."""

from __future__ import annotations

__all__ = ["LEARN", "LEARNED_ALREADY", "LEARN_ASSUMED", "OTHER_CURRENCY", "SCORE", "SCORE_ASSUMED", "TWICE"]

LEARN = {
    "heading": "What {cases:closed case says|closed cases say}",
    "none": "No figure has enough cases to learn it from.",
    "figure": "figure",
    "before": "before",
    "after": "after",
    "interval": "90 % interval",
    "under": "under {least}",
    "cases": "cases",
    "stayed": "{count:figure stays as it is|figures stay as they are}: fewer than {least:case bears|cases bear} "
    "upon each.",
    "left_out": "Left out, because the knowledge calls them impossible or they contradict themselves: cases {numbers}.",
    "assumed": "What is assumed",
    "one_sided": "CAUTION, a biased sample: {names} were told of only where they were at fault, never as looked at and "
    "found sound, so their faults look more frequent than they are. Leave their chances out, or note what was "
    "renewed and was sound.",
    "taxed": "CAUTION, prices: what was spent stands above what is reckoned by just about what tax adds. If it was "
    "told with tax, leave the prices of parts out.",
    "slips": "CAUTION, times: what was told is more than eight times what the same work usually takes, or less than an "
    "eighth, and is left out of the minutes: cases {cases}.",
    "again": "CAUTION, learned before: {count:figure that it starts from is marked|figures that it starts from are "
    "marked} as learned already. If that was learned from these same cases, these count twice: leave that overlay away "
    "when learning anew.",
    "not_learned": "What is not learned from cases",
    "written": "Written to {path}. Nothing is applied: look at it, then give it with --overlay. To take it back, leave "
    "it away.",
    "not_written": "Nothing was written; --out FILE writes an overlay that you can look at, give with --overlay, and "
    "leave away again.",
    "head": "Learned from {cases:closed case|closed cases} (the newest closed {newest}); laid over what ships by "
    "--overlay, taken back by leaving it away.",
}

TWICE = {
    "again": "Counted once, as one case that was kept more than once (all that was told agrees to the letter, with the "
    "distance and the outcome, and it was closed on one day; two vehicles are two where their plates are noted): "
    "cases {cases}{more}.",
    "alike": "CAUTION, perhaps counted twice: told in the same words, but without a distance, with another outcome or "
    "closed on another day, so each counts: cases {cases}{more}. If two are one case, take the closing of one back: "
    "'diag book undo NUMBER'.",
    "others": "others",
    "more": "; and {count} more such groups",
}

OTHER_CURRENCY = {
    "learn": "CAUTION, another currency: what was spent was not told in {currency}, so it teaches nothing of prices: "
    "cases {cases}.",
    "score": "CAUTION, another currency: what was spent was not told in {currency}, so it is not in the mean cost: "
    "cases {cases}.",
}

LEARN_ASSUMED = (
    "A case that tells of a figure on several cylinders counts once for each of them under 'cases'.",
    "A case exists because someone complained: all is reckoned given the symptoms that were there at first. How often "
    "nobody complains, the book cannot say.",
    "Only what was opened is known. What was opened may have been chosen by what was told in the case, but not by "
    "things that nobody wrote down; else faults that draw the eye look too frequent.",
    "What a fitted repair renews and nothing was told of is taken for sound (99 %), unless the case was cured and no "
    "fault was named; what was told as seen holds with 99.9 %, measured 99 %, inferred 80 %.",
    "A repair that did not come back within the time in which it settles is taken to have held; who went elsewhere is "
    "not seen. One that is younger than that time counts neither as held nor as failed.",
    "What was spent is taken for the invoice before tax, of the time that was told and the parts of what was fitted; "
    "what was free of charge is no price. Parts that are always bought together share what they come to.",
    "The time that was told is taken for that of the work as an estimate has it, checks before left out. What went "
    "wrong on the way is not told apart: its average by these numbers is taken off, as it stands on an estimate by "
    "itself.",
    "Readings that all cylinders share a shift in (corrections, return flows) teach how such readings lie where they "
    "were taken in one go, corrections of all cylinders but one at most; each cylinder's state is believed there from "
    "all else that was told. From 1,500 such cases on, cases at even steps are looked at.",
    "From 1,000 cases on, distances and ages are rounded to steps of 10 %, so that cases can be done together; "
    "from 4,000 different cases on, intervals come from a sample of them in which what is rare is whole (widths within "
    "some 3 %).",
)

SCORE = {
    "heading": "How good the predictions were",
    "short": "{count:prediction|predictions} in {cases:closed case|closed cases}: Brier score {brier:.4f}, logarithmic "
    "score {log:.4f}.",
    "none": "No closed case says what was looked at, so there is nothing to score.",
    "what": "what",
    "predictions": "predictions",
    "faults": "faults",
    "brier": "Brier",
    "reliability": "calibration",
    "resolution": "telling apart",
    "uncertainty": "in the cases",
    "log": "log score",
    "all": "all",
    "table": "Scores (lower is better, 'telling apart' higher)",
    "over_time": "Over time, in quarters of the cases",
    "diagram": "Foretold and come true",
    "foretold": "foretold",
    "came": "came true",
    "interval": "90 % interval",
    "ranks": "Where the fault that was found stood",
    "rank": "place",
    "count": "cases",
    "spent": "Advice followed or not (no experiment: the cases may differ)",
    "followed": "advice followed",
    "not_followed": "not followed",
    "cost": "mean cost, {currency}",
    "minutes": "mean minutes",
    "come_backs": "came back",
    "alarm": "Drift alarm at case {number}: from about there on, what was found no longer fits what was foretold.",
    "no_alarm": "No drift alarm (one goes without any drift in {chance} of such books).",
    "picture": "The reliability diagram is in {path}.",
    "title": "Reliability diagram",
    "described": "Chances foretold against shares that came true, with 90 % intervals; the diagonal is perfect.",
    "quarter": "quarter {number}",
}

SCORE_ASSUMED = (
    "Only what was opened is scored; what was opened was chosen, so these are not all components of all vehicles.",
    "Several predictions of one case hang together, so the intervals are a little too narrow.",
)
LEARNED_ALREADY = (
    "Some figures are marked as learned. If they were learned from these same cases, the scores flatter; score with "
    "the figures that stood before, and --learn-every N."
)
