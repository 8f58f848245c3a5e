"""What the cross-checks share: the entries that could be read, all names that exist, and the problems found.

May import: `diag.basics`, and within the room `reader` and `records`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from diag.basics import Problem, did_you_mean, listed
from diag.knowledge_base.log_records import LogColumn, LogRule
from diag.knowledge_base.reader import Key, PlacedDocument
from diag.knowledge_base.records import (
    Answer,
    Caution,
    Check,
    Component,
    Engine,
    Figure,
    Finding,
    Prices,
    Reading,
    Repair,
    Severity,
    Source,
    Vocabulary,
    WorkStep,
)

__all__ = ["Register"]

_ROUNDING = 1e-9


@dataclass
class Register:
    """Entries by kind and id; entries that could not be read are missing here, but `exists` still knows their ids."""

    document: PlacedDocument
    components: Mapping[str, Component] = field(default_factory=dict)
    severities: Mapping[str, Severity] = field(default_factory=dict)
    findings: Mapping[str, Finding] = field(default_factory=dict)
    readings: Mapping[str, Reading] = field(default_factory=dict)
    checks: Mapping[str, Check] = field(default_factory=dict)
    repairs: Mapping[str, Repair] = field(default_factory=dict)
    engines: Mapping[str, Engine] = field(default_factory=dict)
    cautions: Mapping[str, Caution] = field(default_factory=dict)
    sources: Mapping[str, Source] = field(default_factory=dict)
    answers: Mapping[str, Answer] = field(default_factory=dict)
    steps: Mapping[str, WorkStep] = field(default_factory=dict)
    log_columns: Mapping[str, LogColumn] = field(default_factory=dict)
    log_rules: Mapping[str, LogRule] = field(default_factory=dict)
    vocabulary: Vocabulary | None = None
    prices: Prices | None = None
    problems: list[Problem] = field(default_factory=list)

    def complain(self, path: Sequence[Key], message: str, hint: str = "", of_key: bool = False) -> None:
        """Note a problem at the place of `path`."""
        self.problems.append(self.document.problem(path, message, hint, of_key))

    def names(self, *kinds: str) -> list[str]:
        """All ids of these kinds, also of entries that could not be read. 'prices.parts' names a mapping inside."""
        found: list[str] = []
        for kind in kinds:
            inside: object = self.document.data
            for key in kind.split("."):
                inside = inside.get(key) if isinstance(inside, dict) else None
            found += [str(name) for name in inside] if isinstance(inside, dict) else []
        return found

    def knows(self, path: Sequence[Key], name: str, what: str, *kinds: str, of_key: bool = False) -> bool:
        """Whether `name` is an id of one of these kinds; else a problem that says so, with the nearest name."""
        known = self.names(*kinds)
        if name in known:
            return True
        self.complain(path, f"there is no {what} '{name}'", did_you_mean(name, known), of_key)
        return False

    def all_known(self, path: Sequence[Key], names: Iterable[str], what: str, *kinds: str) -> None:
        """As `knows`, for a list of names that stands at `path`, or the keys of a mapping there."""
        mapping = isinstance(names, Mapping)
        for index, name in enumerate(names):
            self.knows((*path, name if mapping else index), name, what, *kinds, of_key=mapping)

    def levels(self, item: str) -> tuple[str, ...]:
        """The states of a component or the levels of a severity; empty where it could not be read."""
        if item in self.components:
            return tuple(self.components[item].states)
        return self.severities[item].levels if item in self.severities else ()

    def per(self, item: str) -> str:
        """'cylinder', 'bank' or 'vehicle'; empty where the component or severity could not be read."""
        if item in self.components:
            return self.components[item].per
        return self.severities[item].per if item in self.severities else ""

    def check_row(self, path: Sequence[Key], row: Mapping[str, Figure], item: str) -> None:
        """Chances of the states or levels of `item`, the first left out because it takes the rest."""
        levels = self.levels(item)
        if not levels:
            return
        for name in row:
            if name == levels[0]:
                message = f"'{name}' is given no chance: as the first of '{item}' it takes what the others leave"
                self.complain((*path, name), message, "leave it out", of_key=True)
            elif name not in levels:
                message = f"'{item}' has no '{name}'"
                self.complain((*path, name), message, did_you_mean(name, levels[1:]), of_key=True)
        total = sum(figure.value for figure in row.values())
        if total > 1 + _ROUNDING:
            self.complain(path, f"these chances add up to {total:g}, which is more than 1", of_key=True)

    def check_every_level(self, path: Sequence[Key], given: Iterable[str], item: str, what: str) -> None:
        """A table that must name every state or level of `item`, and no other."""
        levels = self.levels(item)
        given = list(given)
        if not levels:
            return
        for name in given:
            if name not in levels:
                self.complain((*path, name), f"'{item}' has no '{name}'", did_you_mean(name, levels), of_key=True)
        missing = [f"'{level}'" for level in levels if level not in given]
        if missing:
            message = f"{what} is missing for {listed(missing, 'and')} of '{item}'"
            self.complain(path, message, "every level needs its own, also the first", of_key=True)
