"""What a journal holds: one record for each kind of event, and what is kept beside the case itself.

May import: `diag.basics` and the records of `diag.casebook` and `diag.knowledge_base`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Literal, get_args

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch, Measured, TrimCode, Work
from diag.knowledge_base import Engine, Knowledge

__all__ = [
    "CURED",
    "KINDS",
    "SURE",
    "Attached",
    "Closed",
    "Cured",
    "Customer",
    "Draft",
    "Erased",
    "Event",
    "Finding",
    "Fitted",
    "Found",
    "Likeness",
    "Linked",
    "Opened",
    "Outcome",
    "Payload",
    "Reading",
    "Remark",
    "Repair",
    "Retold",
    "Sure",
    "Undo",
]

Sure = Literal["seen", "measured", "inferred"]
Cured = Literal["yes", "partly", "no", "not_known"]
SURE: tuple[str, ...] = get_args(Sure)
CURED: tuple[str, ...] = get_args(Cured)


@dataclass(frozen=True)
class Draft:
    """A case without the engine's record: all of `Case` that a journal says by itself.

    `engine_record` is the engine as JSON where it came from a file of its own, so that the book needs no such file.
    """

    engine_id: str
    title: str = ""
    engine_record: str = ""
    distance_km: float | None = None
    age_years: float | None = None
    history: tuple[Work, ...] = ()
    epochs: tuple[Epoch, ...] = (Epoch(),)
    open_access: tuple[tuple[str, str], ...] = ()
    cannot: tuple[str, ...] = ()
    note: str = ""
    trim_codes: tuple[TrimCode, ...] = ()
    numbering: str | None = None

    @staticmethod
    def of(case: Case, knowledge: Knowledge) -> Draft:
        """The draft of a case."""
        shared = {field.name: getattr(case, field.name) for field in fields(Draft) if field.name != "engine_record"}
        listed = case.engine_id in knowledge.engines
        return Draft(**shared, engine_record="" if listed else case.engine.model_dump_json())

    def case(self, knowledge: Knowledge) -> Case | None:
        """The case; none where its engine is neither in the knowledge nor in the draft."""
        if self.engine_record:
            engine: Engine | None = Engine.model_validate_json(self.engine_record)
        else:
            engine = knowledge.engines.get(self.engine_id)
        if engine is None:
            return None
        shared = {field.name: getattr(self, field.name) for field in fields(Draft) if field.name != "engine_record"}
        return Case(**shared, engine=engine)


@dataclass(frozen=True)
class Found:
    """A fault that was found: `component` in `state` at `place`. `sure`: it was seen; measured after the repair; or
    only inferred (it went away with the repair, say)."""

    component: str
    state: str
    place: Place
    sure: Sure


@dataclass(frozen=True)
class Fitted:
    """What was fitted or done: the id of a repair or of a part, where, and how many."""

    item: str
    place: Place = None
    count: int = 1


@dataclass(frozen=True)
class Outcome:
    """How a case ended. No `found`: nothing was found. `minutes` and `cost` were actually spent; none: not told."""

    cured: Cured
    found: tuple[Found, ...] = ()
    fitted: tuple[Fitted, ...] = ()
    minutes: float | None = None
    cost: float | None = None
    currency: str = ""
    note: str = ""


@dataclass(frozen=True)
class Customer:
    """Name and number plate; either may be empty. Kept in a table apart, in no journal."""

    name: str = ""
    plate: str = ""


@dataclass(frozen=True)
class Likeness:
    """What a case is compared by: `chances[component][state]` of what is not sound, and its findings as words.

    It is kept beside the case, handed in by whoever weighed it; see `likeness_of`.
    """

    chances: Mapping[str, Mapping[str, float]]
    findings: frozenset[str]


@dataclass(frozen=True)
class Opened:
    """The case begins: the vehicle and what was known of it; its epochs follow as events of their own."""

    draft: Draft


@dataclass(frozen=True)
class Finding:
    """An answer; it takes the place of an earlier one to the same question since the last repair."""

    answer: Answer


@dataclass(frozen=True)
class Reading:
    """A reading; it stands beside earlier ones."""

    measured: Measured


@dataclass(frozen=True)
class Repair:
    """Work of one visit; a new epoch begins."""

    work: tuple[Work, ...]


@dataclass(frozen=True)
class Retold:
    """The whole case told anew, where what changed is more than one thing after the other."""

    draft: Draft


@dataclass(frozen=True)
class Undo:
    """The case stands again as it stood at the revision `back_to`; nothing is taken out of the journal."""

    back_to: int


@dataclass(frozen=True)
class Closed:
    """The case is closed."""

    outcome: Outcome


@dataclass(frozen=True)
class Linked:
    """This case is a come-back of an earlier one, named by its `uid`, which is the same in every book."""

    uid: str
    why: Literal["come_back"] = "come_back"


@dataclass(frozen=True)
class Remark:
    """Words that belong to the case and change nothing in it (kind 'note')."""

    text: str


@dataclass(frozen=True)
class Attached:
    """A photo, log or other file, by the SHA-256 of its content (hexadecimal) and its size in bytes."""

    digest: str
    name: str
    size: int


@dataclass(frozen=True)
class Erased:
    """Who the customer was has been erased; nothing of it stands here."""

    what: Literal["customer"] = "customer"


Payload = Opened | Finding | Reading | Repair | Retold | Undo | Closed | Linked | Remark | Attached | Erased

KINDS: dict[str, type[Payload]] = {
    "opened": Opened,
    "finding": Finding,
    "reading": Reading,
    "repair": Repair,
    "retold": Retold,
    "undo": Undo,
    "closed": Closed,
    "linked": Linked,
    "note": Remark,
    "attached": Attached,
    "erased": Erased,
}


@dataclass(frozen=True)
class Event:
    """One line of a journal. `revision` counts from 1 within the case; `at` is UTC, ISO 8601; `by` may be empty."""

    revision: int
    at: str
    by: str
    payload: Payload

    @property
    def kind(self) -> str:
        """Its kind, as stored."""
        return next(name for name, kind in KINDS.items() if kind is type(self.payload))
