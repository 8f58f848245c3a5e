"""From what the stretches say to readings of the case.

May import: numpy, `diag.knowledge_base` (records, units), and within the room.
"""

from __future__ import annotations

import math
from dataclasses import replace

from diag.basics import Place
from diag.knowledge_base import Knowledge, Reading, convert
from diag.logs.fates import Zone
from diag.logs.result import LogReading, LogStatistic, WhyNot
from diag.logs.robust import Estimate, estimate
from diag.logs.rows import Channel
from diag.logs.rules import Rules
from diag.logs.sorting import Sorter

__all__ = ["readings_of", "statistics_of"]

_SHOWN = {
    Zone.IDLE: (
        "correction", "speed", "coolant", "fuel_temperature", "battery", "rail_wanted", "rail_actual", "rail_deviation",
    ),
    Zone.CRANKING: ("speed", "battery"),
    Zone.LOAD: ("speed", "load", "rail_wanted", "rail_actual", "rail_deviation", "boost_deviation"),
}  # fmt: skip
_READING_OF = {
    (Zone.IDLE, "correction"): "correction",
    (Zone.IDLE, "rail_deviation"): "rail_pressure_idle",
    (Zone.CRANKING, "speed"): "cranking_speed",
    (Zone.CRANKING, "battery"): "battery_voltage_cranking",
    (Zone.LOAD, "boost_deviation"): "boost_deviation",
}
_START_READING = "rail_pressure_cranking"
_FEWEST_ROWS_TO_BE_STILL = 20


def statistics_of(sorter: Sorter, knowledge: Knowledge) -> tuple[LogStatistic, ...]:
    """What every channel shows, by zone, cylinders in their order."""
    found = []
    for zone, names in _SHOWN.items():
        for name in names:
            channels = sorted(
                (channel for kind, channel in sorter.series if kind == zone and channel.name == name),
                key=lambda channel: (channel.place is not None, str(channel.place).zfill(3)),
            )
            for channel in channels:
                series = sorter.series[zone, channel]
                result = estimate(series, sorter.rules.huber_bend, _step(sorter, channel))
                found.append(LogStatistic(zone, channel, _unit(knowledge, name), series.rows, result))
    return tuple(found)


def _unit(knowledge: Knowledge, name: str) -> str:
    of = {"rail_deviation": "rail_actual", "boost_deviation": "boost_actual"}.get(name, name)
    return knowledge.log_columns[of].unit


def _step(sorter: Sorter, channel: Channel) -> float:
    """The step between the numbers of a channel; 0 where it is not known."""
    extremes = sorter.extremes.get(channel)
    return extremes.step if extremes is not None and math.isfinite(extremes.step) else 0.0


def readings_of(sorter: Sorter, statistics: tuple[LogStatistic, ...], knowledge: Knowledge) -> tuple[LogReading, ...]:
    """The readings that the knowledge has and the log gives, in the order of the statistics."""
    found = []
    for each in statistics:
        item = _READING_OF.get((each.zone, each.channel.name))
        if item is None or item not in knowledge.readings:
            continue
        reading = _reading(knowledge, item, each.channel.place, each.unit, each.estimate)
        short = sorter.used_seconds(each.zone) < {
            Zone.IDLE: sorter.rules.idle_least,
            Zone.LOAD: sorter.rules.load_least,
        }.get(each.zone, 0.0)
        if each.channel.name == "correction":
            reading = _judged(reading, sorter, each.channel)
        found.append(replace(reading, why_not="too short") if short and not reading.why_not else reading)
    start = _start_reading(sorter, knowledge)
    return (*found, *([start] if start is not None else []))


def _reading(knowledge: Knowledge, item: str, place: Place, unit: str, result: Estimate | None) -> LogReading:
    known = knowledge.readings[item]
    if result is None:
        return LogReading(item, place, 0.0, 0.0, known.unit, known.decimals, why_not="too short")
    value = convert(result.mean, unit, known.unit)
    error = abs(convert(result.mean + result.error, unit, known.unit) - value)
    if error == 0.0:  # a column without noise: nothing finer than the last figure that people read off
        error = 10.0**-known.decimals / math.sqrt(12)
    return LogReading(item, place, value, error, known.unit, known.decimals + 1, why_not=_why_not(known, value))


def _why_not(known: Reading, value: float) -> WhyNot:
    """What is not precise is taken all the same: its error goes with it into the case."""
    return "" if known.lowest <= value <= known.highest else "implausible"


def _judged(reading: LogReading, sorter: Sorter, channel: Channel) -> LogReading:
    """A correction that stands still at zero is none, and one that stands at the controller's limit is a bound."""
    extremes = sorter.extremes[channel]
    if extremes.rows < _FEWEST_ROWS_TO_BE_STILL:
        return reading
    if extremes.highest == extremes.lowest == 0.0:
        return replace(reading, why_not="stands still")
    if not _others_move(sorter, channel):
        return reading
    if _held_at(extremes.highest, extremes.at_highest, extremes.rows, sorter.rules):
        return replace(reading, value=extremes.highest, error=0.0, censored="above", why_not="")
    if _held_at(-extremes.lowest, extremes.at_lowest, extremes.rows, sorter.rules):
        return replace(reading, value=extremes.lowest, error=0.0, censored="below", why_not="")
    return reading


def _held_at(extreme: float, count: int, rows: int, rules: Rules) -> bool:
    """Whether nearly all rows show one value, far enough from zero to be the limit of a controller."""
    return bool(extreme >= rules.saturated_from) and 100.0 * count >= rules.saturated_share * rows


def _others_move(sorter: Sorter, channel: Channel) -> bool:
    """Whether another cylinder's correction is seen to move: then one that does not move is held by something."""
    others = [each for other, each in sorter.extremes.items() if other.name == channel.name and other != channel]
    return any(100.0 * each.at_highest < sorter.rules.saturated_share * each.rows for each in others if each.rows)


def _start_reading(sorter: Sorter, knowledge: Knowledge) -> LogReading | None:
    """The rail pressure at the end of the longest attempt; its error is the whole spread there, and no less than that
    of the instrument, because nobody knows how many of these few rows tell anything new. A column that stays at zero
    while the engine runs tells nothing of its start either."""
    start = sorter.start
    if not start.rail_rows or _START_READING not in knowledge.readings:
        return None
    known = knowledge.readings[_START_READING]
    value = convert(start.rail, "bar", known.unit)
    error = max(abs(convert(start.rail_spread, "bar", known.unit)), known.instrument_error.value)
    running = sorter.extremes.get(Channel("rail_actual"))
    dead = running is not None and running.rows > 0 and running.highest == running.lowest == 0.0
    why_not: WhyNot = "stands still" if dead else _why_not(known, value)
    return LogReading(_START_READING, None, value, error, known.unit, known.decimals, why_not=why_not)
