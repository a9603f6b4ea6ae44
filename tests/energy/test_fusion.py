"""Joining estimates: against textbook values, and what must hold whatever they are."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, minimize

from ingest.recording import Floats
from reconcile.energy.fusion import (
    Estimate,
    fuse,
    least_variance_weights,
    range_95,
    spread,
    total,
)

SPREADS = st.floats(0.02, 0.5)
ENERGIES = st.floats(1.0, 100.0)
NAMES = st.sampled_from(["mass", "day", "standing", "efficiency", "one", "two"])
ERRORS = st.dictionaries(NAMES, SPREADS, min_size=1, max_size=4)
ESTIMATES = st.lists(
    st.builds(Estimate, st.just("some model"), ENERGIES, ERRORS), min_size=1, max_size=4
)


def test_two_independent_estimates_join_by_inverse_variance_in_log_kcal() -> None:
    one = Estimate("one", 30.0, {"a": 0.1})
    two = Estimate("two", 40.0, {"b": 0.2})
    fused = fuse([one, two], "here")
    assert fused.weights == pytest.approx((0.8, 0.2))
    assert fused.kcal == pytest.approx(np.exp(0.8 * np.log(30) + 0.2 * np.log(40)))
    # 1 / (1/0.01 + 1/0.04) = 0.008.
    assert fused.sd == pytest.approx(np.sqrt(0.008))


def test_correlated_estimates_take_the_weights_of_generalised_least_squares() -> None:
    # Aitken's estimator of one mean, for two: (s2² − ρ s1 s2) over (s1² + s2² − 2 ρ s1 s2).
    covariance = np.array([[0.04, 0.018], [0.018, 0.09]])
    expected = (0.09 - 0.018) / (0.04 + 0.09 - 2 * 0.018)
    assert least_variance_weights(covariance) == pytest.approx([expected, 1 - expected])


def test_a_model_that_mostly_repeats_a_surer_one_gets_no_weight() -> None:
    surer = Estimate("surer", 30.0, {"day": 0.15, "own": 0.05})
    repeats = Estimate("repeats", 40.0, {"day": 0.15, "fitness": 0.2, "day2": 0.0})
    assert fuse([surer, repeats], "here").weights[1] < 0.1
    copy = Estimate("copy", 40.0, {"day": 0.25, "own": 0.08})
    assert fuse([surer, copy], "here").weights == pytest.approx((1.0, 0.0))


@settings(max_examples=40)
@given(ESTIMATES)
def test_no_other_weights_that_sum_to_one_do_better_by_a_general_optimiser(
    estimates: list[Estimate],
) -> None:
    # SciPy's sequential quadratic programming, a second way to the same minimum.
    names = sorted({name for estimate in estimates for name in estimate.errors})
    errors = np.array([[one.errors.get(name, 0.0) for name in names] for one in estimates])
    covariance = errors @ errors.T
    count = len(estimates)

    def variance(weights: Floats) -> float:
        return float(100 * weights @ covariance @ weights)

    found = minimize(
        variance,
        np.full(count, 1 / count),
        method="SLSQP",
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(np.ones((1, count)), 1.0, 1.0),
    )
    ours = least_variance_weights(covariance)
    assert ours @ covariance @ ours <= found.x @ covariance @ found.x + 1e-6


@given(ESTIMATES)
def test_weights_are_none_negative_and_sum_to_one(estimates: list[Estimate]) -> None:
    fused = fuse(estimates, "here")
    assert min(fused.weights) >= 0
    assert sum(fused.weights) == pytest.approx(1.0)
    values = [estimate.kcal for estimate in estimates]
    assert min(values) * (1 - 1e-9) <= fused.kcal <= max(values) * (1 + 1e-9)


@given(ESTIMATES, st.builds(Estimate, st.just("another"), ENERGIES, ERRORS))
def test_more_evidence_never_widens_without_a_stated_disagreement(
    estimates: list[Estimate], another: Estimate
) -> None:
    before, after = fuse(estimates, "here"), fuse([*estimates, another], "here")
    if after.disagreement is None and before.disagreement is None:
        assert after.sd <= before.sd + 1e-6


def test_sources_that_disagree_beyond_their_joint_spread_widen_and_say_so() -> None:
    machine = Estimate("machine", 30.0, {"efficiency": 0.08})
    heart = Estimate("heart", 75.0, {"day": 0.18})
    fused = fuse([machine, heart], "main round 2 step 1")
    assert fused.disagreement is not None
    assert fused.disagreement > 2.5
    assert fused.sd > max(machine.sd, heart.sd)
    low, high = range_95(fused.kcal, fused.errors)
    assert low < 30
    assert high > fused.kcal * 1.5


def test_errors_in_common_add_up_in_full_and_own_ones_by_their_squares() -> None:
    common = total([(20.0, {"day": 0.1})] * 4)
    own = total([(20.0, {f"step {number}": 0.1}) for number in range(4)])
    assert common[0] == own[0] == 80.0
    assert spread(common[1]) == pytest.approx(0.1)
    assert spread(own[1]) == pytest.approx(0.05)


def test_errors_that_pull_apart_cancel() -> None:
    _, errors = total([(10.0, {"lag": 0.2}), (10.0, {"lag": -0.2})])
    assert spread(errors) == pytest.approx(0.0)


@given(st.lists(st.tuples(ENERGIES, ERRORS), min_size=1, max_size=6))
def test_a_total_is_the_sum_of_its_parts_and_no_wider_than_the_widest(
    parts: list[tuple[float, dict[str, float]]],
) -> None:
    kcal, errors = total(parts)
    assert kcal == pytest.approx(sum(part for part, _ in parts))
    assert spread(errors) <= max(spread(own) for _, own in parts) + 1e-9


def test_a_95_percent_range_is_log_normal() -> None:
    low, high = range_95(100.0, {"only": 0.2})
    assert low == pytest.approx(100 * np.exp(-1.96 * 0.2))
    assert high == pytest.approx(100 * np.exp(1.96 * 0.2))
