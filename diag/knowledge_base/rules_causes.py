"""Cross-checks of components and severities: who may cause what.

May import: `diag.basics`, and within the room `records` and `register`.
"""

from __future__ import annotations

from diag.basics import did_you_mean
from diag.knowledge_base.records import Component, Severity
from diag.knowledge_base.register import Register

__all__ = ["check_components", "check_severities"]

_BY_COMPONENT_FIRST = (
    "a cylinder's component acts on a cylinder severity, and that on this one; name the cylinder severity"
)


def check_components(register: Register) -> None:
    """Every component's states, chances, and the shared causes that change them."""
    earlier: list[str] = []
    for name, component in register.components.items():
        path = ("components", name)
        for lapse, known in component.lapses.items():
            register.check_row((*path, "lapses", lapse, "chance"), known.chance, name)
            if any(other != name and lapse in one.lapses for other, one in register.components.items()):
                register.complain((*path, "lapses", lapse), f"another component has the lapse '{lapse}'", of_key=True)
        for field in ("chance", "fresh", "disturbed"):
            register.check_row((*path, field), getattr(component, field), name)
        register.all_known((*path, "only_after"), component.only_after, "repair", "repairs")
        for state, of_state in component.states.items():
            register.all_known((*path, "states", state, "danger"), of_state.danger, "caution", "cautions")
        _check_life(register, name, component)
        for cause, by_state in component.given.items():
            if _is_shared_cause(register, name, cause, earlier, "given"):
                for state, row in by_state.items():
                    _check_state(register, (*path, "given", cause, state), cause, state)
                    register.check_row((*path, "given", cause, state), row, name)
        if component.per == "cylinder" and component.reaches_cylinders:
            message = "a component of each cylinder cannot reach into cylinders as a shared cause does"
            register.complain((*path, "reaches_cylinders"), message, "write 'per: bank' or 'per: vehicle'")
        earlier.append(name)


def _check_life(register: Register, name: str, component: Component) -> None:
    if component.life is None:
        return
    path = ("components", name, "life")
    register.check_row((*path, "fails_as"), component.life.fails_as, name)
    for field in ("shape", "scale", "unnoticed"):
        if getattr(component.life, field).value <= 0:
            register.complain((*path, field), f"the {field} of a life must be above zero")
    for cause, by_state in component.life.scale_under.items():
        if _is_shared_cause(register, name, cause, None, "life", "scale_under"):
            for state, factor in by_state.items():
                where = (*path, "scale_under", cause, state)
                _check_state(register, where, cause, state)
                if factor.value <= 0:
                    register.complain(where, "a life is multiplied by a number above zero")


def _check_state(register: Register, path: tuple[str, ...], cause: str, state: str) -> None:
    levels = register.levels(cause)
    if levels and state not in levels:
        register.complain(path, f"'{cause}' has no '{state}'", did_you_mean(state, levels), of_key=True)


def _is_shared_cause(register: Register, name: str, cause: str, earlier: list[str] | None, *fields: str) -> bool:
    """A cause that changes a component's chances must reach into cylinders, and is no part of a circle."""
    path = ("components", name, *fields, cause)
    if not register.knows(path, cause, "component", "components", of_key=True):
        return False
    shared = register.components.get(cause)
    if cause == name:
        register.complain(path, "a component cannot change its own chances", of_key=True)
    elif shared is not None and not shared.reaches_cylinders:
        hint = f"add 'reaches_cylinders: true' to '{cause}', or let both cause a severity"
        register.complain(path, f"'{cause}' is no shared cause that reaches into cylinders", hint, of_key=True)
    elif earlier is not None and register.components[name].reaches_cylinders and cause not in earlier:
        register.complain(path, f"'{cause}' must be written before '{name}', which it changes", of_key=True)
    return True


def check_severities(register: Register) -> None:
    """Every severity's levels, background, and causes that may cause it."""
    earlier: list[str] = []
    for name, severity in register.severities.items():
        path = ("severities", name)
        if len(set(severity.levels)) < len(severity.levels):
            register.complain((*path, "levels"), "a level is named twice")
        register.check_row((*path, "background"), severity.background, name)
        for cause, by_level in severity.causes.items():
            where = (*path, "causes", cause)
            if not register.knows(where, cause, "component or severity", "components", "severities", of_key=True):
                continue
            _check_kind_of_cause(register, name, severity, cause, earlier)
            for level, row in by_level.items():
                _check_causing_level(register, (*where, level), cause, level)
                register.check_row((*where, level), row, name)
        earlier.append(name)


def _check_causing_level(register: Register, path: tuple[str, ...], cause: str, level: str) -> None:
    levels = register.levels(cause)
    if levels and level == levels[0]:
        hint = "leave it out; what happens without any cause is the 'background'"
        register.complain(path, f"'{level}' is the first of '{cause}' and causes nothing", hint, of_key=True)
    else:
        _check_state(register, path, cause, level)


def _check_kind_of_cause(register: Register, name: str, severity: Severity, cause: str, earlier: list[str]) -> None:
    path = ("severities", name, "causes", cause)
    component = register.components.get(cause)
    if component is None and cause not in register.severities:
        return  # it could not be read, and that was said
    if severity.per == "cylinder":
        if component is None:
            message = "a cylinder severity is caused by components, not by another severity"
            register.complain(path, message, "name the components behind it", of_key=True)
        elif component.per != "cylinder" and not component.reaches_cylinders:
            message = f"'{cause}' is of the {component.per} and does not reach into cylinders"
            register.complain(path, message, f"add 'reaches_cylinders: true' to '{cause}'", of_key=True)
    elif component is not None and component.per == "cylinder":
        register.complain(path, f"'{cause}' cannot cause '{name}' directly", _BY_COMPONENT_FIRST, of_key=True)
    elif component is None and register.per(cause) == "vehicle" and cause not in earlier:
        message = f"the severity '{cause}' must be written before '{name}', which it causes"
        register.complain(path, message, "move it up in severities.yaml", of_key=True)
