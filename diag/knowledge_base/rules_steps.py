"""Cross-checks of the steps of work: what they name exists, and repairs and access name them in the order of work.

May import: `diag.basics`, and within the room `reader`, `records` and `register`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from diag.basics import did_you_mean, listed
from diag.knowledge_base.reader import Key
from diag.knowledge_base.records import WorkStep
from diag.knowledge_base.register import Register

__all__ = ["check_steps"]

_BLANKS = ("wait", "code_length", "code_alphabet")
_BRACES = re.compile(r"\{([^{}]*)\}|[{}]")
_OF_REPAIRS = ("before", "work", "codes", "after")


def check_steps(register: Register) -> None:
    """Steps name cautions and parts that exist; repairs and access kinds name steps that do, in order."""
    for name, step in register.steps.items():
        path = ("steps", name)
        register.all_known((*path, "cautions"), step.cautions, "caution", "cautions")
        if register.prices is not None:
            register.all_known((*path, "parts"), step.parts, "part", "prices.parts")
        if step.unless is not None:
            register.knows((*path, "unless"), step.unless, "step", "steps")
        _check_blanks(register, path, step)
    for name, repair in register.repairs.items():
        _check_order(register, ("repairs", name, "steps"), repair.steps, _OF_REPAIRS)
        register.all_known(("repairs", name, "read_again"), repair.read_again, "reading", "readings")
    if register.vocabulary is not None:
        for name, kind in register.vocabulary.access.items():
            _check_order(register, ("vocabulary", "access", name, "open"), kind.open, ("open",))
            _check_order(register, ("vocabulary", "access", name, "close"), kind.close, ("close",))
            _check_order(register, ("vocabulary", "access", name, "then"), kind.then, ("after",))


def _check_blanks(register: Register, path: tuple[str, str], step: WorkStep) -> None:
    for found in _BRACES.finditer(step.do):
        if found.group(1) not in _BLANKS:
            message = f"'{found.group()}' stands for nothing of an engine"
            register.complain((*path, "do"), message, did_you_mean(found.group(1) or "", _BLANKS))


def _check_order(register: Register, path: Sequence[Key], steps: Sequence[str], stages: Sequence[str]) -> None:
    order = {name: number for number, name in enumerate(register.names("steps"))}
    for index, name in enumerate(steps):
        where = (*path, index)
        if not register.knows(where, name, "step", "steps"):
            continue
        earlier = [each for each in steps[:index] if each in order]
        if name in earlier:
            register.complain(where, f"the step '{name}' is listed twice")
        elif earlier and order[earlier[-1]] > order[name]:
            message = f"'{name}' comes before '{earlier[-1]}' among the steps, and one order holds for all work"
            register.complain(where, message, "list the steps in the order in which they are written there")
        if name in register.steps and register.steps[name].stage not in stages:
            stage = register.steps[name].stage
            message = f"'{name}' is a step of the stage '{stage}'"
            register.complain(where, message, f"here stand steps of {listed(stages)}")
