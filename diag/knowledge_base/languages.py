"""Reads the words for the customer: one file a language, in `languages` beside the knowledge that ships.

English is the measure of the others: a translation has the same keys and the same {names} in braces.
May import: pydantic, `diag.basics`, and within the room `amounts`, `loading`, `reader`,
`records`, `validation`.
"""

from __future__ import annotations

import string
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from pydantic import Field

from diag.basics import KnowledgeError, Problem, UsageError, did_you_mean
from diag.knowledge_base.amounts import Record
from diag.knowledge_base.loading import shipped_folder
from diag.knowledge_base.reader import Key, PlacedDocument, read_document
from diag.knowledge_base.records import Knowledge
from diag.knowledge_base.validation import validate

__all__ = ["ComponentWords", "Language", "NumberForms", "RepairWords", "language_names", "load_language"]

REFERENCE = "en"
_SECTIONS = ("numbers", "places", "phrases", "dangers", "estimate")


class ComponentWords(Record):
    """What is wrong with a component, as a sentence: in general (`fault`), state by state, and what comes of it."""

    fault: str
    states: dict[str, str] = Field(min_length=1)
    left: str


class RepairWords(Record):
    """What a repair is called on an option, and what it includes."""

    work: str
    includes: str


class NumberForms(Record):
    """How numbers are written: the signs for decimals and thousands, and per cents with their two ends."""

    decimal: str
    thousands: str
    per_cent: str
    under: str
    over: str


class Language(Record):
    """All words of one language. `scale`: the seven words of chance, from the surest to the least sure. `parts`,
    `access` and `risks` (by their names in the knowledge) are left out where the knowledge's own words do."""

    code: str = Field(pattern=r"^[a-z]{2,3}$")
    name: str
    numbers: NumberForms
    scale: tuple[str, ...] = Field(min_length=7, max_length=7)
    places: dict[str, str]
    components: dict[str, ComponentWords]
    repairs: dict[str, RepairWords]
    checks: dict[str, str]
    dangers: dict[str, str]
    phrases: dict[str, str]
    estimate: dict[str, str]
    parts: dict[str, str] = Field(default_factory=dict)
    access: dict[str, str] = Field(default_factory=dict)
    risks: dict[str, str] = Field(default_factory=dict)


def language_names() -> tuple[str, ...]:
    """Codes of the languages that ship, English first."""
    names = sorted(path.stem for path in (shipped_folder() / "languages").glob("*.yaml"))
    return tuple(sorted(names, key=lambda name: name != REFERENCE))


def load_language(name: str = REFERENCE, knowledge: Knowledge | None = None) -> Language:
    """The words of a language that ships, by its code, or those of a language file, by its path. `knowledge`: what it
    is to speak of, so that words for nothing that it holds are found.

    Raises KnowledgeError with every problem of the file and its place; UsageError where there is no such language.
    """
    document = read_document(_path(name))
    language = _validated(document)
    if name != REFERENCE:
        reference = read_document(_path(REFERENCE))
        problems = list(_unlike(document, reference))
        if knowledge is not None and name not in language_names():
            problems += _of_nothing(document, reference, knowledge)
        if problems:
            raise KnowledgeError(problems)
    return language


def _path(name: str) -> Path:
    if name in language_names():
        return shipped_folder() / "languages" / f"{name}.yaml"
    if name.endswith((".yaml", ".yml")):
        return Path(name)
    hint = did_you_mean(name, language_names(), most=20)
    raise UsageError(f"there is no language '{name}', and a language file ends in .yaml; {hint}")


def _validated(document: PlacedDocument) -> Language:
    if not isinstance(document.data.get("language"), dict):
        message = "a language file holds everything under 'language:'"
        raise KnowledgeError([Problem(document.file, 1, 1, message, "copy languages/en.yaml and translate it")])
    return validate(Language, document, ("language",))


def _unlike(document: PlacedDocument, reference: PlacedDocument) -> Iterator[Problem]:
    """Where a translation lacks a key of the reference, has one of its own, or other names in braces."""
    for section in _SECTIONS:
        here, there = _section(document, section), _section(reference, section)
        for key in there.keys() - here.keys():
            hint = f"in English: {there[key]}"
            yield document.problem(("language", section), f"'{key}' is missing here", hint, of_key=True)
        for key in here.keys() - there.keys():
            hint = did_you_mean(str(key), [str(each) for each in there])
            yield document.problem(("language", section, key), f"'{key}' is not known here", hint, of_key=True)
        for key in here.keys() & there.keys():
            if _names(here[key]) != _names(there[key]) or not _counts(here[key]) <= _counts(there[key]):
                wanted = " ".join(sorted(f"{{{name}}}" for name in _names(there[key]))) or "none"
                message = "this does not have the same names in braces as the English"
                yield document.problem(("language", section, key), message, f"it has: {wanted}")


def _of_nothing(document: PlacedDocument, reference: PlacedDocument, knowledge: Knowledge) -> Iterator[Problem]:
    """Words for what neither the knowledge nor the English has: a slip in an id, which would never be said."""
    known: dict[str, Collection[str]] = {
        "components": knowledge.components,
        "repairs": knowledge.repairs,
        "checks": knowledge.checks,
        "parts": knowledge.prices.parts,
        "access": knowledge.vocabulary.access,
        "risks": [risk.name for repair in knowledge.repairs.values() for risk in repair.risks],
    }
    for section, ids in known.items():
        every = [*ids, *map(str, _section(reference, section))]
        for key in _section(document, section):
            if key not in every:
                near = did_you_mean(str(key), every)
                hint = near or "a workshop's own is known with its overlay"
                message = f"the knowledge has no '{key}' among its {section}"
                yield document.problem(("language", section, key), message, hint, of_key=True)
    for id_, component in knowledge.components.items():
        told = _section(document, "components").get(id_)
        for state in told.get("states", ()) if isinstance(told, dict) else ():
            if state not in component.states:
                hint = did_you_mean(str(state), list(component.states))
                place = ("language", "components", id_, "states", state)
                yield document.problem(place, f"'{id_}' has no state '{state}'", hint, of_key=True)


def _section(document: PlacedDocument, section: str) -> Mapping[Key, object]:
    whole = document.data["language"]
    assert isinstance(whole, dict)
    inside = whole.get(section, {})
    assert isinstance(inside, dict)
    return inside


def _names(text: object) -> frozenset[str]:
    """The names in braces; {Sure} is {sure} with a capital, and the only one that has a capital. What a form after the
    name asks for cannot be done with a text, so that `{money:.2f}` is no name; `{days:day|days}` is a count."""
    return frozenset(
        "?" if how or (form and "|" not in form) else "sure" if name == "Sure" else name
        for name, form, how in _braces(text)
    )


def _counts(text: object) -> frozenset[str]:
    """Those of them that say the word beside them, for one and for others (see `diag.basics.Counted`)."""
    return frozenset(name for name, form, _ in _braces(text) if "|" in form)


def _braces(text: object) -> list[tuple[str, str, str]]:
    """What stands in braces: name, form and conversion; a `?` for a brace without its partner."""
    try:
        found = [each for each in string.Formatter().parse(str(text)) if each[1] is not None]
    except ValueError:
        return [("?", "", "")]
    return [(str(name), form or "", how or "") for _, name, form, how in found]
