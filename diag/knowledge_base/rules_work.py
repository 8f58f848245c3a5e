"""Cross-checks of checks, repairs, prices and the vocabulary: what they name must exist.

May import: within the room `records` and `register`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from diag.basics import did_you_mean
from diag.knowledge_base.records import Check, Repair
from diag.knowledge_base.register import Register

__all__ = ["check_checks", "check_repairs", "check_vocabulary"]

_NO_ACCESS = "none"  # nothing needs to be opened; it is not listed


def check_checks(register: Register) -> None:
    """Every check yields something that exists, and names known access, preconditions, parts and cautions."""
    for name, check in register.checks.items():
        path = ("checks", name)
        seen: set[tuple[str, str | None]] = set()
        for index, one in enumerate(check.yields):
            where = (*path, "yields", index)
            register.knows(where, one.item, "finding or reading", "findings", "readings")
            if (one.item, one.under) in seen:
                register.complain(where, f"'{one.item}' is listed twice")
            seen.add((one.item, one.under))
            if one.under and register.vocabulary is not None:
                register.knows(where, one.under, "condition", "vocabulary.conditions")
        _check_doing(register, ("checks", name), check)


def check_repairs(register: Register) -> None:
    """Every repair renews and disturbs components that exist, and is followed by repairs that exist."""
    for name, repair in register.repairs.items():
        path = ("repairs", name)
        register.all_known((*path, "renews"), repair.renews, "component", "components")
        register.all_known((*path, "disturbs"), repair.disturbs, "component", "components")
        for index, component in enumerate(repair.disturbs):
            if component in repair.renews:
                register.complain((*path, "disturbs", index), f"'{component}' is renewed, so it is not also disturbed")
        _check_moves(register, name, repair)
        _check_tells(register, name, repair)
        register.all_known((*path, "then"), repair.then, "repair", "repairs")
        _check_doing(register, ("repairs", name), repair)

    def followers(name: str) -> tuple[str, ...]:
        return register.repairs[name].then if name in register.repairs else ()

    for name in _in_circles(register.repairs, followers):
        register.complain(("repairs", name, "then"), f"'{name}' would have to follow itself")


def _check_moves(register: Register, name: str, repair: Repair) -> None:
    """What moves is a cylinder's own, is neither renewed nor disturbed by the same work, and only an exchange moves."""
    path = ("repairs", name, "moves")
    register.all_known(path, repair.moves, "component", "components")
    for index, component in enumerate(repair.moves):
        known = register.components.get(component)
        if known is not None and known.per != "cylinder":
            register.complain((*path, index), f"'{component}' is not a cylinder's own, so no exchange moves it")
        if component in (*repair.renews, *repair.disturbs):
            register.complain((*path, index), f"'{component}' moves, so it is not also renewed or disturbed")
    register.all_known(("repairs", name, "stands_for"), repair.stands_for, "finding", "findings")
    if bool(repair.moves) != (repair.kind == "exchange"):
        register.complain(("repairs", name, "kind"), "an exchange moves something, and only an exchange does")
    if repair.moves and repair.on != "cylinder":
        register.complain(("repairs", name, "on"), "an exchange is made between two cylinders", "write 'on: cylinder'")


def _check_tells(register: Register, name: str, repair: Repair) -> None:
    """What a way out tells is a finding about a component that stands where the work is done."""
    path = ("repairs", name, "tells")
    register.all_known(path, repair.tells, "finding", "findings")
    if repair.tells and repair.kind != "way out":
        register.complain(path, "only a way out tells something after which one decides", "write 'kind: way out'")
    for index, finding in enumerate(repair.tells):
        known = register.findings.get(finding)
        component = register.components.get(known.shows) if known is not None else None
        if known is not None and (component is None or component.per != repair.on):
            register.complain((*path, index), f"'{finding}' does not show a component of one {repair.on}")


def _check_doing(register: Register, path: tuple[str, str], doing: Check | Repair) -> None:
    if register.vocabulary is not None:
        if doing.access != _NO_ACCESS:
            register.knows((*path, "access"), doing.access, "access", "vocabulary.access")
        register.all_known((*path, "needs"), doing.needs, "precondition", "vocabulary.preconditions")
    register.all_known((*path, "cautions"), doing.cautions, "caution", "cautions")
    _check_parts(register, (*path, "parts"), doing.parts)
    for index, risk in enumerate(doing.risks):
        where = (*path, "risks", index)
        _check_parts(register, (*where, "parts"), risk.parts)
        allowed: tuple[str, ...] = ("always",)
        if risk.by is not None:
            if not register.knows((*where, "by"), risk.by, "component or severity", "components", "severities"):
                continue
            allowed = register.levels(risk.by)
        for level in risk.chance:
            if allowed and level not in allowed:
                of_what = f"'{risk.by}' has no '{level}'" if risk.by else "a risk without 'by' has the one key 'always'"
                register.complain((*where, "chance", level), of_what, did_you_mean(level, allowed), of_key=True)


def _check_parts(register: Register, path: tuple[str | int, ...], parts: dict[str, int]) -> None:
    if register.prices is None:
        return
    register.all_known(path, parts, "part", "prices.parts")
    for part, count in parts.items():
        if count < 1:
            register.complain((*path, part), f"the number of parts must be 1 or more, and is {count}")


def check_vocabulary(register: Register) -> None:
    """Access kinds include kinds that exist, in no circle; soft answers are not named like the plain ones."""
    for name in ("present", "absent"):
        if name in register.answers:
            register.complain(("answers", name), f"'{name}' is a plain answer and is not listed here", of_key=True)
    if register.vocabulary is None:
        return
    access = register.vocabulary.access
    for name, kind in access.items():
        register.all_known(("vocabulary", "access", name, "includes"), kind.includes, "access", "vocabulary.access")

    def included(name: str) -> tuple[str, ...]:
        return access[name].includes if name in access else ()

    for name in _in_circles(access, included):
        register.complain(("vocabulary", "access", name, "includes"), f"'{name}' would include itself")


def _in_circles(names: Iterable[str], following: Callable[[str], tuple[str, ...]]) -> list[str]:
    """The names that come back to themselves."""
    found = []
    for name in names:
        reached: set[str] = set()
        waiting = list(following(name))
        while waiting:
            one = waiting.pop()
            if one not in reached:
                reached.add(one)
                waiting += following(one)
        if name in reached:
            found.append(name)
    return found
