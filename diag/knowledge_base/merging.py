"""Puts the files of a folder together, and lays a workshop's own files over what ships.

May import: `diag.basics`, and within the room `reader`, `records`, `shapes`, `spreads`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from diag.basics import Problem, did_you_mean
from diag.knowledge_base.log_records import LogColumn, LogRule
from diag.knowledge_base.reader import Key, PlacedDocument, Spot, Tree
from diag.knowledge_base.records import (
    Answer,
    Caution,
    Check,
    Component,
    Engine,
    Finding,
    Prices,
    Reading,
    Record,
    Repair,
    Severity,
    Source,
    Vocabulary,
    WorkStep,
)
from diag.knowledge_base.shapes import is_figure_at
from diag.knowledge_base.spreads import other_kind_of_spread

__all__ = ["LISTED_KINDS", "SINGLE_KINDS", "basis_of_overlay", "gather", "overlay"]

LISTED_KINDS: dict[str, type[Record]] = {
    "components": Component,
    "severities": Severity,
    "findings": Finding,
    "readings": Reading,
    "checks": Check,
    "repairs": Repair,
    "engines": Engine,
    "cautions": Caution,
    "sources": Source,
    "answers": Answer,
    "steps": WorkStep,
    "log_columns": LogColumn,
    "log_rules": LogRule,
}
SINGLE_KINDS: dict[str, type[Record]] = {"vocabulary": Vocabulary, "prices": Prices}

Mapping = dict[Key, Tree]


def gather(name: str, documents: Sequence[PlacedDocument], problems: list[Problem]) -> PlacedDocument:
    """The files of one folder as one document: kind -> id -> entry. An id that stands in two of them is a problem.

    An `engine:` file becomes the entry of `engines` named like the file.
    """
    whole = PlacedDocument(name, {}, Spot(name, 0, 0))
    for document in documents:
        for kind, inside in document.data.items():
            if kind not in (*LISTED_KINDS, *SINGLE_KINDS, "engine", "basis"):
                hint = _belongs(str(kind)) or did_you_mean(str(kind), (*LISTED_KINDS, *SINGLE_KINDS, "engine"), most=14)
                problems.append(document.problem((kind,), f"'{kind}' is no kind of knowledge", hint, of_key=True))
            elif kind == "basis" or (inside is None and kind != "engine"):
                continue  # an overlay's basis is looked at when it is laid; an empty kind holds nothing
            elif not isinstance(inside, dict):
                message = f"'{kind}' should hold entries 'id: ...'"
                if kind == "engine":  # most likely a case file
                    message = "'engine:' holds the entries of an engine here; a case file is no knowledge"
                problems.append(document.problem((kind,), message))
            else:
                _add(whole, document, str(kind), inside, problems)
    return whole


def _belongs(kind: str) -> str:
    """Where something belongs that was written outermost, such as the rate of labour; nothing where nobody knows."""
    around = next((name for name, model in SINGLE_KINDS.items() if kind in model.model_fields), None)
    return f"write it inside '{around}:'" if around is not None else ""


def _add(whole: PlacedDocument, document: PlacedDocument, kind: str, inside: Mapping, problems: list[Problem]) -> None:
    spot = document.root.children[kind]
    if kind == "engine":
        _add_entry(whole, "engines", Path(document.file).stem, inside, spot, problems)
    elif kind in LISTED_KINDS:
        for key, entry in inside.items():
            _add_entry(whole, kind, str(key), entry, spot.children[key], problems)
    elif kind in whole.data:
        first = whole.root.children[kind]
        message = f"'{kind}' is already in {first.file}:{first.key_line}"
        problems.append(document.problem((kind,), message, "keep one of the two", of_key=True))
    else:
        whole.data[kind] = inside
        whole.root.children[kind] = spot


def _add_entry(whole: PlacedDocument, kind: str, key: str, entry: Tree, spot: Spot, problems: list[Problem]) -> None:
    entries = whole.data.setdefault(kind, {})
    spots = whole.root.children.setdefault(kind, Spot(spot.file, spot.key_line, spot.key_column)).children
    assert isinstance(entries, dict)
    if key in entries:
        message = f"'{key}' is already in {spots[key].file}:{spots[key].key_line}"
        problems.append(Problem(spot.file, spot.key_line, spot.key_column, message, "keep one of the two"))
        return
    entries[key] = entry
    spots[key] = spot


def overlay(base: PlacedDocument, over: PlacedDocument, basis: Mapping) -> None:
    """Lay the gathered document `over` on `base`, in place: mappings key by key, everything else as a whole.

    A figure that is replaced stands on its own basis, else on the one that the overlay gives for its entry, else on
    `basis`. New entries are taken as they are, with `basis` where they have none.
    """
    for kind, inside in over.data.items():
        assert isinstance(inside, dict)
        spot = over.root.children[kind]
        if kind in LISTED_KINDS:
            for key, entry in inside.items():
                laid = _Layer(LISTED_KINDS[str(kind)], basis)
                entries = base.data.setdefault(kind, {})
                assert isinstance(entries, dict)
                around = base.root.children.setdefault(kind, spot)
                laid.entry(entries, around, key, entry, spot.children[key])
        elif kind in SINGLE_KINDS:
            _Layer(SINGLE_KINDS[str(kind)], basis).entry(base.data, base.root, kind, inside, spot)


def basis_of_overlay(document: PlacedDocument) -> Mapping:
    """What an overlay file says of its numbers in its own `basis:`, else that they are its workshop's judgement."""
    stated = document.data.get("basis")
    if isinstance(stated, dict):
        return stated
    return {"source": "elicited", "strength": 10.0, "note": f"from the overlay {Path(document.file).name}"}


