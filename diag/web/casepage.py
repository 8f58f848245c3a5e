"""What every page of a case needs: its frame, what is believed and how that moved, the last entry in words.

May import: starlette, the rooms below, and the room below.
"""

from __future__ import annotations

from concurrent.futures import BrokenExecutor, CancelledError, Future
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from diag.basics import DiagError, Place
from diag.casebook import Case
from diag.report import FaultLine, WeighSheet, at_place, evidence_lines, fault_words, per_cent, told_cautions
from diag.store import Kept
from diag.web.asking import Visit
from diag.web.keeping import group_start
from diag.web.pages import page
from diag.web.words import SAY
from diag.web.words_vehicle import VEHICLE

__all__ = ["FORM_WAIT_S", "PATIENT_S", "Belief", "believed", "case_page", "in_time", "last_entry", "patience_s"]

SHOWN_FROM, SHOWN_AT_MOST = 0.03, 9
MOVED_FROM = 0.005
PATIENCE_S = 5.0
PATIENT_S = 60.0
FORM_WAIT_S = 20.0


def patience_s(visit: Visit) -> float:
    """How long a page waits for what it shows. It is shown without at first and then asks once more by itself, which is
    when it may take its time."""
    return PATIENT_S if visit.request.query_params.get("patient") else visit.shop.settings.page_wait_s


def _wait_s(visit: Visit, job: str, case: Case) -> float:
    """The same for one job: less where others wait before it."""
    wait_s = patience_s(visit)
    return wait_s if wait_s >= PATIENT_S else visit.shop.reckoner.worth_waiting_s(job, case, wait_s)


def in_time(visit: Visit, job: str, case: Case, **told: Any) -> Any:
    """What a job gives, none where it is not there in time. Raises what the job raised."""
    try:
        return visit.shop.reckoner.begun(job, case, **told).result(_wait_s(visit, job, case))
    except (TimeoutError, CancelledError, BrokenExecutor):
        return None


@dataclass(frozen=True)
class Moved:
    """One fault as it is believed now, and how that moved since the last entry."""

    fault: FaultLine
    name: str
    words: str
    way: str


@dataclass(frozen=True)
class Belief:
    """What is believed: the sheet, or why there is none; the faults that are shown, and how many are not. `waits`: it
    is still being worked out."""

    sheet: WeighSheet | None
    trouble: str
    shown: tuple[Moved, ...] = ()
    more: int = 0
    waits: bool = False


def believed(visit: Visit, kept: Kept, case: Case, wait_s: float = 0.0) -> Belief:
    """What is believed now, beside what was believed before the last entry. `wait_s`: how long to wait for it at least,
    where a form needs it that is not changed under the hand of who fills it in."""
    reckoner, before = visit.shop.reckoner, group_start(kept)
    earlier: dict[tuple[str, Place], float] = {}
    try:
        was = reckoner.begun("belief", visit.shop.keeping.at(kept, before)) if before else None
        sheet = reckoner.begun("belief", case).result(max(wait_s, _wait_s(visit, "belief", case)))
        if was is not None and (known := _before(was)) is not None:
            earlier = {(line.component, line.place): line.chance for line in known.faults}
    except DiagError as error:
        return Belief(None, error.message)
    except (TimeoutError, CancelledError, BrokenExecutor):
        return Belief(None, "", waits=True)
    real = [fault for fault in sheet.faults if fault.fault]
    shown = [fault for fault in real if fault.chance >= SHOWN_FROM][:SHOWN_AT_MOST]
    return Belief(
        sheet,
        "",
        tuple(_moved(fault, earlier.get((fault.component, fault.place))) for fault in shown),
        len(real) - len(shown),
    )


def _before(was: Future[WeighSheet]) -> WeighSheet | None:
    """What was believed before; none where that cannot be said in time, and then nothing is said of moving."""
    try:
        return was.result(PATIENCE_S)
    except (TimeoutError, CancelledError, BrokenExecutor):
        return None


def _moved(fault: FaultLine, before: float | None) -> Moved:
    name = fault_words(fault)
    if before is None:
        return Moved(fault, name, "", "")
    if abs(fault.chance - before) < MOVED_FROM:
        return Moved(fault, name, SAY["moved_same"], "same")
    way = "up" if fault.chance > before else "down"
    return Moved(fault, name, SAY[f"moved_{way}"].format(before=per_cent(before)), way)


def last_entry(visit: Visit, kept: Kept, case: Case) -> str:
    """What taking the last entry back would take back, in words; empty where there is nothing."""
    before = group_start(kept)
    if before == 0:
        return ""
    knowledge = visit.shop.knowledge
    earlier = visit.shop.keeping.at(kept, before)
    was, new = list(evidence_lines(knowledge, earlier)), []
    for line in evidence_lines(knowledge, case):
        if line in was:
            was.remove(line)  # a reading that is taken once more with the same value is another one
        else:
            new.append(line)
    banks = len(case.engine.banks)
    named = [at_place(line.what, line.place, banks) for line in new]
    texts = [f"{name}: {line.said}" if line.said else name for name, line in zip(named, new, strict=True)]
    return "; ".join(texts[:3]) + (" ..." if len(texts) > 3 else "") if texts else _what_changed(kept, earlier, case)


def _what_changed(kept: Kept, earlier: Case, now: Case) -> str:
    """What an entry was about that told no evidence."""
    for name in ("trim_codes", "history"):
        if getattr(earlier, name) != getattr(now, name):
            return VEHICLE[f"last_{name}"]
    if earlier != now:
        about = ("title", "distance_km", "age_years", "numbering")
        of_vehicle = any(getattr(earlier, each) != getattr(now, each) for each in about)
        return VEHICLE["last_vehicle" if of_vehicle else "last"]
    return VEHICLE.get(f"last_{kept.events[-1].kind}", VEHICLE["last"])


def case_page(visit: Visit, template: str, kept: Kept, case: Case, status: int = 200, **what: Any) -> Response:
    """A page of a case, with what every page of it has."""
    title = case.title or SAY["case_number"].format(number=kept.number)
    shared = {
        "kept": kept,
        "case": case,
        "number": kept.number,
        "revision": kept.revision,
        "is_open": kept.standing.outcome is None,
        "dangers": told_cautions(visit.shop.knowledge, case),
        "said": visit.request.query_params.get("said", ""),
    }
    return page(visit, template, title, status, **(shared | what))
