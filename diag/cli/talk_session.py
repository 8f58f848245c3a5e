"""A session from its first question to its end. May import: casebook, report, and the talk modules below it."""

from __future__ import annotations

from dataclasses import replace

from diag.basics import ImpossibleEvidence, Place, UsageError
from diag.casebook import Case, check_questions, item_places, with_answer, with_check_open
from diag.cli.talk_answers import Order, Word
from diag.cli.talk_asking import Turn, ask_all, hear, possible
from diag.cli.talk_orders import close, exchange, obey
from diag.cli.talk_state import Talk
from diag.cli.talk_terminal import Terminal
from diag.cli.work import advice_sheet
from diag.knowledge_base import Check
from diag.report import (
    TALK,
    AdviceSheet,
    Cautions,
    CheckLine,
    Heading,
    Items,
    at_place,
    chance_sentence,
    check_blocks,
    danger_cautions,
    leading_faults,
    nearest_check,
    nearest_sentence,
    stop_sentence,
    worth_sentence,
)

__all__ = ["converse"]


def converse(talk: Talk, terminal: Terminal) -> None:
    """Hold a session until it is done, or broken off by Ctrl-C."""
    try:
        _hold(talk, terminal)
    except KeyboardInterrupt:
        terminal.tell("\n" + TALK["broken_off"], strong=True)
        raise


def _hold(talk: Talk, terminal: Terminal) -> None:
    """The complaint where nothing was told yet, then check after check."""
    terminal.tell(TALK["hello"].format(words=", ".join(word.value for word in Word)))
    possible(talk.knowledge, talk.case)
    turn = Turn(talk) if _anything_told(talk) else _complaint(talk, terminal)
    offer: CheckLine | None = None
    stands: Talk | None = None
    known: list[tuple[Case, AdviceSheet]] = []
    while turn.order is None or turn.order.word not in (Word.DONE, Word.QUIT):
        if turn.order is not None and turn.order.word is Word.WHY and not turn.order.rest:
            terminal.tell(worth_sentence(offer, talk.knowledge.prices.currency) if offer else TALK["no_offer"])
            turn = obey(turn.talk, terminal, turn.order)
        elif turn.order is not None and turn.order.word in (Word.NEXT, Word.SKIP):
            turn = Turn(turn.talk.passing_over(offer.check, offer.place) if offer else turn.talk)
        elif turn.order is not None and turn.order.word is Word.CANNOT:
            turn = Turn(_impossible_here(turn.talk, terminal, offer))
        elif turn.order is not None:
            turn = obey(turn.talk, terminal, turn.order)
        else:
            if stands is None or stands.case is not turn.talk.case or stands.left_out != turn.talk.left_out:
                offer, stands = _offer(turn.talk, terminal, known), turn.talk
            turn = _one_check(turn.talk, terminal, offer)
    close(turn.talk, terminal, advice=turn.order.word is Word.DONE)


def _impossible_here(talk: Talk, terminal: Terminal, offer: CheckLine | None) -> Talk:
    """The session in which the offered check cannot be done on this vehicle; the case keeps it."""
    if offer is None:
        terminal.tell(TALK["no_offer"])
        return talk
    what = TALK["cannot"].format(check=offer.name)
    terminal.tell(TALK["taken"].format(what=what))
    return talk.took(replace(talk.case, cannot=(*talk.case.cannot, offer.check)), what)


def _anything_told(talk: Talk) -> bool:
    return any(epoch.answers or epoch.measured or epoch.work for epoch in talk.case.epochs)


def _complaint(talk: Talk, terminal: Terminal) -> Turn:
    """Which of the vehicle's symptoms brought it here."""
    symptoms = {
        id_: finding.name
        for id_, finding in talk.knowledge.findings.items()
        if finding.kind == "symptom" and item_places(talk.knowledge, id_, talk.case) == (None,)
    }
    terminal.show([Items("", tuple(f"{name} ({id_})" for id_, name in symptoms.items()), numbered=True)])
    while True:
        said = hear(terminal, TALK["which_complaint"])
        if isinstance(said, Order) and said.word is Word.HELP:
            terminal.tell(TALK["help"])
            continue
        if isinstance(said, Order):
            return Turn(talk, said)
        try:
            told = _with_complaints(talk, terminal, said, list(symptoms))
            possible(told.knowledge, told.case)
        except UsageError as error:
            terminal.tell(TALK["no_complaint"].format(message=error.message))
        except ImpossibleEvidence as error:
            terminal.tell(error.message)
        else:
            return Turn(told)


