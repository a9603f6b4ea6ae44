"""Figures of energy from heart rate alone, on people made to be like measured ones."""

import pytest

from tests.bench.shuttle_bench import TASKS, figures, measure

PEOPLE = range(36)


@pytest.mark.parametrize(
    ("known", "mean_error", "within_20"), [(False, 0.16, 0.75), (True, 0.135, 0.78)]
)
def test_whole_bouts_of_shuttle_runs_are_told_from_the_heart(
    known: bool, mean_error: float, within_20: float
) -> None:
    bouts = [b for seed in PEOPLE for b in measure(seed, TASKS["shuttle run"], known=known)]
    work = figures([bout for bout in bouts if bout.kind == "work"])
    assert work.mean_error <= mean_error
    assert work.within_20 >= within_20
    assert abs(work.bias) <= 0.12
    assert work.coverage >= 0.88
    assert work.mean_width <= 0.75
    rest = figures([bout for bout in bouts if bout.kind == "rest"])
    assert rest.mean_error <= 0.30
    assert abs(rest.bias) <= 0.15
