"""Bounds of the possible against records, published laws and the computed table."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.display import calories_from_power, power_from_pace
from reconcile.plan import Task
from reconcile.score.bounds import (
    Capacity,
    emptying_power_over_repeats_w,
    fastest_machine_s,
    fastest_repetition_s,
    least_seconds,
    most_power_over_repeats_w,
    most_power_w,
    record_capacity,
    skiba_2012_tau_s,
)


def windows(count: int, work_s: float, rest_s: float) -> list[tuple[float, float]]:
    return [(k * (work_s + rest_s), k * (work_s + rest_s) + work_s) for k in range(count)]


def test_the_law_runs_through_the_men_s_records() -> None:
    # Computed from 500 m in 1:10.5 and 2000 m in 5:35.8 (World Rowing): 483.3 W, 36.34 kJ.
    men = record_capacity("m")
    assert men.critical_power_w == pytest.approx(483.3, abs=0.1)
    assert men.work_above_j == pytest.approx(36_340, abs=10)
    assert most_power_w(men, 70.5) == pytest.approx(power_from_pace(70.5))
    assert most_power_w(men, 335.8) == pytest.approx(power_from_pace(335.8 / 4))


@pytest.mark.parametrize(
    ("sex", "duration_s", "calories"),
    [("m", 60, 67.5), ("m", 180, 132.9), ("m", 300, 198.4), ("f", 60, 48.7), ("f", 180, 97.5)],
)
def test_one_effort_s_bound_in_calories(sex: str, duration_s: float, calories: float) -> None:
    # Computed from the envelope: men 68, 133, 199 at the most; women 49 and 98.
    power_w = most_power_w(record_capacity(sex), duration_s)  # type: ignore[arg-type]
    assert calories_from_power(power_w, duration_s) == pytest.approx(calories, abs=0.06)


@pytest.mark.parametrize(
    ("sex", "mass_kg", "duration_s", "metres"),
    [
        # Marks that were really rowed stay inside the bound (read in stored pages; * from memory).
        ("m", None, 240, 1412),
        ("m", None, 3600, 18602),
        ("m", 75.0, 3600, 17498),
        ("m", 75.0, 356.7, 2000),  # *
        ("f", None, 381.1, 2000),
        ("f", 61.5, 414.7, 2000),  # *
    ],
)
def test_records_are_possible(
    sex: str, mass_kg: float | None, duration_s: float, metres: float
) -> None:
    rowed_w = power_from_pace(duration_s * 500 / metres)
    assert rowed_w <= most_power_w(record_capacity(sex, mass_kg), duration_s)  # type: ignore[arg-type]


@pytest.mark.parametrize(("deficit_w", "tau_s"), [(100.0, 517.0), (0.0, 862.0), (1000.0, 316.0)])
def test_recovery_time_constant_of_skiba_2012(deficit_w: float, tau_s: float) -> None:
    # Skiba et al. 2012, equation 3: 546 · e^(−0.01 · 100) + 316 = 516.9 s.
    assert skiba_2012_tau_s(deficit_w) == pytest.approx(tau_s, abs=0.2)


@pytest.mark.parametrize(
    ("count", "work_s", "rest_s", "men", "women", "men_emptying"),
    [(4, 180, 60, 510, 373, 445), (4, 180, 180, 530, 387, 472), (10, 60, 60, 473, 343, 415)],
)
def test_repeats_bound_in_calories(
    count: int, work_s: float, rest_s: float, men: float, women: float, men_emptying: float
) -> None:
    # Computed from both published forms of the balance, passive rest.
    def total(powers: tuple[float, ...]) -> float:
        return sum(calories_from_power(power, work_s) for power in powers)

    when = windows(count, work_s, rest_s)
    assert total(most_power_over_repeats_w(when, record_capacity("m"))) == pytest.approx(
        men, abs=0.6
    )
    assert total(most_power_over_repeats_w(when, record_capacity("f"))) == pytest.approx(
        women, abs=0.6
    )
    assert total(emptying_power_over_repeats_w(when, record_capacity("m"))) == pytest.approx(
        men_emptying, abs=0.6
    )


def test_the_integral_form_agrees_with_a_second_by_second_sum() -> None:
    # The definition itself: W′bal(t) = W′ − Σ spent(u) · e^(−(t − u)/τ), one second at a time.
    capacity = record_capacity("m")
    tau_s = skiba_2012_tau_s(capacity.critical_power_w)
    when = windows(3, 120, 90)
    powers = most_power_over_repeats_w(when, capacity)
    step_s = 0.05
    lowest = capacity.work_above_j
    for end_s in (window[1] for window in when):
        spent = 0.0
        for (start, end), power in zip(when, powers, strict=True):
            moment = start + step_s / 2
            while moment < min(end, end_s):
                above = (power - capacity.critical_power_w) * step_s
                spent += above * math.exp(-(end_s - moment) / tau_s)
                moment += step_s
        lowest = min(lowest, capacity.work_above_j - spent)
    assert lowest == pytest.approx(0.0, abs=5.0)


@given(
    st.floats(40.0, 130.0),
    st.floats(40.0, 130.0),
    st.floats(20.0, 600.0),
    st.sampled_from(["m", "f", None]),
)
def test_more_mass_never_lowers_the_bound(
    one_kg: float, other_kg: float, duration_s: float, sex: str | None
) -> None:
    light, heavy = sorted((one_kg, other_kg))
    assert most_power_w(record_capacity(sex, light), duration_s) <= most_power_w(  # type: ignore[arg-type]
        record_capacity(sex, heavy),  # type: ignore[arg-type]
        duration_s,
    )


@given(st.integers(2, 12), st.floats(20, 240), st.floats(0, 240), st.floats(1.0, 120.0))
def test_longer_rests_never_lower_what_is_possible(
    count: int, work_s: float, rest_s: float, more_s: float
) -> None:
    capacity = record_capacity("m")
    shorter = most_power_over_repeats_w(windows(count, work_s, rest_s), capacity)
    longer = most_power_over_repeats_w(windows(count, work_s, rest_s + more_s), capacity)
    assert all(a <= b + 1e-9 for a, b in zip(shorter, longer, strict=True))


@pytest.mark.parametrize(
    ("movement", "seconds"),
    [
        # Common practice, no source (single-unders and double-unders as read).
        ("single-unders", 0.13),
        ("Double-unders", 0.34),
        ("rope jump", 0.13),
        ("box jump", 1.2),
        ("burpee over the bar", 2.5),
        ("burpee", 1.8),
        ("thruster", 1.5),
        ("clean and thruster", 2.5),
        ("kettlebell swing", 1.2),
        ("push-up", 0.7),
        ("air squat", 0.9),
        ("something unheard of", 0.36),
        ("sit-up", 0.9),
        ("walking lunge", 0.8),
    ],
)
def test_fastest_repetitions(movement: str, seconds: float) -> None:
    assert fastest_repetition_s(movement) == seconds


def test_a_fixed_machine_task_takes_as_long_as_the_record_says() -> None:
    # 500 m on a rower: the record itself, 70.5 s.
    task = Task("rower", "metres", 500.0)
    assert fastest_machine_s(task, record_capacity("m")) == pytest.approx(70.5, abs=0.05)


def test_open_tasks_need_no_time_at_least() -> None:
    assert least_seconds(Task("burpee", "reps", most=True), record_capacity()) == 0.0
    assert least_seconds(Task("burpee", "reps", 10.0), record_capacity()) == pytest.approx(18.0)


def test_scaling_scales_every_power() -> None:
    assert Capacity(100.0, 10_000.0, 900.0).scaled(0.5) == Capacity(50.0, 5_000.0, 450.0)
