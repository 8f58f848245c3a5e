"""Cases done together agree with cases weighed alone; complete data with pgmpy; what was simulated is found again."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from msgspec import structs
from pgmpy.models import DiscreteBayesianNetwork

from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Work, as_the_maker_numbers
from diag.inference import infer, infer_with_alternatives
from diag.knowledge_base import Knowledge, Mixture, load_knowledge
from diag.learning import NOT_LEARNED, Lesson, Rules, Trust, learn, learnables, overlay_text, with_values
from diag.network import alike, build, prior_tables, shape_of, shaped_evidence, told_of, weigh
from diag.store import Found, Outcome
from tests.learning.invented import casebook, changed, small_knowledge
from tests.support.effort import LONG

SURE = Trust(1 - 1e-9, 1 - 1e-9, 0.8, 1 - 1e-9)


@pytest.fixture(scope="module")
def small() -> Knowledge:
    return small_knowledge()


def test_cases_of_one_shape_done_together_are_what_they_are_alone(small: Knowledge) -> None:
    """Different ages and answers in one batch: the same probability of all that was told, to 1e-10."""
    cases = [lesson.case for lesson in casebook(small, 12, 5)]
    group = alike(small, cases)
    told = [told_of(small, case, group.network).questions for case in cases]
    evidence, _ = shaped_evidence(group, prior_tables(group), told)
    logs = infer(group.network.model, evidence).log_evidence
    alone = [build(small, case) for case in cases]
    for case, network in enumerate(alone):
        log = infer(network.model, network.evidence).log_evidence[0]
        assert logs[case] == pytest.approx(log, abs=1e-10)


BEFORE_AND_AFTER = {
    "a part asked after before and after it was renewed": (
        (Answer("trim_data_code", 2, PRESENT),),
        Work("write_code", 2),
        (Answer("trim_data_code", 2, ABSENT), Answer("rough_idle", None, ABSENT)),
    ),
    "an injector that took its fault along": (
        (Answer("weak_cutout", 2, PRESENT), Answer("weak_cutout", 3, ABSENT)),
        Work("swap_injectors", 2, other=3),
        (Answer("weak_cutout", 2, ABSENT), Answer("weak_cutout", 3, PRESENT)),
    ),
}


@pytest.mark.parametrize("name", BEFORE_AND_AFTER)
def test_what_was_told_before_and_after_work_is_weighed_as_alone(name: str) -> None:
    """In one batch with a case that was told nothing; and a book of such cases can be learned from."""
    knowledge, (first, work, then) = load_knowledge(), BEFORE_AND_AFTER[name]
    epochs = (Epoch((), (Answer("rough_idle", None, PRESENT), *first)), Epoch((work,), then))
    numbers = as_the_maker_numbers(knowledge)
    case = Case("x", knowledge.engines["ostrel_3"], "ostrel_3", 150_000.0, 9.0, epochs=epochs, numbering=numbers)
    cases = [replace(case, epochs=(Epoch(), Epoch((work,)))), case]
    group = alike(knowledge, cases)
    told = [told_of(knowledge, each, group.network).questions for each in cases]
    evidence, _ = shaped_evidence(group, prior_tables(group), told)
    logs = infer(group.network.model, evidence).log_evidence
    assert logs[0] == pytest.approx(0.0, abs=1e-12)
    assert logs[1] == pytest.approx(weigh(knowledge, case).posterior.log_evidence[0], abs=1e-10)
    learned = learn(knowledge, [Lesson(1, "", case, Outcome("yes", (), ()), "")], Rules(turns=1))
    assert learned.cases == 1


def test_codes_that_nobody_wrote_can_be_learned_from_where_the_numbering_is_open() -> None:
    """Three injectors fitted without a word of their code, found not written: 'disturbed' rises, and beside what an
    unlike numbering gives it comes to more than 1, which ended the learning. All cases in a batch are what they are
    alone there, too."""
    knowledge = load_knowledge()
    fitted = (Work("replace_injector", 4, months_ago=1.0),)
    told = (Epoch((), (Answer("rough_idle", None, PRESENT), Answer("tar", 4, ABSENT))),)
    cases = [
        Case("x", knowledge.engines["velm_5"], "velm_5", 160_000.0 + number, 8.0, history=fitted, epochs=told)
        for number in range(3)
    ]
    found = Outcome("yes", (Found("trim_code", "not_written", 4, "seen"),), ())
    learned = learn(knowledge, [Lesson(number, "", case, found, "") for number, case in enumerate(cases)], Rules())
    assert (learned.cases, learned.left_out) == (3, ())
    risen = with_values(knowledge, {("components", "trim_code", "disturbed", "not_written"): 0.4})
    group = alike(risen, cases)
    questions = [told_of(risen, case, group.network).questions for case in cases]
    evidence, _ = shaped_evidence(group, prior_tables(group), questions)
    logs = infer(group.network.model, evidence).log_evidence
    assert logs == pytest.approx([weigh(risen, case).posterior.log_evidence[0] for case in cases], abs=1e-10)


@pytest.mark.parametrize("lapse", ["code_not_written", "codes_left"])
def test_cases_in_which_other_things_were_left_undone_have_another_shape(lapse: str) -> None:
    """One batch has one prior."""
    knowledge = load_knowledge()
    works = [Work("replace_injector", 2, but=(each,)) for each in ("code_not_written", lapse)]
    tried = [(Epoch(), Epoch((work,))) for work in works]
    case = Case("x", knowledge.engines["ostrel_3"], "ostrel_3", 150_000.0, 9.0)
    shapes = [shape_of(knowledge, replace(case, epochs=epochs)) for epochs in tried]
    old = [shape_of(knowledge, replace(case, history=(replace(work, months_ago=2.0),))) for work in works]
    assert (shapes[0] == shapes[1]) == (old[0] == old[1]) == (lapse == "code_not_written")


@pytest.mark.parametrize(
    "history", [(), (Work("reseal", 2, months_ago=4),), (Work("replace_injector", 1, months_ago=30),)]
)
def test_priors_taken_apart_are_the_priors(history: tuple[Work, ...]) -> None:
    knowledge = load_knowledge()
    case = Case("x", knowledge.engines["ostrel_4"], "ostrel_4", 180_000.0, 9.0, history=history)
    group = alike(knowledge, [case])
    model = group.network.model
    for (key, version), table in prior_tables(group).items():
        plate, index = group.network.targets.components[key]
        prior = model.plates[plate].components[index[version]].prior
        assert np.broadcast_to(
            table.by_configuration()[0], (len(model.configurations), prior.shape[1])
        ) == pytest.approx(np.broadcast_to(prior, (len(model.configurations), prior.shape[1])), abs=1e-14)


def test_alternatives_are_what_a_pass_of_their_own_gives() -> None:
    knowledge = load_knowledge()
    answers = (Answer("fumes", None, PRESENT), Answer("rough_idle", None, ABSENT), Answer("hard_start", None, PRESENT))
    case = Case("x", knowledge.engines["ostrel_3"], "ostrel_3", 150_000.0, 8.0, epochs=(Epoch((), answers),))
    network = build(knowledge, case)
    tried = [
        network.with_factors({question: structs.replace(factor, likelihood=1 - factor.likelihood)}).shared
        for question, factor in network.factors.items()
    ]
    posterior, found = infer_with_alternatives(network.model, network.evidence, tried)
    for number, told in enumerate(tried):
        alone = infer(network.model, structs.replace(network.evidence, shared=told)).log_evidence
        assert math.log(found[0, number]) == pytest.approx(alone[0] - posterior.log_evidence[0], abs=1e-8)
    assert posterior.log_evidence[0] == pytest.approx(weigh(knowledge, case).posterior.log_evidence[0], abs=1e-12)


def test_complete_data_agree_with_pgmpy(small: Knowledge) -> None:
    """All of it known: the most probable values are pgmpy's, with the strength as Dirichlet pseudo-counts."""
    import pandas as pd

    finding = small.findings["tar"].model_copy(
        update={
            "shows": "clamp",
            "chance": {"sound": small.findings["tar"].chance["none"], "loose": small.findings["tar"].chance["slight"]},
        }
    )
    knowledge = small.model_copy(update={"findings": {**small.findings, "tar": finding}})
    random, rows, lessons = np.random.default_rng(2), [], []
    engine = knowledge.engines["ostrel_3"]
    for number in range(60):
        answers, found = [], []
        for cylinder in engine.cylinders:
            loose = random.random() < 0.3
            tar = random.random() < (0.6 if loose else 0.2)
            rows.append(("loose" if loose else "sound", "present" if tar else "absent"))
            answers.append(Answer("tar", cylinder, PRESENT if tar else ABSENT))
            found += [Found("clamp", "loose", cylinder, "seen")] if loose else []
        fitted = tuple(_retightened(cylinder) for cylinder in engine.cylinders)
        case = Case("x", engine, "ostrel_3", 100_000.0, 6.0, epochs=(Epoch((), tuple(answers)),))
        lessons.append(Lesson(number, "", case, Outcome("no", tuple(found), fitted), ""))
    learned = learn(knowledge, lessons, Rules(least=0.0, turns=8, trust=SURE))
    after = {figure.path: figure.after for figure in learned.figures}
    basis = {each.path: each for each in learnables(knowledge)}
    clamp = basis["components", "clamp", "chance", "loose"]
    loose, sound = (basis["findings", "tar", "chance", name] for name in ("loose", "sound"))
    pseudo = {
        "clamp": [[clamp.strength * clamp.value], [clamp.strength * (1 - clamp.value)]],
        "tar": [
            [loose.strength * (1 - loose.value), sound.strength * (1 - sound.value)],
            [loose.strength * loose.value, sound.strength * sound.value],
        ],
    }
    network = DiscreteBayesianNetwork([("clamp", "tar")])
    estimator = _bayesian(network, pd.DataFrame(rows, columns=["clamp", "tar"]))
    clamps = estimator.estimate_cpd("clamp", prior_type="dirichlet", pseudo_counts=pseudo["clamp"])
    tars = estimator.estimate_cpd("tar", prior_type="dirichlet", pseudo_counts=pseudo["tar"])
    assert after[clamp.path] == pytest.approx(clamps.values[0], abs=1e-6)
    assert after[loose.path] == pytest.approx(tars.values[1, 0], abs=1e-6)
    assert after[sound.path] == pytest.approx(tars.values[1, 1], abs=1e-6)


