"""What must not change an answer on the shipped engines: numbers of cylinders, the currency, the order of findings."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.casebook import Answer, Case, Epoch, demo_cases, load_case, read_case
from diag.decision import advise
from diag.knowledge_base import load_knowledge, walk_figures, with_values
from diag.network import component_states, cylinder_chances, weigh
from tests.support.cases import many_symptoms
from tests.support.effort import effort

KNOWLEDGE = load_knowledge()
OF_CYLINDERS = ("chuff", "tar")
MONEY = {"labour_per_hour", "price", "money", "return_visit", "tow", "day_without_vehicle", "lost_trust"}
MONEY |= {"damage_of_driving_on", "damage_per_month"}
answers = st.sampled_from(["present", "absent", "not_sure"])


@effort(6)
@given(st.permutations(range(1, 5)), st.lists(st.tuples(answers, answers), min_size=4, max_size=4), answers)
def test_renumbering_the_cylinders_renumbers_the_answer(
    order: list[int], told: list[tuple[str, str]], fumes: str
) -> None:
    """Four cylinders in line with a finding or two each; no code and no correction, which know about neighbours."""

    def case(number: list[int]) -> Case:
        said = [Answer("fumes", None, fumes)]
        for cylinder, words in enumerate(told):
            said += [Answer(item, number[cylinder], word) for item, word in zip(OF_CYLINDERS, words, strict=True)]
        return Case("", KNOWLEDGE.engines["ostrel_4"], "ostrel_4", 187_000, 11, epochs=(Epoch(answers=tuple(said)),))

    plain, renumbered = weigh(KNOWLEDGE, case([1, 2, 3, 4])), weigh(KNOWLEDGE, case(order))
    assert renumbered.log_evidence == pytest.approx(plain.log_evidence, abs=1e-9)
    new = dict(zip([1, 2, 3, 4], order, strict=True))
    there = component_states(renumbered.network, renumbered.posterior)
    for (component, place), chances in component_states(plain.network, plain.posterior).items():
        moved = new[place] if isinstance(place, int) else place
        assert there[component, moved] == pytest.approx(chances, abs=1e-10)
    chances_there = cylinder_chances(renumbered.network, renumbered.posterior)
    for cylinder, chance in cylinder_chances(plain.network, plain.posterior).items():
        assert chances_there[new[cylinder]] == pytest.approx(chance, abs=1e-10)


@effort(4)
@given(st.data())
def test_the_order_in_which_findings_are_told_does_not_matter(data: st.DataObject) -> None:
    """The many findings of a V8, shuffled: the same posterior to rounding."""
    case = load_case(many_symptoms(), KNOWLEDGE)
    epoch = case.epochs[0]
    few = tuple(each for each in epoch.answers if each.item in ("fumes", "chuff", "rough_idle", "hard_start"))
    plain = replace(case, epochs=(Epoch(answers=few),))
    shuffled = replace(case, epochs=(Epoch(answers=tuple(data.draw(st.permutations(few)))),))
    one, other = weigh(KNOWLEDGE, plain), weigh(KNOWLEDGE, shuffled)
    there = component_states(other.network, other.posterior)
    for key, chances in component_states(one.network, one.posterior).items():
        assert there[key] == pytest.approx(chances, abs=1e-10)


@pytest.mark.parametrize("name", ["one_blown_seal", "injector_stuck_open"])
def test_doubling_every_price_doubles_every_total_and_changes_no_advice(name: str) -> None:
    """Money has no unit of its own: parts, labour, and what a visit or damage costs the customer, all times two."""
    case = load_case(demo_cases()[name], KNOWLEDGE)
    money = {found.path: 2.0 * found.figure.value for found in walk_figures(KNOWLEDGE) if found.path[-1] in MONEY}
    assert len(money) > 30
    dear = with_values(KNOWLEDGE, money)
    weighed = weigh(KNOWLEDGE, case)
    one = advise(KNOWLEDGE, case, weighed.network, weighed.posterior)
    weighed = weigh(dear, case)
    other = advise(dear, case, weighed.network, weighed.posterior)
    assert [each.jobs for each in other.repair.options] == [each.jobs for each in one.repair.options]
    for before, after in zip(one.repair.options, other.repair.options, strict=True):
        assert after.total.amount == pytest.approx(2 * before.total.amount, rel=1e-9)
        assert after.invoice.amount == pytest.approx(2 * before.invoice.amount, rel=1e-9)
    assert other.stop == one.stop
    assert [(each.check, each.place) for each in other.checks.checks] == [
        (each.check, each.place) for each in one.checks.checks
    ]
    for first, second in zip(one.checks.checks, other.checks.checks, strict=True):
        assert second.net.amount == pytest.approx(2 * first.net.amount, rel=1e-6, abs=1e-6)


FILE = """\
engine: ostrel_4
distance: 312000 km
age: 14 years
findings:
{findings}
readings:
  compression_pressure: {{1: 17.5 +/- {error} bar{again}}}
"""
LINES = (
    "  rough_cold: present",
    "  white_smoke under cold: present",
    "  hard_start: present",
    "  chuff: {1: absent, 2: absent, 3: not sure}",
    "  tar: {absent: [1, 2, 4]}",
)


def told_in(text: str) -> dict[tuple[str, object], object]:
    """Chances of every state, from a case file."""
    weighed = weigh(KNOWLEDGE, read_case("told.yaml", KNOWLEDGE, text))
    return dict(component_states(weighed.network, weighed.posterior))


@effort(3)
@given(st.permutations(LINES), st.permutations(range(6)))
def test_the_order_of_lines_in_the_file_does_not_matter(lines: list[str], order: list[int]) -> None:
    """Findings in any order among themselves, and the parts of the file in any order: the same posterior."""
    plain = told_in(FILE.format(findings="\n".join(LINES), error=0.5, again=""))
    text = FILE.format(findings="\n".join(lines), error=0.5, again="")
    parts = [*text.split("findings:")[0].splitlines(), "findings:" + text.split("findings:")[1].split("readings:")[0]]
    parts.append("readings:" + text.split("readings:")[1])
    shuffled = told_in("\n".join(parts[place].rstrip() for place in order if place < len(parts)) + "\n")
    assert shuffled.keys() == plain.keys()
    for key, chances in plain.items():
        assert shuffled[key] == pytest.approx(chances, abs=1e-12)


@pytest.mark.parametrize("parts", [2, 4])
def test_a_reading_split_into_equal_parts_tells_what_the_whole_tells(parts: int) -> None:
    """A value read once with error e is worth the same value read n times with errors of e * sqrt(n) each (textbook:
    inverse variances add up; only the instrument's error shrinks, the spread between engines stays)."""
    error = 0.8
    whole = told_in(FILE.format(findings=LINES[0], error=error, again=""))
    again = f"17.5 +/- {error * parts**0.5:.12f} bar"
    text = FILE.format(findings=LINES[0], error=error, again="").replace(
        f"1: 17.5 +/- {error} bar", f"1: [{', '.join([again] * parts)}]"
    )
    split = told_in(text)
    for key, chances in whole.items():
        assert split[key] == pytest.approx(chances, abs=1e-9)
