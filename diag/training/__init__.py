"""The trainer: practice cases with a hidden fault, played step by step, every choice scored against the best then.

`playing` knows no scores, and what a trainee sees (`TraineeView`) is made without the truth. May import: doubt,
laboratory, learning, explain, decision, network, evidence, store, casebook, knowledge_base, inference, basics, numpy.
"""

from diag.training.bench import Bench
from diag.training.classes import (
    Calibration,
    CaseCompared,
    CheckHabit,
    Classroom,
    Haste,
    Sitting,
    TraineeProgress,
    class_of,
)
from diag.training.debriefing import BeliefScore, Debrief, FaultThen, StepReview, debrief, review
from diag.training.difficulty import Difficulty, difficulty_of, grade_of, with_other_noise
from diag.training.doubting import as_good, share_as_good
from diag.training.drawing import draw_world
from diag.training.journal import JOURNAL_FORM, Journal, load_journal, save_journal
from diag.training.judging import Choice, Moment, choice_of, moment_of, regret_of
from diag.training.making import Made, Wish, made, seed_of
from diag.training.players import PLAYERS, Outcome, outcome_of, play_out, player_named
from diag.training.playing import CheckOffer, TraineeView, ask, believe, decide, fit, full_jobs, start, view_of
from diag.training.records import (
    Asked,
    Belief,
    Believed,
    Decided,
    Event,
    Fitted,
    HiddenTruth,
    Notes,
    Play,
    Practice,
    Seat,
    TruthPart,
)
from diag.training.studies import from_book, studies, study_named
from diag.training.worlds import World

__all__ = [
    "JOURNAL_FORM",
    "PLAYERS",
    "Asked",
    "Belief",
    "BeliefScore",
    "Believed",
    "Bench",
    "Calibration",
    "CaseCompared",
    "CheckHabit",
    "CheckOffer",
    "Choice",
    "Classroom",
    "Debrief",
    "Decided",
    "Difficulty",
    "Event",
    "FaultThen",
    "Fitted",
    "Haste",
    "HiddenTruth",
    "Journal",
    "Made",
    "Moment",
    "Notes",
    "Outcome",
    "Play",
    "Practice",
    "Seat",
    "Sitting",
    "StepReview",
    "TraineeProgress",
    "TraineeView",
    "TruthPart",
    "Wish",
    "World",
    "as_good",
    "ask",
    "believe",
    "choice_of",
    "class_of",
    "debrief",
    "decide",
    "difficulty_of",
    "draw_world",
    "fit",
    "from_book",
    "full_jobs",
    "grade_of",
    "load_journal",
    "made",
    "moment_of",
    "outcome_of",
    "play_out",
    "player_named",
    "regret_of",
    "review",
    "save_journal",
    "seed_of",
    "share_as_good",
    "start",
    "studies",
    "study_named",
    "view_of",
    "with_other_noise",
]
