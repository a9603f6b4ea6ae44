"""An athlete's own line, against least squares and against what shrinkage must do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.energy import own_line
from reconcile.energy.own_line import Line, fit, joined, line_from_document, prior_line

ANCHORS = (100.0, 170.0)
POPULATION = prior_line(ANCHORS, np.array([6.0, 15.0]), np.array([0.2, 0.2]), 0.85)


def test_with_a_vague_prior_it_is_numpy_s_least_squares_line(rng: np.random.Generator) -> None:
    heart = rng.uniform(95, 175, 30)
    rate = 0.14 * heart - 8 + rng.normal(0, 0.6, 30)
    vague = prior_line(ANCHORS, np.array([1.0, 1.0]), np.array([1e4, 1e4]), 0.0)
    line = fit(vague, heart, rate, np.full(30, 0.6))
    slope, intercept = np.polyfit(heart, rate, 1)
    values, _ = line.at(np.array([110.0, 160.0]))
    assert values == pytest.approx(slope * np.array([110, 160]) + intercept, abs=1e-4)


def test_its_spread_is_that_of_weighted_least_squares(rng: np.random.Generator) -> None:
    # Numpy's unscaled covariance at known noise, a second way to the same number.
    heart = rng.uniform(95, 175, 12)
    rate, noise = 0.14 * heart - 8, rng.uniform(0.4, 1.2, 12)
    vague = prior_line(ANCHORS, np.array([1.0, 1.0]), np.array([1e4, 1e4]), 0.0)
    line = fit(vague, heart, rate, noise)
    _, covariance = np.polyfit(heart, rate, 1, w=1 / noise, cov="unscaled")
    variance = covariance[0, 0] * 150**2 + 2 * covariance[0, 1] * 150 + covariance[1, 1]
    assert line.at(150.0)[1][0] == pytest.approx(np.sqrt(variance), rel=1e-3)


def test_without_data_it_is_the_population_s_line() -> None:
    line = fit(POPULATION, np.array([]), np.array([]), np.array([]))
    assert line.values == pytest.approx(POPULATION.values)
    assert line.covariance == pytest.approx(POPULATION.covariance)


def test_few_noisy_pairs_move_it_little_and_many_sure_ones_all_the_way() -> None:
    heart = np.full(2, 150.0)
    own = POPULATION.at(150.0)[0] * 1.3

    def moved(noise: float, count: int) -> float:
        line = fit(
            POPULATION, np.resize(heart, count), np.resize(own, count), np.full(count, noise)
        )
        return float((line.at(150.0)[0] / POPULATION.at(150.0)[0] - 1)[0])

    assert 0 < moved(6.0, 2) < 0.15
    assert moved(0.5, 40) == pytest.approx(0.3, abs=0.01)


@given(st.floats(105, 185), st.floats(3, 22), st.floats(0.2, 5))
def test_a_pair_more_never_makes_it_less_sure(bpm: float, rate: float, noise: float) -> None:
    line = fit(POPULATION, np.array([bpm]), np.array([rate]), np.array([noise]))
    at = np.linspace(90, 190, 11)
    assert (line.at(at)[1] <= POPULATION.at(at)[1] + 1e-9).all()


def test_it_survives_being_kept() -> None:
    line = fit(POPULATION, np.array([140.0]), np.array([13.0]), np.array([0.8]))
    again = line_from_document(line.as_document())
    at = np.linspace(90, 190, 5)
    assert again.at(at)[0] == pytest.approx(line.at(at)[0], abs=1e-3)
    assert again.at(at)[1] == pytest.approx(line.at(at)[1], abs=1e-3)


@pytest.mark.parametrize(
    "document",
    [
        {},
        {"heart_rate": [1], "kcal_per_min": [1, 2], "covariance": [[1, 0], [0, 1]]},
        {"heart_rate": [100, 100], "kcal_per_min": [1, 2], "covariance": [[1, 0], [0, 1]]},
        {"heart_rate": [100, 170], "kcal_per_min": [1, 2, 3], "covariance": [[1, 0], [0, 1]]},
        {"heart_rate": [100, 170], "kcal_per_min": "ab", "covariance": [[1, 0], [0, 1]]},
    ],
)
def test_what_is_not_an_own_line_is_refused(document: dict[str, object]) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        own_line.line_from_document(document)


class TestLinesOfSeveralDays:
    """`joined`: the days' errors are independent of each other, each common to its whole line."""

    line = Line(ANCHORS, np.array([7.0, 14.0]), np.diag([0.04, 0.09]))

    def test_one_line_keeps_its_values_and_gets_its_day_s_error(self) -> None:
        values, sds = joined([self.line], 0.1).at(np.array(ANCHORS))
        assert values == pytest.approx([7.0, 14.0])
        assert sds == pytest.approx([np.hypot(0.2, 0.7), np.hypot(0.3, 1.4)])

    def test_equal_lines_halve_the_variance_of_two_days_and_keep_the_values(self) -> None:
        one, two = joined([self.line], 0.1), joined([self.line, self.line], 0.1)
        assert two.values == pytest.approx(one.values)
        assert two.covariance == pytest.approx(one.covariance / 2)

    def test_where_a_line_is_held_changes_nothing(self) -> None:
        at = np.linspace(90, 190, 11)
        elsewhere = Line((120.0, 150.0), self.line.at(np.array([120.0, 150.0]))[0], np.eye(2) / 20)
        there = joined([self.line, elsewhere], 0.1)
        here = joined([elsewhere, self.line], 0.1)
        assert there.anchors_bpm == (120.0, 150.0)
        assert there.at(at)[0] == pytest.approx(here.at(at)[0])
        assert there.at(at)[1] == pytest.approx(here.at(at)[1])

    def test_it_is_the_least_squares_fit_to_both_lines(self) -> None:
        # A second way: numpy's least squares on the four whitened values, without a day's error.
        other = Line(ANCHORS, np.array([8.0, 13.0]), np.array([[0.09, 0.03], [0.03, 0.05]]))
        white = [np.linalg.cholesky(np.linalg.inv(one.covariance)).T for one in (self.line, other)]
        stacked = np.concatenate(white)
        seen = np.concatenate([white[0] @ self.line.values, white[1] @ other.values])
        fitted = np.linalg.lstsq(stacked, seen, rcond=None)[0]
        assert joined([self.line, other], 0.0).values == pytest.approx(fitted)

    @given(st.floats(5, 12), st.floats(13, 20), st.floats(0.05, 3), st.floats(-0.9, 0.9))
    def test_a_day_more_never_makes_it_less_sure(
        self, low: float, high: float, sd: float, correlation: float
    ) -> None:
        shared = correlation * sd * sd
        other = Line(ANCHORS, np.array([low, high]), np.array([[sd**2, shared], [shared, sd**2]]))
        at = np.linspace(90, 190, 11)
        # Compared at the same mean, on which the days' errors stand.
        alone = Line(ANCHORS, (self.line.values + other.values) / 2, self.line.covariance)
        together = joined([self.line, other], 0.1)
        assert (together.at(at)[1] <= joined([alone], 0.1).at(at)[1] + 1e-9).all()
