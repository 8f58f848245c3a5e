"""What work costs at this workshop on this engine: jobs, what must be opened, risks, and mending what is left.

Money is before tax, in the currency of the prices; minutes become money at the labour rate. An access kind that
includes others costs its own minutes and, where those are not open yet, theirs too. May import: knowledge_base,
basics, and `sites` of this room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diag.basics import Place
from diag.decision.sites import AccessKey, Job
from diag.knowledge_base import Engine, Knowledge, Risk

__all__ = ["SPECIALIST", "SPECIALIST_JOB", "JobMoney", "Tariff"]

SPECIALIST = "refer"  # the way out that ends the matter here
SPECIALIST_JOB = Job(SPECIALIST, None)


@dataclass(frozen=True)
class JobMoney:
    """Certain money for doing a job once access is open."""

    labour: float
    parts: float
    charges: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.labour + self.parts + self.charges


@dataclass(frozen=True)
class Tariff:
    """Prices and times of one workshop and one engine."""

    knowledge: Knowledge
    engine: Engine
    _reach: dict[tuple[str, Job], frozenset[tuple[str, Place]]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def rate_per_minute(self) -> float:
        """Money for a minute of labour."""
        return self.knowledge.prices.labour_per_hour.value / 60.0

    def labour(self, minutes: float) -> float:
        """Money for minutes of work."""
        return minutes * self.rate_per_minute

    def parts(self, counts: Mapping[str, int]) -> float:
        """Money for parts."""
        return sum(count * self.knowledge.prices.parts[part].price.value for part, count in counts.items())

    def banks_of(self, place: Place) -> tuple[str, ...]:
        """The banks that work at a place has to do with: a vehicle's, with all."""
        if isinstance(place, int):
            return (self.engine.bank_of(place),)
        return (place,) if place is not None else tuple(self.engine.banks)

    def kinds(self, access: str) -> tuple[str, ...]:
        """An access kind and all that it includes, without repetition; nothing for 'none'."""
        found: list[str] = []
        waiting = [access]
        while waiting:
            kind = waiting.pop()
            if kind not in found and kind in self.knowledge.vocabulary.access:
                found.append(kind)
                waiting += self.knowledge.vocabulary.access[kind].includes
        return tuple(found)

    def opens(self, access: str, place: Place) -> frozenset[AccessKey]:
        """What must be open for work at a place."""
        return frozenset(
            (kind, bank)
            for kind in self.kinds(access)
            for bank in self.banks_of(place)
            if self.opening_minutes((kind, bank)) > 0
        )

    def opening_minutes(self, key: AccessKey) -> float:
        """Minutes for one access kind at one bank, without those it includes."""
        kind, bank = key
        return self.engine.access_minutes.get(kind, {}).get(bank, 0.0)

    def opening(self, keys: Iterable[AccessKey]) -> float:
        """Money for opening all of these."""
        return self.labour(sum(self.opening_minutes(key) for key in sorted(keys)))

    def open_already(self, open_access: Iterable[AccessKey]) -> frozenset[AccessKey]:
        """What is open now, with all that it includes."""
        return frozenset((inner, bank) for kind, bank in open_access for inner in self.kinds(kind))

    def with_followers(self, job: Job) -> tuple[Job, ...]:
        """A job and everything that must follow it, in order."""
        found, waiting = [], [job]
        while waiting:
            following = waiting.pop(0)
            if following not in found:
                found.append(following)
                for repair in self.knowledge.repairs[following.repair].then:
                    waiting.append(Job(repair, self.place_for(self.knowledge.repairs[repair].on, following.place)))
        return tuple(found)

    def place_for(self, scope: str, place: Place) -> Place:
        """The place of something `per` cylinder, bank or vehicle that goes with a place."""
        if scope == "vehicle":
            return None
        if scope == "bank" and isinstance(place, int):
            return self.engine.bank_of(place)
        return place

    def job_minutes(self, job: Job) -> float:
        """Minutes of a job once access is open, the awkward ones of its cylinder included."""
        repair = self.knowledge.repairs[job.repair]
        awkward = self.engine.awkward_minutes.get(job.place, 0.0) if isinstance(job.place, int) else 0.0
        return repair.minutes.value + (awkward if repair.access != "none" else 0.0)

    def job_money(self, job: Job) -> JobMoney:
        """Certain money of a job once access is open."""
        repair = self.knowledge.repairs[job.repair]
        return JobMoney(self.labour(self.job_minutes(job)), self.parts(repair.parts), repair.money.value)

    def job_opens(self, job: Job) -> frozenset[AccessKey]:
        """What a job needs open."""
        return self.opens(self.knowledge.repairs[job.repair].access, job.place)

    def risk_money(self, risk: Risk) -> float:
        """Money for a complication, where it happens."""
        return self.labour(risk.minutes.value) + self.parts(risk.parts) + risk.money.value

    def alone(self, job: Job) -> float:
        """Certain money of a job with all that follows it and all access, from nothing open."""
        jobs = self.with_followers(job)
        keys = frozenset[AccessKey]().union(*(self.job_opens(each) for each in jobs))
        return sum(self.job_money(each).total for each in jobs) + self.opening(keys)

    def places(self, scope: str) -> tuple[Place, ...]:
        """All places of something `per` cylinder, bank or vehicle."""
        if scope == "cylinder":
            return self.engine.cylinders
        return tuple(self.engine.banks) if scope == "bank" else (None,)

    def jobs(self, kind: str = "mend") -> tuple[Job, ...]:
        """Every repair of a kind at every place."""
        return tuple(
            Job(repair_id, place)
            for repair_id, repair in self.knowledge.repairs.items()
            if repair.kind == kind
            for place in self.places(repair.on)
        )

    def complications_if(self, job: Job, component: str, failed: bool) -> float:
        """Expected money for what goes wrong on the way of a job, where a component has failed or is sound.

        The chance of a risk by severity is that which the component's states bring, in the shares in which it fails.
        """
        total = 0.0
        for risk in self.knowledge.repairs[job.repair].risks:
            total += self._risk_chance(risk, component, failed) * self.risk_money(risk)
        return total

    def _risk_chance(self, risk: Risk, component: str, failed: bool) -> float:
        named = {key: figure.value for key, figure in risk.chance.items()}
        severity = self.knowledge.severities.get(risk.by) if risk.by is not None else None
        if severity is None:
            return max(named.values())
        known = self.knowledge.components[component]
        unsound = list(known.states)[1:]
        lowest = named.get(severity.levels[0], 0.0)
        if not failed or component not in severity.causes:
            return lowest
        shares = {state: figure.value for state, figure in known.life.fails_as.items()} if known.life else {}
        total = sum(shares.get(state, 0.0) for state in unsound)
        chance = 0.0
        for state in unsound:
            share = shares.get(state, 0.0) / total if total > 0 else 1.0 / len(unsound)
            levels = {level: figure.value for level, figure in severity.causes[component].get(state, {}).items()}
            above = sum(p * named.get(level, 0.0) for level, p in levels.items())
            chance += share * (above + (1.0 - sum(levels.values())) * lowest)
        return chance

    def specialist(self) -> float:
        """Money for handing it on, where nothing here mends a thing; 0 where the knowledge names no such way out."""
        return self.alone(SPECIALIST_JOB) if SPECIALIST in self.knowledge.repairs else 0.0

    def mending(self) -> dict[tuple[str, Place], float]:
        """Least money for mending each component alone at the return visit, complications included: by a job, else by a
        way out that renews it. What is not in it goes to the specialist.
        """
        found: dict[tuple[str, Place], float] = {}
        for kind in ("mend", "way out"):
            least: dict[tuple[str, Place], float] = {}
            for job in self.jobs(kind):
                alone = self.alone(job)
                for key in self.renewed(job):
                    money = alone + self.complications_if(job, key[0], True)
                    least[key] = min(money, least.get(key, money))
            found = {**least, **found}
        return found

    def renewed(self, job: Job) -> frozenset[tuple[str, Place]]:
        """Components at their places that a job by itself renews."""
        return self._reached("renews", job, self.knowledge.repairs[job.repair].renews)

    def disturbed(self, job: Job) -> frozenset[tuple[str, Place]]:
        """Components at their places that a job by itself disturbs."""
        return self._reached("disturbs", job, self.knowledge.repairs[job.repair].disturbs)

    def _reached(self, how: str, job: Job, components: Iterable[str]) -> frozenset[tuple[str, Place]]:
        if (how, job) not in self._reach:
            self._reach[how, job] = frozenset(
                (component, place)
                for component in components
                for place in self._places_reached(self.knowledge.components[component].per, job.place)
            )
        return self._reach[how, job]

    def _places_reached(self, scope: str, place: Place) -> tuple[Place, ...]:
        """Where a job reaches components: at its own place, or all places within it."""
        if scope == "vehicle":
            return (None,)
        if scope == "bank":
            return self.banks_of(place)
        if isinstance(place, int):
            return (place,)
        return self.engine.banks[place] if place is not None else self.engine.cylinders
