"""Words of the sheet and the picture of a log. May import: the standard library only."""

from __future__ import annotations

__all__ = [
    "DECIMALS",
    "DELIMITERS",
    "FATES",
    "LOG",
    "LOG_ADVICE",
    "LOG_ASK",
    "LOG_CHANNELS_MADE",
    "LOG_PICTURE",
    "WHY_COLUMN",
    "WHY_READING",
    "ZONE_NAMES",
]

LOG = {
    "title": "Log {file}",
    "head": "{engine}; {rows:row|rows}, {time}; {encoding}, cells between {delimiter}, decimals with a {decimal}.",
    "recordings": "The clock starts again within the file: {count} recordings, taken one after the other.",
    "readings": "Readings",
    "reading": "reading",
    "place": "place",
    "value": "value",
    "error": "error ±",
    "case": "into a case",
    "taken": "yes",
    "not_taken": "no: {why}",
    "no_reading": "The log gives no reading.",
    "error_means": "Of 100 such logs 95 have the true mean within twice the error, which knows that neighbouring rows"
    " resemble each other. It is the error of this log's mean, without that of the sensor, and goes with the reading"
    " into a case.",
    "added": "The readings were written to {path}.",
    "added_anew": "The file was written anew: its comments, if it had any, are gone.",
    "not_added": "Nothing was written; --case CASE --add takes the readings into a case.",
    "stretches": "Stretches that count",
    "stretch": "stretch",
    "count": "count",
    "time": "time",
    "rows": "rows",
    "statistics": "What they show",
    "channel": "channel",
    "mean": "mean",
    "spread": "spread",
    "worth": "worth",
    "worth_means": "Mean: robust (Huber). Spread: of single rows. Worth: as many independent rows.",
    "too_little": "too little",
    "fates": "What became of the rows",
    "what": "rows that are",
    "used": "used",
    "yes": "yes",
    "no": "-",
    "why": "why",
    "total": "all rows",
    "columns": "Columns",
    "column": "no.",
    "head_of_column": "head",
    "is": "is",
    "unit": "unit",
    "unused": "unused: {why}",
    "assumed": "{unit} (assumed)",
    "empty": "no number in any row",
    "zero": "nothing but zero in any row",
    "odd": "cells without a number: {count:,}",
    "implausible": "numbers that cannot be: {count:,}",
    "inactive": "In {rows:row|rows} (standing and driving included) every correction is exactly zero: the controller "
    "was not at work, and these zeros were left out.",
    "advice": "For the next log",
    "picture": "The picture is in {path}.",
    "mapping": "What the columns are was written to {path}; use it with --columns.",
    "map_hint": "Say what the unused columns are with --ask, or in a file given with --columns.",
}

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
DECIMALS = {",": "comma", ".": "point"}

ZONE_NAMES = {"idle": "warm, steady idle", "cranking": "cranking", "load": "load"}

WHY_COLUMN = {
    "not recognised": "not recognised",
    "two meanings": "could be {detail}",
    "no unit": "its unit is not said ({detail})",
    "unit of another kind": "'{detail}' is no unit of it",
    "no cylinder": "it does not say which cylinder",
    "no such cylinder": "the engine has no cylinder {detail}",
    "claimed twice": "column {detail} looks the same",
    "said to be unused": "said to be unused",
}

WHY_READING = {
    "too short": "too little of it",
    "implausible": "out of range",
    "stands still": "the column stands at zero",
    "warmth unknown": "nobody knows whether the engine was warm",
}

