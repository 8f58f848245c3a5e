"""From the knowledge check, the engines and the demo cases to their sheets. May import: knowledge_base, the sheets."""

from __future__ import annotations

from collections.abc import Mapping

from diag.knowledge_base import Engine, Knowledge, KnowledgeReport
from diag.report.explain import KINDS, entries
from diag.report.sheets_knowledge import ComplaintLine, ComplaintsSheet, EngineLine, EnginesSheet, SizeLine

__all__ = ["blanks_of", "complaints_sheet", "engines_sheet"]


def complaints_sheet(knowledge: Knowledge, report: KnowledgeReport) -> ComplaintsSheet:
    """What the knowledge check has to say, what should be put right first."""
    complaints = [ComplaintLine(one.weight, str(one)) for one in (*report.faults, *report.notes)]
    sizes = tuple(
        SizeLine(size.engine, size.cylinders, size.configurations, size.local_states, size.shared_symptoms)
        for size in report.sizes
    )
    counts = {kind: len(entries(knowledge, kind)) for kind in KINDS}
    return ComplaintsSheet(tuple(complaints), sizes, counts)


def engines_sheet(engines: Mapping[str, Engine]) -> EnginesSheet:
    """The engines, each with what is still blank."""
    return EnginesSheet(tuple(_engine(id_, engine) for id_, engine in engines.items()))


def _engine(id_: str, engine: Engine) -> EngineLine:
    return EngineLine(
        engine=id_,
        name=engine.name,
        layout=engine.layout,
        injector=engine.injector,
        banks=dict(engine.banks),
        firing_order=engine.firing_order,
        invented=engine.invented,
        blanks=blanks_of(engine),
    )


def blanks_of(engine: Engine) -> tuple[str, ...]:
    """What only the maker knows and nobody has written yet."""
    blanks = [name for name, torque in engine.torques.items() if torque.newton_metres is None]
    blanks += [name for name, limit in engine.limits.items() if limit.value is None]
    blanks += ["trim_code"] if engine.trim_code.length is None else []
    blanks += ["wait_after_stop_minutes"] if engine.wait_after_stop_minutes is None else []
    return tuple(name.replace("_", " ") for name in blanks)
