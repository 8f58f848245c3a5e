"""The words of command of a session: each takes the session and gives it back, changed or not.

May import: `diag.basics`, casebook, report, and within the room the talk modules below it and `work`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from diag.basics import DiagError, Place, UsageError, did_you_mean, listed, near_miss
from diag.casebook import (
    FAULTS,
    HELPED,
    Answer,
    Helped,
    Question,
    Work,
    findings_after_exchange,
    is_code,
    item_places,
    lapses_at,
    lapses_named,
    save_case,
    with_access,
    with_helped,
    with_work,
)
from diag.cli.talk_answers import Order, Word
from diag.cli.talk_asking import Turn, ask_all, hear, possible
from diag.cli.talk_state import Talk
from diag.cli.talk_terminal import Terminal
from diag.cli.work import planned_sheet, weighed_sheet, why_of
from diag.knowledge_base import Knowledge
from diag.report import TALK, at_places, place_words, repair_blocks, weigh_blocks, why_blocks

__all__ = ["close", "exchange", "obey"]

T = TypeVar("T")


def obey(talk: Talk, terminal: Terminal, order: Order) -> Turn:
    """Do what a word of command says. DONE and QUIT are for the caller."""
    match order.word:
        case Word.HELP:
            terminal.tell(TALK["help"])
        case Word.FAULTS:
            terminal.show(weigh_blocks(weighed_sheet(talk.knowledge, talk.case), head=False))
        case Word.REPAIR:
            terminal.show(repair_blocks(planned_sheet(talk.knowledge, talk.case), onward=talk.onward))
        case Word.WHY:
            _why(talk, terminal, order.rest)
        case Word.SHUT:
            return Turn(_shut(talk, terminal))
        case Word.UNDO:
            return Turn(_undo(talk, terminal))
        case Word.SAVE:
            return Turn(_save(talk, terminal, order.rest))
        case Word.TELL:
            return _tell(talk, terminal, order.rest)
        case Word.DID:
            return _did(talk, terminal, order.rest)
    return Turn(talk)


def close(talk: Talk, terminal: Terminal, advice: bool) -> None:
    """End a session: the advice where it is wanted, and whether anything was written."""
    if advice:
        terminal.show(repair_blocks(planned_sheet(talk.knowledge, talk.case), onward=talk.onward))
    if talk.unsaved:
        terminal.tell(TALK["unsaved_since" if talk.saved is not None else "not_saved"], strong=True)
    terminal.tell(TALK["goodbye"])


def _why(talk: Talk, terminal: Terminal, words: str) -> None:
    """Why a fault is as likely as it is: `why seal 2 rather than injector 2`; without words, the leading one in short.
    The same as `diag why`."""
    fault, _, rival = words.partition(" rather than ")
    try:
        sheet = why_of(talk.knowledge, talk.case, fault, rival)
    except UsageError as error:
        terminal.tell(error.message)
        return
    if words:
        terminal.show(why_blocks(sheet, head=False)[:-1])
    else:
        terminal.tell(sheet.in_short)


def _shut(talk: Talk, terminal: Terminal) -> Talk:
    """The session in which all that was opened is closed again."""
    if not talk.case.open_access:
        terminal.tell(TALK["nothing_open"])
        return talk
    terminal.tell(TALK["taken"].format(what=TALK["shut"]))
    return talk.took(with_access(talk.case, ()), TALK["shut"])


def _undo(talk: Talk, terminal: Terminal) -> Talk:
    if not talk.steps:
        terminal.tell(TALK["nothing_to_undo"])
        return talk
    terminal.tell(TALK["undone"].format(what=talk.steps[-1].what))
    return talk.back()


def _save(talk: Talk, terminal: Terminal, name: str) -> Talk:
    """Write the case to the named file, or to the one that the session came from; never over any other."""
    path = Path(name) if name else talk.path
    if path is None:
        terminal.tell(TALK["save_where"])
        return talk
    try:
        save_case(talk.case, path, overwrite=path == talk.path)
    except DiagError as error:
        terminal.tell(error.message)
        return talk
    terminal.tell(TALK["saved"].format(path=path))
    return replace(talk, path=path, saved=talk.case)


def _tell(talk: Talk, terminal: Terminal, name: str) -> Turn:
    """Answer a finding or reading of one's own choice: `tell chuff`, or asked for."""
    said = name or hear(terminal, TALK["which_tell"])
    if isinstance(said, Order):
        return Turn(talk, said)
    words, _, condition = said.partition(" under ")
    try:
        item = _chosen(words, [*talk.knowledge.findings, *talk.knowledge.readings], "finding or reading")
    except UsageError as error:
        terminal.tell(error.message)
        return Turn(talk)
    places = item_places(talk.knowledge, item, talk.case)
    return ask_all(talk, terminal, [_question(talk.knowledge, item, places, condition.strip() or None)])


