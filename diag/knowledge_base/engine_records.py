"""What an engine's own data are made of: limits, tightening values, the form of trim codes.

May import: pydantic, and `amounts`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictBool

from diag.knowledge_base.amounts import MOST, Record

__all__ = ["Limit", "Minutes", "Torque", "TrimCodeFormat"]

Minutes = Annotated[float, Field(ge=0, le=MOST)]
AboveZero = Annotated[float, Field(gt=0)]


class Limit(Record):
    """A limit of one engine; `value` none means only the maker knows. `default` says it was not given by the maker."""

    value: float | None
    unit: str
    default: StrictBool = False
    note: str | None = None


class Torque(Record):
    """A tightening value; what is none is printed as 'maker's value ____'."""

    newton_metres: AboveZero | None = None
    then_degrees: AboveZero | None = None
    note: str | None = None


class TrimCodeFormat(Record):
    """Length and alphabet of the code on an injector; none where only the maker knows."""

    length: Annotated[int, Field(gt=0)] | None = None
    alphabet: str | None = None
