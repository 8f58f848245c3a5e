"""What the columns of a table are: by their heads, or as a mapping says.

A head is `case`, `engine`, `distance_km`, `age_years`, `codes`, `numbering`, `other_codes`, `open`, `cannot`, or a
finding or reading of the knowledge, with its condition and place where it has such: `rough_idle`, `chuff under cold 2`.
May import: knowledge_base, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import CaseError, Place, Problem, did_you_mean
from diag.batch.mapping import UNUSED, Said, TableMap
from diag.casebook import CONDITIONS, answer_words, scope_of, split_condition
from diag.knowledge_base import Knowledge

__all__ = ["Column", "ColumnWords", "column_words", "columns_of"]

PLAIN = {
    "case": "what the case is called; it comes back in the output",
    "engine": "the id of a listed engine (or 'engine:' in the mapping, for all rows)",
    "distance_km": "driven, in km; or 'distance' with the unit in the cell",
    "age_years": "age of the vehicle in years; or 'age' with the unit in the cell",
    "codes": "fault codes with ; between them, each with its state if known: P0263; P0087 pending",
    "numbering": "how the control unit counts the cylinders: 'confirmed' as the maker does, 'by firing order' ...",
    "other_codes": "'none' where every other code was looked for and is not stored",
    "open": "access that is open now, with ; between",
    "cannot": "checks that are not possible, with ; between",
}
UNITS = {"distance_km": ("distance", "km"), "age_years": ("age", "years")}
NAMES = (*PLAIN, "distance", "age")
LONGEST_NUMBER = 9  # digits that may be a cylinder's


@dataclass(frozen=True)
class Column:
    """One column that is used: its place in the table from 0, its head, and what it tells: a plain one of `NAMES`, or
    an item with its condition and place. `unit` is added to a bare number."""

    index: int
    head: str
    tells: str
    kind: str
    place: Place = None
    condition: str | None = None
    unit: str = ""

    @property
    def asked(self) -> tuple[str, Place, str | None]:
        """What it tells, for finding two columns of one thing."""
        return self.tells, self.place, self.condition


@dataclass(frozen=True)
class ColumnWords:
    """A line of the list of columns: the head (PLACE stands for a cylinder or bank), what it is, what cells hold."""

    head: str
    what: str
    cells: str


def column_words(knowledge: Knowledge) -> tuple[ColumnWords, ...]:
    """Every column that a table may have."""
    answers = ", ".join(answer_words(knowledge))
    found = [ColumnWords(head, what, "") for head, what in PLAIN.items()]
    for item, finding in knowledge.findings.items():
        if finding.code is None:
            found.append(ColumnWords(_head(knowledge, item), finding.name, answers))
    for item, reading in knowledge.readings.items():
        cells = f"a number in {reading.unit}" if reading.unit else "a number"
        found.append(
            ColumnWords(_head(knowledge, item), reading.name, f"{cells}, or with its unit; 'above 60' a bound")
        )
    return tuple(found)


def _head(knowledge: Knowledge, item: str) -> str:
    return item if scope_of(knowledge, item) == "vehicle" else f"{item} PLACE"


def columns_of(heads: Sequence[str], file: str, knowledge: Knowledge, mapping: TableMap) -> tuple[Column, ...]:
    """The columns that are used. Raises CaseError with every head that cannot be read, in line 1 of the table, and
    every line of the mapping that speaks of no column."""
    problems: list[Problem] = []
    found: list[Column] = []
    used: set[str | int] = set()
    for index, head in enumerate(heads):
        said = mapping.said(head, index + 1)
        used |= {head, index + 1}
        if said is not None and said.tells == UNUSED:
            continue
        column = _column(index, head, said, knowledge)
        if isinstance(column, Column):
            found.append(column)
        elif said is not None or not mapping.others_unused:
            problems.append(Problem(file, 1, index + 1, *column))
    problems += [mapping.problem(key, "the table has no such column") for key in mapping.columns if key not in used]
    for number, column in enumerate(found):
        twin = next((each for each in found[:number] if each.asked == column.asked), None)
        if twin is not None:
            message = f"the columns '{twin.head}' and '{column.head}' both tell '{column.tells}'"
            problems.append(Problem(file, 1, column.index + 1, message, "call one of them unused in the mapping"))
    if not problems and not mapping.engine and not any(column.tells == "engine" for column in found):
        message, hint = "no column tells the engine", "add a column 'engine', or 'engine:' to the mapping"
        problems.append(Problem(file, 1, 1, message, hint))
    if problems:
        raise CaseError(problems)
    return tuple(found)


def _column(index: int, head: str, said: Said | None, knowledge: Knowledge) -> Column | tuple[str, str]:
    """The column, or what is wrong with it and what would be right."""
    words = " ".join(head.split()) if said is None else said.tells
    place, condition = (said.place, said.condition) if said is not None else (None, None)
    unit = said.unit if said is not None else ""
    if words in NAMES:
        name, own = UNITS.get(words, (words, ""))
        return Column(index, head, name, "plain", unit=unit or own)
    item, under, there = _split(words)
    condition, place = condition or under, there if place is None else place
    readings, findings = knowledge.readings, knowledge.findings
    if item not in readings and item not in findings:
        hint = did_you_mean(item, [*NAMES, *findings, *readings]) or "say what it is, or 'unused', in a mapping"
        return f"the column '{head}' is not known", hint
    if condition is not None and condition not in CONDITIONS:
        return f"there is no condition '{condition}'", did_you_mean(condition, CONDITIONS)
    scope = scope_of(knowledge, item)
    wanted = {"vehicle": place is None, "cylinder": isinstance(place, int), "bank": isinstance(place, str)}[scope]
    if not wanted:
        example = {"vehicle": item, "cylinder": f"{item} 2", "bank": f"{item} A"}[scope]
        return f"'{item}' is of the {scope}", f"the head is '{example}'"
    if item in readings:
        return Column(index, head, item, "readings", place, condition, unit or readings[item].unit)
    return Column(index, head, item, "findings", place, condition)


def _split(words: str) -> tuple[str, str | None, Place]:
    """`chuff under cold 2` is the item 'chuff', the condition 'cold' and the place 2."""
    before, _, last = words.rpartition(" ")
    place: Place = None
    if before and last.isdecimal() and len(last) < LONGEST_NUMBER:
        words, place = before, int(last)
    elif before and len(last) == 1 and last.isupper():
        words, place = before, last
    item, condition = split_condition(words)
    return item, condition, place