def _retightened(cylinder: int):  # type: ignore[no-untyped-def]
    from diag.store import Fitted

    return Fitted("retighten_clamp", cylinder)


def _bayesian(network, data):  # type: ignore[no-untyped-def]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # pgmpy's own, about what else is in that module
        from pgmpy.estimators import BayesianEstimator

        return BayesianEstimator(network, data)


@pytest.fixture(scope="module")
def recovered(small: Knowledge):  # type: ignore[no-untyped-def]
    """Books drawn with one set of figures, learned from starting with another that is wrong by a third or more."""
    truth = changed(
        small, {("components", "clamp", "chance", "loose"): 0.05, ("components", "air_path", "chance", "leaking"): 0.10}
    )
    started = _weaker(
        truth,
        {
            ("components", "clamp", "chance", "loose"): 0.03,
            ("components", "air_path", "chance", "leaking"): 0.06,
            ("components", "seal", "life", "scale"): 450_000.0,
            ("findings", "tar", "chance", "none"): 0.08,
        },
    )
    books = 12 if LONG else 2
    cases = 3000 if LONG else 250
    return (
        truth,
        started,
        [learn(started, casebook(truth, cases, 100 + n), Rules(turns=8, trust=SURE)) for n in range(books)],
    )


def _weaker(knowledge: Knowledge, values: dict[tuple[str, ...], float]) -> Knowledge:
    """The same with wrong figures, of which each counts as little as two cases."""
    weak = with_values(knowledge, values)
    components = {
        n: c.model_copy(update={"basis": c.basis.model_copy(update={"strength": 2.0})})
        for n, c in weak.components.items()
    }
    findings = {
        n: c.model_copy(update={"basis": c.basis.model_copy(update={"strength": 2.0})})
        for n, c in weak.findings.items()
    }
    return weak.model_copy(update={"components": components, "findings": findings})


