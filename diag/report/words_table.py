"""Words about tables of cases. May import: nothing."""

from __future__ import annotations

from typing import Final

__all__ = ["MAPPING", "TABLE"]

MAPPING: Final = (
    "engine: ostrel_4  # of every row, where no column tells it",
    "decimal: comma  # numbers are written 1,5",
    "delimiter: semicolon  # or comma, tab",
    "encoding: cp1252  # where letters come out wrong",
    "others: unused  # columns that are not recognised are left out",
    "answers: {J: present, N: absent}",
    "columns:",
    '  "Vehicle no": case',
    '  "Miles": {is: distance, unit: miles}',
    '  "Chuff 3": {is: chuff, place: 3, under: cold}',
    "  7: {is: correction, place: 1, unit: mg/stroke}  # the seventh column",
    '  "Shop": unused',
)
"""An example of a mapping, line by line."""

TABLE: Final = {
    "done": "{rows:row|rows}, {distinct:different case|different cases} worked out: {outputs}.",
    "left_out": "{left_out:row was|rows were} left out; {side} says of each which column and why.",
    "none_left_out": "No row was left out.",
    "contradicting": "In {contradicting:row|rows} the findings contradict each other.",
    "encoding": "Its letters were read as {encoding}; where names look wrong, name the right encoding in a mapping "
    "(--map).",
    "columns": "The columns of a table of cases",
    "head": "head",
    "what": "what it tells",
    "cells": "cells",
    "places": "PLACE is the number of a cylinder, or the letter of a bank. A finding may be asked under a condition, "
    "named before the place ('chuff under cold 2'): {conditions}. An empty cell is 'not told'. A mapping (--map) names "
    "the columns of a table whose heads are others.",
    "mapping": "A mapping is a small file, such as this; whatever line is not needed is left out:",
    "read": "reading rows",
    "work": "working out cases",
    "join": "joining rows",
    "rate": "{step}: {done:,} of {of}, {rate:,.0f} a second, {left} left",
    "unknown": "?",
}
