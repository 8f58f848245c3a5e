"""The language files: complete for all that the knowledge holds, alike, and wrong ones told with their place."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.basics import KnowledgeError, UsageError, counted
from diag.knowledge_base import Knowledge, language_names, load_knowledge, load_language, shipped_folder

LANGUAGES = language_names()


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def test_english_and_one_more_ship() -> None:
    assert LANGUAGES[0] == "en"
    assert "de" in LANGUAGES


@pytest.mark.parametrize("name", LANGUAGES)
def test_every_component_state_repair_check_and_danger_has_its_words(name: str, knowledge: Knowledge) -> None:
    """Nothing that the knowledge holds is missing, and nothing is translated that is not there."""
    words = load_language(name)
    assert words.components.keys() == knowledge.components.keys()
    for component, entry in knowledge.components.items():
        assert tuple(words.components[component].states) == tuple(entry.states)[1:]
    assert words.repairs.keys() == knowledge.repairs.keys()
    assert words.checks.keys() == knowledge.checks.keys()
    dangers = {caution for finding in knowledge.findings.values() for caution in finding.danger}
    assert words.dangers.keys() == dangers | {"other"}
    if name != LANGUAGES[0]:  # the knowledge itself speaks English
        assert words.parts.keys() == knowledge.prices.parts.keys()
        assert words.access.keys() == knowledge.vocabulary.access.keys()
        assert words.risks.keys() == {risk.name for repair in knowledge.repairs.values() for risk in repair.risks}


@pytest.mark.parametrize("name", LANGUAGES)
def test_sentences_are_sentences_and_no_text_is_empty(name: str) -> None:
    words = load_language(name)
    for entry in words.components.values():
        for text in (entry.fault, entry.left, *entry.states.values()):
            assert text[0].isupper() and text.endswith("."), text
    assert all(text.strip() for text in words.phrases.values())
    assert len(set(words.scale)) == 7


@pytest.mark.parametrize("name", [each for each in LANGUAGES if each != "en"])
def test_a_translation_is_no_copy(name: str) -> None:
    there, here = load_language("en"), load_language(name)
    texts = ((there.phrases, here.phrases), (there.estimate, here.estimate))
    same = [key for own, other in texts for key, text in own.items() if other[key] == text and "{" not in text]
    assert same == []
    assert all(here.components[key].fault != there.components[key].fault for key in there.components)


def spoilt(folder: Path, before: str, after: str) -> Path:
    text = (shipped_folder() / "languages" / "de.yaml").read_text(encoding="utf-8")
    assert before in text
    path = folder / "xx.yaml"
    path.write_text(text.replace(before, after), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("    row_price:", "    row_prize:", "'row_price' is missing here; in English: Price now, with tax"),
        ("code: de", "code: Deutsch", "'Deutsch' does not have the right form; write the short form of the language"),
        ("    row_price:", "    row_prize:", "'row_prize' is not known here; did you mean 'row_price'?"),
        (
            '"etwa {money}"',
            '"etwa {geld}"',
            "this does not have the same names in braces as the English; it has: {money}",
        ),
        (
            '"etwa {money}"',
            '"etwa {money"',
            "this does not have the same names in braces as the English; it has: {money}",
        ),
        (
            "{check}{place}. Das",
            "{Check}{place}. Das",
            "this does not have the same names in braces as the English; it has: {check} {money} {place} {time}",
        ),
        (
            '"etwa {money}"',
            '"etwa {money:.2f}"',
            "this does not have the same names in braces as the English; it has: {money}",
        ),
        (
            '"etwa {money}"',
            '"etwa {money:Euro|Euros}"',
            "this does not have the same names in braces as the English; it has: {money}",
        ),
        (
            "gelten {days:Tag|Tage}",
            "gelten {days:Tage}",
            "this does not have the same names in braces as the English; it has: {days}",
        ),
        ("  name: Deutsch\n", "", "'name' is missing here"),
        ("  scale: [praktisch sicher, ", "  scale: [", "this needs at least 7, and has 6"),
        ("language:", "languages:", "a language file holds everything under 'language:'"),
    ],
)
def test_a_spoilt_language_file_is_told_with_its_place(tmp_path: Path, before: str, after: str, said: str) -> None:
    path = spoilt(tmp_path, before, after)
    with pytest.raises(KnowledgeError) as told:
        load_language(str(path))
    lines = str(told.value).splitlines()
    assert any(line.endswith(said) or said in line for line in lines), lines
    assert all(line.startswith(f"{path}:") and line.split(":")[1].isdigit() for line in lines)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (
            "    return_pipe:\n",
            "    return_pip:\n",
            "the knowledge has no 'return_pip' among its components; did you mean 'return_pipe'?",
        ),
        ("        weeping: Der", "        weping: Der", "'seal' has no state 'weping'; did you mean 'weeping'?"),
        (
            "    return_pipe:\n",
            "    turbo:\n",
            "the knowledge has no 'turbo' among its components; a workshop's own is known with its overlay",
        ),
    ],
)
def test_words_for_what_the_knowledge_does_not_have_are_told(
    tmp_path: Path, knowledge: Knowledge, before: str, after: str, said: str
) -> None:
    """They would never be said; the English had stood on the page instead, without a word why."""
    path = spoilt(tmp_path, before, after)
    load_language(str(path))
    with pytest.raises(KnowledgeError) as told:
        load_language(str(path), knowledge)
    (problem,) = told.value.problems
    assert str(problem).endswith(said)
    line = path.read_text(encoding="utf-8").splitlines()[problem.line - 1]
    assert line[problem.column - 1 :].startswith(after.strip().split(":")[0])


def test_words_for_what_an_overlay_adds_are_read_with_it(tmp_path: Path, knowledge: Knowledge) -> None:
    path = spoilt(tmp_path, "    return_pipe:\n", "    turbo:\n")
    own = knowledge.model_copy(
        update={"components": {**knowledge.components, "turbo": knowledge.components["return_pipe"]}}
    )
    assert "turbo" in load_language(str(path), own).components


def test_a_language_of_ones_own_is_read_by_its_path(tmp_path: Path) -> None:
    assert (
        load_language(str(spoilt(tmp_path, "etwa {money}", "zirka {money}"))).phrases["price_about"] == "zirka {money}"
    )


def test_a_language_may_say_a_count_without_its_word(tmp_path: Path) -> None:
    words = load_language(str(spoilt(tmp_path, "gelten {days:Tag|Tage}", "gelten so viele Tage: {days}"))).phrases
    assert words["valid"].format(days=counted(1)) == "Diese Preise gelten so viele Tage: 1."
    assert load_language("de").phrases["valid"].format(days=counted(1)) == "Diese Preise gelten 1 Tag."


def test_a_language_that_is_not_there() -> None:
    with pytest.raises(UsageError, match="there is no language 'ge'"):
        load_language("ge")
