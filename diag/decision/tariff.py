"""What work costs at this workshop on this engine: jobs, what must be opened, risks, and mending what is left.

Money is before tax, in the currency of the prices; minutes become money at the labour rate. An access kind that
includes others costs its own minutes and, where those are not open yet, theirs too. Days without the vehicle are
access of a kind of their own: a plan waits for the slowest of its parts, as it opens what any of its jobs needs.
May import: knowledge_base, basics, and `sites` of this room.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import msgspec
from msgspec import Struct

from diag.basics import Place
from diag.decision.sites import AccessKey, Job
from diag.knowledge_base import Engine, Knowledge, Repair, Risk

__all__ = ["SPECIALIST", "SPECIALIST_JOB", "WAITING", "WEARING", "JobMoney", "Mending", "Tariff", "tariff_of"]

WAITING = "waiting"  # the kind of access that stands for days without the vehicle; its bank is the day
WEARING = "seal"  # the component whose later failures count, and whose leaving counts as damage

CERTAINLY_HARDER = 50.0  # logarithm of odds: past it every removal goes wrong
MOST_HELD_BY_SHAPE = 20_000  # things, a kilobyte each or so

SPECIALIST = "refer"  # the way out that ends the matter here
SPECIALIST_JOB = Job(SPECIALIST, None)


class JobMoney(Struct, frozen=True):
    """Certain money for doing a job once access is open."""

    labour: float
    parts: float
    charges: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.labour + self.parts + self.charges


class Mending(Struct, frozen=True):
    """How one thing that was left is mended at the return visit: `certain` money, and what may come on top as pairs of
    chance and money. `job`: none where it goes to the specialist."""

    job: Job | None
    certain: float
    risks: tuple[tuple[float, float], ...]

    @property
    def money(self) -> float:
        """Expected money."""
        return self.certain + sum(chance * money for chance, money in self.risks)


class _Mended(Struct, frozen=True):
    """A component at its place, and the jobs that may mend it at the return visit; `alike`: equal for those of which
    the least money is the same, job by job."""

    key: tuple[str, Place]
    jobs: tuple[Job, ...]
    alike: object


class _Shape(Struct, frozen=True):
    """What no number changes: jobs by kind, and of each job what it reaches, needs open, and what must follow it."""

    jobs: dict[str, tuple[Job, ...]] = msgspec.field(default_factory=dict)
    reach: dict[tuple[str, Job], frozenset[tuple[str, Place]]] = msgspec.field(default_factory=dict)
    opens: dict[Job, frozenset[AccessKey]] = msgspec.field(default_factory=dict)
    access: dict[tuple[str, Place], frozenset[AccessKey]] = msgspec.field(default_factory=dict)  # of work at a place
    followers: dict[Job, tuple[Job, ...]] = msgspec.field(default_factory=dict)
    minutes: dict[Job, float] = msgspec.field(default_factory=dict)
    groups: dict[object, tuple[tuple[tuple[str, Place], ...], ...]] = msgspec.field(
        default_factory=dict
    )  # see `parts.groups_of`
    menders: dict[object, tuple[_Mended, ...]] = msgspec.field(default_factory=dict)
    renewing: dict[tuple[str, Place], tuple[Job, ...]] = msgspec.field(default_factory=dict)
    held: dict[object, object] = msgspec.field(default_factory=dict)


@dataclass(frozen=True)
class Tariff:
    """Prices and times of one workshop and one engine. `years[cylinder]`: since its injector was last out."""

    knowledge: Knowledge
    engine: Engine
    years: Mapping[Place, float] = field(default_factory=dict)
    _shape: _Shape = field(default_factory=lambda: _Shape(), compare=False, repr=False)
    held: OrderedDict[object, dict[object, object]] = field(
        default_factory=OrderedDict[object, dict[object, object]], compare=False, repr=False
    )
    _money: dict[Job, JobMoney] = field(default_factory=dict, compare=False, repr=False)
    _alone: dict[str, float] = field(default_factory=dict, compare=False, repr=False)
    _waits: dict[str, frozenset[AccessKey]] = field(default_factory=dict, compare=False, repr=False)
    _risks: dict[object, tuple[tuple[float, float], ...]] = field(default_factory=dict, compare=False, repr=False)

    def under(self, knowledge: Knowledge, years: Mapping[Place, float]) -> Tariff:
        """The same engine under other numbers of the same knowledge: what each job reaches stays as it is."""
        if knowledge is self.knowledge and years == self.years:
            return self
        return Tariff(knowledge, self.engine, years, self._shape)

    def held_for(self, made_of: object) -> dict[object, object]:
        """Where to keep what was worked out with this tariff from things that are equal to these; the latest stay."""
        known = self.held.setdefault(made_of, {})
        self.held.move_to_end(made_of)
        if len(self.held) > HELD:
            self.held.popitem(last=False)
        return known

    @property
    def groups(self) -> dict[object, tuple[tuple[tuple[str, Place], ...], ...]]:
        """What must be decided together, as far as it was asked for (`parts.groups_of`)."""
        return self._shape.groups

    @property
    def held_by_shape(self) -> dict[object, object]:
        """Where to keep what no number changes, for all tariffs of this engine and this build of the knowledge. Ask for
        it anew each time: it is emptied when it has grown large."""
        if len(self._shape.held) > MOST_HELD_BY_SHAPE:
            self._shape.held.clear()
        return self._shape.held

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
        known = self._shape.access.get((access, place))
        if known is None:
            keys = ((kind, bank) for kind in self.kinds(access) for bank in self.banks_of(place))
            known = self._shape.access[access, place] = frozenset(key for key in keys if self.opening_minutes(key) > 0)
        return known

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
        if job in self._shape.followers:
            return self._shape.followers[job]
        found, waiting = [], [job]
        while waiting:
            following = waiting.pop(0)
            if following not in found:
                found.append(following)
                for repair in self.knowledge.repairs[following.repair].then:
                    waiting.append(Job(repair, self.place_for(self.knowledge.repairs[repair].on, following.place)))
        return self._shape.followers.setdefault(job, tuple(found))

    def place_for(self, scope: str, place: Place) -> Place:
        """The place of something `per` cylinder, bank or vehicle that goes with a place."""
        if scope == "vehicle":
            return None
        if scope == "bank" and isinstance(place, int):
            return self.engine.bank_of(place)
        return place

    def job_minutes(self, job: Job) -> float:
        """Minutes of a job once access is open, the awkward ones of its cylinder included."""
        return self.knowledge.repairs[job.repair].minutes.value + self._awkward(job)

    def _awkward(self, job: Job) -> float:
        if not isinstance(job.place, int) or self.knowledge.repairs[job.repair].access == "none":
            return 0.0
        return self.engine.awkward_minutes.get(job.place, 0.0)

    def job_money(self, job: Job) -> JobMoney:
        """Certain money of a job once access is open."""
        known = self._money.get(job)
        if known is None:
            repair = self.knowledge.repairs[job.repair]
            known = JobMoney(self.labour(self.job_minutes(job)), self.parts(repair.parts), repair.money.value)
            self._money[job] = known
        return known

    def job_opens(self, job: Job) -> frozenset[AccessKey]:
        """What a job needs open."""
        known = self._shape.opens.get(job)
        if known is None:
            known = self._shape.opens[job] = self.opens(self.knowledge.repairs[job.repair].access, job.place)
        return known

    def days(self, job: Job) -> float:
        """Days without the vehicle for a job: its own, or those of the part that takes longest."""
        repair = self.knowledge.repairs[job.repair]
        return max([repair.days.value, *(self.knowledge.prices.parts[part].wait_days.value for part in repair.parts)])

    def waits(self, job: Job) -> frozenset[AccessKey]:
        """Days without the vehicle as access: one key for each step of waiting that the job reaches."""
        if job.repair not in self._waits:
            days = self.days(job)
            self._waits[job.repair] = frozenset(key for key in self.waiting if float(key[1]) <= days)
        return self._waits[job.repair]

    @cached_property
    def waiting(self) -> dict[AccessKey, float]:
        """Money for each step of waiting beyond the one before: days that some work takes, times what a day costs."""
        repairs = self.knowledge.repairs.values()
        steps = sorted({day for repair in repairs for day in self._all_days(repair) if day > 0})
        day_money = self.knowledge.prices.customer.day_without_vehicle.value
        if day_money == 0.0:
            return {}
        return {
            (WAITING, f"{day:g}"): (day - before) * day_money for before, day in zip([0.0, *steps], steps, strict=False)
        }

    def days_money(self, jobs: Iterable[Job]) -> float:
        """Money for the days without the vehicle that jobs take together: those of the slowest."""
        days = frozenset[AccessKey]().union(*(self.waits(job) for job in jobs))
        return sum(self.waiting[key] for key in sorted(days))

    def _all_days(self, repair: Repair) -> tuple[float, ...]:
        parts = self.knowledge.prices.parts
        return (repair.days.value, *(parts[part].wait_days.value for part in repair.parts))

    def risk_chances(self, risk: Risk, place: Place, times: float = 1.0) -> dict[str, float]:
        """The chance of a risk at each level of what it hangs on ('always' where on nothing), as it stands at a place.

        Its odds are `times` as high, and those of `older` besides where the injector was not out for so long.
        """
        odds = times
        if risk.older is not None and self.years.get(place, 0.0) >= risk.older.years.value:
            odds *= risk.older.times.value
        chances = {level: figure.value for level, figure in risk.chance.items()}
        if odds == 1.0:
            return chances
        return {level: chance * odds / (1.0 - chance + chance * odds) for level, chance in chances.items()}

    def risk_money(self, risk: Risk) -> float:
        """Money for a complication, where it happens."""
        return self.labour(risk.minutes.value) + self.parts(risk.parts) + risk.money.value

    def alone(self, job: Job) -> float:
        """Certain money of a job with all that follows it, all access, and waiting, from nothing open."""
        if job.repair not in self._alone:
            jobs = self.with_followers(job)
            waiting = self.days_money(jobs)
            repairs = [self.knowledge.repairs[each.repair] for each in jobs]
            minutes = sum(repair.minutes.value for repair in repairs)
            material = sum(self.parts(repair.parts) + repair.money.value for repair in repairs)
            self._alone[job.repair] = self.labour(minutes) + material + waiting
        return self._alone[job.repair] + self.labour(self._minutes_there(job))

    def _minutes_there(self, job: Job) -> float:
        """Minutes that a job with all that follows it takes at its place beyond its own: access and awkward ones."""
        known = self._shape.minutes
        if job not in known:
            jobs = self.with_followers(job)
            keys = frozenset[AccessKey]().union(*(self.job_opens(each) for each in jobs))
            known[job] = sum(self.opening_minutes(key) for key in sorted(keys)) + sum(map(self._awkward, jobs))
        return known[job]

    @cached_property
    def cheapest(self) -> dict[tuple[str, Place], Job]:
        """For each component at its place that some job renews the cheapest such job, the first among equals."""
        found: dict[tuple[str, Place], Job] = {}
        for job in self.jobs():
            for key in self.renewed(job):
                if key not in found or self.alone(job) < self.alone(found[key]):
                    found[key] = job
        return found

    def places(self, scope: str) -> tuple[Place, ...]:
        """All places of something `per` cylinder, bank or vehicle."""
        if scope == "cylinder":
            return self.engine.cylinders
        return tuple(self.engine.banks) if scope == "bank" else (None,)

    def jobs(self, kind: str = "mend") -> tuple[Job, ...]:
        """Every repair of a kind at every place."""
        if kind not in self._shape.jobs:
            self._shape.jobs[kind] = tuple(
                Job(repair_id, place)
                for repair_id, repair in self.knowledge.repairs.items()
                if repair.kind == kind
                for place in self.places(repair.on)
            )
        return self._shape.jobs[kind]

    def complications_if(self, job: Job, component: str, failed: bool) -> float:
        """Expected money for what goes wrong on the way of a job, where a component has failed or is sound.

        The chance of a risk by severity is that which the component's states bring, in the shares in which it fails.
        """
        return sum(chance * money for chance, money in self.risks_if(job, component, failed))

    def risks_if(self, job: Job, component: str, failed: bool, harder: float = 1.0) -> tuple[tuple[float, float], ...]:
        """The same as pairs of chance and money; `harder`: times the odds of what hangs on a severity."""
        key = job.repair, self.years.get(job.place, 0.0), component, failed, harder
        if key not in self._risks:
            self._risks[key] = tuple(
                (self._risk_chance(risk, job.place, (component, failed), harder), self.risk_money(risk))
                for risk in self.knowledge.repairs[job.repair].risks
            )
        return self._risks[key]

    def _risk_chance(self, risk: Risk, place: Place, what: tuple[str, bool], harder: float) -> float:
        component, failed = what
        named = self.risk_chances(risk, place, harder if risk.by is not None else 1.0)
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

    @cached_property
    def mending(self) -> dict[tuple[str, Place], Mending]:
        """Least money for mending each component alone at the return visit, complications included: by a job, else by a
        way out that renews it. What is not in it goes to the specialist. A seal was driven on with, until then.
        """
        customer = self.knowledge.prices.customer
        odds, years = customer.removal_odds_in_a_year.value, customer.driven_on_months.value / 12.0
        harder = odds**years if odds <= 1.0 else math.exp(min(math.log(odds) * years, CERTAINLY_HARDER))
        found: dict[tuple[str, Place], Mending] = {}
        known: dict[object, tuple[int, Mending]] = {}
        for mended in self._menders():
            if mended.alike not in known:
                known[mended.alike] = self._least(mended, harder if mended.key[0] == WEARING else 1.0)
            chosen, mending = known[mended.alike]
            job = mended.jobs[chosen]
            found[mended.key] = mending if mending.job is job else Mending(job, mending.certain, mending.risks)
        return found

    def renewing(self, key: tuple[str, Place]) -> tuple[Job, ...]:
        """The jobs that renew a component at its place."""
        known = self._shape.renewing
        if key not in known:
            known[key] = tuple(job for job in self.jobs() if key in self.renewed(job))
        return known[key]

    def _least(self, mended: _Mended, harder: float) -> tuple[int, Mending]:
        """Which job mends a component for the least money, and the money."""
        least: tuple[float, int, Mending] | None = None
        for number, job in enumerate(mended.jobs):
            alone = self.alone(job)
            if least is not None and alone >= least[0]:
                continue  # what may come on top costs nothing less
            mending = Mending(job, alone, self.risks_if(job, mended.key[0], True, harder))
            if least is None or mending.money < least[0]:
                least = mending.money, number, mending
        assert least is not None, "what no job mends is not asked for"
        return least[1:]

    def _menders(self) -> tuple[_Mended, ...]:
        """Of each component that some job renews these jobs, or else the ways out that do."""
        known, key = self._shape.menders, tuple(self.years.items())
        if key not in known:
            by_key: dict[tuple[str, Place], list[Job]] = {}
            for kind in ("mend", "way out"):
                mine: dict[tuple[str, Place], list[Job]] = {}
                for job in self.jobs(kind):
                    for renewed in self.renewed(job):
                        mine.setdefault(renewed, []).append(job)
                by_key = mine | by_key
            known[key] = tuple(_Mended(key, tuple(jobs), self._alike(key, jobs)) for key, jobs in by_key.items())
        return known[key]

    def _alike(self, key: tuple[str, Place], jobs: Sequence[Job]) -> object:
        there = tuple((job.repair, self._minutes_there(job), self.years.get(job.place, 0.0)) for job in jobs)
        return key[0], there

    def mending_of(self, key: tuple[str, Place]) -> Mending:
        """How one component is mended at the return visit."""
        return self.mending.get(key) or self._handed_on

    @cached_property
    def _handed_on(self) -> Mending:
        """What nothing here mends."""
        return Mending(None, self.specialist(), ())

    @property
    def damage(self) -> float:
        """Money for driving on with a seal that blows, until the return visit."""
        customer = self.knowledge.prices.customer
        return customer.damage_of_driving_on.value + customer.driven_on_months.value * customer.damage_per_month.value

    def renewed(self, job: Job) -> frozenset[tuple[str, Place]]:
        """Components at their places that a job by itself renews."""
        known = self._shape.reach.get(("renews", job))
        return known if known is not None else self._reached("renews", job, self.knowledge.repairs[job.repair].renews)

    def disturbed(self, job: Job) -> frozenset[tuple[str, Place]]:
        """Components at their places that a job by itself disturbs."""
        return self._reached("disturbs", job, self.knowledge.repairs[job.repair].disturbs)

    def _reached(self, how: str, job: Job, components: Iterable[str]) -> frozenset[tuple[str, Place]]:
        if (how, job) not in self._shape.reach:
            self._shape.reach[how, job] = frozenset(
                (component, place)
                for component in components
                for place in self.places_reached(self.knowledge.components[component].per, job.place)
            )
        return self._shape.reach[how, job]

    def places_reached(self, scope: str, place: Place) -> tuple[Place, ...]:
        """Where a job reaches components: at its own place, or all places within it."""
        if scope == "vehicle":
            return (None,)
        if scope == "bank":
            return self.banks_of(place)
        if isinstance(place, int):
            return (place,)
        return self.engine.banks[place] if place is not None else self.engine.cylinders


_LATEST: list[Tariff] = []
HELD = 4


def tariff_of(knowledge: Knowledge, engine: Engine, years: Mapping[Place, float] | None = None) -> Tariff:
    """The tariff of a workshop and an engine; the latest ones are held, for a case asks for its own again and again."""
    since = years if years is not None else {}
    for known in tuple(_LATEST):
        if known.knowledge is knowledge and known.engine is engine and known.years == since:
            return known
    made = Tariff(knowledge, engine, since)
    _LATEST.insert(0, made)
    del _LATEST[HELD:]
    return made