def _question(knowledge: Knowledge, item: str, places: tuple[Place, ...], condition: str | None) -> Question:
    if is_code(knowledge, item):
        return Question("", (None,), codes=(item,))
    return Question(item, places, condition)


def _did(talk: Talk, terminal: Terminal, name: str) -> Turn:
    """A repair that was tried now: which, where (at one place or at several), and whether it helped."""
    said = name or hear(terminal, TALK["which_repair"])
    if isinstance(said, Order):
        return Turn(talk, said)
    try:
        repair = _chosen(said, list(talk.knowledge.repairs), "repair")
    except UsageError as error:
        terminal.tell(error.message)
        return Turn(talk)
    try:
        places = _places_of(talk, terminal, repair)
        if isinstance(places[0], int) and talk.knowledge.repairs[repair].moves:
            return exchange(talk, terminal, repair, places[0])
        helped = _ask(terminal, TALK["did_it_help"], _helped)
        but = _left_undone(talk, terminal, repair)
    except _Instead as instead:
        return _not_noted(talk, terminal, repair, instead.order)
    try:
        case = with_work(talk.case, talk.knowledge, [Work(repair, place, but=but) for place in places])
        case = with_helped(case, talk.knowledge, helped) if helped is not None else case
        possible(talk.knowledge, case)
    except DiagError as error:
        terminal.tell(error.message)
        return Turn(talk)
    what = at_places(repair_name(talk.knowledge, repair), places, len(talk.case.engine.banks))
    terminal.tell(TALK["taken"].format(what=what))
    return Turn(talk.took(case, what))


def exchange(talk: Talk, terminal: Terminal, repair: str, place: int) -> Turn:
    """An exchange between two cylinders that was made now: with which, and what became of the fault."""
    others = [each for each in talk.case.engine.cylinders if each != place]
    try:
        question = TALK["which_other"].format(places=", ".join(map(str, others)))
        other = _ask(terminal, question, lambda line: _other(line, others))
        answers = _ask(terminal, TALK["fault_moved"], lambda line: _moved(talk, Work(repair, place, other=other), line))
        but = _left_undone(talk, terminal, repair)
    except _Instead as instead:
        return _not_noted(talk, terminal, repair, instead.order)
    try:
        case = with_work(talk.case, talk.knowledge, [Work(repair, place, other=other, but=but)])
        if answers:
            case = replace(case, epochs=(*case.epochs[:-1], replace(case.epochs[-1], answers=answers)))
        possible(talk.knowledge, case)
    except DiagError as error:
        terminal.tell(error.message)
        return Turn(talk)
    banks = len(talk.case.engine.banks)
    name, here, there = repair_name(talk.knowledge, repair), place_words(place, banks), place_words(other, banks)
    what = TALK["exchanged"].format(work=name, place=here, other=there)
    terminal.tell(TALK["taken"].format(what=what))
    return Turn(talk.took(case, what))


class _Instead(Exception):  # noqa: N818 -- no error: a word of command was said
    """A word of command was said where work was being told."""

    def __init__(self, order: Order) -> None:
        super().__init__(order.word.value)
        self.order = order


def _ask(terminal: Terminal, question: str, read: Callable[[str], T]) -> T:
    """Ask about work until the line can be read; 'skip' is the empty line. Raises _Instead at another word of command
    but 'help'."""
    while True:
        said = hear(terminal, question)
        if isinstance(said, Order) and said.word is Word.HELP:
            terminal.tell(TALK["help"])
            continue
        if isinstance(said, Order) and said.word is not Word.SKIP:
            raise _Instead(said)
        try:
            return read("" if isinstance(said, Order) else said.strip())
        except UsageError as error:
            terminal.tell(error.message)


