"""Pictures as SVG from plain records: the engine from above, options, the life of the seals, belief by finding.

Deterministic, readable without colour, each with a title and a description; words come from the caller in his language.
May import: `diag.basics` and the standard library.
"""

from diag.pictures.belief import BeliefSeries, BeliefSteps, belief_picture
from diag.pictures.colours import ACCENT, INK, LINE, MUTED, PAPER, TINT
from diag.pictures.drawing import FONTS, X_HEIGHT, Svg, wrapped
from diag.pictures.engine_map import EngineMap, MapBank, MapCylinder, engine_map
from diag.pictures.life import LifeCurve, life_picture
from diag.pictures.spread import OptionSpread, SpreadLine, spread_picture

__all__ = [
    "ACCENT",
    "FONTS",
    "INK",
    "LINE",
    "MUTED",
    "PAPER",
    "TINT",
    "X_HEIGHT",
    "BeliefSeries",
    "BeliefSteps",
    "EngineMap",
    "LifeCurve",
    "MapBank",
    "MapCylinder",
    "OptionSpread",
    "SpreadLine",
    "Svg",
    "belief_picture",
    "engine_map",
    "life_picture",
    "spread_picture",
    "wrapped",
]