def _with_complaints(talk: Talk, terminal: Terminal, line: str, symptoms: list[str]) -> Talk:
    for word in line.replace(",", " ").split():
        named = word.isdecimal() and 1 <= int(word) <= len(symptoms)
        item = symptoms[int(word) - 1] if named else word
        case = with_answer(talk.case, talk.knowledge, item, None, "present")
        talk = talk.took(case, talk.knowledge.findings[item].name)
        terminal.show([Cautions(danger_cautions(talk.knowledge, [talk.knowledge.findings[item]]))])
    return talk


def _advice(talk: Talk, known: list[tuple[Case, AdviceSheet]]) -> AdviceSheet:
    """The advice on the case as it stands; what was worked out before an 'undo' or a 'next' is still known."""
    for case, sheet in known:
        if case is talk.case:
            return sheet
    sheet = advice_sheet(talk.knowledge, talk.case, combinations=0)
    known.append((talk.case, sheet))
    return sheet


def _offer(talk: Talk, terminal: Terminal, known: list[tuple[Case, AdviceSheet]]) -> CheckLine | None:
    """Say how things stand and show the check that is worth most; none where none is left."""
    sheet = _advice(talk, known)
    terminal.show([Heading("")])
    terminal.tell(_stands(sheet), strong=True)
    terminal.show([Cautions(sheet.next.cautions)])
    left = [line for line in sheet.next.checks if (line.check, line.place) not in talk.left_out]
    if not left:
        terminal.tell(TALK["no_more_checks"])
        return None
    if _pays(left[0]):
        terminal.show(check_blocks(left[0], sheet.next.currency, len(sheet.next.case.banks)))
        terminal.tell(worth_sentence(left[0], sheet.next.currency))
        return left[0]
    terminal.tell(stop_sentence(sheet.next), strong=True)
    terminal.tell(nearest_sentence(left, sheet.next.currency, len(sheet.next.case.banks)))
    nearest = nearest_check(left)
    if nearest is None:
        name = at_place(left[0].name, left[0].place, len(sheet.next.case.banks))
        terminal.tell(TALK["still_there"].format(check=name))
    return nearest or left[0]


def _pays(line: CheckLine) -> bool:
    """Whether a check is worth doing: for its money, or because it looks into a danger."""
    return line.net > 0 or line.first_by_rule


def _stands(sheet: AdviceSheet) -> str:
    leading = leading_faults(sheet.weigh)
    if not leading:
        return TALK["stands_nothing"]
    return TALK["stands"].format(
        faults="; ".join(chance_sentence(fault, len(sheet.weigh.case.banks)) for fault in leading)
    )


def _one_check(talk: Talk, terminal: Terminal, offer: CheckLine | None) -> Turn:
    """Ask whether the offered check is done, and if so what it showed."""
    said = hear(terminal, TALK["this_check"] if offer is not None else TALK["what_now"])
    if isinstance(said, Order):
        return Turn(talk, said)
    word = said.strip().lower()
    if word == "?":
        return Turn(talk, Order(Word.HELP))
    if offer is not None and word in ("yes", "y", ""):
        check = talk.knowledge.checks[offer.check]
        if not _pays(offer):  # its cautions were not shown with the offer
            terminal.show(check_blocks(offer, talk.knowledge.prices.currency, len(talk.case.engine.banks)))
        swap = _exchange_of(talk, check)
        if swap and isinstance(offer.place, int):
            turn = exchange(talk, terminal, swap, offer.place)
            return (
                turn
                if turn.talk.case is not talk.case
                else Turn(talk.passing_over(offer.check, offer.place), turn.order)
            )
        turn = ask_all(talk, terminal, check_questions(talk.knowledge, check, offer.place, talk.case))
        if turn.talk.case is talk.case:
            return Turn(talk.passing_over(offer.check, offer.place), turn.order)
        return Turn(_opened(turn.talk, check, offer.place), turn.order)
    if offer is not None and word in ("no", "n"):
        return Turn(talk.passing_over(offer.check, offer.place))
    terminal.tell(TALK["not_understood"].format(text=said.strip(), hint=TALK["help_lists"]))
    return Turn(talk)


def _exchange_of(talk: Talk, check: Check) -> str:
    """The exchange that a check is, where all that it yields is what an exchange shows itself."""
    items = {one.item for one in check.yields}
    for name, repair in talk.knowledge.repairs.items():
        if repair.moves and items and items <= set(repair.stands_for):
            return name
    return ""


def _opened(talk: Talk, check: Check, place: Place) -> Talk:
    """The session with what the check opened standing open; what shuts the engine was closed for one that runs it."""
    return replace(talk, case=with_check_open(talk.case, talk.knowledge, check, place))
