"""Ranges of a recorded score: a mixture of normal distributions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtr

from reconcile.score.evidence import mixture_quantiles

NUMBERS = st.floats(-1e4, 1e4)
PARTS = st.lists(
    st.tuples(st.floats(0.01, 1.0), NUMBERS, st.floats(0.05, 500.0)), min_size=1, max_size=8
)


def test_one_normal_distribution_s_range_is_that_of_the_tables() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1: 0.975 below 1.96 (1.95996).
    low, high = mixture_quantiles(np.ones(1), np.array([50.0]), np.array([2.0]), (0.025, 0.975))
    assert low == pytest.approx(50 - 2 * 1.95996, abs=1e-4)
    assert high == pytest.approx(50 + 2 * 1.95996, abs=1e-4)


@given(parts=PARTS, share=st.floats(0.01, 0.99))
def test_a_mixture_s_quantile_is_that_of_a_root_finder(
    parts: list[tuple[float, float, float]], share: float
) -> None:
    weight, mean, sd = (np.array(column) for column in zip(*parts, strict=True))
    weight = weight / weight.sum()
    (found,) = mixture_quantiles(weight, mean, sd, (share,))

    def beyond(x: float) -> float:
        return float(weight @ ndtr((x - mean) / sd)) - share

    sought = brentq(beyond, float((mean - 8 * sd).min()), float((mean + 8 * sd).max()))
    assert beyond(float(found)) == pytest.approx(beyond(float(sought)), abs=1e-6)
