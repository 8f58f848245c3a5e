"""A small knowledge and books of cases drawn from it, invented from end to end: what is true is known, so learning can
be held to it. Of a cylinder only what was opened is told, as in a workshop.

May import: numpy, `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Measured
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson
from diag.network import build, chance_by_level
from diag.store import Fitted, Found, Outcome
from tests.support.simulate import simulate

__all__ = ["casebook", "changed", "small_knowledge"]

COMPONENTS = ("seal_stress", "seal", "clamp", "air_path", "unlisted")
SEVERITIES = ("blow_by", "gas_escape")
FINDINGS = ("fumes", "tar")


def small_knowledge() -> Knowledge:
    """Seals, clamps, the air path and what is not listed; two degrees; two findings and a reading; all from what ships,
    with faults frequent enough to be met."""
    whole = load_knowledge()
    severities = {
        name: whole.severities[name].model_copy(
            update={"causes": {c: t for c, t in whole.severities[name].causes.items() if c in (*COMPONENTS, "blow_by")}}
        )
        for name in SEVERITIES
    }
    small = whole.model_copy(
        update={
            "components": {name: whole.components[name] for name in COMPONENTS},
            "severities": severities,
            "findings": {name: whole.findings[name] for name in FINDINGS},
            "readings": {"cabin_co": whole.readings["cabin_co"].model_copy(update={"decimals": 3})},
            "repairs": {
                name: repair.model_copy(
                    update={
                        "renews": tuple(c for c in repair.renews if c in COMPONENTS),
                        "disturbs": tuple(c for c in repair.disturbs if c in COMPONENTS),
                    }
                )
                for name, repair in whole.repairs.items()
            },
        }
    )
    return changed(
        small,
        {
            ("components", "clamp", "chance", "loose"): 0.02,
            ("components", "air_path", "chance", "leaking"): 0.04,
            ("components", "seal", "life", "unnoticed"): 30000.0,
            ("readings", "cabin_co", "instrument_error"): 0.05,
        },
    )


def changed(knowledge: Knowledge, values: dict[tuple[str, ...], float]) -> Knowledge:
    """The same with other figures."""
    from diag.learning import with_values

    return with_values(knowledge, values)


def casebook(knowledge: Knowledge, wanted: int, seed: int, engine: str = "ostrel_3") -> list[Lesson]:
    """Closed cases of vehicles that someone complained of (fumes). Every cylinder with tar on it is opened, and then
    what its seal and clamp were is told as seen, nothing of the others; of the air path it is told in half of them."""
    random = np.random.default_rng(seed)
    lessons: list[Lesson] = []
    while len(lessons) < wanted:
        km = float(random.choice([100, 200])) * 1000
        case = Case("invented", knowledge.engines[engine], engine, km, km / 20000)
        network = build(knowledge, case)
        drawn = simulate(network.model, 400, int(random.integers(1 << 31)))
        chosen = _lessons(knowledge, network, case, drawn, random)
        lessons += chosen[: max(1, wanted // 12)]
    return [replace(lesson, number=n + 1) for n, lesson in enumerate(lessons[:wanted])]


def _lessons(knowledge, network, case, drawn, random):  # type: ignore[no-untyped-def]
    levels = list(knowledge.severities["gas_escape"].levels)
    fumes, tar = chance_by_level(knowledge, "fumes", None), chance_by_level(knowledge, "tar", None)
    number = network.targets.chain.nodes["gas_escape"].shared
    found = []
    for draw in range(len(drawn["configuration",])):
        gas = int(drawn["shared", number, 0][draw])
        if random.random() >= fumes[gas]:
            continue  # nobody complains: there is no case
        answers, truths, fitted = [Answer("fumes", None, PRESENT)], [], []
        for cylinder in case.engine.cylinders:
            plate, axes = network.targets.axes["blow_by", cylinder]
            level = int(drawn["axis", plate, axes[0]][draw])
            stands = random.random() < tar[level]
            answers.append(Answer("tar", cylinder, PRESENT if stands else ABSENT))
            if stands:
                fitted.append(Fitted("reseal", cylinder))
                truths += _truth(knowledge, network, drawn, draw, ("seal", "clamp"), cylinder)
        if random.random() < 0.5:
            truths += _truth(knowledge, network, drawn, draw, ("air_path",), None)
            fitted.append(Fitted("clean_air_path", None))
        law = knowledge.readings["cabin_co"].spread[levels[gas]]
        value = law.middle.value * np.exp(law.width.value * random.standard_normal())
        shown = float(value + 0.05 * random.standard_normal())
        measured = (Measured("cabin_co", None, round(shown, 3), "ppm"),)
        told = replace(case, epochs=(Epoch((), tuple(answers), measured),))
        found.append(Lesson(0, "", told, Outcome("yes" if truths else "no", tuple(truths), tuple(fitted)), ""))
    return found


def _truth(knowledge, network, drawn, draw, names, place):  # type: ignore[no-untyped-def]
    truths = []
    for name in names:
        plate, index = network.targets.components[name, place]
        state = list(knowledge.components[name].states)[int(drawn["component", plate, index[0]][draw])]
        if state != knowledge.components[name].sound:
            truths.append(Found(name, state, place, "seen"))
    return truths
