"""Numbers of the knowledge: what one may be, what it stands on, and how it is written.

May import: pydantic.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

__all__ = ["MOST", "Amount", "Basis", "Chance", "ChanceByLevel", "Fig", "Figure", "Record", "Scaling", "SourceKind"]

MOST = 1e12  # of anything: beyond it products and squares of amounts are no numbers any more, and no workshop has it
SourceKind = Literal["published", "common practice", "elicited", "learned"]


class Record(BaseModel):
    """Base of all records: frozen, and nothing unknown is let in."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False, defer_build=True)


class Basis(Record):
    """Where a number comes from and how much it weighs.

    `strength` is in equivalent cases: a probability of strength 20 weighs as if seen in 20 cases.
    `cite` names an entry of sources.yaml and is required for `published`.
    """

    source: SourceKind
    cite: str | None = None
    strength: float = Field(default=10.0, gt=0)
    note: str | None = None

    @model_validator(mode="after")
    def _published_is_cited(self) -> Basis:
        if self.source == "published" and not self.cite:
            raise ValueError("a published number names its source: add 'cite:' with an entry of sources.yaml")
        return self


_PER_CENT = re.compile(r"^\s*([-+]?\d+(?:\.\d+)?)\s*%\s*$")


PerCent = Annotated[str, Field(pattern=_PER_CENT.pattern)]  # for the JSON Schema; see `_figure` and `_number`


def _figure(raw: object) -> object:
    """Read `0.4`, `40 %` or a mapping with value, also, basis."""
    if isinstance(raw, dict | Figure):
        return raw
    if isinstance(raw, bool):
        raise ValueError("a number is needed here, not true or false")
    if isinstance(raw, str) and (match := _PER_CENT.match(raw)):
        return {"value": float(match.group(1)) / 100}
    return {"value": raw}


def _number(raw: object) -> object:
    """Read `40 %` as 0.4; leave all else to pydantic."""
    if isinstance(raw, bool):
        raise ValueError("a number is needed here, not true or false")
    if isinstance(raw, str) and (match := _PER_CENT.match(raw)):
        return float(match.group(1)) / 100
    return raw


Number = Annotated[float, BeforeValidator(_number, json_schema_input_type=float | PerCent)]


class Figure(Record):
    """One number of the knowledge, other judgements of it (`also`), and its basis where it differs from its entry's."""

    value: Number
    also: tuple[Number, ...] = ()
    basis: Basis | None = None


_FigureInput = float | PerCent | Figure

Fig = Annotated[Figure, BeforeValidator(_figure, json_schema_input_type=_FigureInput)]


def _chance(raw: object) -> object:
    figure = Figure.model_validate(_figure(raw))
    for value in (figure.value, *figure.also):
        if not 0 <= value <= 1:
            raise ValueError(f"a chance or a rate lies between 0 and 1 (or 0 % and 100 %), not {value:g}")
    return figure


Chance = Annotated[Figure, BeforeValidator(_chance, json_schema_input_type=_FigureInput)]


def _positive(raw: object) -> object:
    figure = Figure.model_validate(_figure(raw))
    for value in (figure.value, *figure.also):
        if value < 0:
            raise ValueError(f"this number cannot be below zero, and is {value:g}")
        if value > MOST:
            raise ValueError(f"this number is {value:g}, and none above {MOST:g} is reckoned with")
    return figure


Amount = Annotated[Figure, BeforeValidator(_positive, json_schema_input_type=_FigureInput)]

ChanceByLevel = dict[str, Chance]  # level or state -> chance; the first (sound) one takes what is left


class Scaling(Record):
    """How a reading grows with what it is read at: as (read at / usual) to the `power`.

    `by` is the limit of the engine that holds the usual value, for which the spreads hold; `unit` is its unit.
    """

    by: str
    unit: str
    power: Amount
    basis: Basis
