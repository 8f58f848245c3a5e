"""What a question could still bring hangs on where things stand, and on nothing that was asked of before."""

from __future__ import annotations

from functools import cache

import pytest

from diag.basics import Place
from diag.casebook import Case, demo_cases, load_case, with_answer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import CaseNetwork, build, outlooks
from diag.network.views import Outlook

NAMES = ("one_blown_seal", "resealed_and_back_again", "second_seal_weeping", "whole_bank_silent")


@cache
def knowledge() -> Knowledge:
    return load_knowledge()


@cache
def cases() -> tuple[Case, ...]:
    """Cases on several engines, of which one had work done, and each again with one answer more: on a cylinder, or on
    the whole vehicle, of which other findings then mean something else."""
    known = [load_case(demo_cases()[name], knowledge()) for name in NAMES]
    more = [with_answer(case, knowledge(), "wet_joint", case.engine.cylinders[-1], "absent") for case in known]
    return (*known, *more, *(with_answer(case, knowledge(), "hard_start_hot", None, "present") for case in known))


def asked(network: CaseNetwork) -> list[tuple[tuple[str, Place], Outlook | None]]:
    """The outlook of every finding and reading at every place of it."""
    found = []
    for item in (*knowledge().findings, *knowledge().readings):
        entry = knowledge().findings.get(item) or knowledge().readings[item]
        shown = knowledge().components.get(entry.shows) or knowledge().severities[entry.shows]
        places: tuple[Place, ...] = {
            "cylinder": network.case.engine.cylinders,
            "bank": tuple(network.case.engine.banks),
            "vehicle": (None,),
        }[shown.per]
        found += [((item, place), network.outcomes(item, place)) for place in places]
    return found


def parts(outlook: Outlook | None) -> list[object]:
    """All that an outlook says, in plain things."""
    if outlook is None:
        return []
    told = outlook.evidence
    said: list[object] = [outlook.names, told.cases]
    said += [(key, table.tolist()) for key, table in told.components.items()]
    said += [(plate, axes, table.tolist()) for plate, axes, table in (*told.axes, *told.configured)]
    return [*said, *((axes, table.tolist()) for axes, table in told.shared)]


@pytest.mark.parametrize("number", range(3 * len(NAMES)))
def test_an_outlook_is_the_same_whatever_was_asked_before(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    networks = [build(knowledge(), case) for case in cases()]
    for network in networks:
        asked(network)
    warm = asked(networks[number])
    monkeypatch.setattr(outlooks, "_LATEST", [])
    alone = asked(build(knowledge(), cases()[number]))
    assert [(key, parts(outlook)) for key, outlook in warm] == [(key, parts(outlook)) for key, outlook in alone]


def test_networks_that_stand_alike_share_what_was_worked_out() -> None:
    first, second, other = (build(knowledge(), cases()[number]) for number in (0, len(NAMES), 1))
    told = ("wet_joint", first.case.engine.cylinders[-1])
    mine, again, elsewhere = (dict(asked(network)) for network in (first, second, other))
    assert mine[told] is not None, "there it is still open"
    assert again[told] is None, "here it was told"
    open_here = [key for key, outlook in mine.items() if outlook is not None and outlook.evidence.axes and key != told]
    heard = {(question.item, question.place) for network in (first, second) for question in network.told}
    local = [key for key in open_here if key[0] in knowledge().findings and key not in heard]
    assert len(local) > 20
    assert all(again[key] is mine[key] for key in local)
    assert not any(elsewhere.get(key) is mine[key] for key in local), "work was done there"


def test_what_the_whole_vehicle_could_still_say_hangs_on_what_it_said() -> None:
    first, second, told = (build(knowledge(), cases()[number]) for number in (0, len(NAMES), 2 * len(NAMES)))
    mine, again, after = (dict(asked(network)) for network in (first, second, told))
    of_vehicle = [key for key, outlook in mine.items() if outlook is not None and outlook.evidence.shared]
    assert len(of_vehicle) > 5
    assert all(again[key] is mine[key] for key in of_vehicle), "the answer was about a cylinder"
    changed = [key for key in of_vehicle if parts(after[key]) != parts(mine[key])]
    assert ("hard_start_hot", None) in changed, "it was told"
    assert len(changed) > 1, "others are linked to it"
