"""Rounds that an athlete's own row says were left out, and what the heart says beside it."""

from __future__ import annotations

import pytest

from reconcile.classes import LoggedScore
from reconcile.effort import HeartAnswer
from reconcile.intervals import interval
from reconcile.plan import Measure, ScoreRule, Step, Task, TimedBlock
from reconcile.score.left_out import NOUGHT_RELIABILITY, said_left_out
from reconcile.score.notes import RELIABILITY
from reconcile.timeline import unfold_block

ROUNDS = 4
WORDS = RELIABILITY["rounds_left_out"]


def block_of(measure: Measure = "calories") -> TimedBlock:
    tasks = (Task("sandbag carry", "metres", 20), Task("rower", "calories", most=True))
    return TimedBlock(
        "main", ROUNDS, (Step("work", 90.0, tasks), Step("rest", 60.0)), ScoreRule(measure, "total")
    )


@pytest.mark.parametrize(
    ("measure", "rounds", "notes", "said"),
    [
        ("calories", (14.0, 0.0, 13.0, 12.0), "", {2: NOUGHT_RELIABILITY}),
        ("calories", (14.0, 0.0, 13.0, 12.0), "missed round 2", {2: WORDS}),
        ("calories", None, "sat out round 3; used 12 kg", {3: WORDS}),
        ("metres", (180.0, 0.0, 0.0, 170.0), "", {2: NOUGHT_RELIABILITY, 3: NOUGHT_RELIABILITY}),
        # With so little time left for the machine, none in one round is nothing odd.
        ("calories", (3.0, 0.0, 2.0, 1.0), "", {}),
        # Which of four rounds three numbers are is not said.
        ("calories", (14.0, 0.0, 12.0), "", {}),
        ("calories", (0.0, 0.0, 0.0, 0.0), "", {}),
        # No time at all was nobody's time; a full step may be one that was not finished.
        ("seconds", (71.0, 0.0, 90.0, 74.0), "", {}),
        ("calories", None, "", {}),
    ],
)
def test_what_a_row_says_of_rounds_left_out(
    measure: Measure, rounds: tuple[float, ...] | None, notes: str, said: dict[int, float]
) -> None:
    row = LoggedScore("a01", "main", rounds=rounds, notes=notes)
    assert said_left_out(row, block_of(measure)) == said


def test_without_a_row_nothing_is_said() -> None:
    assert said_left_out(None, block_of()) == {}


@pytest.mark.parametrize(
    ("answer", "left_out", "attempted"),
    [
        (None, None, None),
        (None, WORDS, False),  # nothing speaks against the words
        (HeartAnswer(0.95, 0.05), WORDS, True),  # the heart worked as in the other rounds
        (HeartAnswer(0.45, 0.10), WORDS, False),
        (HeartAnswer(0.45, 0.10), None, None),
        (HeartAnswer(0.02, 0.05), None, False),
    ],
)
def test_words_and_heart_are_weighed_together(
    answer: HeartAnswer | None, left_out: float | None, attempted: bool | None
) -> None:
    steps = unfold_block(block_of())
    answers = {} if answer is None else {(1, 1): answer}
    words = {} if left_out is None else {"left_out": left_out}
    assert interval(steps, 0, [], None, answers, 0.0, **words).attempted is attempted
