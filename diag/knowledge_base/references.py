"""Cross-checks of the whole knowledge: ids, citations, and all the rules. May import: within the room."""

from __future__ import annotations

import re

from diag.knowledge_base.figures import figures_in
from diag.knowledge_base.records import Basis
from diag.knowledge_base.register import Register
from diag.knowledge_base.rules_causes import check_components, check_severities
from diag.knowledge_base.rules_engines import check_engines
from diag.knowledge_base.rules_findings import check_findings, check_readings
from diag.knowledge_base.rules_logging import check_logging
from diag.knowledge_base.rules_steps import check_steps
from diag.knowledge_base.rules_work import check_checks, check_repairs, check_vocabulary

__all__ = ["check_references"]

_ID = re.compile(r"[a-z][a-z0-9_]*")
_ID_HINT = "an id is small letters, digits and _, beginning with a letter"
_ONE_NAMESPACE = ("components", "severities", "findings", "readings")
_NAMED = (
    *_ONE_NAMESPACE,
    "checks",
    "repairs",
    "engines",
    "cautions",
    "sources",
    "answers",
    "steps",
    "log_columns",
    "log_rules",
)
_RULES = (
    check_components,
    check_severities,
    check_findings,
    check_readings,
    check_checks,
    check_repairs,
    check_vocabulary,
    check_engines,
    check_steps,
    check_logging,
)


def check_references(register: Register) -> None:
    """Note in `register.problems` every name that does not exist and every rule that is broken."""
    _check_ids(register)
    for rule in _RULES:
        rule(register)
    _check_cites(register)


def _check_ids(register: Register) -> None:
    seen: dict[str, str] = {}
    for kind in _NAMED:
        for name in register.names(kind):
            if not _ID.fullmatch(name):
                register.complain((kind, name), f"'{name}' is not an id", _ID_HINT, of_key=True)
            if kind in _ONE_NAMESPACE:
                other = seen.setdefault(name, kind)
                if other != kind:
                    spot = register.document.spot((other, name))
                    message = f"the id '{name}' is already in {other} ({spot.file}:{spot.key_line})"
                    register.complain((kind, name), message, "give one of them another", of_key=True)
    for kind, inner in (("components", "states"), ("severities", "levels")):
        for name, entry in getattr(register, kind).items():
            for state in getattr(entry, inner):
                if not _ID.fullmatch(state):
                    register.complain((kind, name, inner), f"'{state}' is not an id", _ID_HINT, of_key=True)


def _check_cites(register: Register) -> None:
    for kind in (*_NAMED, "prices"):
        entries = getattr(register, kind)
        named = {kind: entries} if kind == "prices" else entries
        for name, entry in named.items():
            path = (kind,) if kind == "prices" else (kind, name)
            basis = getattr(entry, "basis", None)
            if isinstance(basis, Basis) and basis.cite is not None:
                register.knows((*path, "basis", "cite"), basis.cite, "source", "sources")
            for placed in figures_in(entry, path):
                own = placed.figure.basis
                if own is not None and own.cite is not None:
                    register.knows((*placed.path, "basis", "cite"), own.cite, "source", "sources")