FATES: dict[str, tuple[str, str]] = {
    "REPEATED_HEADER": ("the header again", "no numbers"),
    "RAGGED": ("ragged", "more or fewer cells than the header"),
    "NO_TIME": ("without time", "the time is empty or no time"),
    "DUPLICATE_TIME": ("of a time that was there", "the first row of each time counts"),
    "BACKWARD_TIME": ("back in time", "earlier than a row before"),
    "NO_SPEED": ("without engine speed", "empty, no number, or it cannot be"),
    "STANDING": ("standing", "slower than {cranking_from:g} rpm"),
    "COASTING": ("running down", "falls through {cranking_to:g} rpm from above"),
    "CRANKING_SHORT": ("cranking, too short", "an attempt under {cranking_least:g} s, or its start was not seen"),
    "CRANKING_LONG": ("cranking, too long", "no starter is kept turning for {cranking_most:g} s"),
    "CRANKING_INRUSH": ("cranking, inrush", "the first {cranking_inrush:g} s of an attempt"),
    "CRANKING_USED": ("cranking", "{cranking_from:g} to {cranking_to:g} rpm, from standing"),
    "NEITHER": (
        "running, neither idle nor load",
        "not {idle_from:g} to {idle_to:g} rpm, and no load from {load_from:g} rpm",
    ),
    "COLD": ("idle, not warm", "coolant under {warm_from:g} °C"),
    "WARMTH_UNKNOWN": ("idle, warmth unknown", "no coolant temperature"),
    "IDLE_SETTLING": ("warm idle, settling", "the first {idle_settles:g} s of a stretch"),
    "IDLE_UNSTEADY": ("warm idle, unsteady", "the speed swings by over {idle_swing:g} rpm within {block:g} s"),
    "IDLE_FRAGMENT": ("warm idle, fragment", "a block of {block:g} s with few rows"),
    "IDLE_USED": ("warm, steady idle", "{idle_from:g} to {idle_to:g} rpm, coolant from {warm_from:g} °C"),
    "LOAD_SETTLING": ("load, settling", "the first {load_settles:g} s of a pull"),
    "LOAD_FRAGMENT": ("load, fragment", "a block of {load_block:g} s with few rows"),
    "LOAD_USED": ("load", "from {load_from:g} rpm, pulling"),
}
"""What rows of each fate are, and the rule, with the values of the rules by their names."""

LOG_ADVICE = {
    "time_unit": "Nearly all rows lie further apart than {bridge:g} s; if the time is not in {unit}, say its unit in"
    " the head of the column; a file for --columns can say it, too.",
    "idle": "Log {seconds:g} s or more of warm idle, loads off, pedal untouched; the first {settles:g} s do not count.",
    "warm": "Log the coolant temperature; where the engine was warm, 'warm: yes' in a file for --columns says so.",
    "corrections": "Log the correction of every cylinder, its number and its unit in the head of the column.",
    "some_corrections": "The log has no correction of {places}: log that of every cylinder, or look whether it is one "
    "of this vehicle.",
    "other_cylinders": "The log has corrections of cylinders that this engine has not: look whether it is one of this "
    "vehicle.",
    "rail": "Log rail pressure wanted and actual, with their unit.",
}

LOG_ASK = {
    "question": "Column {position}, '{head}', holds {sample}. What is it? ({why})",
    "help": "Answer with a channel, a cylinder's number where it needs one, and a unit: 'speed rpm', 'correction 2"
    " mg/stroke'. Enter: unused. Channels: {channels}.",
    "again": "That was not understood: {message}",
    "nothing": "nothing",
}

LOG_PICTURE = {
    "title": "Log {file} of {engine}",
    "desc": "Time runs from left to right, {time} in all. Strips from above: {strips}. Bars under the strips mark what"
    " counted: {used}. {readings}",
    "no_readings": "The log gives no reading.",
    "readings": "Readings: {readings}.",
    "speed": "engine speed, rpm",
    "rail": "rail pressure, bar: actual (line), wanted (dashed)",
    "coolant": "coolant temperature, °C (dashed: warm from {warm:g} °C)",
    "correction": "correction of cylinder {cylinder}, mg/stroke",
    "used": "used",
    "none": "nothing",
    "mean": "{value} ± {error}",
    "bound": "{side} {value}",
    "axis": "time, {unit}",
    "legend_idle": "warm, steady idle",
    "legend_cranking": "cranking",
    "legend_load": "load",
    "range": "Line: the middle of each piece of time; grey: its least and greatest value, cut at the edge.",
}

LOG_CHANNELS_MADE = {
    "rail_deviation": "rail pressure, actual less wanted",
    "boost_deviation": "boost, actual less wanted",
}
"""Channels that are reckoned from two columns."""
