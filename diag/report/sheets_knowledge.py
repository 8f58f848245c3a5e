"""The sheets about what the knowledge holds: lists, one item explained, complaints, demo cases, engines.

May import: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = [
    "CasesSheet",
    "ComplaintLine",
    "ComplaintsSheet",
    "DemoLine",
    "EngineLine",
    "EnginesSheet",
    "ItemLine",
    "ItemSheet",
    "ListSheet",
    "SectionLine",
    "SizeLine",
]


@dataclass(frozen=True)
class DemoLine:
    """A demo case."""

    name: Annotated[str, "its name, to be given as CASE"]
    title: Annotated[str, "its title"]
    engine: Annotated[str, "id of its engine"]


@dataclass(frozen=True)
class CasesSheet:
    """`diag cases`: the demo cases."""

    cases: Annotated[tuple[DemoLine, ...], "the demo cases, by name"]


@dataclass(frozen=True)
class EngineLine:
    """An engine that the knowledge holds."""

    engine: Annotated[str, "its id"]
    name: Annotated[str, "its name"]
    layout: Annotated[str, "'inline' or 'V'"]
    injector: Annotated[str, "'solenoid' or 'piezo'"]
    banks: Annotated[dict[str, tuple[int, ...]], "bank letter to its cylinders"]
    firing_order: Annotated[tuple[int, ...], "the cylinders in firing order"]
    invented: Annotated[bool, "whether it is invented"]
    blanks: Annotated[tuple[str, ...], "values that only the maker knows, still blank"]


@dataclass(frozen=True)
class EnginesSheet:
    """`diag engine list`: the engines."""

    engines: Annotated[tuple[EngineLine, ...], "the engines"]


@dataclass(frozen=True)
class ItemLine:
    """One entry of the knowledge in a list."""

    kind: Annotated[str, "its kind, such as 'checks'"]
    id: Annotated[str, "its id"]
    name: Annotated[str, "its name"]
    plain: Annotated[str, "in plain words"]


@dataclass(frozen=True)
class ListSheet:
    """`diag know list`: entries of the knowledge."""

    items: Annotated[tuple[ItemLine, ...], "the entries, in the order of the files"]


@dataclass(frozen=True)
class SectionLine:
    """One part of an explanation."""

    heading: Annotated[str, "what the lines are"]
    lines: Annotated[tuple[str, ...], "the lines"]


@dataclass(frozen=True)
class ItemSheet:
    """`diag know explain`: one entry, and what hangs on it."""

    kind: Annotated[str, "its kind, such as 'checks'"]
    id: Annotated[str, "its id"]
    name: Annotated[str, "its name"]
    plain: Annotated[str, "in plain words"]
    cautions: Annotated[tuple[str, ...], "warnings that stand before it"]
    sections: Annotated[tuple[SectionLine, ...], "what hangs on it"]


@dataclass(frozen=True)
class ComplaintLine:
    """Something that the knowledge check complains about."""

    weight: Annotated[str, "'fault': should be put right; 'note': may well be meant"]
    what: Annotated[str, "what is wrong, in a sentence"]


@dataclass(frozen=True)
class SizeLine:
    """The three sizes that decide speed, for one engine."""

    engine: Annotated[str, "id of the engine"]
    cylinders: Annotated[int, "how many cylinders"]
    configurations: Annotated[int, "shared configurations"]
    local_states: Annotated[int, "local states of one cylinder that reach the vehicle"]
    shared_symptoms: Annotated[int, "shared symptoms"]


@dataclass(frozen=True)
class ComplaintsSheet:
    """`diag know check`: complaints about the knowledge, and its sizes."""

    complaints: Annotated[tuple[ComplaintLine, ...], "the complaints, faults first"]
    sizes: Annotated[tuple[SizeLine, ...], "the sizes, by engine"]
    counts: Annotated[dict[str, int], "how many entries of each kind"]
