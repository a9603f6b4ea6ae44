"""Lags taken out of heart rate and put into oxygen, against a second way to the same number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ingest.recording import Floats
from reconcile.energy import kinetics
from reconcile.energy.kinetics import HEART_DELAY_S, HEART_RISE_S, demand_heart_rate, oxygen_timed

CLOCK = np.arange(0.0, 900.0)


def answered(demand: Floats, delay_s: float = HEART_DELAY_S) -> Floats:
    """A heart that answers late, by an ODE solver of its own and not by our closed form."""

    def slope(time_s: float, level: Floats) -> Floats:
        aim = np.interp(time_s - delay_s, CLOCK, demand)
        return (aim - level) / HEART_RISE_S

    found = solve_ivp(slope, (0.0, CLOCK[-1]), [demand[0]], t_eval=CLOCK, max_step=1.0, rtol=1e-8)
    return np.asarray(found.y[0])


def demand_of(start_s: float, end_s: float, low: float, high: float) -> Floats:
    return np.where((start_s <= CLOCK) & (end_s > CLOCK), high, low)


@pytest.mark.parametrize("length_s", [30.0, 60.0, 180.0, 400.0])
def test_the_lag_of_a_rising_heart_is_taken_back_out(length_s: float) -> None:
    heart = answered(demand_of(200.0, 200.0 + length_s, 80.0, 170.0))
    found, _, _, covered = demand_heart_rate(
        CLOCK, heart, np.ones(len(CLOCK)), np.array([200.0]), np.array([200.0 + length_s]),
        delay_s=HEART_DELAY_S,
    )  # fmt: skip
    assert found[0] == pytest.approx(170.0, abs=4.0 if length_s >= 60 else 9.0)
    assert covered[0] == pytest.approx(1.0)
    plain = heart[200 : int(200 + length_s)].mean()
    assert plain < found[0] - 3 or length_s > 300


def test_what_the_window_before_left_in_the_heart_is_taken_off() -> None:
    demand = np.where(CLOCK < 200, 80.0, np.where(CLOCK < 320, 175.0, 140.0))
    heart = answered(demand)
    found, *_ = demand_heart_rate(
        CLOCK, heart, np.ones(len(CLOCK)), np.array([200.0, 320.0]), np.array([320.0, 440.0]),
        delay_s=HEART_DELAY_S,
    )  # fmt: skip
    assert found[0] == pytest.approx(175.0, abs=4)
    # Falling hearts are reckoned slower than this one was: a little low, never the 168 left over.
    assert 125 < found[1] < 143


def test_the_mean_of_a_demand_that_changes_within_the_window_is_found() -> None:
    demand = np.where(CLOCK < 200, 80.0, np.minimum(120.0 + (CLOCK - 200.0) / 4, 180.0))
    inside = (CLOCK >= 200) & (CLOCK < 440)
    found, *_ = demand_heart_rate(
        CLOCK, answered(demand), np.ones(len(CLOCK)), np.array([200.0]), np.array([440.0]),
        delay_s=HEART_DELAY_S,
    )  # fmt: skip
    assert found[0] == pytest.approx(demand[inside].mean(), abs=2.5)


def test_windows_next_to_each_other_make_the_window_of_both() -> None:
    heart = answered(demand_of(200.0, 500.0, 80.0, 165.0))
    trust = np.ones(len(CLOCK))

    def over(start_s: float, end_s: float) -> float:
        found, *_ = demand_heart_rate(
            CLOCK, heart, trust, np.array([start_s]), np.array([end_s]), delay_s=HEART_DELAY_S
        )
        return float(found[0]) * (end_s - start_s)

    assert over(210, 300) + over(300, 420) == pytest.approx(over(210, 420), rel=1e-6)


def test_a_shorter_window_is_less_sure() -> None:
    heart = answered(demand_of(200.0, 500.0, 80.0, 165.0))
    _, change, noise, _ = demand_heart_rate(
        CLOCK, heart, np.ones(len(CLOCK)), np.array([200.0, 200.0]), np.array([240.0, 440.0]),
        delay_s=HEART_DELAY_S,
    )  # fmt: skip
    assert change[0] > 2 * change[1]
    assert noise[0] > noise[1]


def test_distrusted_and_missing_samples_are_bridged_and_counted() -> None:
    heart = answered(demand_of(200.0, 500.0, 80.0, 165.0))
    trust = np.ones(len(CLOCK))
    heart[300:360] = np.nan
    trust[360:400] = 0.0
    found, _, _, covered = demand_heart_rate(
        CLOCK, heart, trust, np.array([200.0]), np.array([500.0]), delay_s=HEART_DELAY_S
    )
    assert found[0] == pytest.approx(165.0, abs=4.0)
    assert covered[0] == pytest.approx(1 - 100 / 308, abs=0.01)


def test_a_window_that_the_recording_does_not_reach_has_nothing_to_say() -> None:
    found, _, _, covered = demand_heart_rate(
        CLOCK, np.full(len(CLOCK), 120.0), np.ones(len(CLOCK)), np.array([880.0, -50.0]),
        np.array([960.0, 40.0]), delay_s=HEART_DELAY_S,
    )  # fmt: skip
    assert np.isnan(found).all()
    assert (covered == 0).all()


def test_a_shifted_clock_changes_nothing() -> None:
    heart = answered(demand_of(200.0, 400.0, 80.0, 165.0))
    trust = np.ones(len(CLOCK))
    here = demand_heart_rate(
        CLOCK, heart, trust, np.array([200.0]), np.array([400.0]), delay_s=HEART_DELAY_S
    )
    there = demand_heart_rate(
        CLOCK + 5000, heart, trust, np.array([5200.0]), np.array([5400.0]), delay_s=HEART_DELAY_S
    )
    assert np.concatenate(here) == pytest.approx(np.concatenate(there))


class TestOxygen:
    """Measured on 36 intermittent sessions with gas exchange, as published."""

    hard = np.where((CLOCK >= 100) & (CLOCK < 500), 11.0, 2.1)

    def test_oxygen_energy_halves_about_55_s_after_the_stop(self) -> None:
        uptake = oxygen_timed(self.hard)
        assert uptake[555] / uptake[499] == pytest.approx(0.5, abs=0.1)

    def test_it_settles_at_three_to_four_met_for_minutes_after_hard_work(self) -> None:
        uptake = oxygen_timed(self.hard)
        assert 2.9 < uptake[590:680].mean() < 4.5

    def test_in_steady_work_a_mask_reads_the_demand(self) -> None:
        assert oxygen_timed(np.full(600, 8.0)) == pytest.approx(np.full(600, 8.0))

    @given(st.lists(st.floats(1.0, 20.0), min_size=2, max_size=8))
    def test_what_went_in_comes_out(self, levels: list[float]) -> None:
        demand = np.concatenate([np.repeat(levels, 60), np.full(3000, levels[0])])
        assert oxygen_timed(demand).sum() == pytest.approx(demand.sum(), rel=1e-3)

    def test_the_fast_share_has_the_measured_time_constant(self) -> None:
        # 27 s after 12 s of delay.
        assert (kinetics.OXYGEN_FAST_S, kinetics.OXYGEN_DELAY_S) == (27.0, 12)