def test_known_figures_are_found_again_within_their_intervals(recovered) -> None:  # type: ignore[no-untyped-def]
    """90 % intervals over books and figures hold what the books were drawn with about nine times in ten."""
    truth, _, books = recovered
    known = {each.path: each.value for each in learnables(truth)}
    inside = [
        figure.low <= known[figure.path] <= figure.high
        for learned in books
        for figure in learned.figures
        if figure.path in known
    ]
    error = 3 * math.sqrt(0.9 * 0.1 / len(inside))
    assert len(inside) >= 20
    assert np.mean(inside) >= 0.9 - error
    assert all(learned.left_out == () for learned in books)


def test_figures_move_from_what_was_wrong_towards_what_is_true(recovered) -> None:  # type: ignore[no-untyped-def]
    truth, started, books = recovered
    known = {each.path: each.value for each in learnables(truth)}
    for path in (("components", "clamp", "chance", "loose"), ("findings", "tar", "chance", "none")):
        before = {each.path: each.value for each in learnables(started)}[path]
        after = np.mean([figure.after for learned in books for figure in learned.figures if figure.path == path])
        assert abs(after - known[path]) < 0.5 * abs(before - known[path])


def test_no_chance_becomes_nought_or_one_and_few_cases_change_nothing(small: Knowledge) -> None:
    book = casebook(small, 30, 9)
    learned = learn(small, book, Rules(turns=5))
    for figure in learned.figures:
        if figure.kind in ("chance", "finding", "share"):
            assert 0 < figure.low < figure.after < figure.high < 1
    none = learn(small, book[:3], Rules(least=100, turns=1))
    assert none.figures == ()
    assert none.stayed == len(learnables(small))
    assert with_values(small, {}) == none.knowledge


