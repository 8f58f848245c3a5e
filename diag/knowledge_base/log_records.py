"""What the knowledge says about logs: how their columns are called, and the rules by which stretches are chosen.

May import: pydantic, and within the room `amounts`.
"""

# ruff: noqa: RUF012  pydantic copies a default for every record

from __future__ import annotations

from pydantic import Field, StrictBool

from diag.knowledge_base.amounts import Amount, Basis, Record

__all__ = ["LOG_CHANNELS", "LOG_RULES", "LogColumn", "LogRule"]

LOG_CHANNELS: tuple[str, ...] = (
    "time",
    "speed",
    "coolant",
    "fuel_temperature",
    "rail_wanted",
    "rail_actual",
    "correction",
    "battery",
    "load",
    "boost_wanted",
    "boost_actual",
)
"""The channels that a log is read for."""

LOG_RULES: dict[str, str] = {
    "warm_from": "°C",
    "idle_from": "rpm",
    "idle_to": "rpm",
    "idle_swing": "rpm",
    "idle_settles": "s",
    "idle_least": "s",
    "block": "s",
    "bridge": "s",
    "restart": "s",
    "pause": "s",
    "hold": "s",
    "hold_temperature": "s",
    "cranking_from": "rpm",
    "cranking_to": "rpm",
    "cranking_inrush": "s",
    "cranking_least": "s",
    "cranking_most": "s",
    "cranking_tail": "s",
    "coasting_most": "s",
    "load_from": "rpm",
    "load_share": "%",
    "load_rail": "bar",
    "load_settles": "s",
    "load_least": "s",
    "load_block": "s",
    "saturated_share": "%",
    "saturated_from": "mg/stroke",
    "huber_bend": "",
    "unreadable_most": "%",
}
"""The rules that a log is judged by, each with the unit that it must be in."""


class LogColumn(Record):
    """One channel of a log, and the words by which its column is recognised.

    `words`: by language, phrases; one of them must stand in the header. `wanted_too`: one of these must stand there as
    well. `never`: none of these may. `symbols`: of a quantity, such as `n` or `T_fuel`; a head that says nothing else
    but a unit of this channel is it, and no other head. `place_words`: beginnings of words beside which a cylinder's
    number stands. `units`: each unit that the channel can be read in, with the other spellings that loggers use.
    `assumed`: the unit where the header names none; none where it must be said. `lowest` to `highest` is what is
    plausible, in `unit`.
    """

    name: str
    plain: str
    per_cylinder: StrictBool = False
    unit: str
    assumed: str | None = None
    units: dict[str, tuple[str, ...]] = {}
    words: dict[str, tuple[str, ...]] = Field(min_length=1)
    wanted_too: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    symbols: tuple[str, ...] = ()
    place_words: tuple[str, ...] = ()
    lowest: float
    highest: float
    basis: Basis


class LogRule(Record):
    """One rule: its value in its unit, and the reason why it is there and not elsewhere."""

    name: str
    reason: str
    value: Amount
    unit: str
    basis: Basis
