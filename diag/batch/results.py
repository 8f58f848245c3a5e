"""The columns of the output, and what one case comes to in them.

    row, case, engine
    cylinder_1 ...                  chance that anything on that cylinder is at fault
    fault_1, fault_1_state, fault_1_place, fault_1_chance ...  the likeliest faults
    conflict, contradicts           Jensen's measure; whether the findings contradict each other
    advice                          check or repair: what comes now
    check, check_place, check_net   the best next check and its net worth; below zero where none pays
    check_ahead                     the same with the best second check after it
    plan, invoice, expected_total   the best plan, this visit's expected invoice, and the expected total, before tax
    currency, cautions

Money is in `currency`. A column that only the decision fills is left out where it was not asked for.
May import: decision, network, casebook, knowledge_base, basics, numpy, pyarrow.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from diag.basics import CaseError, DiagError, ImpossibleEvidence, Place, TooLarge
from diag.casebook import Case
from diag.inference import Array
from diag.knowledge_base import Knowledge
from diag.network import Weighed, agreement, component_states, cylinder_chances, weigh, weigh_many

if TYPE_CHECKING:
    import pyarrow

    from diag.decision import Advice, Job

__all__ = ["REASON", "Line", "Value", "decided", "output_schema", "result_schema", "weighed_alone", "weighed_together"]

Value: TypeAlias = "str | float | bool | None"
Line: TypeAlias = "dict[str, Value]"
REASON = "left_out"  # in the results: why a case could not be done; such rows go to the side file
FAULTS = 3
SAME = 12  # digits up to which chances are one and the same when they are ranked
DECISION = {
    "advice": "string",
    "check": "string",
    "check_place": "string",
    "check_net": "double",
    "check_ahead": "double",
    "plan": "string",
    "invoice": "double",
    "expected_total": "double",
    "currency": "string",
    "cautions": "string",
}


def _kinds(knowledge: Knowledge, only_weigh: bool) -> dict[str, str]:
    cylinders = max(len(engine.cylinders) for engine in knowledge.engines.values())
    kinds = {f"cylinder_{number}": "double" for number in range(1, cylinders + 1)}
    for rank in range(1, FAULTS + 1):
        kinds |= {f"fault_{rank}": "string", f"fault_{rank}_state": "string"}
        kinds |= {f"fault_{rank}_place": "string", f"fault_{rank}_chance": "double"}
    return {**kinds, "conflict": "double", "contradicts": "bool", **({} if only_weigh else DECISION)}


def _schema(kinds: Mapping[str, str]) -> pyarrow.Schema:
    import pyarrow

    types = {"double": pyarrow.float64(), "string": pyarrow.string(), "bool": pyarrow.bool_(), "long": pyarrow.int64()}
    return pyarrow.schema([(name, types[kind]) for name, kind in kinds.items()])


def result_schema(knowledge: Knowledge, only_weigh: bool) -> pyarrow.Schema:
    """The columns of the results of cases, before they are joined to their rows."""
    return _schema({**_kinds(knowledge, only_weigh), "engine": "string", REASON: "string"})


def output_schema(knowledge: Knowledge, only_weigh: bool) -> pyarrow.Schema:
    """The columns of the output."""
    return _schema({"row": "long", "case": "string", "engine": "string", **_kinds(knowledge, only_weigh)})


def weighed_together(knowledge: Knowledge, cases: Sequence[Case]) -> list[Line]:
    """What cases of one sort come to, weighed at once; where one of them cannot be, each is weighed alone."""
    try:
        many = weigh_many(knowledge, cases)
    except (ImpossibleEvidence, TooLarge, CaseError):
        return [weighed_alone(knowledge, case) for case in cases]
    lines = []
    for number, case in enumerate(cases):
        states = {key: chances[number] for key, chances in many.states.items()}
        cylinders = {cylinder: float(chances[number]) for cylinder, chances in many.cylinders.items()}
        line = _faults(knowledge, case, states, cylinders)
        lines.append({**line, "conflict": float(many.conflict[number]), "contradicts": bool(many.contradicts[number])})
    return lines


def weighed_alone(knowledge: Knowledge, case: Case) -> Line:
    """What a case comes to that no other shares its network with; or why it cannot be weighed."""
    try:
        return _weighed(knowledge, case, None)
    except DiagError as error:
        return _left_out(error)


def decided(knowledge: Knowledge, case: Case) -> Line:
    """What a case comes to, with the decision about it; or why there is none."""
    from diag.decision import advise_on, reckon

    def decide(weighed: Weighed) -> Advice:
        return advise_on(reckon(knowledge, case, weighed.network, weighed.posterior))

    try:
        return _weighed(knowledge, case, decide)
    except DiagError as error:
        return _left_out(error)


def _left_out(error: DiagError) -> Line:
    if isinstance(error, CaseError):
        first = error.problems[0]
        return {REASON: f"{first.message}; {first.hint}" if first.hint else first.message}
    return {REASON: " ".join(error.message.split())}


def _weighed(knowledge: Knowledge, case: Case, decide: Callable[[Weighed], Advice] | None) -> Line:
    weighed = weigh(knowledge, case)
    agreed = agreement(weighed.network, weighed.posterior, rarity=False)
    states = component_states(weighed.network, weighed.posterior)
    line = _faults(knowledge, case, states, cylinder_chances(weighed.network, weighed.posterior))
    line |= {"conflict": agreed.conflict, "contradicts": agreed.contradicts}
    return line if decide is None else {**line, **_decision(decide(weighed))}


def _faults(
    knowledge: Knowledge, case: Case, states: Mapping[tuple[str, Place], Array], cylinders: Mapping[int, float]
) -> Line:
    line: Line = {"engine": case.engine_id}
    line |= {f"cylinder_{cylinder}": chance for cylinder, chance in cylinders.items()}
    faulty = [(key, chances) for key, chances in states.items() if knowledge.components[key[0]].fault]
    faulty.sort(key=lambda each: round(float(each[1][0]), SAME))  # equal cylinders in their order
    for rank, ((component, place), chances) in enumerate(faulty[:FAULTS], start=1):
        state = 1 + int(np.argmax(chances[1:]))
        line |= {f"fault_{rank}": component, f"fault_{rank}_place": "" if place is None else str(place)}
        line[f"fault_{rank}_state"] = list(knowledge.components[component].states)[state]
        line[f"fault_{rank}_chance"] = min(max(1.0 - float(chances[0]), 0.0), 1.0)
    return line


def _decision(advice: Advice) -> Line:
    best, first = advice.repair.best, next(iter(advice.checks.checks), None)
    line: Line = {
        "advice": "repair" if advice.stop else "check",
        "plan": "; ".join(_job(job) for job in best.jobs) or "nothing now",
        "invoice": best.invoice.amount,
        "expected_total": best.total.amount,
        "currency": best.total.currency,
        "cautions": "; ".join(advice.repair.danger.cautions),
    }
    if first is not None:
        line |= {"check": first.check, "check_place": "" if first.place is None else str(first.place)}
        line |= {"check_net": first.net.amount, "check_ahead": first.ahead.amount}
    return line


def _job(job: Job) -> str:
    return job.repair if job.place is None else f"{job.repair} {job.place}"