def _not_noted(talk: Talk, terminal: Terminal, repair: str, order: Order) -> Turn:
    """The session without the work that was being told; an 'undo' took back just that."""
    terminal.tell(TALK["not_noted"].format(what=repair_name(talk.knowledge, repair)))
    return Turn(talk, None if order.word is Word.UNDO else order)


def _other(line: str, others: Sequence[int]) -> int:
    if line not in map(str, others):
        raise UsageError(f"'{line}' is no other cylinder; it can be {', '.join(map(str, others))}")
    return int(line)


def _moved(talk: Talk, work: Work, line: str) -> tuple[Answer, ...]:
    """What is found after an exchange, from what became of the fault; empty where that is not known."""
    word = " ".join(line.lower().split())
    if not word:
        return ()
    fitting = {fault for known, fault in FAULTS.items() if known.startswith(word)}
    if len(fitting) != 1:
        raise UsageError(f"'{line}' does not say what became of it; {did_you_mean(word, FAULTS)}")
    answers = findings_after_exchange(talk.knowledge, talk.case.epochs, work, fitting.pop())
    if not answers:
        raise UsageError(TALK["where_fault"])
    return answers


def _left_undone(talk: Talk, terminal: Terminal, repair: str) -> tuple[str, ...]:
    """What was left undone at a work, in one question; nothing is asked where nothing can be."""
    lapses = lapses_at(talk.knowledge, [repair])
    if not lapses:
        return ()
    question = TALK["left_undone"].format(lapses=", ".join(lapses.values()))
    return _ask(terminal, question, lambda line: lapses_named(talk.knowledge, repair, line))


def _places_of(talk: Talk, terminal: Terminal, repair: str) -> tuple[Place, ...]:
    """Where work was done: one place or several; an exchange begins at one."""
    known, engine = talk.knowledge.repairs[repair], talk.case.engine
    if known.on == "vehicle":
        return (None,)
    places: dict[str, Place] = {
        str(each): each for each in (engine.cylinders if known.on == "cylinder" else engine.banks)
    }
    several = len(places) > 1 and not known.moves
    question = TALK["which_places" if several else "which_place"].format(scope=known.on, places=", ".join(places))

    def read(line: str) -> tuple[Place, ...]:
        if several and line.lower() == "all":
            return tuple(places.values())
        words = line.upper().replace(",", " ").split()
        wrong = next((word for word in words if word not in places), None)
        if wrong is not None or not words or (len(words) > 1 and not several):
            text = line if wrong is None else wrong
            raise UsageError(TALK["not_understood"].format(text=text, hint=f"; it can be {listed(places)}"))
        return tuple(place for word, place in places.items() if word in words)

    return _ask(terminal, question, read)


def repair_name(knowledge: Knowledge, repair: str) -> str:
    """A repair's name."""
    return knowledge.repairs[repair].name


def _helped(text: str) -> Helped | None:
    """Whether it helped; none where that is not known."""
    if not text:
        return None
    word = " ".join(text.lower().split())
    fitting = {value for key, value in HELPED.items() if word and key.startswith(word)}
    if len(fitting) != 1:
        raise UsageError(f"'{text.strip()}' does not say whether it helped; {did_you_mean(word, HELPED)}")
    return fitting.pop()


def _chosen(text: str, known: list[str], what: str) -> str:
    """The id that a text is, begins, or nearly is where only one comes near. Raises UsageError."""
    word = "_".join(text.strip().lower().split())
    beginning = [name for name in known if word and name.startswith(word)]
    if word in known or len(beginning) == 1:
        return word if word in known else beginning[0]
    hint = f"it could be {', '.join(beginning[:8])}" if beginning else ""
    nearest = near_miss(word, known)
    hint = hint or (f"did you mean {nearest}?" if nearest else "see: diag know list")
    raise UsageError(f"there is no {what} '{text.strip()}'; {hint}")
