"""Small readings and engines for the tests of this room; invented."""

from __future__ import annotations

from diag.casebook import Measured
from diag.knowledge_base import Distribution, Engine, Limit, Reading


def engine(**limits: tuple[float | None, str]) -> Engine:
    """An invented engine with these limits."""
    return Engine(
        name="an invented engine",
        invented=True,
        layout="inline",
        injector="piezo",
        banks={"A": (1, 2)},
        firing_order=(1, 2),
        access_minutes={},
        limits={name: Limit(value=value, unit=unit) for name, (value, unit) in limits.items()},
    )


def reading(
    spread: dict[str, tuple[str, float, float, float]],
    error: float,
    unit: str = "bar",
    relative_to: str | None = None,
    decimals: int = 6,
) -> Reading:
    """A reading whose levels have (shape, middle, width, freedom)."""
    return Reading(
        name="pressure",
        ask="How much?",
        plain="pressure",
        shows="something",
        unit=unit,
        relative_to=relative_to,
        spread={
            level: Distribution(shape=shape, middle=middle, width=width, freedom=freedom)
            for level, (shape, middle, width, freedom) in spread.items()
        },
        instrument_error=error,
        lowest=-1e6,
        highest=1e6,
        decimals=decimals,
        basis={"source": "elicited"},
    )


def read(value: float, censored: str = "", item: str = "pressure") -> Measured:
    """One reading of the vehicle in bar."""
    return Measured(item, None, value, "bar", censored)  # type: ignore[arg-type]  # the tests write the words
