"""Fault codes as people type them, each alone or with its state or status byte, and the case after they are told.

May import: `diag.basics`, the records of `diag.knowledge_base`, and within the room what is below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diag.basics import Place, UsageError
from diag.casebook.cases import NOT_SURE, PRESENT, Case, CodeRead, CodeState
from diag.casebook.codes import cylinder_of_code, looks_like_code, plain_code
from diag.casebook.edits import with_answer
from diag.casebook.status import ANSWER_OF_STATE, PENDING, says_less, state_told
from diag.casebook.words import answer_id, scope_of
from diag.knowledge_base import Knowledge

__all__ = ["CodeTold", "codes_told", "with_codes"]

NONE = ("none", "no", "n")


@dataclass(frozen=True)
class CodeTold:
    """A code that was told; `state` is none where it is only said to be stored, `status` the status byte, if told."""

    code: str
    state: CodeState | None = None
    status: int | None = None


def codes_told(text: str) -> tuple[CodeTold, ...]:
    """The codes in a line such as `P0263 pending, P0201 0x2E, P0302`; `none` for none; what follows a code up to the
    next one is its state. Raises UsageError for what is neither code nor state, and for one code with two states."""
    if text.strip().lower() in NONE:
        return ()
    entries: list[tuple[str, list[str]]] = []
    for word in text.replace(",", " ").replace(";", " ").split():
        if looks_like_code(word) or not entries:
            entries.append((plain_code(word), []))
        else:
            entries[-1][1].append(word)
    if not entries and text.strip():
        raise UsageError(
            f"'{text.strip()[:40]}' is no fault code; write codes such as 'P0263 P0302 pending', or 'none'"
        )
    found: dict[str, CodeTold] = {}
    for code, said in entries:
        told = CodeTold(code, *state_told(" ".join(said))) if said else CodeTold(code)
        if found.setdefault(code, told) != told:
            raise UsageError(f"{code} stands there twice, with two states; keep the one that is shown now")
    return tuple(found.values())


def with_codes(case: Case, knowledge: Knowledge, asked: Sequence[str], told: Sequence[CodeTold]) -> Case:
    """The case with these codes answered by their states, and those of the findings `asked` that were not told absent.

    Raises UsageError for a code that the knowledge does not use.
    """
    said = [(_code_finding(each.code, case, knowledge), _answer(each, knowledge)) for each in told]
    said.sort(key=lambda each: says_less(answer_id(each[1], knowledge) or each[1]), reverse=True)
    answers = dict(said)  # of several codes that tell the same, the one that says most
    for item in asked:
        places = case.engine.cylinders if scope_of(knowledge, item) == "cylinder" else (None,)
        for place in places:
            case = with_answer(case, knowledge, item, place, answers.get((item, place), "no"))
    for (item, where), answer in sorted(answers.items(), key=str):
        if item not in asked:
            case = with_answer(case, knowledge, item, where, answer)
    return _with_read(case, told)


def _answer(told: CodeTold, knowledge: Knowledge) -> str:
    """The answer that a state gives, as a word."""
    answer = PRESENT if told.state is None else ANSWER_OF_STATE[told.state]
    if answer == PENDING and PENDING not in knowledge.answers:
        answer = NOT_SURE
    return "not looked at" if answer == "not_looked" else answer


def _with_read(case: Case, told: Sequence[CodeTold]) -> Case:
    """The case with the states that were read beside their answers; what a code was before is told no more."""
    latest, codes = case.epochs[-1], {each.code for each in told}
    kept = tuple(each for each in latest.codes if each.code not in codes)
    read = tuple(CodeRead(each.code, each.state, each.status) for each in told if each.state is not None)
    return replace(case, epochs=(*case.epochs[:-1], replace(latest, codes=(*kept, *read))))


def _code_finding(code: str, case: Case, knowledge: Knowledge) -> tuple[str, Place]:
    """The finding that a code is, and its cylinder. Raises UsageError for a code that the knowledge does not use."""
    for item, finding in knowledge.findings.items():
        number = cylinder_of_code(finding.code, code) if finding.code is not None else None
        if number is not None:
            place: Place = number if scope_of(knowledge, item) == "cylinder" else None
            if place is None or place in case.engine.cylinders:
                return item, place
            raise UsageError(f"{code} is a code of cylinder {number}, and this engine has {len(case.engine.cylinders)}")
    what = "no code that this knowledge uses" if looks_like_code(code) else "no fault code"
    raise UsageError(f"'{code}' is {what}; leave it out, or write 'none'")
