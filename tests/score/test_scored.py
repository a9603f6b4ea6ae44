"""Which steps a score is made of, by the rules of the class folder."""

import numpy as np
import pytest

from reconcile.plan import ScoreRule, Step, Task, TimedBlock
from reconcile.score.scored import finishing_amounts, scored_steps, take_of
from reconcile.timeline import unfold_block

REPS = Task("rope jump", "reps", most=True)
MOST = Task("machine", "calories", most=True, instead={"home": REPS})
SWINGS = Task("swing", "reps", 12)


def block(*steps: Step, measure: str = "calories", rounds: int = 2, **more: object) -> TimedBlock:
    rule = ScoreRule(measure, "total")  # type: ignore[arg-type]
    return TimedBlock("main", rounds, steps, rule, **more)  # type: ignore[arg-type]


def test_a_round_is_the_sum_over_its_machine_steps() -> None:
    plan = block(Step("work", 40, (MOST,)), Step("rest", 20), Step("work", 30, (MOST,)))
    scored = scored_steps(plan, unfold_block(plan))
    assert [len(steps) for steps in scored.rounds] == [2, 2]
    assert [step.start_s for step in scored.steps] == [0, 60, 90, 150]
    assert scored.on_machine


def test_a_fixed_amount_on_the_machine_counts_since_the_display_runs_on() -> None:
    fixed = Task("machine", "calories", 10)
    plan = block(Step("work", 40, (fixed,)), Step("rest", 20), Step("work", 30, (SWINGS, MOST)))
    scored = scored_steps(plan, unfold_block(plan))
    assert [len(steps) for steps in scored.rounds] == [2, 2]


def test_work_off_the_machine_is_no_part_but_what_follows_at_once_is_known() -> None:
    plan = block(Step("work", 40, (MOST,)), Step("work", 30, (SWINGS,)), Step("rest", 20))
    (first, _) = scored_steps(plan, unfold_block(plan)).steps
    assert (first.end_s, first.on_into_s, first.next_work_s, first.next_scored_s) == (
        40,
        70,
        40,
        90,
    )


def test_an_option_has_its_own_measure() -> None:
    plan = block(Step("work", 40, (SWINGS, MOST)), Step("rest", 20))
    scored = scored_steps(plan, unfold_block(plan, "home"))
    assert scored.measure == "reps"
    assert not scored.on_machine
    assert len(scored.steps) == 2


def test_an_option_with_nothing_to_count_has_no_rounds() -> None:
    walk = Task("machine", "calories", most=True, instead={"easy": Task("walk")})
    plan = block(Step("work", 40, (walk,)), Step("rest", 20))
    assert scored_steps(plan, unfold_block(plan, "easy")).rounds == ()


def test_seconds_are_finished_by_the_machine_s_count() -> None:
    plan = block(
        Step("work", 180, (SWINGS, Task("machine", "metres", 500))), Step("rest", 60),
        measure="seconds",
    )  # fmt: skip
    scored = scored_steps(plan, unfold_block(plan))
    assert scored.on_machine
    assert finishing_amounts(scored.steps[0].planned) == ("metres", 500)


def test_seconds_that_end_off_the_machine_are_not_counted_by_it() -> None:
    plan = block(Step("work", 180, (Task("machine", "metres", 500), SWINGS)), measure="seconds")
    scored = scored_steps(plan, unfold_block(plan))
    assert not scored.on_machine


def test_a_station_moves_the_scored_step() -> None:
    plan = block(
        Step("work", 45, (MOST,)), Step("rest", 15), Step("work", 45, (SWINGS,)), Step("rest", 15),
        rotate=True,
    )  # fmt: skip
    assert [s.start_s for s in scored_steps(plan, unfold_block(plan, None, 1)).steps] == [0, 120]
    assert [s.start_s for s in scored_steps(plan, unfold_block(plan, None, 2)).steps] == [60, 180]


def test_an_unscored_block_is_refused() -> None:
    plan = TimedBlock("warm-up", 1, (Step("work", 30, (MOST,)),))
    with pytest.raises(ValueError, match="not scored"):
        scored_steps(plan, unfold_block(plan))


@pytest.mark.parametrize(
    ("take", "made"), [("total", 36.0), ("lowest", 10.0), ("highest", 14.0), ("mean", 12.0)]
)
def test_takes(take: str, made: float) -> None:
    assert take_of((12.0, 10.0, 14.0), take) == made  # type: ignore[arg-type]


def test_nothing_done_totals_nothing_and_has_no_mean() -> None:
    assert take_of((), "total") == 0.0
    assert np.isnan(take_of((), "mean"))