def test_a_mixture_stays_as_it_is_and_the_rest_is_learned(small: Knowledge) -> None:
    """The page says so, no figure of it changes, and the figures beside it are learned as ever."""
    low = {"weight": 0.9, "shape": "log-normal", "middle": 1.2, "width": 0.9}
    parts = [low, {"weight": 0.1, "middle": 9, "width": 2}]
    reading = small.readings["cabin_co"]
    mixture = Mixture.model_validate({"parts": parts})
    lies = reading.model_copy(update={"spread": {**reading.spread, "none": mixture}})
    mixed = small.model_copy(update={"readings": {**small.readings, "cabin_co": lies}})
    learned = learn(mixed, casebook(small, 60, 12), Rules(turns=3))
    assert learned.knowledge.readings["cabin_co"].spread["none"] == mixture
    assert not any("parts" in path for path in (figure.path for figure in learned.figures))
    assert ("components", "clamp", "chance", "loose") in {figure.path for figure in learned.figures}
    assert "readings that lie as a mixture of several parts" in NOT_LEARNED


def test_the_same_cases_in_two_processes_teach_the_same(small: Knowledge) -> None:
    book = casebook(small, 120, 11)
    one, two = (learn(small, book, Rules(turns=2, processes=n)) for n in (1, 2))
    assert [f.after for f in one.figures] == pytest.approx([f.after for f in two.figures], rel=1e-12)


def test_the_overlay_can_be_read_by_people(small: Knowledge) -> None:
    learned = learn(small, casebook(small, 60, 12), Rules(turns=3))
    text = overlay_text(learned, ["Learned."])
    assert text.startswith("# Learned.\n")
    assert "before 0.05;" in text
    assert "90 % interval" in text
