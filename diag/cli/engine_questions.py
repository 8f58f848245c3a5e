"""Asks for the layout of a new engine, as far as options did not give it.

May import: `diag.basics`; the rooms below only inside functions.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeVar

from diag.basics import UsageError

if TYPE_CHECKING:
    from diag.cli.talk_terminal import Terminal
    from diag.knowledge_base import EngineLayout

__all__ = ["Given", "asked_layout"]

Value = TypeVar("Value")
_ID = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True)
class Given:
    """What the options said; none where nothing was said."""

    id: str | None
    name: str | None
    layout: str | None
    cylinders: int | None
    injector: str | None
    banks: tuple[str, ...]
    firing_order: str | None


def asked_layout(given: Given, terminal: Terminal) -> EngineLayout:
    """The layout, from the options and from what was asked. Raises UsageError where an option makes no sense, or the
    input ends before all is said."""
    from diag.knowledge_base import EngineLayout, is_common_order, suggested_banks, suggested_firing_order
    from diag.report import ENGINE_QUESTIONS

    def ask(
        what: str, said: str | None, read: Callable[[str], Value], usual: Value | None = None, **words: str
    ) -> Value:
        return _value(terminal, ENGINE_QUESTIONS[what].format(**words), said, read, usual)

    id_ = ask("id", given.id, _id)
    name = ask("name", given.name, _text)
    layout = ask("layout", given.layout, _layout)
    cylinders = ask("cylinders", None if given.cylinders is None else str(given.cylinders), _count)
    injector = ask("injector", given.injector, _injector)
    banks = _banks(given.banks)
    if not banks and layout == "V" and given.firing_order is None:
        usual = suggested_banks(layout, cylinders)
        asked = {
            letter: ask("bank", None, _numbers, numbers, letter=letter, common=" ".join(map(str, numbers)))
            for letter, numbers in usual.items()
        }
        # what was only taken over is not written as given, so that the file says what to check
        banks = asked if any(asked[letter] is not usual[letter] for letter in usual) else {}
    counted = suggested_firing_order(layout, cylinders)
    known = is_common_order(layout, banks, counted)
    question = "firing_order" if known else "firing_order_unknown"
    order = ask(question, given.firing_order, _numbers, counted, common="-".join(map(str, counted)))
    return EngineLayout(id_, name, cylinders, layout, injector, banks or None, order if order is not counted else None)


def _value(
    terminal: Terminal, question: str, said: str | None, read: Callable[[str], Value], usual: Value | None
) -> Value:
    """What an option said, else what is answered; asked again until it makes sense. 'quit' ends it, as the end does."""
    if said is not None:
        return read(said)
    while True:
        line = terminal.ask(question)
        if line is None or line.strip().lower() == "quit":
            raise UsageError(f"the input ended before this was answered: {question}; nothing was written")
        if not line.strip() and usual is not None:
            return usual
        try:
            return read(line)
        except UsageError as error:
            terminal.tell(error.message)


def _id(text: str) -> str:
    if not _ID.fullmatch(text.strip()):
        raise UsageError(f"'{text.strip()}' cannot be a short name; use small letters, digits and _, a letter first")
    return text.strip()


def _text(text: str) -> str:
    if not text.strip():
        raise UsageError("the engine needs a name")
    return text.strip()


def _layout(text: str) -> Literal["inline", "V"]:
    word = text.strip().lower()
    if word in ("inline", "in line", "line", "i"):
        return "inline"
    if word == "v":
        return "V"
    raise UsageError(f"'{text.strip()}' is no layout; it can be inline or V")


def _injector(text: str) -> Literal["solenoid", "piezo"]:
    word = text.strip().lower()
    if word and "solenoid".startswith(word):
        return "solenoid"
    if word and "piezo".startswith(word):
        return "piezo"
    raise UsageError(f"'{text.strip()}' is no kind of injector; it can be solenoid or piezo")


def _count(text: str) -> int:
    from diag.knowledge_base import MOST_CYLINDERS

    if not text.strip().isdecimal():
        raise UsageError(f"'{text.strip()}' is no number of cylinders; write for example 4")
    if not 1 <= int(text) <= MOST_CYLINDERS:
        raise UsageError(f"an engine has 1 to {MOST_CYLINDERS} cylinders here, not {int(text)}")
    return int(text)


def _numbers(text: str) -> tuple[int, ...]:
    words = re.split(r"[-,;\s]+", text.strip())
    if not all(word.isdecimal() for word in words):
        raise UsageError(f"'{text.strip()}' is no row of cylinder numbers; write for example 1-3-4-2")
    return tuple(int(word) for word in words)


def _banks(said: tuple[str, ...]) -> dict[str, tuple[int, ...]]:
    banks = {}
    for text in said:
        letter, equals, numbers = text.partition("=")
        if not equals or len(letter.strip()) != 1:
            raise UsageError(f"'{text}' is no bank; write for example A=1,2,3")
        banks[letter.strip().upper()] = _numbers(numbers)
    return banks
