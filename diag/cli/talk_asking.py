"""Asks one question or a row of them, and takes the answers into the case.

May import: `diag.basics`, casebook, knowledge_base, network, and within the room the talk modules below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import CaseError, ImpossibleEvidence, UsageError
from diag.casebook import Case, Question
from diag.cli.talk_answers import Order, Word, read_order, with_told
from diag.cli.talk_state import Talk
from diag.cli.talk_terminal import Terminal
from diag.knowledge_base import Knowledge
from diag.report import TALK, condition_words, places_words

__all__ = ["Turn", "ask_all", "hear", "possible", "question_words"]


@dataclass(frozen=True)
class Turn:
    """The session after something was said, and a word of command that still waits to be obeyed."""

    talk: Talk
    order: Order | None = None


def hear(terminal: Terminal, question: str) -> str | Order:
    """Ask; the line, or the word of command that it is. The end of the input counts as 'done'."""
    line = terminal.ask(question)
    if line is None:
        return Order(Word.DONE)
    return read_order(line) or line


def ask_all(talk: Talk, terminal: Terminal, questions: Sequence[Question]) -> Turn:
    """Ask questions one after the other. 'undo' goes back to the last one that was answered; 'skip' leaves one out; any
    other word of command but 'help' ends the row."""
    position = 0
    answered: list[int] = []
    while position < len(questions):
        said = hear(terminal, question_words(talk.knowledge, questions[position]))
        if isinstance(said, Order) and said.word is Word.UNDO and answered:
            terminal.tell(TALK["undone"].format(what=talk.steps[-1].what))
            talk, position = talk.back(), answered.pop()
        elif isinstance(said, Order) and said.word is Word.SKIP:
            position += 1
        elif isinstance(said, Order) and said.word is Word.HELP:
            terminal.tell(TALK["help"])
        elif isinstance(said, Order):
            return Turn(talk, said)
        else:
            after = _take(talk, terminal, questions[position], said)
            if after is not None:
                talk = after
                answered.append(position)
                position += 1
    return Turn(talk)


def _take(talk: Talk, terminal: Terminal, question: Question, line: str) -> Talk | None:
    """The session after an answer; none, and the reason told, where it was none or cannot be."""
    try:
        case = with_told(talk.case, talk.knowledge, question, line)
        possible(talk.knowledge, case)
    except (UsageError, CaseError) as error:
        terminal.tell(error.message)
        return None
    except ImpossibleEvidence as error:
        terminal.tell(TALK["impossible"].format(message=error.message))
        return None
    return talk.took(case, f"{question_name(talk.knowledge, question)}: {line.strip()}")


def possible(knowledge: Knowledge, case: Case) -> None:
    """Raise ImpossibleEvidence or CaseError where the case cannot be as told."""
    from diag.network import weigh

    weigh(knowledge, case)


def question_words(knowledge: Knowledge, question: Question) -> str:
    """A question as it is asked, with the form of its answer."""
    if question.codes:
        return TALK["ask_codes"]
    reading = knowledge.readings.get(question.item)
    ask = reading.ask if reading else knowledge.findings[question.item].ask
    several = "_several" if len(question.places) > 1 else ""
    form = TALK[f"ask_reading{several}" if reading else f"ask_finding{several}"]
    where = _at(knowledge, question)
    return form.format(ask=ask, place=f" [{where}]" if where else "", unit=reading.unit if reading else "")


def question_name(knowledge: Knowledge, question: Question) -> str:
    """A question as it is named afterwards."""
    if question.codes:
        return TALK["codes"]
    name = (knowledge.readings.get(question.item) or knowledge.findings[question.item]).name
    where = _at(knowledge, question)
    return f"{name}, {where}" if len(question.places) == 1 and where else name


def _at(knowledge: Knowledge, question: Question) -> str:
    condition = condition_words(knowledge, question.condition)
    where = "" if question.places == (None,) else places_words(question.places)
    return ", ".join(part for part in (where, condition) if part)
