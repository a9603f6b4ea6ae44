"""What a score sheet says of single steps."""

import pytest

from reconcile.classes import LoggedScore
from reconcile.energy.evidence import LoggedStep
from reconcile.energy.logged import logged_steps
from reconcile.plan import Measure, ScoreRule, Step, Take, Task, TimedBlock
from reconcile.timeline import unfold_block

REST = Step("rest", 60.0)
CALORIES = Step("work", 90.0, (Task("machine", "calories", most=True),))
METRES = Step("work", 90.0, (Task("machine", "metres", most=True),))
ROW = Step("work", 180.0, (Task("rower", "metres", 500.0),))
SWING = Step("work", 60.0, (Task("kettlebell swing", "reps", most=True),))


def block(
    *steps: Step, measure: Measure | None = "calories", take: Take = "total", rounds: int = 3
) -> TimedBlock:
    rule = None if measure is None else ScoreRule(measure, take)
    return TimedBlock("main", rounds, steps, rule)


@pytest.mark.parametrize(
    ("logged", "done", "expected"),
    [
        (LoggedScore("a", score=45, rounds=(16, 15, 14)), block(CALORIES, REST), (16, 15, 14)),
        (LoggedScore("a", score=45), block(CALORIES, REST), (15, 15, 15)),
        (LoggedScore("a", score=45, rounds=(16, 15)), block(CALORIES, REST), (15, 15, 15)),
        (LoggedScore("a", score=14), block(CALORIES, REST, take="mean"), (14, 14, 14)),
        (LoggedScore("a", score=14), block(CALORIES, REST, take="lowest"), (14, 14, 14)),
        (LoggedScore("a", score=0, rounds=(9, 0, 8)), block(CALORIES, REST), (9, None, 8)),
        (LoggedScore("a", score=45), block(CALORIES, REST, SWING, REST), (15, 15, 15)),
        (LoggedScore("a", score=45), block(CALORIES, REST, CALORIES, REST), (None, None, None)),
        (LoggedScore("a", score=900), block(METRES, measure="metres"), (300, 300, 300)),
        (LoggedScore("a", rounds=(118, 180, 125)), block(ROW, measure="seconds"),
         (118, None, 125)),
        (LoggedScore("a", score=45), block(CALORIES, measure=None), (None, None, None)),
        (LoggedScore("a"), block(CALORIES, REST), (None, None, None)),
        (None, block(CALORIES, REST), (None, None, None)),
    ],
    ids=[
        "the rounds as written", "a total shared out", "rounds that are not the plan's", "a mean",
        "a lowest", "a round of nothing", "another work beside it", "two scored works a round",
        "metres", "seconds, one round not finished", "not scored", "nothing said", "no row",
    ],
)  # fmt: skip
def test_what_was_logged_of_each_round(
    logged: LoggedScore | None, done: TimedBlock, expected: tuple[float | None, ...]
) -> None:
    said = logged_steps(logged, done, unfold_block(done))
    measure = "calories" if done.score is None else done.score.measure
    assert said == {
        (number, 1): LoggedStep(measure, amount)
        for number, amount in enumerate(expected, start=1)
        if amount is not None
    }


def test_an_option_that_replaces_the_scored_task_is_logged_in_its_own_measure() -> None:
    rope = Task("rope jump", "reps", most=True)
    machine = Task("machine", "calories", most=True, instead={"home": rope})
    done = block(Step("work", 90.0, (machine,)), REST)
    said = logged_steps(LoggedScore("a", score=300), done, unfold_block(done, "home"))
    assert said[2, 1] == LoggedStep("reps", 100.0)
