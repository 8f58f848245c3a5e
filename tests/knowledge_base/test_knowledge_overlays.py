"""A workshop lays its own prices, figures and engines over what ships, and says only what differs."""

# ruff: noqa: E501  tables are read across, one row to a line

from __future__ import annotations

from pathlib import Path

import pytest

from diag.basics import KnowledgeError
from diag.knowledge_base import (
    Basis,
    Distribution,
    Knowledge,
    Mixture,
    check_knowledge,
    load_knowledge,
    walk_figures,
)


def laid(folder: Path, *texts: str, name: str = "own") -> Knowledge:
    """The small knowledge under overlays with these texts."""
    paths = []
    for index, text in enumerate(texts):
        paths.append(folder / f"{name}{index}.yaml")
        paths[-1].write_text(text, encoding="utf-8")
    return load_knowledge(folder / "small", paths)


def test_one_price_changes_and_nothing_else(small_folder: Path, small: Knowledge) -> None:
    """The rest stays as it ships, to the last figure."""
    knowledge = laid(small_folder.parent, "prices: {labour_per_hour: 110}\n")
    assert knowledge.prices.labour_per_hour.value == 110
    before = {placed.path: placed for placed in walk_figures(small)}
    after = {placed.path: placed for placed in walk_figures(knowledge)}
    assert before.keys() == after.keys()
    assert {path for path in before if before[path] != after[path]} == {("prices", "labour_per_hour")}


def test_a_replaced_figure_stands_on_the_overlay_s_own_basis(small_folder: Path) -> None:
    """Four ways to say where it comes from, the nearest wins; the figures beside it keep theirs."""
    text = (
        "basis: {source: learned, strength: 60, note: this file}\n"
        "components:\n"
        "  seal: {life: {fails_as: {weeping: 55 %}}}\n"
        "  injector: {chance: {worn: 5 %}, basis: {source: common practice}}\n"
        "  mounts: {chance: {torn: {value: 3 %, basis: {source: elicited, strength: 3}}}}\n"
    )
    knowledge = laid(small_folder.parent, text)
    bases = {placed.path: placed.basis for placed in walk_figures(knowledge)}
    life = ("components", "seal", "life", "fails_as")
    assert bases[*life, "weeping"] == Basis(source="learned", strength=60, note="this file")
    assert bases[*life, "blown"] == Basis(source="elicited", strength=10)
    assert bases["components", "injector", "chance", "worn"] == Basis(source="common practice")
    published = bases["components", "injector", "given", "stress", "harsh", "worn"]
    assert published is not None and published.source == "published"
    assert bases["components", "mounts", "chance", "torn"] == Basis(source="elicited", strength=3)


def test_a_figure_without_any_basis_is_the_workshop_s_judgement(small_folder: Path) -> None:
    """It never passes for what shipped (here: learned from 40 cases)."""
    figure = (
        laid(small_folder.parent, "components: {mounts: {chance: {torn: 3 %}}}\n").components["mounts"].chance["torn"]
    )
    assert figure.basis == Basis(source="elicited", note="from the overlay own0.yaml")


def test_a_second_judgement_may_be_added_alone(small_folder: Path) -> None:
    """The value below stays; a new value drops the other judgements of the old one."""
    text = "components: {seal: {life: {scale: {also: [300000]}, shape: {value: 3}}}}\n"
    life = laid(small_folder.parent, text).components["seal"].life
    assert life is not None
    assert (life.scale.value, life.scale.also) == (600000, (300000,))
    assert (life.shape.value, life.shape.also) == (3, ())


def test_the_later_overlay_wins(small_folder: Path) -> None:
    """In the order in which they are given."""
    knowledge = laid(small_folder.parent, "prices: {tax: 10 %}\n", "prices: {tax: 25 %}\n")
    assert knowledge.prices.tax.value == 0.25


