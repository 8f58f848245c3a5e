"""Gives what an overlay adds its place where the order of entries has a meaning: steps of work, and severities.

An overlay cannot write between the lines that ship. May import: within the room `reader`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from diag.knowledge_base.reader import Key, PlacedDocument, Tree

__all__ = ["place_added"]

_STAGES = ("before", "open", "work", "close", "codes", "after")  # in the order in which one works


def place_added(base: PlacedDocument, before: Mapping[Key, Collection[Key]]) -> None:
    """Move the steps and severities that are not among those of `before`, in place: a step behind the last one of its
    stage (where there is none, before the first of a later stage), a severity that causes another before the first that
    it causes. Those added keep their order."""
    for kind, place in (("steps", _place_of_step), ("severities", _place_of_severity)):
        entries = base.data.get(kind)
        if not isinstance(entries, dict):
            continue
        known = [key for key in entries if key in before.get(kind, ())]
        for key in [key for key in entries if key not in before.get(kind, ())]:
            known.insert(place(entries, known, key), key)
        base.data[kind] = {key: entries[key] for key in known}


def _place_of_step(entries: Mapping[Key, Tree], known: list[Key], key: Key) -> int:
    stages = [_inside(entries[each], "stage") for each in (*known, key)]
    own = stages.pop()
    alike = [index for index, stage in enumerate(stages) if stage == own]
    if alike:
        return alike[-1] + 1
    later = _STAGES[_STAGES.index(own) + 1 :] if own in _STAGES else ()
    return next((index for index, stage in enumerate(stages) if stage in later), len(known))


def _place_of_severity(entries: Mapping[Key, Tree], known: list[Key], key: Key) -> int:
    for index, each in enumerate(known):
        causes = _inside(entries[each], "causes")
        if isinstance(causes, dict) and key in causes:
            return index
    return len(known)


def _inside(entry: Tree, field: str) -> Tree:
    return entry.get(field) if isinstance(entry, dict) else None
