"""The sheets of learning and of scoring. May import: nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = ["LearnSheet", "LearnedLine", "ReliabilityLine", "ScoreLine", "ScoreSheet", "SpentLine"]


@dataclass(frozen=True)
class LearnedLine:
    """A figure before and after."""

    path: Annotated[str, "where it stands: kind, id, field, ..., with dots between"]
    before: Annotated[float, "its value before"]
    after: Annotated[float, "its value after"]
    low: Annotated[float, "lower end of its 90 % interval"]
    high: Annotated[float, "upper end of its 90 % interval"]
    cases: Annotated[float, "how many cases bear upon it, in expectation"]
    strength: Annotated[float, "as if seen in so many cases, with what stood before"]


@dataclass(frozen=True)
class LearnSheet:
    """`diag learn`: what closed cases make of the figures."""

    book: Annotated[str, "where the book is"]
    cases: Annotated[int, "closed cases learned from"]
    left_out: Annotated[tuple[int, ...], "numbers of the cases that the knowledge calls impossible or contradictory"]
    figures: Annotated[tuple[LearnedLine, ...], "figures that enough cases bear upon"]
    stayed: Annotated[int, "figures that too few cases bear upon; they stay as they are"]
    gain: Annotated[float, "what was gained in the logarithm of the cases' likelihood"]
    written: Annotated[str, "the overlay that was written; empty where none was asked for"]
    assumed: Annotated[tuple[str, ...], "what was assumed, and where the sample may be biased"]
    not_learned: Annotated[tuple[str, ...], "what is not learned"]


@dataclass(frozen=True)
class ScoreLine:
    """Scores of predictions, all of them or of one component or engine."""

    what: Annotated[str, "'all', or the id of a component or engine"]
    predictions: Annotated[int, "how many"]
    faults: Annotated[int, "how many of them were at fault"]
    brier: Annotated[float, "Brier score"]
    reliability: Annotated[float, "its part that better calibration would save (Murphy 1973)"]
    resolution: Annotated[float, "its part that telling cases apart saves"]
    uncertainty: Annotated[float, "its part that lies in the cases"]
    within: Annotated[float, "what grouping unlike forecasts leaves over"]
    log_score: Annotated[float, "mean of minus the natural logarithm of the chance given to what came"]


@dataclass(frozen=True)
class ReliabilityLine:
    """Predictions alike: foretold and come true."""

    count: Annotated[int, "how many"]
    forecast: Annotated[float, "mean chance foretold"]
    frequency: Annotated[float, "share that came true"]
    low: Annotated[float, "lower end of its 90 % interval"]
    high: Annotated[float, "upper end of its 90 % interval"]


@dataclass(frozen=True)
class SpentLine:
    """Cases in which advice was followed, or not."""

    followed: Annotated[bool, "whether what was fitted is what was advised"]
    cases: Annotated[int, "how many"]
    cost: Annotated[float | None, "mean cost, where told in that currency"]
    minutes: Annotated[float | None, "mean minutes, where told"]
    come_backs: Annotated[float, "share that came back"]


@dataclass(frozen=True)
class ScoreSheet:
    """`diag score-book`: how good the predictions were."""

    book: Annotated[str, "where the book is"]
    cases: Annotated[int, "closed cases predicted"]
    left_out: Annotated[tuple[int, ...], "numbers of cases that could not be weighed"]
    learned: Annotated[int, "how often it was learned on the way"]
    scores: Annotated[tuple[ScoreLine, ...], "of all, by engine, by component"]
    over_time: Annotated[
        tuple[ScoreLine, ...], "of successive quarters of the cases; empty where there are fewer than four"
    ]
    reliability: Annotated[tuple[ReliabilityLine, ...], "points of the reliability diagram"]
    ranks: Annotated[dict[str, int], "how often the fault found stood first, second, ... ('later' beyond the fifth)"]
    fault_log_score: Annotated[float | None, "mean of minus the logarithm of the chance of the fault found"]
    spent: Annotated[tuple[SpentLine, ...], "where advice was followed and where not; empty where not asked"]
    currency: Annotated[str, "currency of the mean costs, that of the prices"]
    alarm_at: Annotated[int | None, "number of the case at which the drift alarm went; null where it did not"]
    false_alarm: Annotated[float, "chance of an alarm without any drift over as many predictions"]
    picture: Annotated[str, "the reliability diagram that was written; empty where none was asked for"]
    assumed: Annotated[tuple[str, ...], "what was assumed"]
