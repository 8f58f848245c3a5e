"""What a worker process does: holds the knowledge, weighs cases, and keeps what it worked out of the last ones.

Each function takes a case and gives a sheet, as the command line does; steps that were done for a case are not done
again for its next sheet. May import: the rooms below.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from msgspec import structs

from diag.basics import DiagError, Place, TooLarge, UsageError, keep_freed, search_seldom
from diag.casebook import Case, demo_cases, load_case
from diag.knowledge_base import Engine, Knowledge, load_knowledge, with_values
from diag.web.reckoning_class import CLASS_JOBS, DOUBT_JOBS
from diag.web.sliders import Money, Slider, slider, slider_ends

if TYPE_CHECKING:
    from diag.decision import Advice, Job, OptionSpread, Reckoning, RepairDecision, Tested
    from diag.network import Weighed
    from diag.report import (
        CustomerPage,
        DoubtLine,
        EstimateSheet,
        NextSheet,
        OptionLine,
        RepairSheet,
        ScoreSheet,
        WeighSheet,
        WhySheet,
        WorkSheet,
    )
    from diag.store import Likeness

__all__ = ["JOBS", "Desk", "Money", "Slider", "begin", "rehearse", "run", "under"]

KEPT = 64
DEAREST = 2
LEAST_LEFT, MOST_LEFT = 0.01, 8
COMBINATIONS = 4
REHEARSED = "one_blown_seal"  # a small case in which all that a bay shows is reckoned
Made = TypeVar("Made")


class Desk:
    """The knowledge, and what was worked out of the last cases, by the key of the case."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._engines: OrderedDict[str, Engine] = OrderedDict(knowledge.engines)
        self._made: OrderedDict[tuple[object, ...], object] = OrderedDict()
        self._lock = threading.RLock()

    def own(self, case: Case) -> Case:
        """The same case about the engine that is here already. One that comes from another process, or from the book,
        brings a copy of it, and what was laid out for an engine is found by the engine itself."""
        with self._lock:
            known = self._engines.pop(case.engine_id, case.engine)
            if known != case.engine:  # its file was written anew
                known = case.engine
            self._engines[case.engine_id] = known
            while len(self._engines) > KEPT:
                self._engines.popitem(last=False)
        return case if known is case.engine else replace(case, engine=known)

    def once(self, key: tuple[object, ...], make: Callable[[], Made]) -> Made:
        """Made the first time, remembered after that."""
        with self._lock:
            if key not in self._made:
                self._made[key] = make()
                while len(self._made) > KEPT:
                    self._made.popitem(last=False)
            self._made.move_to_end(key)
            found: Any = self._made[key]
            return found  # type: ignore[no-any-return]

    def weighed(self, key: str, case: Case) -> Weighed:
        """The case weighed."""
        from diag.network import weigh

        return self.once((key, "weighed"), lambda: weigh(self.knowledge, case))

    def ready(self, key: str, case: Case, told: Money = ()) -> Reckoning:
        """The case made ready for decisions; under other money with the belief and the treatments that it has."""
        from diag.decision import reckon, repriced

        if told:
            held, paying = self.held(key, case)
            return self.once((key, "ready", told), lambda: repriced(held, under(self.knowledge, told), paying))
        weighed = self.weighed(key, case)
        made = partial(reckon, self.knowledge, case, weighed.network, weighed.posterior)
        return self.once((key, "ready", ()), made)

    def held(self, key: str, case: Case) -> tuple[Reckoning, tuple[tuple[Job, ...], ...]]:
        """The case made ready with every treatment that may pay anywhere on the sliders, and these treatments: all of
        them are looked for at the ends of each slider and of all together, as money alone changes there."""
        from diag.decision import reckon, treatments_wanted

        ready, weighed = self.ready(key, case), self.weighed(key, case)

        def made() -> tuple[Reckoning, tuple[tuple[Job, ...], ...]]:
            paying: dict[tuple[Job, ...], None] = {}
            for ends in slider_ends(sliders(self, key, case)):
                paying |= dict.fromkeys(treatments_wanted(ready, under(self.knowledge, ends)))
            paid = tuple(paying)
            return reckon(self.knowledge, case, weighed.network, weighed.posterior, paid), paid

        return self.once((key, "held"), made)

    def decided(self, key: str, case: Case, told: Money = ()) -> RepairDecision:
        """The repair decision."""
        from diag.decision import decide_repair

        ready = self.ready(key, case, told)
        return self.once((key, "decided", told), lambda: decide_repair(ready))

    def tested(self, key: str, case: Case, slid: bool = False) -> Tested | None:
        """What testing the suspected parts first may tell; `slid`: with the treatments that may pay on the sliders."""
        from diag.decision import tested_of

        ready = self.held(key, case)[0] if slid else self.ready(key, case)
        return self.once((key, "tested", slid), lambda: tested_of(ready))

    def offered(self, key: str, case: Case, told: Money = ()) -> RepairDecision:
        """The same with 'test first, then decide' among the options: what can be shown, asked for and priced."""
        from diag.decision import with_first_tested

        ready, decision = self.ready(key, case, told), self.decided(key, case, told)
        tested = self.tested(key, case, bool(told))  # money changes nothing of it
        return self.once((key, "offered", told), lambda: with_first_tested(ready, decision, tested))

    def advice(self, key: str, case: Case) -> Advice:
        """The decision with the checks ranked."""
        from diag.decision import advise_on, with_test_as_option

        ready, decision = self.ready(key, case), self.decided(key, case)

        def ranked() -> Advice:
            return with_test_as_option(ready, advise_on(ready, decision=decision), checks_alone=True)

        return self.once((key, "advice"), ranked)

    def spreads(self, key: str, case: Case) -> Mapping[str, OptionSpread]:
        """How the options spread; nothing where it cannot be drawn."""
        from diag.decision import spreads_of
        from diag.worksheet import as_estimated

        ready, decision = self.ready(key, case), self.offered(key, case)

        def drawn() -> Mapping[str, OptionSpread]:
            try:
                return as_estimated(ready, case, decision, spreads_of(ready, decision))
            except TooLarge:
                return {}

        return self.once((key, "spreads"), drawn)


