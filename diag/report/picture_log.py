"""The picture of a log: an SVG that stands alone, reads without colour, and says in words what it shows.

Strips one above the other share the time: engine speed, rail pressure, coolant, and one for each cylinder's correction
with its mean. Bars at the foot, told apart by their filling and their place, mark what counted.
May import: numpy, logs, sheets, words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from diag.logs import Channel, LogResult, TraceBuckets, Zone
from diag.report.sheets_log import LogReadingLine, LogSheet
from diag.report.text_log import mean_and_error, time_words
from diag.report.words_log import LOG_PICTURE, ZONE_NAMES

__all__ = ["log_picture"]

Array = NDArray[np.float64]
_WIDTH, _LEFT, _RIGHT, _TOP = 1000, 64, 158, 58
_TALL, _SMALL, _GAP, _FOOT = 92, 54, 26, 16
_LOOKS = {
    "t": 'font-size="16" font-weight="bold"',
    "s": 'font-size="11"',
    "box": 'fill="none" stroke="#555" stroke-width=".8"',
    "grid": 'stroke="#bbb" stroke-width=".6"',
    "band": 'fill="#999" fill-opacity=".45" stroke="#999" stroke-opacity=".45" stroke-width=".8"',
    "middle": 'fill="none" stroke="#000" stroke-width="1.1"',
    "dash": 'fill="none" stroke="#000" stroke-width="1.5" stroke-dasharray="6 4"',
    "mean": 'stroke="#000" stroke-width="2"',
    "used": 'stroke="#111" stroke-width=".8"',
}
"""How each kind of mark looks; written out at every mark, so that a page that allows no style of its own shows it."""
_CLASS = re.compile(r'class="(\w+)"')
_PATTERNS = (
    '<pattern id="idle" width="7" height="7" patternUnits="userSpaceOnUse"><rect width="7" height="7" fill="#fff"/>'
    '<path d="M0 7L7 0" stroke="#111" stroke-width="1.4"/></pattern>'
    '<pattern id="cranking" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#111"/>'
    "</pattern>"
    '<pattern id="load" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#fff"/>'
    '<circle cx="3" cy="3" r="1.6" fill="#111"/></pattern>'
)


@dataclass(frozen=True)
class _Strip:
    """One strip: its words, its channels (the first filled, the second dashed), the range that it shows, a level to
    mark, a reading to note."""

    label: str
    filled: Channel
    dashed: Channel | None
    shown: tuple[float, float]
    level: float | None
    reading: LogReadingLine | None
    height: int


def log_picture(result: LogResult, sheet: LogSheet, warm_from: float) -> str:
    """The text of an SVG file with the whole log, decimated."""
    strips, trace = _strips(result, sheet, warm_from), result.trace
    x = _TimeAxis(trace)
    body, y = [], _TOP
    for strip in strips:
        body += _strip(strip, trace, x, y)
        y += strip.height + _GAP
    body += _feet(trace, x, y)
    y += len(Zone) * (_FOOT + 6) + 6
    body += _axis(x, y)
    height = y + 52
    title = LOG_PICTURE["title"].format(file=Path(result.file).name, engine=sheet.engine)
    about = _about(sheet, strips)
    return (
        _dressed(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{height}"'
                f' viewBox="0 0 {_WIDTH} {height}"'
                ' role="img" aria-labelledby="title" aria-describedby="about" font-family="sans-serif" font-size="12">',
                f'<title id="title">{_text(title)}</title>',
                f'<desc id="about">{_text(about)}</desc>',
                f"<defs>{_PATTERNS}</defs>",
                f'<rect width="{_WIDTH}" height="{height}" fill="#fff"/>',
                f'<text class="t" x="16" y="28">{_text(_cut(title, 100))}</text>',
                *body,
                f'<text class="s" x="16" y="{height - 10}">{_text(LOG_PICTURE["range"])}</text>',
                "</svg>",
            ]
        )
        + "\n"
    )


def _dressed(lines: Sequence[str]) -> str:
    """The lines with the look of every mark at it."""
    whole = "\n".join(lines).replace("<text ", '<text fill="#111" ')
    return _CLASS.sub(lambda found: _LOOKS[found.group(1)], whole)


def _text(text: str) -> str:
    """Text for XML: escaped, and without characters that XML does not have."""
    return escape("".join(c if c.isprintable() else " " for c in text))


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _strips(result: LogResult, sheet: LogSheet, warm_from: float) -> list[_Strip]:
    """The strips, from above; the corrections all have one range, so that cylinders can be compared by eye."""
    trace, speed, rail, coolant = result.trace, Channel("speed"), Channel("rail_actual"), Channel("coolant")
    wanted = Channel("rail_wanted") if Channel("rail_wanted") in trace.low else None
    strips = [_Strip(LOG_PICTURE["speed"], speed, None, _range(trace, [speed], [0.0]), None, None, _TALL)]
    if rail in trace.low:
        shown = _range(trace, [rail, *([wanted] if wanted is not None else [])], [0.0])
        strips.append(_Strip(LOG_PICTURE["rail"], rail, wanted, shown, None, None, _TALL))
    if coolant in trace.low:
        shown, words = _range(trace, [coolant], [warm_from]), LOG_PICTURE["coolant"].format(warm=warm_from)
        strips.append(_Strip(words, coolant, None, shown, warm_from, None, _SMALL))
    lines = {line.place: line for line in sheet.readings if line.reading == "correction"}
    corrections = sorted(
        (each for each in trace.low if each.name == "correction"), key=lambda each: int(each.place or 0)
    )
    values = [line.value for line in lines.values() if line.value is not None]
    shown = _range(trace, corrections, [0.0, *values]) if corrections else (0.0, 1.0)
    for channel in corrections:
        words = LOG_PICTURE["correction"].format(cylinder=channel.place)
        strips.append(_Strip(words, channel, None, shown, 0.0, lines.get(channel.place), _SMALL))
    return strips


class _TimeAxis:
    """Seconds to places on the page."""

    def __init__(self, trace: TraceBuckets) -> None:
        self.last = float(np.max(trace.end, initial=0.0)) or 1.0
        self.width = _WIDTH - _LEFT - _RIGHT

    def __call__(self, seconds: Array) -> Array:
        return np.asarray(_LEFT + seconds / self.last * self.width, dtype=np.float64)


def _range(trace: TraceBuckets, channels: Sequence[Channel], levels: Sequence[float]) -> tuple[float, float]:
    """What a strip shows: where the middles of nearly all pieces of time lie, what is marked, and some room."""
    values = np.concatenate([trace.middle[channel] for channel in channels])
    values = values[~np.isnan(values)]
    if not len(values):
        return 0.0, 1.0
    low, high = (float(np.quantile(values, share)) for share in (0.004, 0.996))
    low, high = min([low, *levels]), max([high, *levels])
    spare = 0.12 * (high - low) or 1.0
    return low - spare, high + spare


def _strip(strip: _Strip, trace: TraceBuckets, x: _TimeAxis, top: int) -> list[str]:
    low, high = strip.shown
    bottom = top + strip.height

    def y(values: Array) -> Array:
        return np.asarray(bottom - (np.clip(values, low, high) - low) / (high - low) * strip.height, dtype=np.float64)

    right = _LEFT + x.width
    parts = [f'<text x="{_LEFT}" y="{top - 6}">{_text(strip.label)}</text>']
    for value in _ticks(low, high, 3 if strip.height == _TALL else 4):
        at = float(y(np.array([value]))[0])
        parts.append(f'<path class="grid" d="M{_LEFT} {at:.1f}H{right}"/>')
        parts.append(f'<text class="s" x="{_LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{value:g}</text>')
    parts += _bands(trace, strip.filled, x, y)
    if strip.dashed is not None:
        parts += _line(trace, strip.dashed, x, y)
    if strip.level is not None:
        at = float(y(np.array([strip.level]))[0])
        parts.append(f'<path class="dash" stroke-opacity=".6" d="M{_LEFT} {at:.1f}H{right}"/>')
    if strip.reading is not None:
        parts += _reading(strip.reading, y, right, top, strip.height)
    parts.append(f'<rect class="box" x="{_LEFT}" y="{top}" width="{x.width}" height="{strip.height}"/>')
    return parts


def _reading(line: LogReadingLine, y: object, right: int, top: int, height: int) -> list[str]:
    """The mean beside its strip, in figures, with a mark at its height."""
    if line.value is None or not callable(y):
        return [f'<text x="{right + 14}" y="{top + height / 2 + 4:.0f}">{_text(line.why_not)}</text>']
    at = float(y(np.array([line.value]))[0])
    if line.censored or line.error is None:
        said = LOG_PICTURE["bound"].format(side=line.censored, value=f"{line.value:g}")
    else:
        mean, error = mean_and_error(line.value, line.error)
        said = LOG_PICTURE["mean"].format(value=mean, error=error)
    return [
        f'<path class="mean" d="M{right} {at:.1f}h9"/>',
        f'<text x="{right + 14}" y="{min(max(at + 4, top + 10), top + height):.1f}">{_text(said)}</text>',
    ]


def _runs(known: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _bands(trace: TraceBuckets, channel: Channel, x: _TimeAxis, y: object) -> list[str]:
    """The span of each piece of time, as one outline for each run without a hole."""
    assert callable(y)
    low, high = trace.low[channel], trace.high[channel]
    middle = x((trace.begin + trace.end) / 2)
    parts = []
    for start, stop in _runs(~np.isnan(low)):
        over, under = y(high[start:stop]), y(low[start:stop])
        points = [f"{a:.1f} {b:.1f}" for a, b in zip(middle[start:stop], over, strict=True)]
        points += [f"{a:.1f} {b:.1f}" for a, b in zip(middle[start:stop][::-1], under[::-1], strict=True)]
        parts.append(f'<path class="band" d="M{"L".join(points)}Z"/>')
    return [*parts, *_line(trace, channel, x, y, "middle")]


def _line(trace: TraceBuckets, channel: Channel, x: _TimeAxis, y: object, style: str = "dash") -> list[str]:
    assert callable(y)
    value, middle = trace.middle[channel], x((trace.begin + trace.end) / 2)
    parts = []
    for start, stop in _runs(~np.isnan(value)):
        points = [f"{a:.1f} {b:.1f}" for a, b in zip(middle[start:stop], y(value[start:stop]), strict=True)]
        parts.append(f'<path class="{style}" d="M{"L".join(points)}"/>')
    return parts


def _feet(trace: TraceBuckets, x: _TimeAxis, top: int) -> list[str]:
    """A bar for each kind of stretch, at its own height, with its own filling."""
    parts = []
    for row, zone in enumerate(Zone):
        name, y = zone.name.lower(), top + row * (_FOOT + 6)
        parts.append(f'<path class="grid" d="M{_LEFT} {y + _FOOT}H{_LEFT + x.width}"/>')
        for start, stop in _runs(trace.used[zone] > 0):
            begin, end = float(x(trace.begin[start : start + 1])[0]), float(x(trace.end[stop - 1 : stop])[0])
            size = f'x="{begin:.1f}" y="{y}" width="{max(end - begin, 1.5):.1f}" height="{_FOOT}"'
            parts.append(f'<rect class="used" fill="url(#{name})" {size}><title>{ZONE_NAMES[name]}</title></rect>')
        parts.append(
            f'<rect class="used" fill="url(#{name})" x="{_LEFT + x.width + 14}" y="{y}" width="22" height="{_FOOT}"/>'
        )
        parts.append(
            f'<text class="s" x="{_LEFT + x.width + 42}" y="{y + 12}">{_text(LOG_PICTURE[f"legend_{name}"])}</text>'
        )
    parts.append(f'<text class="s" x="{_LEFT - 6}" y="{top + 12}" text-anchor="end">{LOG_PICTURE["used"]}</text>')
    return parts


def _axis(x: _TimeAxis, top: int) -> list[str]:
    unit, size = ("s", 1.0) if x.last <= 300 else ("min", 60.0) if x.last <= 4 * 3600 else ("h", 3600.0)
    parts = []
    for value in _ticks(0.0, x.last / size, 8):
        at = float(x(np.array([value * size]))[0])
        parts.append(f'<path class="box" d="M{at:.1f} {top - 4}v6"/>')
        parts.append(f'<text class="s" x="{at:.1f}" y="{top + 14}" text-anchor="middle">{value:g}</text>')
    words = LOG_PICTURE["axis"].format(unit=unit)
    parts.append(f'<text class="s" x="{_LEFT + x.width + 14}" y="{top + 14}">{words}</text>')
    return parts


def _ticks(low: float, high: float, wanted: int) -> list[float]:
    """Round numbers between two values, about so many."""
    rough = (high - low) / max(wanted, 1)
    power = 10.0 ** np.floor(np.log10(rough)) if rough > 0 else 1.0
    step = float(next((factor * power for factor in (1, 2, 5, 10) if factor * power >= rough), 10 * power))
    first = np.ceil(low / step)
    return [float(round((first + k) * step, 10)) for k in range(int((high / step) - first) + 1)][:40]


def _about(sheet: LogSheet, strips: Sequence[_Strip]) -> str:
    used = [f"{ZONE_NAMES[line.zone]} {time_words(line.seconds)}" for line in sheet.stretches if line.rows]
    told = [
        f"{line.name}{f' {line.place}' if line.place is not None else ''} {line.text}"
        for line in sheet.readings
        if line.text
    ]
    return LOG_PICTURE["desc"].format(
        time=time_words(sheet.seconds),
        strips="; ".join(strip.label for strip in strips),
        used=", ".join(used) or LOG_PICTURE["none"],
        readings=LOG_PICTURE["readings"].format(readings="; ".join(told)) if told else LOG_PICTURE["no_readings"],
    )
