"""How a step is cut into standing about, pulling and doing tasks."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.energy.evidence import LoggedStep, StepEvidence
from reconcile.energy.parts import Part, parts_of
from reconcile.plan import DurationRange, Task
from reconcile.timeline import PlannedStep
from tests.energy.made import MOST

CARRY = Task("sandbag carry", measure="metres", amount=20)
STEP_UP = Task("box step-up", measure="reps", amount=12)


def step_of(
    tasks: tuple[Task, ...],
    length: float = 150.0,
    kind: str = "work",
    **evidence: object,
) -> StepEvidence:
    planned = PlannedStep("main", 1, 1, kind, 0.0, length, tasks)  # type: ignore[arg-type]
    return StepEvidence(planned, 100.0, **evidence)  # type: ignore[arg-type]


def kinds(parts: tuple[Part, ...]) -> list[tuple[str, float, float]]:
    return [(part.kind, round(part.start_s, 1), round(part.end_s, 1)) for part in parts]


def test_a_rest_is_standing_about_but_for_its_pulls() -> None:
    assert kinds(parts_of(step_of((), 60.0, "rest"))) == [("standing", 0.0, 60.0)]
    pulling = step_of((), 60.0, "rest", pulls=((10.0, 40.0, 45.0),), machine_recorded=True)
    assert kinds(parts_of(pulling)) == [
        ("standing", 0.0, 10.0),
        ("machine", 10.0, 40.0),
        ("standing", 40.0, 60.0),
    ]


def test_before_the_first_pull_the_tasks_before_the_machine_are_done() -> None:
    step = step_of(
        (CARRY, STEP_UP, MOST), effort_start_s=4.0, pulls=((110.0, 148.0, 200.0),),
        machine_recorded=True,
    )  # fmt: skip
    parts = parts_of(step)
    assert kinds(parts) == [
        ("standing", 0.0, 4.0),
        ("tasks", 4.0, 110.0),
        ("machine", 110.0, 148.0),
        ("standing", 148.0, 150.0),
    ]
    assert [task.movement for task, _ in parts[1].tasks] == ["sandbag carry", "box step-up"]
    assert sum(seconds for _, seconds in parts[1].tasks) == pytest.approx(106.0)


def test_tasks_between_two_machine_tasks_fill_the_longest_break_between_pulls() -> None:
    fixed = Task("machine", measure="calories", amount=10)
    step = step_of(
        (fixed, STEP_UP, MOST), pulls=((3, 40, 200), (43, 45, 90), (90, 149, 190)),
        machine_recorded=True,
    )  # fmt: skip
    assert ("tasks", 45.0, 90.0) in kinds(parts_of(step))


def test_tasks_after_the_machine_run_to_the_end_of_the_effort() -> None:
    step = step_of(
        (MOST, STEP_UP), pulls=((3.0, 60.0, 200.0),), machine_recorded=True, effort_end_s=130.0
    )
    assert kinds(parts_of(step))[-2:] == [("tasks", 60.0, 130.0), ("standing", 130.0, 150.0)]


def test_a_machine_recording_without_a_pull_means_that_nobody_pulled() -> None:
    assert kinds(parts_of(step_of((MOST,), machine_recorded=True))) == [("standing", 0.0, 150.0)]
    other = parts_of(step_of((CARRY, MOST), machine_recorded=True, effort_end_s=90.0))
    assert ("tasks", 3.0, 90.0) in kinds(other)


def test_a_skipped_step_is_standing_about() -> None:
    assert kinds(parts_of(step_of((MOST,), attempted=False))) == [("standing", 0.0, 150.0)]


def test_fixed_amounts_alone_end_when_they_usually_do() -> None:
    swings = Task("kettlebell swing", measure="reps", amount=20)
    (start, doing, rest) = parts_of(step_of((swings,), 60.0))
    assert (start.kind, doing.kind, rest.kind) == ("standing", "tasks", "standing")
    assert doing.seconds == pytest.approx(20 * 1.9)


ROW = Task("rower", measure="metres", amount=300.0)


@pytest.mark.parametrize(
    ("logged_s", "end_s", "guessed"),
    [(95.0, 95.0, False), (None, 3 + 300 * 0.25, True), (9.0, 3 + 300 * 0.25, True)],
    ids=["as logged", "as usual", "as usual where what was logged cannot be meant"],
)
def test_fixed_amounts_end_when_the_athlete_says(
    logged_s: float | None, end_s: float, guessed: bool
) -> None:
    logged = None if logged_s is None else LoggedStep("seconds", logged_s)
    (_, doing, _) = parts_of(step_of((ROW,), logged=logged))
    assert doing.end_s == pytest.approx(end_s)
    assert doing.guessed is guessed


def test_an_intended_time_shares_out_the_step() -> None:
    most = Task("machine", measure="calories", most=True, intended=DurationRange(45.0, 70.0))
    (_, doing) = parts_of(step_of((CARRY, STEP_UP, most)))
    shares = {task.movement: seconds for task, seconds in doing.tasks}
    assert sum(shares.values()) == pytest.approx(147.0)
    assert 45 <= shares["machine"] <= 90


def test_work_of_which_nothing_is_known_has_no_parts() -> None:
    assert parts_of(step_of(())) == ()


@given(
    st.lists(
        st.tuples(
            st.floats(-5, 160), st.floats(-5, 160), st.floats(0, 500) | st.just(float("nan"))
        ),
        max_size=4,
    ),
    st.sampled_from([(), (MOST,), (CARRY, MOST), (CARRY, MOST, STEP_UP), (STEP_UP,)]),
    st.sampled_from(["work", "rest"]),
    st.none() | st.floats(0, 150),
    st.none() | st.floats(0, 150),
    st.booleans(),
)
def test_parts_fill_the_step_without_gap_or_overlap(
    pulls: list[tuple[float, float, float]],
    tasks: tuple[Task, ...],
    kind: str,
    start_s: float | None,
    end_s: float | None,
    recorded: bool,
) -> None:
    step = step_of(
        tasks, kind=kind, pulls=tuple(pulls), machine_recorded=recorded, effort_start_s=start_s,
        effort_end_s=end_s,
    )  # fmt: skip
    found = parts_of(step)
    parts = [part for part in found if not part.outside]
    beyond = [part for part in found if part.outside]
    assert all(part.end_s <= 0.0 or part.start_s >= 150.0 for part in beyond)
    if not parts:
        return
    assert parts[0].start_s == 0.0
    assert parts[-1].end_s == 150.0
    for one, following in pairwise(parts):
        assert one.end_s == pytest.approx(following.start_s)
    assert all(part.seconds > 0 for part in found)


def test_who_never_reached_a_recorded_machine_was_at_the_tasks_before_it_till_the_bell() -> None:
    (_, doing) = parts_of(step_of((CARRY, STEP_UP, MOST), machine_recorded=True))
    assert (doing.kind, doing.end_s, doing.guessed) == ("tasks", 150.0, False)
    assert [task.movement for task, _ in doing.tasks] == ["sandbag carry", "box step-up"]
