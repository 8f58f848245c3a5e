"""Complaints about names: two things that people could not tell apart on a page. May import: within the room."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Protocol

from diag.knowledge_base.complaints import Complaint
from diag.knowledge_base.records import Knowledge

__all__ = ["check_names"]


class _Named(Protocol):
    """What has a name that people read."""

    @property
    def name(self) -> str: ...


def check_names(knowledge: Knowledge) -> Iterator[Complaint]:
    """Entries that stand in one list, and states of one component, under one name."""
    lists: tuple[Mapping[str, Mapping[str, _Named]], ...] = (
        {"components": knowledge.components},
        {"findings": knowledge.findings, "readings": knowledge.readings},
        {"checks": knowledge.checks},
        {"repairs": knowledge.repairs},
        {"prices.parts": knowledge.prices.parts},
    )
    for together in lists:
        yield from _alike({f"{kind}.{name}": each for kind, some in together.items() for name, each in some.items()})
    for name, component in knowledge.components.items():
        first: dict[str, str] = {}
        for state, known in component.states.items():
            before = first.setdefault(_spoken(known), state)
            if before != state:
                sentence = (
                    f"its states '{before}' and '{state}' are both called '{known.name}'; no page could tell which"
                )
                yield Complaint("name used twice", f"components.{name}", sentence)


def _alike(named: Mapping[str, _Named]) -> Iterator[Complaint]:
    first: dict[str, str] = {}
    for item, each in named.items():
        before = first.setdefault(_spoken(each), item)
        if before != item:
            sentence = f"it is called '{each.name}', as {before} is; no page could tell which"
            yield Complaint("name used twice", item, sentence)


def _spoken(named: _Named) -> str:
    return " ".join(named.name.lower().split())
