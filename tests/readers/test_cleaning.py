"""How samples as they stand in a file become a recording."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.cleaning import CHANNELS, POSSIBLE, Samples, longest_increasing, recording_from
from ingest.errors import NoSamplesError, TooLargeError
from ingest.limits import MAX_SAMPLES, MAX_SPAN_S
from ingest.recording import Recording

times = st.lists(st.integers(0, 30), min_size=1, max_size=11)


def cleaned(clock_s: list[float], **channels: list[float]) -> Recording:
    samples = Samples(
        clock_s=np.array(clock_s, dtype=float),
        dated=True,
        channels={name: np.array(values, dtype=float) for name, values in channels.items()},
    )
    return recording_from(samples, format="csv", file="a.csv")


@given(times)
def test_as_many_samples_are_kept_as_can_be(clock: list[int]) -> None:
    # against every subset, the slow way
    kept = longest_increasing(np.array(clock, dtype=float))
    assert all(left < right for left, right in pairwise(kept))
    chosen = [clock[position] for position in kept]
    assert all(left < right for left, right in pairwise(chosen))
    longer = combinations(clock, len(kept) + 1)
    assert not any(all(left < right for left, right in pairwise(one)) for one in longer)


@given(times)
def test_of_samples_at_one_time_the_first_is_kept(clock: list[int]) -> None:
    ordered = sorted(clock)
    kept = longest_increasing(np.array(ordered, dtype=float))
    assert kept.tolist() == [ordered.index(value) for value in sorted(set(ordered))]


@given(times, st.data())
def test_time_increases_and_columns_keep_their_length(
    clock: list[int], data: st.DataObject
) -> None:
    values = data.draw(
        st.lists(
            st.floats(0, 300) | st.just(float("nan")), min_size=len(clock), max_size=len(clock)
        )
    )
    found = cleaned([float(one) for one in clock], power_w=values)
    assert (np.diff(found.time_s) > 0).all()
    assert found.sample_count == len(clock)
    assert found.power_w is None or found.power_w.shape == found.time_s.shape
    assert bool(len(found.time_s) < len(clock)) == bool(
        {problem.code for problem in found.problems} & {"duplicate_time", "backward_time"}
    )


def test_time_counts_from_the_first_sample_even_where_that_one_is_left_out() -> None:
    found = cleaned([1000, 10, 11, 12], heart_rate_bpm=[90, 91, 92, 93])
    assert found.time_s.tolist() == [-990, -989, -988]
    assert found.start is not None
    assert found.start.timestamp() == 1000


def test_a_missing_value_comes_from_the_sample_left_out_at_the_same_time() -> None:
    nan = float("nan")
    found = cleaned([0, 0, 1, 1], heart_rate_bpm=[90, 80, nan, 91], power_w=[nan, 200, 210, nan])
    assert found.heart_rate_bpm.tolist() == [90, 91]  # type: ignore[union-attr]
    assert found.power_w.tolist() == [200, 210]  # type: ignore[union-attr]


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_value_that_no_sensor_can_mean_is_missing(channel: str) -> None:
    low, high = POSSIBLE[channel]
    values = [high, low - 1, high * 1.01, np.inf, -np.inf, 1e308]
    found = cleaned([float(one) for one in range(6)], **{channel: values})
    column = getattr(found, channel)
    assert column[0] == high
    assert np.isnan(column[1:]).all()
    (problem,) = found.problems
    assert problem.code == "impossible_value"
    assert problem.message.startswith("5 ")


def test_a_channel_without_any_value_is_none() -> None:
    found = cleaned([0, 1], heart_rate_bpm=[0, 0], power_w=[0, 0])
    assert found.heart_rate_bpm is None
    assert found.power_w.tolist() == [0, 0]  # type: ignore[union-attr]


def test_a_recording_of_times_alone_says_so() -> None:
    assert [problem.code for problem in cleaned([0, 1]).problems] == ["no_values"]


def test_a_clock_days_away_is_not_followed() -> None:
    far = 2 * MAX_SPAN_S
    found = cleaned([0, far, 1, 2, -far], heart_rate_bpm=[90, 91, 92, 93, 94])
    assert found.time_s.tolist() == [0, 1, 2]
    assert found.sample_count == 5


def test_samples_without_a_time_are_none_at_all() -> None:
    with pytest.raises(NoSamplesError, match="no time"):
        cleaned([float("nan"), float("inf")], heart_rate_bpm=[90, 91])
    with pytest.raises(NoSamplesError, match="no data points"):
        cleaned([], heart_rate_bpm=[])


@pytest.mark.parametrize("far", [1e10, 1e17, 1e300, np.inf, -1.0, -1e300])
def test_a_time_that_cannot_be_is_none(far: float) -> None:
    found = cleaned([1e9, far, 1e9 + 1], heart_rate_bpm=[90, 91, 92])
    assert found.time_s.tolist() == [0, 1]
    assert [problem.code for problem in found.problems] == ["no_time"]


def test_more_samples_than_a_recording_has_are_refused() -> None:
    with pytest.raises(TooLargeError, match=str(MAX_SAMPLES)):
        cleaned([0.0] * (MAX_SAMPLES + 1))


def test_seconds_since_1970_lose_nothing_above_a_microsecond() -> None:
    found = cleaned([1.7e9, 1.7e9 + 0.1, 1.7e9 + 0.25], heart_rate_bpm=[90, 91, 92])
    assert found.time_s.tolist() == [0, 0.1, 0.25]
