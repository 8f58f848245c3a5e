"""From the cells of a row to its case, or to what is wrong with it; and cases as text, alike where the evidence is.

May import: logs, knowledge_base, casebook, basics.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from hashlib import blake2b

from diag.basics import CaseError
from diag.batch.columns import Column
from diag.batch.sources import Cell
from diag.casebook import Answer, Case, Epoch, Measured, case_of
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Spot, Tree
from diag.logs import shortened

__all__ = ["BadRow", "RowReader", "case_from_text", "case_text", "evidence_digest"]

_BARE = set("0123456789.-+eE")
_COMMA = re.compile(r"(above |below )?[-+]?\d+,\d")
_COMMA_HINT = "where it stands for decimals write 'decimal: comma' in a mapping (--map), else leave it out"
LISTS = ("codes", "open", "cannot")


@dataclass(frozen=True)
class BadRow:
    """A row that is left out: the head of the column, and why."""

    column: str
    reason: str


class RowReader:
    """Reads rows by the columns of one table."""

    def __init__(
        self, knowledge: Knowledge, columns: Sequence[Column], engine: str, decimal: str, answers: Mapping[str, str]
    ) -> None:
        self.knowledge, self.columns, self.engine = knowledge, columns, engine
        self.decimal, self.answers = decimal, answers
        self.telling = [column for column in columns if column.tells != "case"]
        self.name = next((column.index for column in columns if column.tells == "case"), None)

    def name_of(self, cells: Sequence[Cell]) -> str:
        """What the case is called, as far as that is text."""
        name = None if self.name is None else self._plain(cells[self.name])
        return "" if name is None else str(name).encode("utf-8", "replace").decode("utf-8")

    def told(self, cells: Sequence[Cell]) -> list[Cell]:
        """The cells that count."""
        return [cells[column.index] for column in self.telling]

    def read(self, cells: Sequence[Cell]) -> Case | BadRow:
        """The row's case, or what is wrong with it (the first thing, and how many more there are)."""
        spot = Spot("", 1, 0)
        data: dict[Key, Tree] = {"engine": self.engine} if self.engine else {}
        for column in self.telling:
            cell = self._plain(cells[column.index])
            if cell is None:
                continue
            if isinstance(cell, str) and not cell.isprintable():
                return BadRow(column.head, "the cell is not text; name the table's encoding in a mapping")
            if self.decimal == "." and isinstance(cell, str) and column.tells not in LISTS and _COMMA.match(cell):
                return BadRow(column.head, f"'{shortened(cell)}' has a comma in its number; {_COMMA_HINT}")
            self._put(data, spot, column, cell)
        try:
            case = case_of(PlacedDocument("", data, spot), self.knowledge)
        except CaseError as error:
            first, more = error.problems[0], len(error.problems) - 1
            head = next((each.head for each in self.columns if each.index + 1 == first.column), "")
            reason = f"{first.message}; {first.hint}" if first.hint else first.message
            return BadRow(head, reason + (f" (and {more} more)" if more else ""))
        if case.engine_id not in self.knowledge.engines:
            return BadRow("engine", "an engine of a table is one that is listed; 'diag engine list' lists them")
        return _in_order(case)

    def _plain(self, cell: Cell) -> Cell:
        """A cell without what means nothing: empty text and what is not a number are none."""
        if isinstance(cell, str):
            return cell.strip() or None
        if isinstance(cell, float) and not math.isfinite(cell):
            return None
        return cell

    def _put(self, data: dict[Key, Tree], spot: Spot, column: Column, cell: Cell) -> None:
        """Lay a cell where a case file would hold it, and remember the column as its place."""
        if column.kind == "plain":
            value: Tree = self._list(cell) if column.tells in LISTS else self._number(cell, column.unit)
            data[column.tells] = value
            _placed(spot, (column.tells,), column.index + 1)
            return
        value = self._number(cell, column.unit) if column.kind == "readings" else self._answer(cell)
        key = f"{column.tells} under {column.condition}" if column.condition else column.tells
        block = data.setdefault(column.kind, {})
        assert isinstance(block, dict)
        if column.place is None:
            block[key] = value
            _placed(spot, (column.kind, key), column.index + 1)
            return
        places = block.setdefault(key, {})
        assert isinstance(places, dict)
        places[column.place] = value
        _placed(spot, (column.kind, key, column.place), column.index + 1)

    def _number(self, cell: Cell, unit: str) -> str:
        """A number with its unit, as a case file has it."""
        text = str(cell)
        if self.decimal == ",":
            text = text.replace(",", ".")
        bare = text.removeprefix("above ").removeprefix("below ").strip()
        return f"{text} {unit}" if unit and set(bare) <= _BARE else text

    def _answer(self, cell: Cell) -> str:
        if isinstance(cell, bool):
            return "present" if cell else "absent"
        return self.answers.get(str(cell), str(cell))

    @staticmethod
    def _list(cell: Cell) -> list[Tree]:
        parts = cell if isinstance(cell, list) else str(cell).replace(",", ";").split(";")
        texts = [str(part).strip() for part in parts if part is not None]
        return [text for text in texts if text]


def _placed(spot: Spot, path: Sequence[Key], column: int) -> None:
    for key in path:
        spot = spot.children.setdefault(key, Spot("", 1, column))


def _in_order(case: Case) -> Case:
    """The case with its findings in one order, so that rows that say the same are the same."""
    epoch = case.epochs[0]
    answers = sorted(
        (replace(each, at=None) for each in epoch.answers),
        key=lambda each: (each.item, str(each.place), each.condition or "", each.answer),
    )
    measured = sorted(epoch.measured, key=lambda each: (each.item, str(each.place), each.condition or "", each.value))
    found = Epoch((), tuple(answers), tuple(measured), tuple(sorted(epoch.codes, key=lambda each: each.code)))
    return replace(case, title="", note="", epochs=(found,))


def case_text(case: Case) -> str:
    """Everything that counts of a row's case, as one line of JSON that `case_from_text` reads back."""
    epoch = case.epochs[0]
    told: list[object] = [
        case.engine_id,
        case.distance_km,
        case.age_years,
        [[each.item, each.place, each.answer, each.condition] for each in epoch.answers],
        [list(astuple(each)) for each in epoch.measured],
        [list(each) for each in case.open_access],
        list(case.cannot),
        case.numbering,
    ]
    return json.dumps(told, separators=(",", ":"))


def case_from_text(text: str, knowledge: Knowledge) -> Case:
    """The case of a line that `case_text` wrote."""
    engine, km, years, answers, measured, opened, cannot, numbering = json.loads(text)
    found = Epoch((), tuple(Answer(*each) for each in answers), tuple(Measured(*each) for each in measured))
    return Case(
        title="",
        engine=knowledge.engines[engine],
        engine_id=engine,
        distance_km=km,
        age_years=years,
        epochs=(found,),
        open_access=tuple((kind, bank) for kind, bank in opened),
        cannot=tuple(cannot),
        numbering=numbering,
    )


def evidence_digest(text: str) -> str:
    """The name of a case among all: 128 bits, so that two that differ never meet in practice."""
    return blake2b(text.encode("utf-8"), digest_size=16).hexdigest()
