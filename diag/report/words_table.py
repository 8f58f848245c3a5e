"""Words about tables of cases. May import: nothing."""

from __future__ import annotations

from typing import Final

__all__ = ["TABLE"]

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
    "read": "reading rows",
    "work": "working out cases",
    "join": "joining rows",
    "rate": "{step}: {done:,} of {of}, {rate:,.0f} a second, {left} left",
    "unknown": "?",
}
