"""What a case is compared by, as two short arrays in the database.

The caller hands the chances in, since this room infers nothing. May import: `diag.basics`, numpy inside functions, and
within the room what is below.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from diag.basics import Place
from diag.store.codec import compact
from diag.store.records import Draft, Likeness
from diag.store.sql import Session

__all__ = ["StateChance", "finding_number", "likeness_of", "read_chances", "write_likeness"]

_SILENT = ("not_looked", "not_sure")


@dataclass(frozen=True)
class StateChance:
    """The posterior probability that a component at a place is in a state other than sound."""

    component: str
    place: Place
    state: str
    chance: float


def likeness_of(draft: Draft, chances: Iterable[StateChance]) -> Likeness:
    """The likeness of a case from the chances of its faults and its answers (those that tell something).

    For each kind of component, whichever the cylinder: the chance of a state is that of the place where it is likeliest
    (a blown seal on 2 is like one on 3); what is left is the chance to be sound.
    """
    worst: dict[str, dict[str, float]] = {}
    for each in chances:
        states = worst.setdefault(each.component, {})
        states[each.state] = max(states.get(each.state, 0.0), each.chance)
    answers = [answer for epoch in draft.epochs for answer in epoch.answers]
    findings = frozenset(f"{each.item}={each.answer}" for each in answers if each.answer not in _SILENT)
    return Likeness(worst, findings | {f"{work.repair}={work.helped}" for e in draft.epochs for work in e.work})


def write_likeness(
    session: Session, number: int, likeness: Likeness, chances_told: Mapping[str, Mapping[str, float]] | None = None
) -> None:
    """Note what a case is compared by, in place of what was noted before; `chances_told` stand for its own."""
    told = likeness.chances if chances_told is None else chances_told
    import numpy as np

    names = [(component, state) for component in sorted(told) for state in sorted(told[component])]
    chances = np.array([told[component][state] for component, state in names], dtype="<f4")
    findings = np.sort(np.array([finding_number(word) for word in likeness.findings], dtype="<i8"))
    session.run(
        "INSERT INTO likeness (number, layout, chances, findings) VALUES (:number, :layout, :chances, :findings) "
        "ON CONFLICT (number) DO UPDATE SET layout = excluded.layout, chances = excluded.chances, "
        "findings = excluded.findings",
        number=number,
        layout=_layout(session, compact(names)),
        chances=chances.tobytes(),
        findings=findings.tobytes(),
    )


def read_chances(session: Session) -> Iterator[tuple[str, dict[str, dict[str, float]]]]:
    """The `uid` and the chances of every case that has them, by number."""
    import numpy as np

    layouts = {layout: json.loads(names) for layout, names in session.rows("SELECT layout, names FROM layouts")}
    for uid, layout, stored in session.rows(
        "SELECT uid, layout, chances FROM likeness JOIN cases ON cases.number = likeness.number ORDER BY cases.number"
    ):
        chances: dict[str, dict[str, float]] = {}
        for (component, state), chance in zip(layouts[layout], np.frombuffer(stored, dtype="<f4"), strict=True):
            chances.setdefault(component, {})[state] = float(chance)
        yield uid, chances


def finding_number(word: str) -> int:
    """A finding as a number of 64 bits, the same everywhere; two findings share one by a chance of 1 in 10^19."""
    return int.from_bytes(hashlib.blake2b(word.encode(), digest_size=8).digest(), "little", signed=True)


def _layout(session: Session, names: str) -> int:
    row = session.one("SELECT layout FROM layouts WHERE names = :names", names=names)
    if row is None:
        session.run(
            "INSERT INTO layouts (layout, names) SELECT COALESCE(MAX(layout), 0) + 1, :names FROM layouts", names=names
        )
        row = session.one("SELECT layout FROM layouts WHERE names = :names", names=names)
    assert row is not None
    return int(row[0])