def test_a_part_that_is_new_stands_on_the_overlay_s_basis(small_folder: Path) -> None:
    """A life where none was, a risk in a list: each figure in it is the overlay's."""
    text = (
        "basis: {source: learned, strength: 9}\n"
        "components: {mounts: {life: {clock: age, shape: 2, scale: 20, unnoticed: 1, fails_as: {torn: 1}}}}\n"
        "repairs: {replace_mounts: {risks: [{name: thread torn, chance: {always: 2 %}, minutes: 30}]}}\n"
    )
    knowledge = laid(small_folder.parent, text)
    bases = {placed.path: placed.basis for placed in walk_figures(knowledge)}
    learned = Basis(source="learned", strength=9)
    assert bases["components", "mounts", "life", "scale"] == learned
    assert bases["repairs", "replace_mounts", "risks", 0, "minutes"] == learned
    assert bases["repairs", "replace_mounts", "minutes"] == Basis(source="elicited")


def test_lists_are_replaced_as_a_whole(small_folder: Path) -> None:
    """A shop that checks less under one heading."""
    assert len(laid(small_folder.parent, "checks: {listen: {yields: [chuff]}}\n").checks["listen"].yields) == 1


def test_a_mixture_takes_the_place_of_one_law_and_the_other_way_round(small_folder: Path) -> None:
    """Nothing of the old spread stays, and every figure of the new one stands on the overlay's basis."""
    mixture = (
        "basis: {source: learned, strength: 30}\n"
        "readings:\n  correction:\n    spread:\n      none:\n        parts:\n"
        "          - {weight: 90 %, middle: 0, width: 0.5}\n"
        "          - {weight: 10 %, shape: student t, middle: 2, width: 1, basis: {source: elicited, strength: 3}}\n"
    )
    knowledge = laid(small_folder.parent, mixture)
    spread = knowledge.readings["correction"].spread["none"]
    assert isinstance(spread, Mixture)
    assert [(part.weight.value, part.shape, part.middle.value) for part in spread.parts] == [
        (0.9, "normal", 0.0), (0.1, "student t", 2.0),
    ]  # fmt: skip
    strengths = {
        placed.path[5]: placed.basis.strength
        for placed in walk_figures(knowledge)
        if placed.path[:4] == ("readings", "correction", "spread", "none") and placed.basis is not None
    }
    assert strengths == {0: 30.0, 1: 3.0}
    back = laid(small_folder.parent, mixture, "readings: {correction: {spread: {none: {middle: 1, width: 2}}}}\n")
    law = back.readings["correction"].spread["none"]
    assert isinstance(law, Distribution)
    assert (law.middle.value, law.width.value) == (1.0, 2.0)


def test_a_known_limit_is_no_default_any_more(small_folder: Path) -> None:
    """Through an engine's own file, or under `engines:`."""
    path = small_folder.parent / "toy_4.yaml"
    path.write_text("engine: {limits: {correction: {value: 4.2}}}\n")
    limit = load_knowledge(small_folder, [path]).engines["toy_4"].limits["correction"]
    assert (limit.value, limit.default, limit.note, limit.unit) == (4.2, False, None, "mg/stroke")
    other = laid(small_folder.parent, "engines: {toy_4: {limits: {correction: {value: 5}}}}\n")
    assert other.engines["toy_4"].limits["correction"].value == 5


