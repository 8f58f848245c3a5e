"""How the true value of a reading lies between engines: one law, or a mixture of several with their weights.

May import: pydantic, and within the room `amounts`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag

from diag.knowledge_base.amounts import Amount, Basis, Fig, Record

__all__ = ["KINDS_OF_SPREAD", "Distribution", "Mixture", "MixturePart", "SpreadOfReading", "other_kind_of_spread"]

Shape = Literal["normal", "log-normal", "student t"]
ONE_LAW, SEVERAL = "a spread of one law", "a spread of several parts"  # tags of the union, which no file holds
PARTS = "parts"


class Distribution(Record):
    """Spread of a reading's true value between engines: normal, log-normal (`middle` is the median, `width` the
    standard deviation of the logarithm) or Student t with `freedom` degrees."""

    shape: Shape = "normal"
    middle: Fig
    width: Amount
    freedom: float = Field(default=4.0, gt=0)

    @property
    def laws(self) -> tuple[Distribution, ...]:
        """The laws that it is made of: itself alone."""
        return (self,)


class MixturePart(Distribution):
    """One part of a mixture: the share of engines whose true value it describes, and its law.

    `basis` where it is not that of the reading.
    """

    weight: Amount
    basis: Basis | None = None


class Mixture(Record):
    """A spread of several parts, each with its weight; the weights sum to 1. An engine belongs to one part, and stays
    with it however often it is read: two batches of a part, or a thin share that lies elsewhere for a known reason."""

    parts: tuple[MixturePart, ...]

    @property
    def laws(self) -> tuple[Distribution, ...]:
        """The laws that it is made of."""
        return self.parts


def _kind(raw: object) -> str:
    """Which of the two a spread is: one that names parts is a mixture."""
    mixed = isinstance(raw, Mixture) or (isinstance(raw, dict) and PARTS in raw)
    return SEVERAL if mixed else ONE_LAW


SpreadOfReading = Annotated[
    Annotated[Distribution, Tag(ONE_LAW)] | Annotated[Mixture, Tag(SEVERAL)],
    Discriminator(_kind),
]
KINDS_OF_SPREAD: dict[str, type[Record]] = {ONE_LAW: Distribution, SEVERAL: Mixture}


def other_kind_of_spread(old: object, new: object) -> bool:
    """Whether a new spread takes the place of an old one as a whole, one of the two being a mixture."""
    if not isinstance(old, dict) or not isinstance(new, dict):
        return False
    return (PARTS in old) != (PARTS in new)
