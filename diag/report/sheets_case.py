"""Which case a sheet speaks of, and what was told in it. The sheets are what a command has to say, as plain records,
before it becomes a page or JSON.

Every field says in one phrase what it holds (checked by a test); the JSON Schema of `diag know schema --form ...` is
made from that. Chances lie between 0 and 1, times are in minutes, money is in the sheet's `currency` before tax.
May import: `diag.basics`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from diag.basics import Place

__all__ = ["BankLine", "CaseLine", "EvidenceLine", "ReasonLine"]


@dataclass(frozen=True)
class BankLine:
    """A bank of the engine."""

    letter: Annotated[str, "the bank's letter; an inline engine has the one bank A"]
    cylinders: Annotated[tuple[int, ...], "its cylinders, in order from the front"]


@dataclass(frozen=True)
class CaseLine:
    """Which case and which engine a sheet speaks of."""

    title: Annotated[str, "the case's title"]
    engine: Annotated[str, "id of the engine"]
    engine_name: Annotated[str, "its name"]
    invented: Annotated[bool, "whether the engine is invented, so that its values hold for no real one"]
    injector: Annotated[str, "'solenoid' or 'piezo'"]
    banks: Annotated[tuple[BankLine, ...], "the banks with their cylinders"]
    firing_order: Annotated[tuple[int, ...], "the cylinders in firing order"]
    cylinder_one: Annotated[str | None, "where cylinder 1 is, where that is known"]
    distance_km: Annotated[float | None, "kilometres driven, where told"]
    age_years: Annotated[float | None, "age in years, where told"]


@dataclass(frozen=True)
class EvidenceLine:
    """One thing that was told."""

    what: Annotated[str, "the finding or reading with its condition, or the work, in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    said: Annotated[str, "what was answered or measured, in words; empty for work"]
    used: Annotated[bool, "whether it could change anything"]
    note: Annotated[str, "why it has no effect, where it has none"]
    unit: Annotated[str, "the unit of a reading, which ends `said`; empty for answers and work"] = ""
    after: Annotated[int, "how many times work had been tried in this case before it was told"] = 0


@dataclass(frozen=True)
class ReasonLine:
    """Something barred, and why."""

    what: Annotated[str, "what is barred"]
    why: Annotated[str, "why"]
