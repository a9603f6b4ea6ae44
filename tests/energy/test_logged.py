"""What a score sheet says of each round's calories."""

import pytest

from reconcile.classes import LoggedScore
from reconcile.energy.logged import calories_by_round
from reconcile.plan import ScoreRule, Step, Task, TimedBlock

WORK, REST = Step("work", 90.0, (Task("machine", "calories", most=True),)), Step("rest", 60.0)
BLOCK = TimedBlock("main", 3, (WORK, REST), ScoreRule("calories", "total"))
IN_METRES = TimedBlock("main", 3, (WORK,), ScoreRule("metres", "total"))


@pytest.mark.parametrize(
    ("logged", "block", "expected"),
    [
        (LoggedScore("a", score=45, rounds=(16, 15, 14)), BLOCK, {1: 16, 2: 15, 3: 14}),
        (LoggedScore("a", score=45), BLOCK, {1: 15, 2: 15, 3: 15}),
        (LoggedScore("a", score=45, rounds=(16, 15)), BLOCK, {1: 15, 2: 15, 3: 15}),
        (
            LoggedScore("a", score=14),
            TimedBlock("main", 3, (WORK, REST), ScoreRule("calories", "mean")),
            {1: 14, 2: 14, 3: 14},
        ),
        (
            LoggedScore("a", score=14),
            TimedBlock("main", 3, (WORK, REST), ScoreRule("calories", "lowest")),
            {},
        ),
        (
            LoggedScore("a", score=45),
            TimedBlock("main", 3, (WORK, REST, WORK, REST), ScoreRule("calories", "total")),
            {},
        ),
        (LoggedScore("a", score=900), IN_METRES, {}),
        (LoggedScore("a", score=45), TimedBlock("main", 3, (WORK, REST)), {}),
        (LoggedScore("a"), BLOCK, {}),
        (None, BLOCK, {}),
    ],
)  # fmt: skip
def test_calories_of_each_round(
    logged: LoggedScore | None, block: TimedBlock, expected: dict[int, float]
) -> None:
    assert calories_by_round(logged, block) == expected
