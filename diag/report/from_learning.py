"""From what was learned and scored to its sheets. May import: `diag.learning`, `diag.basics`, sheets, words, numpy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from diag.basics import counted, listed
from diag.inference import Array
from diag.knowledge_base import Knowledge, walk_figures
from diag.learning import NOT_LEARNED, Foretold, Learned, brier, drift, log_score, murphy, reliability
from diag.report.sheets_learning import LearnedLine, LearnSheet, ReliabilityLine, ScoreLine, ScoreSheet, SpentLine
from diag.report.words_learning import (
    LEARN,
    LEARN_ASSUMED,
    LEARNED_ALREADY,
    OTHER_CURRENCY,
    SCORE,
    SCORE_ASSUMED,
    TWICE,
)

__all__ = ["learn_sheet", "score_sheet"]

GROUPS = 10
RANKS = 5
QUARTERS = 4
MOST_NAMED = 20


def learn_sheet(learned: Learned, book: str, written: str = "") -> LearnSheet:
    """The sheet of `diag learn`."""
    lines = tuple(
        LearnedLine(".".join(f.path), f.before, f.after, f.low, f.high, f.cases, f.strength) for f in learned.figures
    )
    assumed: tuple[str, ...] = (*_twice(learned.again, learned.alike), *LEARN_ASSUMED)
    if learned.one_sided:
        assumed = (LEARN["one_sided"].format(names=", ".join(learned.one_sided)), *assumed)
    assumed = (LEARN["taxed"], *assumed) if learned.taxed else assumed
    assumed = (LEARN["slips"].format(cases=_named(learned.slips)), *assumed) if learned.slips else assumed
    assumed = (*_other_currency("learn", learned.other_currency, learned.knowledge.prices.currency), *assumed)
    before = _learned_before(learned.knowledge)
    assumed = (LEARN["again"].format(count=counted(before)), *assumed) if before else assumed
    gain = learned.log_likelihood_after - learned.log_likelihood_before
    return LearnSheet(book, learned.cases, learned.left_out, lines, learned.stayed, gain, written, assumed, NOT_LEARNED)


def score_sheet(knowledge: Knowledge, foretold: Foretold, book: str, cases: int, picture: str = "") -> ScoreSheet:
    """The sheet of `diag score-book`."""
    forecast, came = foretold.arrays()
    watched = drift(forecast, came) if len(forecast) else None
    engines = dict.fromkeys(each.engine for each in foretold.predictions)
    components = dict.fromkeys(each.component for each in foretold.predictions)
    scores = [_line("all", forecast, came)] if len(forecast) else []
    scores += [_line(name, *foretold.arrays(engine=name)) for name in engines]
    scores += [_line(name, *foretold.arrays(component=name)) for name in components]
    chances = [each.chance for each in foretold.cases]
    learned = _learned_before(knowledge) > 0
    other = _other_currency("score", foretold.other_currency, foretold.currency) if foretold.spent() else ()
    alarm = watched.alarm if watched is not None else None
    return ScoreSheet(
        book=book,
        cases=cases - len(foretold.left_out),
        left_out=foretold.left_out,
        learned=foretold.learned,
        scores=tuple(scores),
        over_time=_over_time(foretold, forecast, came),
        reliability=tuple(
            ReliabilityLine(b.count, b.forecast, b.frequency, b.low, b.high) for b in reliability(forecast, came)
        ),
        ranks=_ranks([each.rank for each in foretold.cases]),
        fault_log_score=_mean_log(chances) if chances else None,
        spent=tuple(SpentLine(s.followed, s.cases, s.cost, s.minutes, s.come_backs) for s in foretold.spent()),
        currency=foretold.currency,
        alarm_at=foretold.predictions[alarm].number if alarm is not None else None,
        false_alarm=watched.false_alarm if watched is not None else 0.0,
        picture=picture,
        assumed=(
            *other,
            *_twice(foretold.again, foretold.alike),
            *SCORE_ASSUMED,
            *((LEARNED_ALREADY,) if learned else ()),
        ),
    )


def _over_time(foretold: Foretold, forecast: Array, came: Array) -> tuple[ScoreLine, ...]:
    """Scores of each quarter of the cases, as they were closed; a case is in one of them. None for fewer than four."""
    numbers = [each.number for each in foretold.predictions]
    place = {number: position for position, number in enumerate(dict.fromkeys(numbers))}
    if len(place) < QUARTERS:
        return ()
    ends = [sum(place[each] < len(place) * q // QUARTERS for each in numbers) for q in range(QUARTERS + 1)]
    return tuple(
        _line(SCORE["quarter"].format(number=number), forecast[start:end], came[start:end])
        for number, (start, end) in enumerate(pairwise(ends), start=1)
    )


def _twice(again: Sequence[Sequence[int]], alike: Sequence[Sequence[int]]) -> tuple[str, ...]:
    """What to say of cases that were kept more than once, or look so."""
    return tuple(
        TWICE[what].format(cases="; ".join(_named(numbers) for numbers in groups[:MOST_NAMED]), more=_more(groups))
        for what, groups in (("again", again), ("alike", alike))
        if groups
    )


def _other_currency(what: str, numbers: Sequence[int], currency: str) -> tuple[str, ...]:
    """What to say of cases of which the money was told in another currency."""
    if not numbers:
        return ()
    return (OTHER_CURRENCY[what].format(cases=_named(numbers), currency=currency),)


def _named(numbers: Sequence[int]) -> str:
    return listed([*map(str, numbers[:MOST_NAMED]), *([TWICE["others"]] if len(numbers) > MOST_NAMED else [])], "and")


def _more(groups: Sequence[Sequence[int]]) -> str:
    return TWICE["more"].format(count=len(groups) - MOST_NAMED) if len(groups) > MOST_NAMED else ""


def _learned_before(knowledge: Knowledge) -> int:
    """How many figures are marked as learned; new values alone mark none."""
    return sum(one.basis is not None and one.basis.source == "learned" for one in walk_figures(knowledge))


def _mean_log(chances: Sequence[float]) -> float:
    import numpy as np

    return log_score(np.array(chances), np.ones(len(chances)))


def _ranks(ranks: Sequence[int]) -> dict[str, int]:
    counted = Counter(str(rank) if rank <= RANKS else "later" for rank in ranks)
    return {name: counted[name] for name in [*map(str, range(1, RANKS + 1)), "later"] if counted[name]}


def _line(what: str, forecast: Array, came: Array) -> ScoreLine:
    parts = murphy(forecast, came, GROUPS)
    return ScoreLine(
        what,
        len(forecast),
        int(came.sum()),
        brier(forecast, came),
        parts.reliability,
        parts.resolution,
        parts.uncertainty,
        parts.within,
        log_score(forecast, came),
    )