def test_an_overlay_adds_engines_findings_and_the_checks_that_bring_them(small_folder: Path) -> None:
    """New entries stand beside those that ship; a folder of overlays is read like one."""
    folder = small_folder.parent / "ours"
    (folder / "engines").mkdir(parents=True)
    (folder / "engines" / "own_2.yaml").write_text(
        "engine:\n  {name: own, invented: true, layout: inline, injector: piezo, banks: {A: [1, 2]},"
        " firing_order: [1, 2], access_minutes: {covers: {A: 5}, injectors: {A: 20}}}\n"
    )
    (folder / "more.yaml").write_text(
        "basis: {source: elicited, strength: 2}\n"
        "findings: {hum: {name: hum, ask: Does it hum?, plain: it hums, kind: symptom, shows: mounts,"
        " chance: {sound: 1 %, torn: 50 %}}}\n"
        "checks: {listen: {yields: [chuff, hum]}}\n"
    )
    knowledge = load_knowledge(small_folder, [folder])
    assert list(knowledge.engines) == ["toy_4", "own_2"]
    assert knowledge.findings["hum"].basis.strength == 2
    assert knowledge.checks["listen"].yields[1].item == "hum"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("prices: {labor_per_hour: 3}\n", "own0.yaml:1:10: 'labor_per_hour' is not known here; did you mean 'labour_per_hour'?"),
        ("prices: {tax: 300 %}\n", "own0.yaml:1:15: a chance or a rate lies between 0 and 1"),
        ("checks: {listen: {yields: [chaff]}}\n", "own0.yaml:1:28: there is no finding or reading 'chaff'; did you mean 'chuff'?"),
        (
            "components: {sael: {chance: {blown: 1 %}}}\n",
            "own0.yaml:1:14: 'name', 'plain', 'per' and 'states' are missing here; did you mean 'seal'?",
        ),
        ("prices: {parts: {wahser: {price: 5}}}\n", "own0.yaml:1:18: 'name' is missing here; did you mean 'washer'?"),
        ("basis: learned\n", "own0.yaml:1:8: a basis is written {source: learned, strength: 20}"),
        ("basis: {source: lerned}\n", "own0.yaml:1:17: 'lerned' is not allowed here; did you mean 'learned'?"),
        ("checks: {listen: 5}\n", "own0.yaml:1:18: this should hold lines 'name: value', and is '5'"),
        ("", "own0.yaml:1:1: this file is empty"),
        ("labour_per_hour: 99\n", "own0.yaml:1:1: 'labour_per_hour' is no kind of knowledge; write it inside 'prices:'"),
        ("parts: {washer: {price: 5}}\n", "own0.yaml:1:1: 'parts' is no kind of knowledge; write it inside 'prices:'"),
        ("access: {covers: {name: covers}}\n", "own0.yaml:1:1: 'access' is no kind of knowledge; write it inside 'vocabulary:'"),
        ("prices: {labour_per_hour: 99,5}\n", "own0.yaml:1:31: '5' is a number where a name should stand; decimals are written with a point: 1.5"),
        ("severities: {blow_by: {causes: {seal: {weeping: {slight: 30 %, strong: 80 %}}}}}\n", "own0.yaml:1:40: these chances add up to 1.1, which is more than 1"),
        ("readings: {correction: {lowest: 90}}\n", "without own0.yaml this is in order"),
    ],
)  # fmt: skip
def test_a_bad_overlay_is_named_by_its_own_place(text: str, said: str, small_folder: Path) -> None:
    """File, line and column are those of the overlay, not of what it lies on."""
    with pytest.raises(KnowledgeError) as caught:
        laid(small_folder.parent, text)
    assert said in str(caught.value)


def test_what_is_wrong_below_by_itself_is_not_laid_to_an_overlay(small_folder: Path) -> None:
    """Both are told; only what the overlay brought says so."""
    path = small_folder / "rest.yaml"
    path.write_text(path.read_text() + "\nsources: {5: {title: x}}\n")
    with pytest.raises(KnowledgeError) as caught:
        laid(small_folder.parent, "prices: {tax: 300 %}\n")
    told = str(caught.value)
    assert "rest.yaml" in told and "own0.yaml:1:15" in told
    assert "in order" not in told


def test_only_an_overlay_has_a_basis_for_a_whole_file(small_folder: Path) -> None:
    """In the knowledge itself every entry says its own."""
    path = small_folder / "rest.yaml"
    path.write_text("basis: {source: elicited}\n" + path.read_text())
    with pytest.raises(KnowledgeError, match="only an overlay says at the top what its numbers stand on"):
        load_knowledge(small_folder)


