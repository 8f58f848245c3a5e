"""Puts a case, written as in a case file, to the shipped knowledge and the exact engine, and answers by name.

Case text is what a workshop writes, with three short forms so that one row serves every engine: `<all: absent>`,
`<2: present, others: absent>` and `<bank A: present>` fill in the cylinders, and `0.6 x limit return_flow` is that
share of the engine's own limit in its unit. May import: `diag` through its doors, numpy.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from diag.basics import Place
from diag.casebook import Case, read_case
from diag.inference import Array, Posterior, mixture
from diag.knowledge_base import Engine, Knowledge, load_knowledge
from diag.network import CaseNetwork, Weighed, component_states, weigh

__all__ = [
    "ALL",
    "INLINE",
    "NOTHING",
    "PIEZO",
    "SOLENOID",
    "SOME",
    "Asked",
    "Ref",
    "V",
    "ask",
    "case_of",
    "knowledge",
    "told",
]

ALL = ("ostrel_3", "ostrel_4", "velm_5", "karrick_v6", "karrick_v8")
INLINE = ("ostrel_3", "ostrel_4", "velm_5")
V = ("karrick_v6", "karrick_v8")
SOLENOID = ("ostrel_3", "ostrel_4")
PIEZO = ("velm_5", "karrick_v6", "karrick_v8")
SOME = ("ostrel_4", "velm_5", "karrick_v6")  # where five would cost more time than they tell


def told(
    *,
    findings: str = "",
    readings: str = "",
    codes: str = "",
    history: str = "",
    tried: str = "",
    distance: str = "187000 km",
    age: str = "11 years",
    numbering: str | None = None,
) -> str:
    """The text of a case, but for its engine; each part is the inside of that part of a case file.

    Whoever tells of codes or corrections knows to which cylinders they belong, unless a `numbering` is given.
    """
    parts = {
        "findings": f"{{{findings}}}",
        "readings": f"{{{readings}}}",
        "codes": f"[{codes}]",
        "history": f"[{history}]",
        "tried": f"[{tried}]",
    }
    lines = [f"distance: {distance}", f"age: {age}"]
    lines += [f"{name}: {inside}" for name, inside in parts.items() if len(inside) > 2]
    known = "confirmed" if codes or "_code" in findings + tried or "correction" in readings + tried else ""
    lines += [f"numbering: {numbering or known}"] if numbering or known else []
    return "\n".join(lines) + "\n"


NOTHING = told()


@cache
def knowledge() -> Knowledge:
    """The knowledge that ships."""
    return load_knowledge()


@cache
def case_of(engine: str, text: str) -> Case:
    """The case of that text on one of the shipped engines."""
    whole = f"title: a statement of the trade\nengine: {engine}\n" + filled_in(text, knowledge().engines[engine])
    return read_case("statement.yaml", knowledge(), whole)


def filled_in(text: str, engine: Engine) -> str:
    """The text with its short forms written out for one engine."""
    text = re.sub(r"([\d.]+) x limit (\w+)", lambda found: _of_limit(engine, found[2], float(found[1])), text)
    return re.sub(r"<([^<>]*)>", lambda found: _of_cylinders(engine, found[1]), text)


def _of_limit(engine: Engine, limit_id: str, share: float) -> str:
    limit = engine.limits[limit_id]
    assert limit.value is not None, f"{engine.name} has no limit {limit_id}"
    return f"{limit.value * share:.6g} {limit.unit}"


def _of_cylinders(engine: Engine, inside: str) -> str:
    """`2: present, others: absent` as a mapping over the cylinders; 'all' and 'bank A' stand for theirs."""
    said: dict[int, str] = {}
    for who, what in (part.split(":", 1) for part in inside.split(",")):
        if who.strip() in ("all", "others"):
            cylinders = [cylinder for cylinder in engine.cylinders if cylinder not in said]
        elif who.strip().startswith("bank "):
            cylinders = list(engine.banks[who.strip().removeprefix("bank ")])
        else:
            cylinders = [int(who)]
        said |= dict.fromkeys(cylinders, what.strip())
    return "{" + ", ".join(f"{cylinder}: {what}" for cylinder, what in sorted(said.items())) + "}"


@dataclass(frozen=True)
class Ref:
    """A component at a place in one of several states, or, where none is named, in any that is not sound."""

    component: str
    place: Place = None
    states: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A weighed case, asked by name. Terms are written `seal 2`, `injector 2 dribbling`, `glow`, `bank_circuit A loom`,
    `some injector dribbling stuck_open` (at least one cylinder's), `just one injector` (one cylinder's and no other),
    `blow_by 2 strong` (a cylinder's severity), `any fault` (at least one thing to mend).
    """

    engine: str
    weighed: Weighed
    states: Mapping[tuple[str, Place], Array]
    known: dict[str, float] = field(default_factory=dict)

    @property
    def network(self) -> CaseNetwork:
        """The network of the case."""
        return self.weighed.network

    @property
    def posterior(self) -> Posterior:
        """Its posterior."""
        return self.weighed.posterior

    def p(self, component: str, place: Place = None, state: str | None = None) -> float:
        """Probability that a component is in a state now; without a state, that it is not in its first, sound one."""
        chances, names = self.states[component, place], list(knowledge().components[component].states)
        return float(chances[1:].sum() if state is None else chances[names.index(state)])

    def level(self, severity: str, cylinder: Place, level: str | None = None) -> float:
        """Probability that a cylinder's severity is at a level now; without a level, that it is above its first."""
        levels = knowledge().severities[severity].levels
        wanted = levels[1:] if level is None else (level,)
        return sum(
            each.probability
            for each in self.weighed.severities
            if (each.severity, each.place) == (severity, cylinder) and each.level in wanted
        )

    def chance(self, term: str) -> float:
        """Probability of a term; terms joined by '+' are added."""
        return sum(self._one(part.strip()) for part in term.split("+"))

    def refs(self, term: str) -> tuple[Ref, ...]:
        """What a term speaks of."""
        return tuple(_ref(part.strip()) for part in term.split("+"))

    def faults(self) -> list[tuple[float, Ref]]:
        """Every component that is something to mend, with its chance of not being sound, likeliest first."""
        found = [
            (self.p(component, place), Ref(component, place))
            for component, place in self.states
            if knowledge().components[component].fault
        ]
        return sorted(found, key=lambda each: -each[0])

    def _one(self, term: str) -> float:
        if term not in self.known:
            words = term.split()
            if term == "any fault":
                self.known[term] = 1.0 - self._nothing_wrong()
            elif words[0] == "some":
                self.known[term] = 1.0 - self._how_many(words[1], tuple(words[2:]))[0]
            elif words[:2] == ["just", "one"]:
                self.known[term] = self._how_many(words[2], tuple(words[3:]))[1]
            else:
                ref = _ref(term)
                read = self.level if ref.component in knowledge().severities else self.p
                self.known[term] = sum(read(ref.component, ref.place, state) for state in ref.states or (None,))
        return self.known[term]

    def _how_many(self, component: str, states: tuple[str, ...]) -> tuple[float, float]:
        """Exact chances that no cylinder, and that exactly one cylinder, has the component in one of the states:
        expectations of products over cylinders, not products of marginals."""
        names = list(knowledge().components[component].states)
        meant = np.array([[name in (states or names[1:]) for name in names]], dtype=np.float64)
        places: dict[int, int] = {}
        for cylinder in self.network.case.engine.cylinders:
            at = self.network.component_at(component, cylinder)
            assert at is not None, f"{component} is not on each cylinder"
            places[at[0]] = at[1]
        plates = range(len(self.network.model.plates))
        either = {plate: [{at: 1.0 - meant}, {at: meant}] for plate, at in places.items()}
        choices: list[list[dict[int, Array]]] = [either.get(plate, [{}]) for plate in plates]
        found = mixture(self.network.model, self.network.evidence, choices)
        none = float(found.expectation([0 for _ in plates])[0])
        one = sum(float(found.expectation([int(each == plate) for each in plates])[0]) for plate in places)
        return none, one

    def _nothing_wrong(self) -> float:
        """Exact chance that everything that can be mended is sound."""
        network = self.network
        sound: list[dict[int, Array]] = [{} for _ in network.model.plates]
        shared = np.ones(len(network.model.configurations))
        for component, place in self.states:
            if not knowledge().components[component].fault:
                continue
            at = network.component_at(component, place)
            if at is None:
                shared *= network.configuration_states(component, place) == 0
            else:
                sound[at[0]][at[1]] = np.eye(len(knowledge().components[component].states))[:1]
        found = mixture(network.model, network.evidence, [[each] for each in sound], [shared])
        return float(found.expectation([0 for _ in sound])[0])


def _ref(term: str) -> Ref:
    component, *rest = term.split()
    place: Place = None
    if rest and rest[0].isdecimal():
        place = int(rest.pop(0))
    elif rest and re.fullmatch("[A-Z]", rest[0]):
        place = rest.pop(0)
    return Ref(component, place, tuple(rest))


@cache
def ask(engine: str, text: str) -> Asked:
    """Weigh the case of that text on an engine; asked again, the answer is at hand."""
    weighed = weigh(knowledge(), case_of(engine, text))
    return Asked(engine, weighed, component_states(weighed.network, weighed.posterior))
