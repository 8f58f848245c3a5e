"""From a weighed case to pictures for the workshop: the engine from above, the life of the seals, the options' money.

May import: basics, casebook, knowledge_base, network (types), pictures, and figures, sheets, words of this room.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from diag.basics import UsageError
from diag.casebook import Case
from diag.pictures import (
    BeliefSeries,
    BeliefSteps,
    EngineMap,
    LifeCurve,
    MapBank,
    MapCylinder,
    OptionSpread,
    SpreadLine,
    belief_picture,
    engine_map,
    life_picture,
    spread_picture,
)
from diag.report.figures import at_place, chance_words, duration, money, number, per_cent
from diag.report.sheets_repair import OptionLine, RepairSheet
from diag.report.sheets_weigh import CylinderLine, WeighSheet
from diag.report.sheets_why import CourseLine, WeightLine, WhySheet
from diag.report.words import ABOUT, PICTURES, PLACES, REPAIR
from diag.report.words_why import WHY

if TYPE_CHECKING:
    from diag.network import CaseNetwork

__all__ = ["course_picture", "engine_picture", "options_picture", "seal_life_picture"]

STANDS_OUT_FROM = 0.33
SEAL = "seal"
POINTS = 80
MOST_TICKS = 6
UNITS = {"distance": "km", "age": "years"}


def engine_picture(case: Case, sheet: WeighSheet) -> str:
    """The engine from above as SVG: chances by cylinder, place in the firing order, banks with what opens them.

    A bank is drawn on its side where the engine file says which that is, else in the order of the file.
    """
    engine = case.engine
    letters = sorted(engine.banks, key=lambda letter: engine.bank_sides.get(letter, "left") == "right")
    lines = {line.cylinder: line for line in sheet.cylinders}
    minutes = engine.access_minutes.get("injectors", {})
    banks = tuple(
        MapBank(
            _bank_label(letter, engine.bank_sides.get(letter)) if len(letters) > 1 else "",
            tuple(_cylinder(lines[each], engine.firing_order) for each in engine.banks[letter]),
            PICTURES["access"].format(time=duration(minutes[letter]).replace(" ", "\u00a0"))
            if letter in minutes
            else "",
        )
        for letter in letters
    )
    facts = [PICTURES["bars"], ABOUT["firing_order"].format(order="-".join(map(str, engine.firing_order)))]
    facts += [ABOUT["cylinder_one"].format(where=engine.cylinder_one)] if engine.cylinder_one else []
    told = [PICTURES["told"].format(number=line.cylinder, words=_words(line.chance)) for line in sheet.cylinders]
    return engine_map(
        EngineMap(
            title=PICTURES["engine"].format(engine=engine.name),
            description=" ".join(told),
            banks=banks,
            end=PICTURES["front"] if engine.bank_sides else "",
            caption=". ".join(f"{fact[:1].upper()}{fact[1:]}" for fact in facts) + ".",
        )
    )


def _bank_label(letter: str, side: str | None) -> str:
    label = PLACES["bank"].format(letter=letter)
    return f"{label}, {PICTURES[side]}" if side else label


def _words(chance: float) -> str:
    return f"{chance_words(chance)} ({per_cent(chance)})".replace(" %", "\u00a0%").replace("(under ", "(under\u00a0")


def _cylinder(line: CylinderLine, order: tuple[int, ...]) -> MapCylinder:
    note = PICTURES["fires"].format(place=order.index(line.cylinder) + 1)
    return MapCylinder(line.cylinder, _words(line.chance), line.chance, line.chance >= STANDS_OUT_FROM, note)


def options_picture(sheet: RepairSheet, mark: str = REPAIR["best"]) -> str:
    """The options' totals with their spread as SVG, those that are barred left out; `mark`: what the advised one is
    called where the picture stands. Raises UsageError where the spread was not drawn."""
    lines = tuple(
        line for option in sheet.options if not option.barred for line in [_spread_line(option, sheet.currency)] if line
    )
    if not lines:
        raise UsageError(PICTURES["options_none"])
    told = " ".join(PICTURES["options_told"].format(name=line.label, words=line.words) for line in lines)
    axis = PICTURES["options_axis"].format(currency=sheet.currency)
    return spread_picture(OptionSpread(PICTURES["options"], told, lines, axis, mark))


def _spread_line(option: OptionLine, currency: str) -> SpreadLine | None:
    spread = option.spread
    if spread is None:
        return None
    words = PICTURES["options_words"].format(
        middle=money(spread.total_middle, currency),
        high=money(spread.total_high, currency),
        total=money(option.total, currency),
    )
    return SpreadLine(option.name, spread.total_low, spread.total_middle, spread.total_high, words, option.best)


MOST_SERIES = 3


def course_picture(sheet: WhySheet) -> str:
    """Belief before and after each finding as SVG, of the faults that matter most."""
    banks = len(sheet.case.banks)
    series = tuple(_belief(line) for line in sheet.course[:MOST_SERIES])
    said = "; ".join(f"{each.name}: {each.words[-1]}" for each in series)
    labels = (PICTURES["belief_before"], *(_told(line, banks) for line in sheet.findings))
    return belief_picture(BeliefSteps(PICTURES["belief"], PICTURES["belief_told"].format(said=said), labels, series))


def _belief(line: CourseLine) -> BeliefSeries:
    return BeliefSeries(line.fault.name, line.chances, tuple(_words(chance) for chance in line.chances))


def _told(line: WeightLine, banks: int) -> str:
    """`tar, cylinder 2: present (after: reseal ...)`: a thing that is told again after work is another look."""
    what = f"{at_place(line.finding, line.place, banks)}: {line.said}"
    return WHY["after"].format(what=what, work=line.after) if line.after else what


def seal_life_picture(network: CaseNetwork) -> str:
    """The share of seals that hold, by the seals' own clock, under each stress, with the use of this engine marked.

    Weibull (1951): exp(-(t/scale)^shape). The seal longest in use stands for all. Raises ValueError where the knowledge
    gives seals no life.
    """
    lives = [life for place in network.case.engine.cylinders if (life := network.life(SEAL, place)) is not None]
    if not lives:
        raise ValueError("the knowledge gives the seals no life")
    life = max(lives, key=lambda each: each.used)
    curves = _scales(network, [float(scale) for scale in life.scale])
    end = 1.25 * max(life.used, 0.8 * max(scale for _, scale in curves))
    unit, step = UNITS[life.clock], _step(end)
    (words, scale), *others = [(words, _points(life.shape, scale, end)) for words, scale in curves]
    said = ", ".join(f"{words}: {per_cent(math.exp(-((life.used / scale) ** life.shape)))}" for words, scale in curves)
    use = PICTURES["use"].format(number=number(life.used, 0), unit=unit)
    return life_picture(
        LifeCurve(
            title=PICTURES["life"],
            description=PICTURES["life_told"].format(use=use, said=said),
            points=scale,
            today=life.used,
            today_words=PICTURES["today"].format(use=use),
            across=PICTURES[f"across_{life.clock}"],
            up=PICTURES["share"],
            ticks=tuple((step * index, number(step * index, 0)) for index in range(int(end // step) + 1)),
            also=tuple(others),
            words=words,
        )
    )


def _scales(network: CaseNetwork, scale: list[float]) -> list[tuple[str, float]]:
    """The scale of the life under each state of the shared cause that changes it, longest life first."""
    life = network.knowledge.components[SEAL].life
    found: dict[float, str] = {}
    for cause in life.scale_under if life is not None else ():
        known = network.knowledge.components[cause]
        if known.per != "vehicle":
            continue
        names = [state.name for state in known.states.values()]
        for configuration, state in enumerate(network.configuration_states(cause, None)):
            found.setdefault(scale[configuration], f"{known.name}: {names[int(state)]}")
    pairs = [(words, value) for value, words in found.items()] or [("", max(scale))]
    return sorted(pairs, key=lambda pair: -pair[1])


def _points(shape: float, scale: float, end: float) -> tuple[tuple[float, float], ...]:
    uses = [end * index / POINTS for index in range(POINTS + 1)]
    return tuple((use, math.exp(-((use / scale) ** shape))) for use in uses)


def _step(end: float) -> float:
    """A round step (1, 2 or 5 times a power of ten) with few ticks."""
    power = 10.0 ** math.floor(math.log10(end / MOST_TICKS))
    return next(power * factor for factor in (1, 2, 5, 10) if end / (power * factor) <= MOST_TICKS)
