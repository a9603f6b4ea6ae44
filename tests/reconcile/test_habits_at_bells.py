"""What one person does at every bell alike, and what that leaves to know of where the bells lie."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from ingest.recording import Lap
from reconcile.align.edges import Bout, WorkWindow, lap_evidence, pull_evidence
from reconcile.align.grid import STEP_S, LogRatio
from reconcile.align.heart import block_demand, heart_evidence, responses_to
from reconcile.align.lag import OF_STRAPS, OF_WRISTS
from reconcile.timeline import PlannedStep
from tests.reconcile.known_class import STEPS

FIRST_S, ROUND_S, WORK_S = 300.0, 150.0, 70.0


def evidence(
    late_s: Sequence[float], over_s: Sequence[float], *, at_bells: bool = True
) -> LogRatio:
    """Of pulls so late after each round's first bell, and so long over its second."""
    rounds = range(len(late_s))
    windows = [WorkWindow(n * ROUND_S, n * ROUND_S + WORK_S, at_bells, at_bells) for n in rounds]
    pulls = [
        Bout(FIRST_S + n * ROUND_S + late_s[n], FIRST_S + n * ROUND_S + WORK_S + over_s[n])
        for n in rounds
    ]
    length_s = FIRST_S + len(late_s) * ROUND_S + 120
    return pull_evidence(pulls, (0.0, length_s), windows, len(late_s) * ROUND_S)


def at(ratio: LogRatio, starts_s: Sequence[float]) -> np.ndarray:
    return ratio.at(np.round(np.array(starts_s) / STEP_S).astype(int))


def spread_s(ratio: LogRatio) -> float:
    """Standard deviation of the block's start within 6 s of the truth, if every start is as likely
    before the pulls are looked at."""
    near_s = FIRST_S + np.arange(-6.0, 6.0 + STEP_S, STEP_S)
    weights = np.exp(at(ratio, near_s.tolist()))
    weights /= weights.sum()
    mean_s = float(weights @ near_s)
    return float(np.sqrt(weights @ (near_s - mean_s) ** 2))


def test_a_steady_persons_rounds_are_not_averaged_to_nothing() -> None:
    few, many = (spread_s(evidence([2.0] * n, [0.6] * n)) for n in (4, 12))
    assert 0.5 < many <= few < 1.3


def test_who_is_never_the_same_at_two_bells_is_placed_better_by_more_rounds() -> None:
    over = [-1.8, 2.6, 0.3, 1.9, -0.9, 2.9, -1.2, 0.2, 2.3, -1.6, 1.2, 0.1]
    late = [2.0 + x for x in (0.5, -0.6, 0.2, -0.1, 0.7, -0.7, 0.1, 0.4, -0.3, 0.2, -0.4, 0.0)]
    few, many = (spread_s(evidence(late[:n], over[:n])) for n in (4, 12))
    assert many < few


def test_the_outermost_of_several_stops_place_the_bell_and_not_their_mean() -> None:
    # From 2 s before a bell to 3 s after, most of them late: their mean is 1.8 s after it.
    ratio = evidence([1.5, 2.4, 1.8, 2.6, 2.0, 2.2], [-1.9, 2.9, 2.5, 2.7, 2.0, 2.8])
    best_s = (ratio.first + int(np.argmax(ratio.values))) * STEP_S
    assert abs(best_s - FIRST_S) <= 0.5


def test_laps_that_are_all_pressed_as_late_leave_the_bell_where_it_was() -> None:
    bells_s = np.arange(0.0, 1500.0, 75.0)
    steps = [
        PlannedStep("main", 1 + number, 1, "work", float(bell), float(bell) + 75, ())
        for number, bell in enumerate(bells_s)
    ]
    marks = [0.0, *(FIRST_S + bells_s + 2.0), 2400.0]
    laps = [Lap(float(a), float(b)) for a, b in pairwise(marks)]
    ratio = lap_evidence(laps, steps, 2400.0)
    assert float(np.max(ratio.values)) - float(at(ratio, [FIRST_S])[0]) < 4.0


@pytest.mark.parametrize("late_s", [9.0, 12.0])
def test_who_begins_late_every_time_and_stops_at_the_bells_is_placed_by_the_stops(
    late_s: float,
) -> None:
    ratio = evidence([late_s] * 6, [0.6, 0.1, 0.9, 0.4, 0.8, 0.3])
    best_s = (ratio.first + int(np.argmax(ratio.values))) * STEP_S
    assert abs(best_s - FIRST_S) <= 1.0


@pytest.mark.parametrize("late_s", [14.0, 16.0, 18.0])
def test_and_both_are_credible_where_few_begin_so_late(late_s: float) -> None:
    ratio = evidence([late_s] * 6, [0.6, 0.1, 0.9, 0.4, 0.8, 0.3])
    assert float(np.max(ratio.values)) - float(at(ratio, [FIRST_S])[0]) < 3.0


def test_beginning_late_and_stopping_early_are_both_credible_where_the_pulls_are_the_same() -> None:
    # 64 s of pulling in 70 s, as steady as a clock: 8 s late, or 10 s early with a start at once.
    ratio = evidence([8.0] * 6, [0.0] * 6)
    late, early = at(ratio, [FIRST_S, FIRST_S + 8.0])
    assert late > early
    assert late - early < 15.0


def test_a_fixed_amount_in_mid_window_hardly_tells_where_the_window_lies() -> None:
    early, late = [20.0, 22.0, 19.0, 23.0, 21.0, 24.0], [-22.0, -20.0, -21.0, -18.0, -20.0, -17.0]
    ratio = evidence(early, late, at_bells=False)
    values = at(ratio, [FIRST_S - 7, FIRST_S, FIRST_S + 7])
    assert float(np.ptp(values)) < 2.0


def test_a_straps_answer_is_taken_for_an_earlier_one() -> None:
    """A strap's heart and a wrist's show the same: the strap's work began later, by its delay."""
    answers = responses_to(block_demand(list[PlannedStep](STEPS)))
    rng = np.random.default_rng(1)
    signal = np.concatenate([np.zeros(60), 60 * answers[1, 0], np.zeros(60)]) + 90
    heart = signal + rng.normal(0, 1.0, signal.size)
    wrist, strap = (heart_evidence(heart, answers, lags).whole for lags in (OF_WRISTS, OF_STRAPS))
    places = [(one.first + int(np.argmax(one.values))) * STEP_S for one in (wrist, strap)]
    assert 1.0 <= places[1] - places[0] <= 5.0
