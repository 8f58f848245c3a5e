"""The records of a case: what was found, measured and tried, in the order in which it happened.

May import: `diag.basics` and the records of `diag.knowledge_base`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from diag.basics import Place
from diag.knowledge_base import Engine

__all__ = [
    "ABSENT",
    "NOT_LOOKED",
    "NOT_SURE",
    "PRESENT",
    "Answer",
    "Case",
    "CodeRead",
    "CodeState",
    "Epoch",
    "Fault",
    "Helped",
    "Measured",
    "TrimCode",
    "Work",
    "Written",
]

PRESENT, ABSENT, NOT_SURE, NOT_LOOKED = "present", "absent", "not_sure", "not_looked"
Helped = Literal["no", "partly", "yes", "for_a_while", "worse", "other"]
Fault = Literal["moved", "stayed", "gone"]  # what became of the fault when two cylinders exchanged something
CodeState = Literal["present", "stored", "intermittent", "pending", "passed", "not_tested"]


@dataclass(frozen=True)
class Written:
    """Where something stands in a case file. Lines and columns count from 1."""

    file: str
    line: int
    column: int


@dataclass(frozen=True)
class Answer:
    """One answer about a finding: `answer` is 'present', 'absent', 'not_sure', 'not_looked' or a soft answer's id.

    `at`: where it was read; no part of what it says, so that the same answer told elsewhere is equal to it.
    """

    item: str
    place: Place
    answer: str
    condition: str | None = None
    at: Written | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Measured:
    """One reading, `value` in the reading's own unit. `censored`: the true reading is 'above' or 'below' the value.

    `error`: the standard deviation of this very reading as an instrument's, in that unit; none where the knowledge's
    own for such a reading holds. `at`: what it was read at (rail pressure, say), in `at_unit`; none where it
    was as usual.
    """

    item: str
    place: Place
    value: float
    unit: str
    censored: Literal["", "above", "below"] = ""
    condition: str | None = None
    error: float | None = None
    at: float | None = None
    at_unit: str = ""


@dataclass(frozen=True)
class Work:
    """Work that was done: how long ago (none where nobody knows), and whether it helped.

    `but`: what was left undone, by the ids of lapses. `other`: the cylinder with which the one at `place` exchanged
    what the work moves.
    """

    repair: str
    place: Place = None
    km_ago: float | None = None
    months_ago: float | None = None
    helped: Helped | None = None
    note: str = ""
    other: int | None = None
    but: tuple[str, ...] = ()

    @property
    def places(self) -> tuple[Place, ...]:
        """Where it was done: at one place, or on the two cylinders of an exchange."""
        return (self.place,) if self.other is None else (self.place, self.other)


@dataclass(frozen=True)
class CodeRead:
    """A fault code that was read with its state; `status` is the status byte of ISO 14229-1, where that was told.

    What it says of the case is among the epoch's answers.
    """

    code: str
    state: CodeState
    status: int | None = None


@dataclass(frozen=True)
class TrimCode:
    """The trim code of one cylinder: on the part and in the control unit, now and before the injector was changed.

    None where nobody looked or it could not be read; empty where the control unit holds none.
    """

    cylinder: int
    part: str | None = None
    unit: str | None = None
    part_before: str | None = None
    unit_before: str | None = None


@dataclass(frozen=True)
class Epoch:
    """The time between two repairs within the case: the work at its start, then what was found after it."""

    work: tuple[Work, ...] = ()
    answers: tuple[Answer, ...] = ()
    measured: tuple[Measured, ...] = ()
    codes: tuple[CodeRead, ...] = ()


@dataclass(frozen=True)
class Case:
    """One vehicle's case. `engine_id` is the id of a listed engine, or the path of an engine's file.

    `history` is work before the complaint, `epochs` begin with the complaint (the first has no work). `open_access`
    holds pairs of access kind and bank that are open now; `cannot` the checks that are not possible here.
    `numbering`: how the control unit numbers the cylinders, where somebody knows (a state of that component).
    `trim_codes` is the ledger of the injectors' codes as it stands now, by cylinder; what it says of the case is among
    the answers of the last epoch.
    """

    title: str
    engine: Engine
    engine_id: str
    distance_km: float | None = None
    age_years: float | None = None
    history: tuple[Work, ...] = ()
    epochs: tuple[Epoch, ...] = field(default=(Epoch(),))
    open_access: tuple[tuple[str, str], ...] = ()
    cannot: tuple[str, ...] = ()
    note: str = ""
    trim_codes: tuple[TrimCode, ...] = ()
    numbering: str | None = None