def test_a_step_that_an_overlay_adds_stands_at_the_end_of_its_stage(small_folder: Path, small: Knowledge) -> None:
    """An overlay cannot write between the lines that ship; behind the last of all steps it fitted into no order of work."""
    stages = [step.stage for step in small.steps.values()]
    assert stages == sorted(stages, key=["before", "open", "work", "close", "codes", "after"].index)
    text = (
        "steps:\n"
        "  own_first: {do: Loosen it., stage: work}\n"
        "  own_look: {do: Look., stage: before}\n"
        "  own_second: {do: Take it off., stage: work}\n"
        "repairs: {replace_mounts: {steps: [own_look, mounts, own_first, own_second]}}\n"
    )
    steps = laid(small_folder.parent, text).steps
    assert [step.stage for step in steps.values()] == sorted(
        (step.stage for step in steps.values()), key=["before", "open", "work", "close", "codes", "after"].index
    )
    own = {"own_first", "own_look", "own_second"}
    assert [name for name in steps if name in own] == ["own_look", "own_first", "own_second"]
    assert [name for name in steps if name not in own] == list(small.steps)


def test_a_severity_that_an_overlay_adds_stands_before_what_it_causes(small_folder: Path, small: Knowledge) -> None:
    """Else it was refused with 'move it up in severities.yaml', where it does not stand."""
    text = (
        "severities:\n"
        "  own_leak: {name: a leak, plain: a leak, per: vehicle, levels: [none, some],\n"
        "    causes: {own_drag: {some: {some: 10 %}}}, background: {some: 1 %}, basis: {source: elicited}}\n"
        "  shaking: {causes: {own_leak: {some: {felt: 20 %}}}}\n"
        "  own_drag: {name: drag, plain: drag, per: cylinder, levels: [none, some],\n"
        "    causes: {seal: {blown: {some: 10 %}}}, background: {some: 1 %}, basis: {source: elicited}}\n"
    )
    knowledge = laid(small_folder.parent, text)
    order = list(knowledge.severities)
    assert order.index("own_drag") < order.index("own_leak") < order.index("shaking")
    assert [name for name in order if name in small.severities] == list(small.severities)
    assert not check_knowledge(knowledge).of_kind("level never reached")


FOLDER = {
    "a.yaml": "checks: {listen: {minutes: 5}}\nprices: {parts: {washer: {price: 5}}}\nbasis: {source: elicited}\n",
    "b.yaml": "prices:\n  tax: 10 %\nchecks:\n  listen:\n    minutes: {value: 7}\n",
    "c.yaml": "basis: {source: learned, strength: 9}\nprices: {parts: {washer: {single_use: true}}, labour_per_hour: 80}\n",
}


def test_what_two_files_of_one_folder_say_is_refused_and_what_they_share_is_laid(small_folder: Path) -> None:
    """Among the files of a folder none is the later one; the last by its name had won without a word."""
    own = small_folder.parent / "own"
    own.mkdir()
    for name, text in FOLDER.items():
        (own / name).write_text(text, encoding="utf-8")
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge(small_folder, [own])
    told = [str(problem).replace(f"{own}/", "") for problem in caught.value.problems]
    assert told == ["b.yaml:5:15: 'minutes' is already in a.yaml:1; keep one of the two"]
    (own / "b.yaml").write_text("checks: {listen: {how: Listen.}}\n", encoding="utf-8")
    knowledge = load_knowledge(small_folder, [own])
    assert knowledge.checks["listen"].minutes.value == 5
    assert (knowledge.prices.parts["washer"].price.value, knowledge.prices.parts["washer"].single_use) == (5, True)
    second = small_folder.parent / "second.yaml"
    second.write_text("checks: {listen: {minutes: 8}}\n", encoding="utf-8")
    assert load_knowledge(small_folder, [own, second]).checks["listen"].minutes.value == 8
