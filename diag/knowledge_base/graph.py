"""The knowledge as a graph: what causes what, what shows it, which check brings it, which repair renews it.

May import: `diag.basics`, networkx (only when a graph object is asked for), and within the room `records`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from diag.basics import UsageError, did_you_mean
from diag.knowledge_base.records import Figure, Knowledge

if TYPE_CHECKING:
    import networkx

__all__ = ["Item", "Link", "causes_of", "items_of", "knowledge_graph", "links_of", "neighbourhood", "reaches"]

ItemKind = Literal["component", "severity", "finding", "reading", "check", "repair"]
LinkKind = Literal["causes", "changes", "shows", "yields", "renews"]
_CAUSAL = ("causes", "changes", "shows")


@dataclass(frozen=True)
class Item:
    """A node. `key` is the id, with 'check ' or 'repair ' before it for those, whose ids are a world of their own."""

    key: str
    kind: ItemKind
    id: str
    name: str
    per: str


@dataclass(frozen=True)
class Link:
    """An edge from `start` to `end` (keys). `strength`: the largest chance along it, between 0 and 1."""

    start: str
    end: str
    kind: LinkKind
    strength: float


def items_of(knowledge: Knowledge) -> dict[str, Item]:
    """All nodes by key, in the order of the files."""
    items: dict[str, Item] = {}
    for name, component in knowledge.components.items():
        items[name] = Item(name, "component", name, component.name, component.per)
    for name, severity in knowledge.severities.items():
        items[name] = Item(name, "severity", name, severity.name, severity.per)
    for name, finding in knowledge.findings.items():
        items[name] = Item(name, "finding", name, finding.name, items[finding.shows].per)
    for name, reading in knowledge.readings.items():
        items[name] = Item(name, "reading", name, reading.name, items[reading.shows].per)
    for name, check in knowledge.checks.items():
        items[f"check {name}"] = Item(f"check {name}", "check", name, check.name, check.covers)
    for name, repair in knowledge.repairs.items():
        items[f"repair {name}"] = Item(f"repair {name}", "repair", name, repair.name, repair.on)
    return items


def links_of(knowledge: Knowledge) -> tuple[Link, ...]:
    """All edges, each once: the strongest where two would be alike."""
    links: dict[tuple[str, str, LinkKind], Link] = {}
    for link in _links(knowledge):
        key = (link.start, link.end, link.kind)
        if key not in links or links[key].strength < link.strength:
            links[key] = link
    return tuple(links.values())


def _links(knowledge: Knowledge) -> Iterator[Link]:
    for name, component in knowledge.components.items():
        for cause, by_state in component.given.items():
            yield Link(cause, name, "changes", _largest(by_state.values()))
        if component.life is not None:
            for cause in component.life.scale_under:
                yield Link(cause, name, "changes", 1.0)
    for name, severity in knowledge.severities.items():
        for cause, rows in severity.causes.items():
            yield Link(cause, name, "causes", _largest(rows.values()))
    for name, finding in knowledge.findings.items():
        yield Link(finding.shows, name, "shows", _largest([finding.chance, *finding.under.values()]))
    for name, reading in knowledge.readings.items():
        yield Link(reading.shows, name, "shows", 1.0)
    for name, check in knowledge.checks.items():
        for one in check.yields:
            yield Link(f"check {name}", one.item, "yields", 1.0)
    for name, repair in knowledge.repairs.items():
        for component_id in repair.renews:
            yield Link(f"repair {name}", component_id, "renews", 1.0)


def _largest(rows: Iterable[dict[str, Figure]]) -> float:
    return max((figure.value for row in rows for figure in row.values()), default=0.0)


def knowledge_graph(knowledge: Knowledge) -> networkx.DiGraph[str]:
    """The knowledge as a directed graph. Nodes carry kind, id, name and per; edges kind and strength."""
    import networkx

    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for item in items_of(knowledge).values():
        graph.add_node(item.key, kind=item.kind, id=item.id, name=item.name, per=item.per)
    for link in links_of(knowledge):
        graph.add_edge(link.start, link.end, kind=link.kind, strength=link.strength)
    return graph


def causes_of(knowledge: Knowledge, finding: str) -> tuple[str, ...]:
    """The components that reach a finding, a reading or a severity, in the order of the files."""
    behind = _reached(_known(knowledge, finding), links_of(knowledge), backwards=True)
    return tuple(name for name in knowledge.components if name in behind)


def reaches(knowledge: Knowledge, component: str) -> tuple[str, ...]:
    """The findings and readings which a component (or severity) reaches, in the order of the files."""
    ahead = _reached(_known(knowledge, component), links_of(knowledge), backwards=False)
    return tuple(name for name in (*knowledge.findings, *knowledge.readings) if name in ahead)


def neighbourhood(knowledge: Knowledge, item: str) -> frozenset[str]:
    """The keys of everything before and after an item, with the checks and repairs that belong to it."""
    start = _known(knowledge, item)
    links = links_of(knowledge)
    starts = [link.end for link in links if link.start == start] if " " in start else [start]
    keys = {start, *starts}
    for one in starts:
        keys |= _reached(one, links, backwards=True) | _reached(one, links, backwards=False)
    if " " not in start:
        keys |= {link.start for link in links if link.kind in ("yields", "renews") and link.end in keys}
    return frozenset(keys)


def _known(knowledge: Knowledge, name: str) -> str:
    """The key of an item that is named by key, or by the id of a check or repair. Raises UsageError."""
    items = items_of(knowledge)
    for key in (name, f"check {name}", f"repair {name}"):
        if key in items:
            return key
    hint = did_you_mean(name, [item.id for item in items.values()]) or "see: diag know list"
    raise UsageError(f"the knowledge holds nothing called '{name}' that causes, shows or mends anything; {hint}")


def _reached(start: str, links: Iterable[Link], backwards: bool) -> set[str]:
    nexts: dict[str, list[str]] = {}
    for link in links:
        if link.kind in _CAUSAL:
            one, other = (link.end, link.start) if backwards else (link.start, link.end)
            nexts.setdefault(one, []).append(other)
    reached: set[str] = set()
    waiting = [start]
    while waiting:
        for other in nexts.get(waiting.pop(), ()):
            if other not in reached:
                reached.add(other)
                waiting.append(other)
    return reached