def under(knowledge: Knowledge, told: Money) -> Knowledge:
    """The knowledge with other money: `told` names figures of the prices, such as `customer.horizon_months`."""
    if not told:
        return knowledge
    return with_values(knowledge, {("prices", *name.split(".")): value for name, value in told})


# ---- the jobs -------------------------------------------------------------------------------------------------


def belief(desk: Desk, key: str, case: Case) -> WeighSheet:
    """What is believed, as quickly as may be: without how far the findings agree. Raises ImpossibleEvidence."""
    from diag.report import weigh_sheet

    return weigh_sheet(desk.weighed(key, case), quick=True)


def weighed_in_full(desk: Desk, key: str, case: Case) -> WeighSheet:
    """The sheet of `diag weigh`."""
    from diag.network import weigh
    from diag.report import weigh_sheet

    return weigh_sheet(desk.once((key, "in full"), lambda: weigh(desk.knowledge, case, COMBINATIONS)))


def sliders(desk: Desk, key: str, case: Case) -> tuple[Slider, ...]:
    """Horizon, labour, a return visit, and the dearest parts of the options: money and time alone, so that no chance
    changes with them."""
    from diag.report import number_words

    knowledge, prices = desk.knowledge, desk.knowledge.prices
    decision = desk.decided(key, case)
    used = {
        part
        for option in decision.options
        for job in option.jobs
        for part in knowledge.repairs[job.repair].parts
        if not option.barred
    }
    dearest = sorted(used, key=lambda part: (-prices.parts[part].price.value, part))[:DEAREST]
    found = []
    for figure in ("customer.horizon_months", "labour_per_hour", "customer.return_visit"):
        found.append(slider(knowledge, figure, number_words(knowledge, ("prices", *figure.split(".")))))
    return (*found, *(slider(knowledge, f"parts.{part}.price", prices.parts[part].name) for part in dearest))


def slid(desk: Desk, key: str, case: Case) -> tuple[Slider, ...]:
    """The sliders, with the case made ready for all that they can say."""
    desk.tested(key, case, slid=True)
    return sliders(desk, key, case)


def turns(desk: Desk, key: str, case: Case) -> tuple[DoubtLine, ...]:
    """Where the advice changes along each slider."""
    from diag.doubt import break_even_along, ground_of, number_at, number_axis
    from diag.report import doubt_line

    ground = ground_of(desk.knowledge, case)
    lines = []
    for each in sliders(desk, key, case):
        number = number_at(desk.knowledge, ("prices", *each.figure.split(".")))
        lines.append(doubt_line(desk.knowledge, number, None, break_even_along(ground, number_axis(ground, number))))
    return tuple(lines)


