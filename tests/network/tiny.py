"""A very small workshop for tests: two cylinders, a few components, enough of everything that the language can say.

All of it is invented, and its chances are far too large for any workshop, so that an error shows.
May import: the records of `diag.knowledge_base` and `diag.casebook`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.casebook import Answer, Case, Epoch, Measured, Work
from diag.knowledge_base import Engine, Knowledge

__all__ = ["JUDGED", "case_of", "engine", "prices", "tiny_knowledge"]

JUDGED = {"source": "elicited"}
ORDERS = {1: (1,), 2: (1, 2), 3: (1, 3, 2), 4: (1, 3, 4, 2), 6: (1, 4, 2, 5, 3, 6)}


def engine(cylinders: int, banks: int = 1, limits: Mapping[str, tuple[float, str]] | None = None) -> Engine:
    """An invented engine; banks share the cylinders in the order of their numbers."""
    numbers, size = list(range(1, cylinders + 1)), cylinders // banks
    return Engine.model_validate(
        {
            "name": "invented test engine",
            "invented": True,
            "layout": "V" if banks > 1 else "inline",
            "injector": "solenoid",
            "banks": {"AB"[bank]: numbers[bank * size : (bank + 1) * size] for bank in range(banks)},
            "firing_order": ORDERS[cylinders],
            "access_minutes": {},
            "limits": {name: {"value": value, "unit": unit} for name, (value, unit) in (limits or {}).items()},
        }
    )


def prices() -> dict[str, object]:
    """Prices that nothing here depends on, save the kilometres of a year."""
    customer = {
        "km_per_year": 12000, "horizon_months": 36, "discount_per_year": 0.03,
        "return_visit": 1, "tow": 1, "damage_of_driving_on": 1,
    }  # fmt: skip
    return {
        "currency": "EUR", "labour_per_hour": 1, "tax": 0.2, "finish_minutes": 1, "diagnosis_minutes": 1,
        "parts": {}, "customer": customer, "basis": JUDGED,
    }  # fmt: skip


def component(per: str, states: Sequence[str], **more: object) -> dict[str, object]:
    """A component of the knowledge."""
    named = {state: {"name": state} for state in states}
    return {"name": f"the {per}'s thing", "plain": "a thing", "per": per, "states": named, "basis": JUDGED, **more}


def severity(per: str, levels: Sequence[str], causes: object, **more: object) -> dict[str, object]:
    """A severity of the knowledge."""
    return {
        "name": "how much", "plain": "how much", "per": per, "levels": levels, "causes": causes, "basis": JUDGED,
        **more,
    }  # fmt: skip


def finding(shows: str, chance: object, **more: object) -> dict[str, object]:
    """A finding of the knowledge."""
    return {
        "name": f"finding of {shows}", "ask": "?", "plain": "it", "kind": "symptom", "shows": shows, "chance": chance,
        "basis": JUDGED, **more,
    }  # fmt: skip


def repair(
    on: str, renews: Sequence[str], disturbs: Sequence[str] = (), moves: Sequence[str] = ()
) -> dict[str, object]:
    """A repair of the knowledge; one that moves something is an exchange."""
    return {
        "name": f"swap {moves[0]}" if moves else f"renew {renews[0]}", "plain": "mend", "on": on, "renews": renews,
        "disturbs": disturbs, "moves": moves, "kind": "exchange" if moves else "mend", "minutes": 1, "basis": JUDGED,
    }  # fmt: skip


COMPONENTS = {
    "seal": component(
        "cylinder", ["sound", "weeping", "blown"], chance={"weeping": 0.2, "blown": 0.1},
        given={"stress": {"harsh": {"weeping": 0.3, "blown": 0.35}}}, fresh={"weeping": 0.06, "blown": 0.02},
        disturbed={"weeping": 0.15},
    ),
    "injector": component("cylinder", ["sound", "weak"], chance={"weak": 0.25}, fresh={"weak": 0.08}),
    "stress": component(
        "vehicle", ["ordinary", "harsh"], chance={"harsh": 0.3}, reaches_cylinders=True, fault=False
    ),
    "loom": component(
        "bank", ["sound", "broken"], chance={"broken": 0.15}, fresh={"broken": 0.04}, reaches_cylinders=True
    ),
    "pump": component("vehicle", ["sound", "worn"], chance={"worn": 0.2}, fresh={"worn": 0.05}),
}  # fmt: skip
SEVERITIES = {
    "blow": severity(
        "cylinder", ["none", "slight", "strong"],
        {"seal": {"weeping": {"slight": 0.6, "strong": 0.1}, "blown": {"slight": 0.2, "strong": 0.75}}},
        background={"slight": 0.02},
    ),
    "giving": severity(
        "cylinder", ["even", "under"],
        {"injector": {"weak": {"under": 0.8}}, "seal": {"blown": {"under": 0.4}}, "loom": {"broken": {"under": 0.7}}},
        background={"under": 0.01},
    ),
    "rail": severity(
        "vehicle", ["normal", "slow"],
        {"pump": {"worn": {"slow": 0.7}}, "giving": {"under": {"slow": 0.2}}, "loom": {"broken": {"slow": 0.3}}},
        background={"slow": 0.03},
    ),
    "start": severity(
        "vehicle", ["normal", "long", "none"],
        {
            "rail": {"normal": {}, "slow": {"long": 0.6, "none": 0.2}},
            "giving": {"under": {"long": 0.3, "none": 0.05}},
            "blow": {"slight": {"long": 0.05}, "strong": {"long": 0.2, "none": 0.1}},
        },
        background={"long": 0.02, "none": 0.01},
    ),
    "rough": severity(
        "vehicle", ["smooth", "rough"],
        {"start": {"long": {"rough": 0.2}, "none": {"rough": 0.3}}, "giving": {"under": {"rough": 0.8}},
         "rail": {"slow": {"rough": 0.25}}},
        background={"rough": 0.02},
    ),
}  # fmt: skip
FINDINGS = {
    "chuff": finding(
        "blow", {"none": 0.05, "slight": 0.5, "strong": 0.9}, under={"load": {"slight": 0.7, "strong": 0.95}},
        lasting=0.6,
    ),
    "tar": finding("seal", {"sound": 0.02, "weeping": 0.4, "blown": 0.7}),
    "weak_code": finding("giving", {"even": 0.03, "under": 0.6}),
    "loom_code": finding("loom", {"sound": 0.04, "broken": 0.8}),
    "pump_noise": finding("pump", {"sound": 0.1, "worn": 0.6}),
    "slow_rail": finding("rail", {"normal": 0.05, "slow": 0.85}),
    "hard_start": finding("start", {"normal": 0.04, "long": 0.8, "none": 0.97}),
    "rough_idle": finding(
        "rough", {"smooth": 0.06, "rough": 0.9}, under={"cold": {"smooth": 0.1, "rough": 0.8}}, lasting=0.5,
    ),
}  # fmt: skip
READINGS = {
    "correction": {
        "name": "correction", "ask": "?", "plain": "it", "shows": "giving", "unit": "mg/stroke",
        "spread": {"even": {"middle": 0.0, "width": 1.0}, "under": {"middle": 2.0, "width": 1.5}},
        "instrument_error": 0.3, "lowest": -10, "highest": 10, "basis": JUDGED,
    },
}  # fmt: skip
REPAIRS = {
    "reseal": repair("cylinder", ["seal"]),
    "new_injector": repair("cylinder", ["injector"], ["seal"]),
    "mend_loom": repair("bank", ["loom"]),
    "new_pump": repair("vehicle", ["pump"]),
}


def tiny_knowledge(**changed: Mapping[str, object]) -> Knowledge:
    """The small knowledge; `changed` replaces whole kinds, such as components or findings."""
    whole: dict[str, object] = {
        "components": COMPONENTS, "severities": SEVERITIES, "findings": FINDINGS, "readings": READINGS,
        "repairs": REPAIRS, "checks": {}, "engines": {}, "cautions": {}, "sources": {},
        "answers": {"a_bit": {"name": "a bit", "ratio": 4, "basis": JUDGED}},
        "vocabulary": {"access": {}, "preconditions": {}, "conditions": {}}, "prices": prices(),
    }  # fmt: skip
    return Knowledge.model_validate({**whole, **changed})


def case_of(
    of: Engine,
    *epochs: tuple[Sequence[Work], Sequence[Answer]],
    measured: Sequence[Measured] = (),
    history: Sequence[Work] = (),
) -> Case:
    """A case from pairs of work and answers; `measured` belongs to the last epoch."""
    told = [Epoch(tuple(work), tuple(answers)) for work, answers in epochs]
    last = Epoch(told[-1].work, told[-1].answers, tuple(measured))
    return Case("a test", of, "test", 120_000.0, 10.0, tuple(history), (*told[:-1], last))
