"""A tiny workshop: few components, so that every world can be written down. All of it is invented for the tests."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch
from diag.knowledge_base import Engine, Knowledge
from diag.network import CaseNetwork, build

BASIS = {"source": "elicited"}
CAUTIONS = {"fire": {"text": "Fuel burns.", "basis": BASIS}}


@dataclass(frozen=True)
class Figures:
    """The numbers that tests turn; chances, kilometres, minutes and money."""

    shape: float = 2.5
    scale: float = 300_000.0
    harsh: float = 0.5
    stress: float = 0.3
    distance: float = 180_000.0
    injector_bad: float = 0.05
    pump_worn: float = 0.06
    access: float = 60.0
    job: float = 30.0
    return_visit: float = 150.0
    damage: float = 200.0
    fresh: float = 0.02
    upset: float = 0.02
    horizon: float = 36.0
    discount: float = 0.04
    refer: float = 900.0


USUAL = Figures()


def components(figures: Figures) -> dict[str, Any]:
    """Seal, injector and pipe on each cylinder; pump and stress once; loom on each bank."""
    two = {"sound": {"name": "sound"}, "bad": {"name": "bad"}}
    plain = {"plain": "a part", "basis": BASIS}
    life = {
        "clock": "distance",
        "shape": figures.shape,
        "scale": figures.scale,
        "unnoticed": 20_000,
        "fails_as": {"weeping": 0.6, "blown": 0.4},
        "scale_under": {"stress": {"harsh": figures.harsh}},
    }
    return {
        "stress": {
            "name": "stress", "per": "vehicle", "reaches_cylinders": True, "fault": False, **plain,
            "states": {"ordinary": {"name": "ordinary"}, "harsh": {"name": "harsh"}},
            "chance": {"harsh": figures.stress},
        },
        "seal": {
            "name": "seal", "per": "cylinder", **plain, "life": life,
            "states": {"sound": {"name": "sound"}, "weeping": {"name": "weeping"}, "blown": {"name": "blown"}},
            "fresh": {"weeping": figures.fresh},
        },
        "injector": {
            "name": "injector", "per": "cylinder", **plain, "chance": {"bad": figures.injector_bad},
            "states": {"sound": {"name": "sound"}, "bad": {"name": "bad", "dangerous": True}}, "fresh": {"bad": 0.01},
        },
        "pipe": {
            "name": "pipe", "per": "cylinder", "states": two, **plain, "chance": {"bad": 0.01}, "fresh": {"bad": 0.001},
            "disturbed": {"bad": figures.upset},
        },
        "pump": {
            "name": "pump", "per": "vehicle", "states": two, **plain, "chance": {"bad": figures.pump_worn},
            "fresh": {"bad": 0.005},
        },
    }  # fmt: skip


def severities() -> dict[str, Any]:
    """How hard it blows on a cylinder, and how rough it runs."""
    return {
        "blow": {
            "name": "blow", "plain": "blowing", "per": "cylinder", "basis": BASIS,
            "levels": ["none", "slight", "strong"],
            "causes": {"seal": {"weeping": {"slight": 0.7, "strong": 0.1}, "blown": {"slight": 0.1, "strong": 0.85}}},
            "background": {"slight": 0.01},
        },
        "rough": {
            "name": "rough", "plain": "rough running", "per": "vehicle", "levels": ["smooth", "rough"], "basis": BASIS,
            "causes": {
                "blow": {"slight": {"rough": 0.2}, "strong": {"rough": 0.5}},
                "injector": {"bad": {"rough": 0.8}},
                "pump": {"bad": {"rough": 0.6}},
            },
            "background": {"rough": 0.05},
        },
    }  # fmt: skip


def findings() -> dict[str, Any]:
    """One finding of each kind of place."""

    def finding(shows: str, **chance: float) -> dict[str, Any]:
        return {
            "name": shows, "ask": "?", "plain": "it", "kind": "observation", "shows": shows, "chance": chance,
            "basis": BASIS,
        }  # fmt: skip

    return {
        "chuff": finding("blow", none=0.03, slight=0.5, strong=0.9),
        "tar": finding("blow", none=0.05, slight=0.4, strong=0.8),
        "spray": finding("injector", sound=0.05, bad=0.9),
        "fuel_jet": {**finding("injector", sound=0.001, bad=0.4), "danger": ["fire"]},
        "shaking": finding("rough", smooth=0.05, rough=0.9),
        "whine": finding("pump", sound=0.1, bad=0.8),
        "idle_talk": finding("pump", sound=0.4, bad=0.4),
    }


def checks() -> dict[str, Any]:
    """One check of each kind of place."""

    def check(covers: str, minutes: float, *yields: str, **more: Any) -> dict[str, Any]:
        return {
            "name": covers, "how": "look", "covers": covers, "yields": list(yields), "minutes": minutes, "basis": BASIS,
            **more,
        }  # fmt: skip

    return {
        "listen": check("cylinder", 3, "chuff"),
        "look": check("bank", 8, "tar", access="covers"),
        "probe": check("cylinder", 20, "spray", access="bare"),
        "drive": check("vehicle", 15, "shaking", needs=["engine_running"]),
        "gauge": check("vehicle", 10, "whine"),
        "chat": check("vehicle", 2, "idle_talk"),
    }


def repairs(figures: Figures) -> dict[str, Any]:
    """Reseal, replace the injector, the pipe or the pump; refer."""

    def repair(on: str, minutes: float, **more: Any) -> dict[str, Any]:
        return {"name": on, "plain": "work", "on": on, "minutes": minutes, "basis": BASIS, **more}

    stuck = {"name": "stuck", "by": "blow", "chance": {"none": 0.02, "slight": 0.1, "strong": 0.3}, "minutes": 120}
    return {
        "reseal": repair(
            "cylinder", figures.job, renews=["seal"], disturbs=["pipe"], parts={"washer": 1}, access="bare",
            risks=[stuck],
        ),
        "replace_injector": repair(
            "cylinder", 45, renews=["injector", "seal"], disturbs=["pipe"], parts={"injector": 1, "washer": 1},
            access="bare", risks=[stuck],
        ),
        "replace_pipe": repair("cylinder", 15, renews=["pipe"], parts={"pipe": 1}, access="covers"),
        "replace_pump": repair("vehicle", 120, renews=["pump"], parts={"pump": 1}),
        "refer": repair("vehicle", 20, kind="way out", money=figures.refer),
        "stop_driving": repair("vehicle", 0, kind="way out"),
    }  # fmt: skip


def engine(banks: dict[str, tuple[int, ...]], access: dict[str, float]) -> dict[str, Any]:
    """An invented engine; `access[bank]`: minutes to lay the injectors bare."""
    cylinders = tuple(number for members in banks.values() for number in members)
    return {
        "name": "tiny", "invented": True, "layout": "V" if len(banks) > 1 else "inline", "injector": "solenoid",
        "banks": banks, "firing_order": cylinders,
        "access_minutes": {"bare": access, "covers": {bank: minutes / 3 for bank, minutes in access.items()}},
    }  # fmt: skip


def knowledge(figures: Figures = USUAL, banks: dict[str, tuple[int, ...]] | None = None) -> Knowledge:
    """The tiny workshop's knowledge, with its one engine 'tiny'."""
    layout = banks if banks is not None else {"A": (1, 2)}
    prices = {
        "currency": "EUR", "labour_per_hour": 60, "tax": 0.2, "finish_minutes": 15, "diagnosis_minutes": 30,
        "basis": BASIS,
        "parts": {
            "washer": {"name": "washer", "price": 5}, "injector": {"name": "injector", "price": 300},
            "pipe": {"name": "pipe", "price": 30}, "pump": {"name": "pump", "price": 400},
        },
        "customer": {
            "km_per_year": 15_000, "horizon_months": figures.horizon, "discount_per_year": figures.discount,
            "return_visit": figures.return_visit, "tow": 100, "damage_of_driving_on": figures.damage,
        },
    }  # fmt: skip
    vocabulary = {
        "access": {
            "covers": {"name": "covers"},
            "bare": {"name": "bare", "includes": ["covers"], "shuts_engine": True},
        },
        "preconditions": {"engine_running": "engine running"},
        "conditions": {},
    }
    return Knowledge.model_validate(
        {
            "components": components(figures), "severities": severities(), "findings": findings(), "readings": {},
            "checks": checks(), "repairs": repairs(figures), "cautions": CAUTIONS, "sources": {}, "answers": {},
            "engines": {"tiny": engine(layout, dict.fromkeys(layout, figures.access))}, "vocabulary": vocabulary,
            "prices": prices,
        }
    )  # fmt: skip


def case_of(known: Knowledge, told: dict[tuple[str, Place], str], distance: float = 180_000.0, **more: Any) -> Case:
    """A case on the tiny engine; `told[(finding, place)]` is 'present' or 'absent'."""
    answers = tuple(Answer(item, place, answer) for (item, place), answer in told.items())
    made: Engine = known.engines["tiny"]
    plain = Case("test", made, "tiny", distance_km=distance, age_years=10.0, epochs=(Epoch(answers=answers),))
    return replace(plain, **more)


def network_of(known: Knowledge, case: Case) -> CaseNetwork:
    """The network of a case."""
    return build(known, case)