@dataclass(frozen=True)
class OptionWhy:
    """One option in full, in the place of the best, and what may still be wrong after it: name, place, chance.
    `decides`: it is a test by whose result the work is chosen, so that nobody knows yet what it touches."""

    sheet: RepairSheet
    line: OptionLine
    left: tuple[tuple[str, Place, float], ...]
    decides: bool = False


def one_option(desk: Desk, key: str, case: Case, title: str, told: Money = ()) -> OptionWhy:
    """One option in full. Raises UsageError where there is none."""
    from diag.report import repair_sheet

    decision = desk.offered(key, case, told)
    chosen = next((option for option in decision.options if option.title == title), None)
    if chosen is None:
        raise UsageError("there is no such option now; look at the options again")
    sheet = repair_sheet(under(desk.knowledge, told), case, structs.replace(decision, best=chosen), {})
    line = next(each for each in sheet.options if each.name == title)
    decides = any(desk.knowledge.repairs[job.repair].tells for job in chosen.jobs)
    return OptionWhy(sheet, line, () if decides else _left_by(desk, key, case, chosen.jobs), decides)


def _left_by(desk: Desk, key: str, case: Case, jobs: Sequence[Job]) -> tuple[tuple[str, Place, float], ...]:
    """What a plan does not renew and is at fault with at least `LEAST_LEFT`, likeliest first."""
    from diag.network import component_states

    weighed, tariff = desk.weighed(key, case), desk.ready(key, case).bound.tariff
    renewed = frozenset[tuple[str, Place]]().union(*(tariff.renewed(job) for job in jobs))
    known = desk.knowledge.components
    chances = {
        name: 1.0 - float(each[0])
        for name, each in component_states(weighed.network, weighed.posterior).items()
        if known[name[0]].fault and name not in renewed
    }
    likely = sorted((each for each in chances if chances[each] >= LEAST_LEFT), key=lambda each: -chances[each])
    return tuple((known[name].name, place, chances[name, place]) for name, place in likely[:MOST_LEFT])


def options(desk: Desk, key: str, case: Case, told: Money = (), drawn: bool = False) -> RepairSheet:
    """The options side by side; `drawn`: with how their money spreads."""
    from diag.report import repair_sheet

    spreads = desk.spreads(key, case) if drawn and not told else {}
    return repair_sheet(under(desk.knowledge, told), case, desk.offered(key, case, told), spreads)


def life(desk: Desk, key: str, case: Case) -> str:
    """The life of the seals with today marked, as a picture; empty where the knowledge gives them none."""
    from diag.report import seal_life_picture

    try:
        return seal_life_picture(desk.weighed(key, case).network)
    except ValueError:
        return ""


def checks(desk: Desk, key: str, case: Case) -> NextSheet:
    """The checks, ranked."""
    from diag.report import next_sheet

    return next_sheet(desk.knowledge, case, desk.advice(key, case))


def alike(desk: Desk, key: str, case: Case) -> Likeness:
    """What the book compares the case by."""
    from diag.store import Draft, StateChance, likeness_of

    faults = desk.weighed(key, case).faults
    chances = (StateChance(each.component, each.place, each.state, each.probability) for each in faults)
    return likeness_of(Draft.of(case, desk.knowledge), chances)


def why(
    desk: Desk, key: str, case: Case, fault: str = "", rival: str = "", advice: bool = False
) -> tuple[WhySheet, str]:
    """Why a fault is as likely as it is, and the picture of the belief after each finding (empty without one)."""
    from diag.explain import explain, explain_advice, fault_from_words
    from diag.report import course_picture, why_sheet

    weighed = desk.weighed(key, case)
    one = fault_from_words(weighed, fault) if fault else None
    other = fault_from_words(weighed, rival) if rival else None
    reasons = explain(weighed, one, other)
    plain = structs.replace(desk.advice(key, case), repair=desk.decided(key, case)) if advice else None  # plans alone
    told = explain_advice(weighed, plain) if plain is not None else None
    sheet = why_sheet(weighed, reasons) if told is None else why_sheet(weighed, reasons, told)
    return sheet, course_picture(sheet) if sheet.course else ""


