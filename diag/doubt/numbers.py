"""Which numbers of the knowledge bear on a case, what kind of number each is, and how far one may be thought to move.

May import: network, decision, casebook, knowledge_base.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from diag.casebook import Case
from diag.decision import Job
from diag.knowledge_base import MONEY, Knowledge, PlacedFigure, walk_figures
from diag.network import CaseNetwork

__all__ = ["Kind", "Number", "bearing_numbers", "drawn_numbers", "kind_of", "moved_to", "number_at", "row_of"]

Path = tuple[int | str, ...]
Kind = Literal["chance", "shape", "scale", "stretch", "money", "time", "middle", "width", "amount"]

DEFAULT_STRENGTH = 10.0  # equivalent cases, of a number whose entry names no basis
ROWS = ("chance", "fresh", "disturbed", "fails_as", "given", "causes", "background")
NOT_DRAWN = ("terms", "tax", "settles_months")
CUSTOMER_TIMES = ("horizon_months",)


@dataclass(frozen=True)
class Number:
    """One number of the knowledge: its path (see `walk_figures`), value, kind, strength in equivalent cases, and
    whether it was judged instead of counted."""

    path: Path
    value: float
    kind: Kind
    strength: float
    judged: bool


def kind_of(path: Path) -> Kind:
    """What kind of number stands at a path."""
    words = [str(part) for part in path]
    last = words[-1]
    if last == "minutes" or (words[0] == "prices" and ("minutes" in last or last in CUSTOMER_TIMES)):
        return "time"
    if words[0] == "prices" or last == "money":
        return "money" if last in MONEY else "amount"
    if "life" in words and "fails_as" not in words:
        return "shape" if last == "shape" else "scale" if last == "scale" else "stretch"
    if words[0] == "readings":
        return "middle" if last == "middle" else "width" if last in ("width", "instrument_error") else "amount"
    if words[0] in ("components", "severities", "findings") or "chance" in words:
        return "chance" if last != "settles_months" else "time"
    return "amount"


def row_of(path: Path) -> Path | None:
    """The row of chances of one cause in which a number stands, the first state or level taking what is left; none for
    what stands alone."""
    if path[0] in ("components", "severities") and any(word in ROWS for word in path[2:-1]):
        return path[:-1]
    return None


def _number(placed: PlacedFigure) -> Number:
    basis = placed.basis
    strength = basis.strength if basis is not None else DEFAULT_STRENGTH
    judged = basis is None or basis.source in ("elicited", "common practice")
    return Number(placed.path, float(placed.figure.value), kind_of(placed.path), strength, judged)


def number_at(knowledge: Knowledge, path: Path) -> Number:
    """The number at a path. Raises KeyError."""
    for placed in walk_figures(knowledge):
        if placed.path == path:
            return _number(placed)
    raise KeyError(path)


def moved_to(knowledge: Knowledge, number: Number, value: float) -> dict[Path, float]:
    """What the knowledge holds where one number has another value, by path: all else stays; but of a part that has
    failed the ways in which it did come to 1, so the others keep their proportions."""
    moved = {number.path: value}
    if "fails_as" in number.path and number.value < 1.0:
        life = knowledge.components[str(number.path[1])].life
        assert life is not None, "it is a number of a life"
        scale = (1.0 - value) / (1.0 - number.value)
        moved |= {
            (*number.path[:-1], state): float(share.value) * scale
            for state, share in life.fails_as.items()
            if state != number.path[-1]
        }
    return moved


def drawn_numbers(network: CaseNetwork) -> tuple[Number, ...]:
    """Every number that the advice on the case can rest on: of all components, severities and repairs, of what was
    told, and the prices. Left out are the readings whose cylinders share a shift, tax and the terms."""
    told = {question.item for question in network.told}
    looks = Counter((question.item, question.place) for question in network.told)
    several = {item for (item, _), count in looks.items() if count > 1}
    shifted = {question.item for question in network.shifted.factors} if network.shifted is not None else set[str]()
    said = {each.answer for epoch in network.case.epochs for each in epoch.answers}
    return tuple(
        _number(each)
        for each in walk_figures(network.knowledge)
        if _bears(each.path, told - shifted, said) and (each.path[-1] != "lasting" or each.path[1] in several)
    )


def _bears(path: Path, told: set[str], said: set[str]) -> bool:
    if any(word in NOT_DRAWN for word in path):
        return False
    if path[0] in ("components", "severities", "repairs", "prices"):
        return True
    return (path[0] in ("findings", "readings") and path[1] in told) or (path[0] == "answers" and path[1] in said)


def bearing_numbers(
    network: CaseNetwork, suspects: Iterable[str], works: Iterable[Iterable[Job]]
) -> tuple[Number, ...]:
    """The numbers nearest to a decision between some works while these components are suspected: the suspects' own
    chances and lives, what they do to severities, what was told, and the prices and times of the works."""
    knowledge, case = network.knowledge, network.case
    suspected = set(suspects)
    repairs = {job.repair for jobs in works for job in jobs}
    parts = {part for repair in repairs for part in knowledge.repairs[repair].parts}
    renewed = {component for repair in repairs for component in knowledge.repairs[repair].renews}
    return tuple(
        number
        for number in drawn_numbers(network)
        if _near(number.path, suspected, repairs, parts, renewed) and not _idle(knowledge, case, number)
    )


def _near(path: Path, suspected: set[str], repairs: set[str], parts: set[str], renewed: set[str]) -> bool:
    words = list(_words(path))
    match words[0]:
        case "components":
            return words[1] in suspected or (words[1] in renewed and "fresh" in words)
        case "severities":
            return "causes" in words and words[3] in suspected
        case "repairs":
            return words[1] in repairs
        case "prices":
            return "parts" not in words or words[2] in parts
        case _:
            return True


def _idle(knowledge: Knowledge, case: Case, number: Number) -> bool:
    """Whether a number surely plays no part: a chance of 0 or 1 is meant so, and a finding under another condition."""
    if number.kind == "chance" and number.value in (0.0, 1.0):
        return True
    return "only_after" in number.path


def _words(path: Path) -> Iterator[str]:
    for part in path:
        yield str(part)
