"""Plans drawn at random on every engine, and the sheet that they give."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from hypothesis import strategies as st

from diag.basics import Place
from diag.casebook import Case
from diag.decision import Job, Tariff
from diag.knowledge_base import Engine, Knowledge, Torque, load_knowledge
from diag.report import WorkSheet, work_sheet
from diag.worksheet import Chosen, Work, work_of

KNOWLEDGE: Knowledge = load_knowledge()
ENGINES = tuple(KNOWLEDGE.engines)


def case_of(engine: Engine | str) -> Case:
    """A case of which only the engine is known."""
    known = KNOWLEDGE.engines[engine] if isinstance(engine, str) else engine
    return Case(title="made up", engine=known, engine_id="made_up")


def places_of(engine: Engine, repair: str) -> tuple[Place, ...]:
    scope = KNOWLEDGE.repairs[repair].on
    return {"cylinder": engine.cylinders, "bank": tuple(engine.banks), "vehicle": (None,)}[scope]  # type: ignore[return-value]


def chosen(engine: Engine, *jobs: Job) -> Chosen:
    tariff = Tariff(KNOWLEDGE, engine)
    return Chosen("made up", tuple(dict.fromkeys(each for job in jobs for each in tariff.with_followers(job))))


def work(case: Case, *jobs: Job) -> Work:
    return work_of(KNOWLEDGE, case, chosen(case.engine, *jobs))


def sheet(case: Case, *jobs: Job) -> WorkSheet:
    return work_sheet(KNOWLEDGE, case, work(case, *jobs))


def without_torques(engine: Engine) -> Engine:
    return engine.model_copy(update={"torques": {}})


def with_torques(engine: Engine, **torques: Torque) -> Engine:
    return engine.model_copy(update={"torques": torques})


def opened(case: Case, *keys: tuple[str, str]) -> Case:
    return replace(case, open_access=keys)


@cache
def all_jobs(engine: str) -> tuple[Job, ...]:
    """Every repair and way out at every place."""
    known = KNOWLEDGE.engines[engine]
    return tuple(Job(repair, place) for repair in KNOWLEDGE.repairs for place in places_of(known, repair))


@st.composite
def plans(draw: st.DrawFn) -> tuple[Case, tuple[Job, ...]]:
    """An engine, and up to twelve jobs on it."""
    engine = draw(st.sampled_from(ENGINES))
    jobs = draw(st.lists(st.sampled_from(all_jobs(engine)), min_size=1, max_size=12, unique=True))
    return case_of(engine), tuple(jobs)


@st.composite
def injector_plans(draw: st.DrawFn) -> tuple[Case, dict[int, str]]:
    """An engine, and for some of its cylinders a repair that takes the injector out."""
    engine = draw(st.sampled_from(ENGINES))
    cylinders = draw(st.lists(st.sampled_from(KNOWLEDGE.engines[engine].cylinders), min_size=1, unique=True))
    repairs = st.sampled_from(("reseal", "replace_injector", "mend_compression", "bench_test"))
    return case_of(engine), {cylinder: draw(repairs) for cylinder in sorted(cylinders)}
