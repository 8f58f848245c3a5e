"""Writes the file of a new engine from its layout, in ten minutes: what only the maker knows stays blank.

Limits and minutes are taken over, as stated defaults, from the engines that the knowledge already holds. May import:
`diag.basics`, and within the room.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from diag.basics import KnowledgeError, UsageError, write_whole
from diag.knowledge_base.merging import gather
from diag.knowledge_base.reader import read_document
from diag.knowledge_base.records import MOST_CYLINDERS, Engine, Knowledge, Limit
from diag.knowledge_base.references import check_references
from diag.knowledge_base.register import Register
from diag.knowledge_base.validation import validate

__all__ = [
    "EngineLayout",
    "is_common_order",
    "new_engine_text",
    "save_engine",
    "suggested_banks",
    "suggested_firing_order",
]

_PLAIN = re.compile(r"[A-Za-z]([A-Za-z0-9/ ]*[A-Za-z0-9])?")

# Orders that occur often for these layouts; common practice, no source. The maker's own always stands.
_FIRING_ORDERS: dict[tuple[str, int], tuple[int, ...]] = {
    ("inline", 2): (1, 2),
    ("inline", 3): (1, 3, 2),
    ("inline", 4): (1, 3, 4, 2),
    ("inline", 5): (1, 2, 4, 5, 3),
    ("inline", 6): (1, 5, 3, 6, 2, 4),
    ("inline", 8): (1, 6, 2, 5, 8, 3, 7, 4),
    ("V", 6): (1, 4, 2, 5, 3, 6),
    ("V", 8): (1, 5, 4, 2, 6, 3, 7, 8),
    ("V", 10): (1, 6, 5, 10, 2, 7, 3, 8, 4, 9),
    ("V", 12): (1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10),
}


@dataclass(frozen=True)
class EngineLayout:
    """What anyone can see or count on an engine. `banks` and `firing_order` may be left to the usual ones."""

    id: str
    name: str
    cylinders: int
    layout: Literal["inline", "V"]
    injector: Literal["solenoid", "piezo"]
    banks: dict[str, tuple[int, ...]] | None = None
    firing_order: tuple[int, ...] | None = None


def suggested_banks(layout: str, cylinders: int) -> dict[str, tuple[int, ...]]:
    """The usual numbering: one bank in line; in a V the first half is bank A. Check it against the maker."""
    numbers = tuple(range(1, cylinders + 1))
    if layout == "inline":
        return {"A": numbers}
    half = (cylinders + 1) // 2
    return {"A": numbers[:half], "B": numbers[half:]}


def suggested_firing_order(layout: str, cylinders: int) -> tuple[int, ...]:
    """A firing order that is common for the layout, else the plain count (see `is_common_order`). Check it against the
    maker."""
    return _FIRING_ORDERS.get((layout, cylinders), tuple(range(1, cylinders + 1)))


def is_common_order(layout: str, banks: Mapping[str, tuple[int, ...]] | None, order: tuple[int, ...]) -> bool:
    """Whether a firing order is known here as common for the layout, its cylinders numbered as usual."""
    if len(order) <= 2:
        return True  # there is only one
    usual = not banks or dict(banks) == suggested_banks(layout, len(order))
    return usual and _FIRING_ORDERS.get((layout, len(order))) == order


def new_engine_text(knowledge: Knowledge, layout: EngineLayout) -> str:
    """The text of the new engine's file, to be filled in further by hand.

    Raises UsageError, in words, where the layout does not hold together.
    """
    if not 1 <= layout.cylinders <= MOST_CYLINDERS:
        raise UsageError(f"an engine has 1 to {MOST_CYLINDERS} cylinders here, not {layout.cylinders}")
    if not layout.name.strip() or not layout.name.isprintable():
        raise UsageError("the name of an engine is one line of ordinary text")
    text = "\n".join(_lines(knowledge, layout)) + "\n"
    _read_back(knowledge, layout, text)
    return text


def save_engine(knowledge: Knowledge, layout: EngineLayout, folder: Path | str, overwrite: bool = False) -> Path:
    """Write the new engine's file into `folder`, named by its id, and give its path.

    It is then used by giving the file, or the folder, as an overlay. Raises UsageError where it is already there.
    """
    path = Path(folder) / f"{layout.id}.yaml"
    text = new_engine_text(knowledge, layout)
    write_whole(path, text, overwrite)
    return path


def _read_back(knowledge: Knowledge, layout: EngineLayout, text: str) -> None:
    """Hold the text to the same rules as any engine file."""
    document = gather("", [read_document(f"{layout.id}.yaml", text)], [])
    register = Register(document, vocabulary=knowledge.vocabulary)
    document.data["vocabulary"] = {"access": dict.fromkeys(knowledge.vocabulary.access)}
    document.data["steps"] = dict.fromkeys(knowledge.steps)
    try:
        register.engines = {layout.id: validate(Engine, document, ("engines", layout.id))}
        check_references(register)
    except KnowledgeError as error:
        register.problems += error.problems
    if register.problems:
        raise UsageError("; ".join(dict.fromkeys(problem.message for problem in register.problems)))


def _lines(knowledge: Knowledge, layout: EngineLayout) -> Iterator[str]:
    banks = layout.banks or suggested_banks(layout.layout, layout.cylinders)
    order = layout.firing_order or suggested_firing_order(layout.layout, layout.cylinders)
    told = "as given"
    if not layout.firing_order:
        common = is_common_order(layout.layout, banks, order)
        told = "CHECK AGAINST THE MAKER: " + ("only common for this layout" if common else "plainly counted, not known")
    yield f"# {layout.name}: a new engine. Fill in what the maker's data say; they come before all else."
    yield "# 'null' is what only the maker knows: it is printed as \"maker's value ____\" until you write it here."
    yield "# 'default: true' marks a value taken over from other engines so that the program can work; replace it, and"
    yield "# delete those words. Local codes and licensed practice stand above all of this."
    yield ""
    yield "engine:"
    yield f"  name: {_text(layout.name)}"
    yield "  invented: false"
    yield f"  layout: {layout.layout}"
    yield f"  injector: {layout.injector}"
    yield "  banks:" + ("" if layout.banks else "  # the usual numbering; check it against the maker")
    for letter, cylinders in banks.items():
        yield f"    {_text(letter)}: {_list(cylinders)}"
    yield f"  firing_order: {_list(order)}  # {told}"
    yield "  cylinder_one: null  # which end, which bank: the maker's value"
    yield from _access_lines(knowledge, layout.layout, tuple(banks))
    yield "  awkward_minutes: {}  # such as {4: 10} where cylinder 4 is harder to reach"
    yield from _limit_lines(knowledge, layout.injector)
    yield "  torques:  # the maker's values; nothing may be assumed"
    for name in dict.fromkeys(name for engine in knowledge.engines.values() for name in engine.torques):
        yield f"    {name}: {{newton_metres: null, then_degrees: null}}"
    yield "  trim_code: {length: null, alphabet: null}  # as printed on the injector"
    yield "  wait_after_stop_minutes: null  # the maker's time before fuel pressure may be opened"
    yield "  note: null"


def _access_lines(knowledge: Knowledge, layout: str, banks: Sequence[str]) -> Iterator[str]:
    yield "  access_minutes:  # defaults: the middle of the engines in the knowledge; write your own times"
    engines = list(knowledge.engines.values())
    alike = [engine for engine in engines if engine.layout == layout] or engines
    for kind in knowledge.vocabulary.access:
        minutes = []
        for index, letter in enumerate(banks):
            of_bank = [
                list(engine.access_minutes[kind].values())[min(index, len(engine.banks) - 1)]
                for engine in alike
                if engine.access_minutes.get(kind)
            ]
            minutes.append(f"{_text(letter)}: {_middle(of_bank) or 0:g}")
        yield f"    {kind}: {{{', '.join(minutes)}}}"


def _limit_lines(knowledge: Knowledge, injector: str) -> Iterator[str]:
    engines = sorted(knowledge.engines.values(), key=lambda engine: engine.injector != injector)
    limits: dict[str, list[Limit]] = {}
    for engine in engines:
        for name, limit in engine.limits.items():
            known = limits.setdefault(name, [])
            if engine.injector == injector or not known:
                known.append(limit)
    for reading in knowledge.readings.values():
        for named in (reading.relative_to, reading.limit):
            if named is not None:
                limits.setdefault(named, [Limit(value=None, unit=reading.unit)])
    yield "  limits:  # defaults: the middle of the engines in the knowledge" if limits else "  limits: {}"
    for name, known in limits.items():
        value = _middle([limit.value for limit in known if limit.value is not None])
        told = f"{known[0].note}; " if known[0].note else ""
        if value is None:
            yield f"    {name}: {{value: null, unit: {_text(known[0].unit)}, note: {_text(f'{told}maker has it')}}}"
        else:
            note = _text(f"{told}a default, not the maker's")
            yield f"    {name}: {{value: {value:g}, unit: {_text(known[0].unit)}, default: true, note: {note}}}"


def _middle(values: Sequence[float]) -> float | None:
    """The lower median: a value that one of the engines has."""
    return sorted(values)[(len(values) - 1) // 2] if values else None


def _text(text: str) -> str:
    """Text as YAML: plain words as they are, else between double quotes, which JSON and YAML share."""
    if _PLAIN.fullmatch(text) and text.lower() not in ("null", "true", "false"):
        return text
    return json.dumps(text, ensure_ascii=False)


def _list(numbers: Iterable[int]) -> str:
    return f"[{', '.join(str(number) for number in numbers)}]"
