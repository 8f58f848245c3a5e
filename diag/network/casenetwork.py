"""The model of one case with everything told so far: built from knowledge, asked by name.

May import: knowledge_base, casebook, evidence, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import NUMBERING, Answer, Case, Measured
from diag.evidence import Frame
from diag.inference import Array, Evidence, Model
from diag.knowledge_base import Knowledge
from diag.network.ages import Origin, Used, origin_of
from diag.network.chain import SeverityEvidence
from diag.network.exchanged import Heard
from diag.network.instances import Key, root_of
from diag.network.likelihoods import (
    answer_outcomes,
    before,
    beside,
    condition_of,
    factor_of,
    in_lucks,
    key_of,
    outcome_factors,
)
from diag.network.numbered import NumberedNodes
from diag.network.outlooks import Outlooks, SaidOfVehicle, Untold, outlooks_of
from diag.network.plates import Layout, chances_by_configuration
from diag.network.priors import life_now
from diag.network.questions import Question, Told, paused_in, said_by_exchange
from diag.network.shifted import Shifted
from diag.network.targets import Factor, Targets
from diag.network.views import CurrentLife, Outlook

__all__ = ["CaseNetwork"]


@dataclass(frozen=True)
class CaseNetwork:
    """A case as a model and evidence. All things named by component and place are those that stand now.

    `told[question][version]` is what was told, `factors[question]` the likelihood that this made, `log_scale` the sum
    of the logarithms they were divided by. `notes` are sentences for people: what was assumed, what has no effect.
    `shifted`: what the cylinders share in their readings, where such were told. `numbered`: how the control unit may
    number the cylinders, where that matters. `items`: all that was told, by epoch; `heard`: what that hears.
    """

    knowledge: Knowledge
    case: Case
    model: Model
    evidence: Evidence
    layout: Layout
    targets: Targets
    told: Mapping[Question, Mapping[int, tuple[Answer | Measured, ...]]]
    factors: Mapping[Question, Factor]
    log_scale: float
    notes: tuple[str, ...]
    shifted: Shifted | None = None
    numbered: NumberedNodes | None = None
    items: Mapping[Question, tuple[Told, ...]] = field(default_factory=dict)
    heard: Heard = field(default_factory=lambda: Heard(frozenset(), frozenset()))
    _framed: dict[tuple[str, str | None, int], Untold | None] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )  # as `Outlooks.untold`, under what a shift shared by all cylinders may be in this case

    def component_at(self, component: str, place: Place) -> tuple[int, int] | None:
        """(plate, component) of a component at a place; none for one that is part of the configuration."""
        if (component, place) not in self.targets.components:
            return None
        plate, indices = self.targets.components[component, place]
        return plate, indices[self.layout.versions[component, place].current]

    def configuration_states(self, component: str, place: Place) -> NDArray[np.int64]:
        """`[configuration]`: the state of a shared cause that reaches into cylinders."""
        current = self.layout.versions[component, place].current
        return self.layout.configurations.column((component, place), current)

    def severity_at(self, severity: str, cylinder: int) -> tuple[int, int]:
        """(plate, axis) of a cylinder's severity."""
        plate, axes = self.targets.axes[severity, cylinder]
        return plate, axes[self.layout.severities[severity, cylinder][-1]]

    def fresh(self, component: str, place: Place, mended: bool = False) -> Array:
        """`[configuration or 1, state]`: chances just after it was renewed; `[1, state]` for a shared cause that
        reaches into cylinders. `mended`: shared faults are sound by then, whatever the configuration."""
        known, held = self.knowledge.components[component], self.layout.fresh_tables
        reached = self.case.engine.bank_of(place) if isinstance(place, int) and NUMBERING not in known.given else place
        if not known.given and not (known.life and known.life.scale_under):
            reached = None  # it hears no shared cause, wherever it is
        kept = component, reached, mended
        if kept not in held:  # cylinders of one bank hear the same shared causes
            held[kept] = self._fresh(component, place, mended)
        return held[kept]

    def _fresh(self, component: str, place: Place, mended: bool) -> Array:
        known, held = self.knowledge.components[component], self.layout.fresh_origins
        if component not in held:
            works = {work_id for work_id, work in self.knowledge.repairs.items() if component in work.renews}
            if NUMBERING in self.knowledge.components:  # who plans the work looks up the numbering first
                works.difference_update(self.knowledge.components[NUMBERING].only_after)
            all_works = frozenset(works) | frozenset(known.only_after)
            held[component] = Origin(Used(0.0, 0.0), frozenset({"renewed"}), all_works)
        origin = held[component]
        faults = [name for name in known.given if self.knowledge.components[name].fault] if mended else ()
        if faults:
            self.fresh(component, place)  # beside a fault that is left, chances must not come to more than 1 either
        rows = chances_by_configuration(self.layout, (component, place), origin, len(self.case.epochs) - 1, faults)
        return rows[:1] if known.reaches_cylinders else rows

    def disturbed(self, component: str, place: Place) -> Array:
        """`[1, state]`: chances of one that was sound, just after other work disturbed it."""
        held = self.layout.disturbed_tables
        if component not in held:
            known = self.knowledge.components[component]
            unsound = [known.disturbed[state].value if state in known.disturbed else 0.0 for state in known.states][1:]
            held[component] = np.array([[1.0 - sum(unsound), *unsound]])
        return held[component]

    def years_in_use(self, component: str, place: Place) -> float:
        """Years since it was renewed, or since the vehicle was new."""
        return self._came_from((component, place)).used.years

    def life(self, component: str, place: Place) -> CurrentLife | None:
        """The life of a component as it stands; none where the knowledge gives it none."""
        known, key = self.knowledge.components[component], (component, place)
        if known.life is None:
            return None
        configurations = self.layout.configurations
        origin = self._came_from(key)
        relevant = configurations.standing(-1, self.layout.versions, known.life.scale_under)
        variables = [configurations.variables[index] for index in relevant]
        shown, kind_of = configurations.kinds(relevant)
        lives = [
            life_now(
                known.life,
                origin.used,
                place,
                {one.key: one.states[state] for one, state in zip(variables, row, strict=True)},
                self.knowledge,
                self.case.engine,
            )
            for row in shown
        ]
        scale = np.array([life.scale for life in lives])[kind_of]
        return CurrentLife(lives[0].clock, lives[0].shape, scale, lives[0].used)

    def _came_from(self, key: Key) -> Origin:
        """Where what stands there now comes from, through all that moved or disturbed it."""
        root, number = root_of(self.layout.versions, key, self.layout.versions[key].current)
        return origin_of(self.knowledge, self.case, *root, self.layout.versions[root].versions[number])

    def question(self, item: str, place: Place, condition: str | None = None) -> Question:
        """The question that a finding or reading is, conditions which the knowledge does not tell apart being one."""
        return Question(item, place, condition_of(self.knowledge, item, condition))

    def outcomes(self, item: str, place: Place, condition: str | None = None) -> Outlook | None:
        """What a finding or reading could still bring now; none where it is known already or has no effect.

        The evidence has one case an outcome and holds only what the answer adds to what is known: one likelihood,
        P(outcome | levels, what was told), which sums to 1 over the outcomes wherever what was told is possible.
        """
        question = self.question(item, place, condition)
        current = self._current(question)
        if self.shifted is not None and question in self.shifted.known:
            return None
        if self._exchanged and said_by_exchange(self.knowledge, self.case, question):
            return None
        framed = self.shifted.now.get(item, ()) if self.shifted is not None else ()
        if framed or question in self.told or beside(self.knowledge, question, self.told):
            return self._outlook(question, current, framed)
        if not self._within_one_plate(question):
            return self._about_vehicle(question, current)
        known = self._alike.known
        if question not in known:
            known[question] = self._outlook(question, current, framed)
        return known[question]

    def outcomes_together(self, asked: Sequence[tuple[str, Place, str | None]]) -> Outlook | None:
        """The same of several questions at once, as far as each could bring something: one case for each joint outcome,
        those of the last question next to each other. They are about one finding under several conditions, behind which
        one luck may stand; or about linked severities of the whole vehicle, whose direct maxima do not decide by
        themselves what is seen: so their answers hang together, given these.
        """
        questions = dict.fromkeys(self.question(*each) for each in asked)
        still = tuple(question for question in questions if self.outcomes(*question) is not None)
        if len(still) < 2:
            return self.outcomes(*still[0]) if still else None
        if any(each in self.told or beside(self.knowledge, each, self.told) for each in still):
            return self._outlook_together(still)
        if self._within_one_plate(still[0]):
            if still not in self._alike.together:
                self._alike.together[still] = self._outlook_together(still)
            return self._alike.together[still]
        known, key = self._alike.about_vehicle(), (still, self._said_of_vehicle)
        if key not in known:
            known[key] = self._outlook_together(still)
        return known[key]

    def _outlook_together(self, questions: Sequence[Question]) -> Outlook | None:
        found = [self._of_one_luck(some) for some in in_lucks(self.knowledge, questions)]
        named = [each for each in found if each is not None]
        if len(named) < len(found):
            return None
        if len(named) == 1:
            return self._outlook_of(*named[0])
        crossed = _crossed([factor.likelihood for _, factor in named])
        new = [
            SeverityEvidence(factor.key[0], factor.versions, likelihood)
            for (_, factor), likelihood in zip(named, crossed, strict=True)
        ]
        joint = tuple("; ".join(each) for each in product(*(names for names, _ in named)))
        added = self.targets.chain.added(self._severities_told(), *new)
        return Outlook(joint, Evidence(len(joint), shared=(added,)))

    def _of_one_luck(self, questions: tuple[Question, ...]) -> tuple[tuple[str, ...], Factor] | None:
        """`_outcome_factors` of one question, or of a finding under several conditions."""
        first, current = questions[0], self._current(questions[0])
        if len(questions) == 1:
            return self._outcome_factors(first, current, ())
        of_it = (first, *beside(self.knowledge, first, self.told))
        told = {each: self.told[each] for each in of_it if each in self.told}
        return answer_outcomes(self.knowledge, questions, told, current)

    def _current(self, question: Question) -> int:
        """The version that stands now of what a question is about."""
        return self.targets.standing(key_of(self.knowledge, question))[-1]

    def _about_vehicle(self, question: Question, current: int) -> Outlook | None:
        if key_of(self.knowledge, question)[0] not in self.targets.chain.nodes:
            return self._outlook(question, current, ())
        known, key = self._alike.about_vehicle(), ((question,), self._said_of_vehicle)
        if key not in known:
            known[key] = self._outlook(question, current, ())
        return known[key]

    @cached_property
    def _said_of_vehicle(self) -> SaidOfVehicle:
        told = self._severities_told()
        return tuple((each.severity, each.versions, each.likelihood.tobytes()) for each in told)

    @cached_property
    def _exchanged(self) -> bool:
        """Whether an exchange was tried in the case."""
        return any(work.other is not None for epoch in self.case.epochs for work in epoch.work)

    @cached_property
    def _alike(self) -> Outlooks:
        """Outlooks of all networks that stand as this one does."""
        return outlooks_of(self.knowledge, self.case.engine, self.targets)

    def _within_one_plate(self, question: Question) -> bool:
        key = key_of(self.knowledge, question)
        return key in self.targets.components or key in self.targets.axes

    def _outlook(self, question: Question, current: int, framed: Sequence[tuple[Frame, float]]) -> Outlook | None:
        found = self._outcome_factors(question, current, framed)
        return None if found is None else self._outlook_of(*found)

    def _outlook_of(self, names: tuple[str, ...], factor: Factor) -> Outlook:
        if factor.key[0] in self.targets.chain.nodes:
            new = SeverityEvidence(factor.key[0], factor.versions, factor.likelihood)
            added = self.targets.chain.added(self._severities_told(), new)
            return Outlook(names, Evidence(len(names), shared=(added,)))
        return Outlook(names, self.targets.evidence([factor], len(names)))

    def _outcome_factors(
        self, question: Question, current: int, framed: Sequence[tuple[Frame, float]]
    ) -> tuple[tuple[str, ...], Factor] | None:
        """`outcome_factors`; what was told of nothing yet is worked out once for all places."""
        told, others = self.told.get(question, {}), beside(self.knowledge, question, self.told)
        if told or others:
            return outcome_factors(self.knowledge, self.case.engine, question, told, current, framed, others)
        name, untold = (question.item, question.condition, current), self._framed if framed else self._alike.untold
        if name not in untold:
            made = outcome_factors(self.knowledge, self.case.engine, question, {}, current, framed)
            untold[name] = None if made is None else (made[0], made[1].likelihood, made[1].versions)
        known = untold[name]
        if known is None:
            return None
        names, likelihood, versions = known
        return names, Factor(key_of(self.knowledge, question), versions, likelihood)

    def with_factors(self, changed: Mapping[Question, Factor], cases: int = 1) -> Evidence:
        """The case's evidence with the factors of some questions changed or added; case axes are 1 or `cases` long."""
        return self.targets.evidence([*{**self.factors, **changed}.values(), *self._implied()], cases)

    def without(self, left_out: Iterable[Question]) -> Evidence:
        """The case's evidence with some questions left out, and with readings that sum to zero what they imply."""
        gone = set(left_out)
        kept = [self._left(question, gone) for question in self.factors if question not in gone]
        whole = self.shifted is None or gone.isdisjoint(self.shifted.factors)
        return self.targets.evidence([*kept, *(self._implied() if whole else ())])

    def alone(self, question: Question) -> Factor:
        """The likelihood of what was told of a question by itself, whatever was told of it under other conditions."""
        return self._given(question, {})

    def given_others(self, question: Question) -> Factor:
        """The likelihood of what was told of a question given all that was told of it under other conditions."""
        return self._given(question, beside(self.knowledge, question, self.told))

    def _left(self, question: Question, gone: Set[Question]) -> Factor:
        """A question's factor where some others are left out: of those told before it, only the rest counts."""
        given = before(self.knowledge, question, self.told)
        if gone.isdisjoint(given):
            return self.factors[question]
        return self._given(question, {other: items for other, items in given.items() if other not in gone})

    def _given(
        self, question: Question, given: Mapping[Question, Mapping[int, tuple[Answer | Measured, ...]]]
    ) -> Factor:
        paused = paused_in(self.case, self.targets.standing(key_of(self.knowledge, question)))
        return factor_of(self.knowledge, self.case.engine, question, self.told[question], paused, given).factor

    def _implied(self) -> tuple[Factor, ...]:
        """What follows from readings without having been told itself."""
        return self.shifted.implied if self.shifted is not None else ()

    def _severities_told(self) -> list[SeverityEvidence]:
        nodes = self.targets.chain.nodes
        return [
            SeverityEvidence(factor.key[0], factor.versions, factor.likelihood)
            for factor in self.factors.values()
            if factor.key[0] in nodes
        ]

    def current_version(self, key: Key) -> int:
        """The version of a component or severity that stands now."""
        return self.targets.standing(key)[-1]


def _crossed(likelihoods: Sequence[Array]) -> list[Array]:
    """Each `[outcome, ...]` laid out over all joint outcomes, those of the last next to each other."""
    counts = [len(each) for each in likelihoods]
    numbers = np.indices(counts).reshape(len(counts), -1)
    return [each[chosen] for each, chosen in zip(likelihoods, numbers, strict=True)]