class _Layer:
    """One entry being laid over another of the same model."""

    def __init__(self, model: type[Record], basis: Mapping) -> None:
        self.model = model
        self.basis = basis

    def entry(self, entries: Mapping, around: Spot, key: Key, entry: Tree, spot: Spot) -> None:
        below = entries.get(key)
        if not isinstance(below, dict) or not isinstance(entry, dict):
            if isinstance(entry, dict) and "basis" in self.model.model_fields and self.basis:
                entry.setdefault("basis", dict(self.basis))
            entries[key], around.children[key] = entry, spot
            return
        own = entry.get("basis")
        if isinstance(own, dict) and len(entry) > 1:  # it speaks for the figures given here, not for those below
            self.basis = own
            entry = {name: value for name, value in entry.items() if name != "basis"}
        self._lay(below, around.children[key], entry, spot, ())
        around.children[key].stands_at(spot)

    def _lay(self, below: Mapping, around: Spot, above: Mapping, spot: Spot, path: tuple[Key, ...]) -> None:
        if "value" in above and below.get("default") is True:  # a limit that is now known is no default any more
            below.pop("default")
            below.pop("note", None)
        for key, value in above.items():
            here = (*path, key)
            old = below.get(key)
            inside = spot.children[key]
            if is_figure_at(self.model, here):
                below[key] = self._figure(old, value)
            elif isinstance(old, dict) and isinstance(value, dict) and not other_kind_of_spread(old, value):
                self._lay(old, around.children[key], value, inside, here)
                around.children[key].stands_at(inside)
                continue
            else:
                below[key] = self._with_basis(value, here)
            around.children[key] = inside

    def _figure(self, old: Tree, new: Tree) -> Tree:
        if not isinstance(new, dict):
            return {"value": new, "basis": dict(self.basis)}
        kept: Mapping = {}
        if "value" not in new:
            kept = old if isinstance(old, dict) else {"value": old}
        return {**kept, "basis": dict(self.basis), **new}

    def _with_basis(self, value: Tree, path: tuple[Key, ...]) -> Tree:
        """A new part of an entry: each figure in it stands on the overlay's basis."""
        if is_figure_at(self.model, path):
            return self._figure(None, value)
        if isinstance(value, dict) and "basis" not in value:
            return {key: self._with_basis(inside, (*path, key)) for key, inside in value.items()}
        if isinstance(value, list):
            return [self._with_basis(inside, (*path, index)) for index, inside in enumerate(value)]
        return value
