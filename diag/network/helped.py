"""What the word of whether work helped leaves open, or says otherwise than what was told after it, in sentences.

May import: basics, casebook, knowledge_base, and within the room `questions`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diag.basics import listed
from diag.casebook import ABSENT, PRESENT, Answer, Case, Work, symptoms_after
from diag.knowledge_base import Knowledge
from diag.network.questions import Question, question_name

__all__ = ["helped_notes"]

_SAYS_NOTHING = (None, "for_a_while")  # what 'for a while' says, it says of the findings before and after it
_OPPOSITE = {PRESENT: ABSENT, ABSENT: PRESENT}


def helped_notes(knowledge: Knowledge, case: Case) -> tuple[str, ...]:
    """For each work that was tried: symptoms of which its word says what nobody told, or the opposite of what was told;
    and a word from which nothing follows."""
    notes: list[str] = []
    for number, epoch in enumerate(case.epochs):
        words = {work.helped for work in epoch.work if work.helped not in _SAYS_NOTHING}
        if len(words) == 1:
            notes += _of_epoch(knowledge, case, number, str(words.pop()))
    return tuple(dict.fromkeys(notes))


def _of_epoch(knowledge: Knowledge, case: Case, number: int, word: str) -> Iterator[str]:
    epoch = case.epochs[number]
    did = f"'{_names(knowledge, epoch.work)}', helped: {word}"
    follows = {_key(each): each.answer for each in symptoms_after(knowledge, case.epochs[:number], epoch.work)}
    told = {_key(each): each.answer for each in epoch.answers}
    if not follows and not told:
        yield (
            f"{did}: nothing follows from that, for no symptom of the vehicle had been told to be there; tell what was "
            "found after it."
        )
    if untold := [key for key in follows if key not in told]:
        yield f"{did}: what was told after it counts, and that leaves out {_listed(knowledge, untold)}; tell that too."
    contrary = [key for key, said in follows.items() if said in _OPPOSITE and told.get(key) == _OPPOSITE[said]]
    if contrary:
        what = _listed(knowledge, contrary)
        yield f"{did}, but {what} was told otherwise after it; what was told counts, not the word."


def _names(knowledge: Knowledge, works: Sequence[Work]) -> str:
    return listed(list(dict.fromkeys(knowledge.repairs[work.repair].name for work in works)), "and")


def _key(answer: Answer) -> Question:
    return Question(answer.item, answer.place, answer.condition)


def _listed(knowledge: Knowledge, questions: Sequence[Question]) -> str:
    return listed([f"'{question_name(knowledge, each)}'" for each in questions], "and")
