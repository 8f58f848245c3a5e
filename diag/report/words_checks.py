"""Words of the next check and of the ranking it comes from. May import: the standard library only."""

from __future__ import annotations

__all__ = ["CHECKS"]

CHECKS = {
    "only_together": "By itself it is not worth its cost. It is with a second check after it, where the answer asks for"
    " that: {other}. Together they are expected to save {net} beyond their cost.",
    "along": "While this is open, also do",
    "approximate": "So many symptoms meet here that {count:of them was|of them were} weighed one by one for this "
    "ranking: the worths are approximate, and the order of checks of like worth may differ. The chances of the faults "
    "are exact.",
    "heading": "Next checks, best first",
    "rank": "no.",
    "check": "check",
    "place": "place",
    "time": "time",
    "time_heading": "Time",
    "access": "to open",
    "access_heading": "To open",
    "worth": "worth",
    "cost": "cost",
    "net": "net",
    "second": "with a 2nd",
    "nothing_to_open": "nothing",
    "do": "Check next: {check}",
    "repair_now": "Stop checking, repair now: no check is worth more than it costs.",
    "stand": (
        "No check is worth more than it costs, and no repair is sure enough to end the danger: let it stand. Before it "
        "is driven again the cause has to be found: look on in the order of the ranking of checks, or hand it on."
    ),
    "hand_on": "No check is worth more than it costs, and no repair here is: hand it on.",
    "nothing_to_check": "There is nothing left to check.",
    "ready": "No check is worth more than it costs, and no repair is: leave it, and watch it.",
    "how": "How",
    "needs": "Needs",
    "tools": "Tools",
    "opens": "Opens",
    "closed": "closed first: {what}",
    "closes": "Stands open; close it before the engine turns",
    "answers": "Answers",
    "may_go_wrong": "May go wrong",
    "parts": "Used up",
    "caution": "CAUTION",
    "cautions": "Cautions",
    "barred": "Not possible here",
    "worth_means": (
        "Worth: what the answer saves on average, by changing what is repaired. "
        "Cost: its own, without what the repair uses again. Net: worth less cost. Money in {currency}."
    ),
    "second_means": (
        "With a 2nd: net together with the best second check after it; where it stands, the order goes by it."
    ),
    "more": "{count:more; --all shows it|more, further places of these checks among them; --all shows them}.",
    "estimate": "Its worth is estimated, to within about {error}.",
    "nearest": "The nearest to it: {check}, worth {worth}, costs {cost}.",
    "nearest_tells_nothing": "No answer that is still open would change what is repaired by as much as one {currency}.",
    "summary": "In short",
    "summary_check": "Check next: {check}, {time}; net {net}.",
    "summary_together": "Check next: {check}, {time}; with a second check after it net {net}.",
    "why": "Its answer is worth {worth} on average, by changing what is repaired; it costs {cost}; net {net}.",
    "first_by_rule": "It comes first because it looks into a danger, whatever it is worth in money.",
    "best_plan_now": "Without a further check this costs {total} in the end, on average, later visits included.",
}
