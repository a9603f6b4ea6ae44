"""The display's equations against published and computed check values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.display import (
    calories_from_power,
    pace_from_power,
    power_from_calories,
    power_from_pace,
    power_from_speed,
    speed_from_power,
)


@pytest.mark.parametrize(
    ("pace_s", "power_w"),
    [
        # The usual law P = 2.80 / pace³ of air-braked rowers and its table of splits (per 500 m).
        (120.0, 202.5),
        (105.0, 302.3),
        (90.0, 480.1),
        # A published worked example: 1:55 per 500 m is 230 W.
        (115.0, 230.0),
        # Records as read: 500 m in 1:10.5 is 999 W (World Rowing, 12 March 2021).
        (70.5, 998.9),
    ],
)
def test_pace_gives_the_published_power(pace_s: float, power_w: float) -> None:
    assert power_from_pace(pace_s) == pytest.approx(power_w, abs=0.2)


def test_a_bike_shows_1000_m_in_the_time_that_a_rower_shows_500_m() -> None:
    # From memory: bikes of this kind count pace per 1000 m.
    assert power_from_pace(120.0, "bike") == pytest.approx(power_from_pace(120.0, "rower"))
    assert speed_from_power(200.0, "bike") == pytest.approx(2 * speed_from_power(200.0, "rower"))


@pytest.mark.parametrize(
    ("calories", "duration_s", "power_w"),
    [
        # Common practice, computed from kcal/h = 4 · 0.8604 · W + 300.
        (10, 30, 261.5),
        (20, 60, 261.5),
        (60, 180, 261.5),
        (40, 180, 145.3),
        (30, 60, 435.8),
    ],
)
def test_calories_over_a_time_give_the_mean_power(
    calories: float, duration_s: float, power_w: float
) -> None:
    assert power_from_calories(calories, duration_s) == pytest.approx(power_w, abs=0.06)


@pytest.mark.parametrize(("duration_s", "power_w"), [(30, 34.9), (60, 17.4), (180, 5.8)])
def test_one_displayed_calorie_is_so_many_watts(duration_s: float, power_w: float) -> None:
    more = power_from_calories(21.0, duration_s) - power_from_calories(20.0, duration_s)
    assert more == pytest.approx(power_w, abs=0.05)


def test_the_hourly_rate_at_rest_is_the_base() -> None:
    assert calories_from_power(0.0, 3600.0) == pytest.approx(300.0)


def test_the_maker_s_own_form_in_kilojoules_agrees() -> None:
    # A second published form of the same count: E = (4 · kJ + 0.35 · s) / 4.2.
    power_w, duration_s = 230.0, 300.0
    second = (4 * power_w * duration_s / 1000 + 0.35 * duration_s) / 4.2
    assert calories_from_power(power_w, duration_s) == pytest.approx(second, rel=0.005)


@given(st.floats(1.0, 2000.0), st.floats(1.0, 7200.0))
def test_calories_and_power_are_exact_inverses(power_w: float, duration_s: float) -> None:
    shown = calories_from_power(power_w, duration_s)
    assert power_from_calories(shown, duration_s) == pytest.approx(power_w, rel=1e-9)


@given(st.floats(1.0, 2000.0), st.sampled_from(["rower", "ski", "bike"]))
def test_pace_and_power_are_exact_inverses(power_w: float, machine: str) -> None:
    pace_s = pace_from_power(power_w, machine)  # type: ignore[arg-type]
    assert power_from_pace(pace_s, machine) == pytest.approx(power_w)  # type: ignore[arg-type]


@given(st.floats(0.1, 15.0), st.sampled_from(["rower", "ski", "bike"]))
def test_speed_and_power_are_exact_inverses(speed_m_s: float, machine: str) -> None:
    power_w = power_from_speed(speed_m_s, machine)  # type: ignore[arg-type]
    assert speed_from_power(power_w, machine) == pytest.approx(speed_m_s)  # type: ignore[arg-type]


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan")])
def test_what_has_no_meaning_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        power_from_pace(wrong)
    with pytest.raises(ValueError, match="above 0"):
        pace_from_power(wrong)
    with pytest.raises(ValueError, match="above 0"):
        power_from_calories(10.0, wrong)
