"""Nobody reads of '1 cases': words beside a count are said for one and for others, in every language."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path

import pytest

import diag
from diag.basics import Counted, counted
from diag.knowledge_base import language_names, load_language

PACKAGE = Path(diag.__file__).parent
MODULES = sorted(
    f"diag.{path.parent.name}.{path.stem}" for room in ("report", "web") for path in (PACKAGE / room).glob("words*.py")
)
PLURAL = re.compile(
    r"\{(\w+)(?::,|:g)?\} (?:\w+ )?(cases|days|weeks|months|years|rows|draws|times|readings|figures|cells|questions|"
    r"answers|predictions|statements|pages|events|customers|attachments|complaints|choices|Tage|Monate|Jahre|Mal)\b"
)
ALWAYS_SEVERAL = ("at most {most} cases",)  # of a class on the page


def _texts(words: object) -> Iterator[str]:
    if isinstance(words, str):
        yield words
    elif isinstance(words, Mapping):
        for each in words.values():
            yield from _texts(each)
    elif isinstance(words, tuple | list):
        for each in words:
            yield from _texts(each)


def _written(source: str) -> list[str]:
    """All sentences of a module of words, or of a language."""
    if source in language_names():
        language = load_language(source)
        return [*_texts(language.phrases), *_texts(language.estimate), *_texts(language.places)]
    module = import_module(source)
    return [text for name in module.__all__ for text in _texts(getattr(module, name))]


@pytest.mark.parametrize("source", [*MODULES, *language_names()])
def test_no_word_beside_a_count_is_always_plural(source: str) -> None:
    found = [text for text in _written(source) if PLURAL.search(text)]
    assert [text for text in found if not any(each in text for each in ALWAYS_SEVERAL)] == []


@pytest.mark.parametrize("source", [*MODULES, *language_names()])
def test_a_sentence_reads_for_none_one_and_two(source: str) -> None:
    """Filled with counts, every sentence with one says another word for one than for two, and both to the end."""
    for text in _written(source):
        if "|" not in text or "{" not in text:
            continue
        parts = list(string.Formatter().parse(text))
        counts = [name for _, name, form, _ in parts if name and "|" in (form or "")]
        numbers = dict.fromkeys([name for _, name, form, _ in parts if name and form and "|" not in form], 0.25)
        rest: dict[str, object] = {"limit": "3 %"} | {name: "x" for _, name, form, _ in parts if name and not form}
        said = [text.format(**(rest | numbers | dict.fromkeys(counts, counted(each)))) for each in (7, 1, 8)]
        assert "|" not in "".join(said)
        assert said[0].replace("7", "8") == said[2]
        assert said[1].replace("1", "8") != said[2] or source == "de"  # some German words are one in both


def test_a_count_says_its_word() -> None:
    assert [f"{counted(each):case was|cases were}" for each in (0, 1, 2, 1250, 1.0, 1.5)] == [
        "0 cases were",
        "1 case was",
        "2 cases were",
        "1,250 cases were",
        "1 case was",
        "1.5 cases were",
    ]
    assert f"{Counted('1,5')} {counted(7)!s}" == "1,5 7"
    with pytest.raises(ValueError, match="nothing for more than one"):
        f"{counted(1):case}"
