"""What lies beyond the possible, and what does not."""

import pytest

from reconcile.classes import Athlete
from reconcile.plan import ScoreRule, Step, Task, TimedBlock
from reconcile.score.limits import beyond_the_inner_bound, beyond_the_possible
from reconcile.score.scored import scored_steps
from reconcile.timeline import unfold_block

MAN = Athlete("a01", "m", mass_kg=95.0)
WOMAN = Athlete("a02", "f", mass_kg=80.0)
UNKNOWN = Athlete("a03")


def plan(
    work_s: float, rest_s: float, rounds: int, task: Task, measure: str, take: str = "total"
) -> TimedBlock:
    steps = (Step("work", work_s, (task,)), Step("rest", rest_s))
    return TimedBlock("main", rounds, steps, ScoreRule(measure, take))  # type: ignore[arg-type]


CALORIES = Task("rower", "calories", most=True)


@pytest.mark.parametrize(
    ("athlete", "score", "beyond"),
    [
        # 60 s: men at most 67.5 (68 shown), women 48.7 (49), read up to 3 s late.
        (MAN, 66.0, False),
        (MAN, 75.0, True),
        (WOMAN, 48.0, False),
        (WOMAN, 56.0, True),
        # Where sex and mass are not said, the widest bound holds.
        (UNKNOWN, 66.0, False),
        (UNKNOWN, 75.0, True),
    ],
)
def test_one_minute(athlete: Athlete, score: float, beyond: bool) -> None:
    block = plan(60, 60, 1, CALORIES, "calories")
    scored = scored_steps(block, unfold_block(block))
    found = beyond_the_possible(score, None, scored, athlete, "rower")
    assert (found is not None) == beyond


@pytest.mark.parametrize(
    ("rounds", "work_s", "rest_s", "most"),
    [(4, 180, 60, 510), (4, 180, 180, 530), (10, 60, 60, 473)],
)
def test_repeats_have_a_bound_of_their_own(
    rounds: int, work_s: float, rest_s: float, most: float
) -> None:
    # Computed bounds for men; the tolerance of 3 s a round adds some 2 to 5 %.
    block = plan(work_s, rest_s, rounds, CALORIES, "calories")
    scored = scored_steps(block, unfold_block(block))
    assert beyond_the_possible(most, None, scored, MAN, "rower") is None
    found = beyond_the_possible(most * 1.06, None, scored, MAN, "rower")
    assert found is not None
    assert found.what == "total"
    assert found.limit_w is not None
    assert found.power_w is not None
    assert found.power_w > found.limit_w


def test_one_round_is_named_where_it_alone_is_beyond() -> None:
    block = plan(60, 60, 3, CALORIES, "calories")
    scored = scored_steps(block, unfold_block(block))
    found = beyond_the_possible(120.0, (20.0, 80.0, 20.0), scored, MAN, "rower")
    assert found is not None
    assert (found.what, found.round) == ("round", 2)


def test_fixed_tasks_leave_less_time() -> None:
    # 30 burpees take 54 s at the fastest credible rate (1.8 s, common practice): 9 s are left.
    whole = plan(60, 60, 1, CALORIES, "calories")
    steps = (Step("work", 60, (Task("burpee", "reps", 30), CALORIES)), Step("rest", 60))
    after = TimedBlock("main", 1, steps, ScoreRule("calories", "total"))
    score = 40.0
    assert (
        beyond_the_possible(score, None, scored_steps(whole, unfold_block(whole)), MAN, "rower")
        is None
    )
    assert (
        beyond_the_possible(score, None, scored_steps(after, unfold_block(after)), MAN, "rower")
        is not None
    )


def test_repetitions_have_a_fastest_credible_rate() -> None:
    # Rope jumping at 0.13 s each (read): 60 s + 3 s hold 484.
    block = plan(60, 60, 1, Task("rope jump", "reps", most=True), "reps")
    scored = scored_steps(block, unfold_block(block))
    assert beyond_the_possible(470.0, None, scored, MAN, "none") is None
    found = beyond_the_possible(520.0, None, scored, MAN, "none")
    assert found is not None
    assert found.seconds_each == 0.13


def test_seconds_can_be_too_few() -> None:
    # 500 m on a rower: the record is 70.5 s.
    block = plan(180, 60, 2, Task("rower", "metres", 500.0), "seconds")
    scored = scored_steps(block, unfold_block(block))
    assert beyond_the_possible(180.0, (90.0, 90.0), scored, MAN, "rower") is None
    found = beyond_the_possible(150.0, (60.0, 90.0), scored, MAN, "rower")
    assert found is not None
    assert (found.what, found.round) == ("round", 1)
    assert found.limit == pytest.approx(70.5, abs=0.1)


def test_metres_of_an_unknown_machine_are_held_against_the_fastest_display() -> None:
    block = plan(60, 60, 1, Task("machine", "metres", most=True), "metres")
    scored = scored_steps(block, unfold_block(block))
    assert beyond_the_possible(600.0, None, scored, MAN, "rower") is not None
    assert beyond_the_possible(600.0, None, scored, MAN, None) is None


@pytest.mark.parametrize("take", ["lowest", "highest", "mean"])
def test_other_takes_are_held_against_one_fresh_round(take: str) -> None:
    block = plan(60, 60, 4, CALORIES, "calories", take)
    scored = scored_steps(block, unfold_block(block))
    assert beyond_the_possible(66.0, None, scored, MAN, "rower") is None
    found = beyond_the_possible(76.0, None, scored, MAN, "rower")
    assert found is not None
    assert found.what == take


def test_the_inner_bound_is_evidence_below_the_outer_one() -> None:
    # Computed for men, 10 × 60 s with 60 s of rest: 415 inner, 473 outer.
    block = plan(60, 60, 10, CALORIES, "calories")
    scored = scored_steps(block, unfold_block(block))
    assert not beyond_the_inner_bound(415.0, scored, MAN, "rower")
    assert beyond_the_inner_bound(460.0, scored, MAN, "rower")
    assert beyond_the_possible(460.0, None, scored, MAN, "rower") is None