def customer(desk: Desk, key: str, case: Case, language: str, chosen: tuple[str, ...] = ()) -> CustomerPage:
    """The page for the customer."""
    from diag.knowledge_base import load_language
    from diag.report import customer_page, weigh_sheet

    words = load_language(language)
    sheet = weigh_sheet(desk.weighed(key, case))
    advice = structs.replace(desk.advice(key, case), repair=desk.offered(key, case))
    return customer_page(desk.knowledge, case, words, sheet, advice, chosen, desk.spreads(key, case))


def work(desk: Desk, key: str, case: Case, option: str | None = None) -> WorkSheet:
    """The work sheet of the best plan, or of an option by its name."""
    from diag.report import work_sheet
    from diag.worksheet import chosen_option, work_of

    decision = desk.offered(key, case)
    made = work_of(desk.knowledge, case, chosen_option(decision, option))
    return work_sheet(desk.knowledge, case, made, decision.danger.cautions)


def priced(desk: Desk, key: str, case: Case, option: str | None = None, language: str = "en") -> EstimateSheet:
    """The estimate of the same, in the customer's language."""
    from diag.knowledge_base import load_language
    from diag.report import estimate_sheet
    from diag.worksheet import chosen_option, estimate

    ready = desk.ready(key, case)
    chosen = chosen_option(desk.offered(key, case), option)
    made = estimate(ready.bound.tariff, case, ready.network, ready.posterior, chosen)
    return estimate_sheet(desk.knowledge, case, made, load_language(language))


def calibration(desk: Desk, key: str, case: Case, book: str | None, closed: int, newest: str) -> tuple[ScoreSheet, str]:
    """How good the predictions for the closed cases of a book were, and the picture of it (empty where there is
    nothing to draw). `closed` and `newest` say how the book stands, so that it is scored anew when that changes."""
    from diag.learning import foretell, lessons_of
    from diag.report import reliability_picture, score_sheet
    from diag.store import closed_cases, open_book

    with open_book(book, make=False) as opened:
        lessons, shown = lessons_of(closed_cases(opened, desk.knowledge)), opened.database.shown
    sheet = score_sheet(desk.knowledge, foretell(desk.knowledge, lessons, 0, False), shown, len(lessons))
    return sheet, reliability_picture(sheet.reliability) if sheet.reliability else ""


JOBS: dict[str, Callable[..., Any]] = {
    "belief": belief,
    "weigh": weighed_in_full,
    "life": life,
    "options": options,
    "drawn": partial(options, drawn=True),
    "option": one_option,
    "sliders": sliders,
    "slid": slid,
    "slide": options,
    "turns": turns,
    "checks": checks,
    "alike": alike,
    "why": why,
    "why in full": why,
    "customer": customer,
    "work": work,
    "priced": priced,
    "calibration": calibration,
    **CLASS_JOBS,
    **DOUBT_JOBS,
}

_desk: Desk | None = None


def begin(folder: Path | None, overlays: tuple[Path, ...], nice: int = 0) -> None:
    """Make this process ready: knowledge read, rooms imported. `nice`: how far it stands back for others."""
    import diag.decision
    import diag.network
    import diag.report  # noqa: F401  imported now, so that the first case does not wait for them

    if nice and hasattr(os, "nice"):
        os.nice(nice)
    parent = multiprocessing.parent_process()
    if parent is not None:  # a server that is killed leaves no worker behind
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    global _desk
    _desk = Desk(load_knowledge(folder, overlays))
    keep_freed()
    search_seldom()


def _end_with(parent: BaseProcess) -> None:
    parent.join()
    os._exit(0)


def rehearse(job: str) -> None:
    """Do a job of an invented case in this process and forget it: what is imported and laid out at its first use is
    there when the first real case comes. Nothing where the knowledge lacks what that case speaks of."""
    if _desk is None:
        return
    with suppress(DiagError):
        case = load_case(demo_cases()[REHEARSED], _desk.knowledge)
        JOBS[job](Desk(_desk.knowledge), "rehearsed", case)


def run(job: str, key: str, case: Case | None, told: Mapping[str, Any]) -> Any:
    """Do one job in this process."""
    if _desk is None:
        raise UsageError("this process was not made ready")
    return JOBS[job](_desk, key, _desk.own(case) if case is not None else None, **told)
