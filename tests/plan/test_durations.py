"""Durations as coaches write them."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.durations import format_duration, parse_duration, parse_range


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("45s", 45), ("2m", 120), ("2m30s", 150), ("1h5m", 3900), ("1h5s", 3605), ("90s", 90),
     ("90m", 5400), ("0s", 0), ("1h", 3600), ("007s", 7)],
)  # fmt: skip
def test_a_duration_is_read_as_seconds(text: str, seconds: float) -> None:
    assert parse_duration(text) == seconds


@given(st.integers(0, 99), st.integers(0, 999), st.integers(1, 9999))
def test_durations_mean_what_pandas_takes_them_for(hours: int, minutes: int, seconds: int) -> None:
    # Reference: pandas.Timedelta, which reads the same spelling.
    for text in (f"{hours}h{minutes}m{seconds}s", f"{minutes}m{seconds}s", f"{hours}h{seconds}s"):
        assert parse_duration(text) == pd.Timedelta(text).total_seconds()


@given(st.integers(0, 10**6))
def test_a_formatted_duration_reads_back(seconds: int) -> None:
    assert parse_duration(format_duration(seconds)) == seconds


def test_a_duration_before_zero_is_formatted_with_its_sign() -> None:
    assert format_duration(-75.0) == "-1m15s"
    assert format_duration(-0.2) == "0s"


@pytest.mark.parametrize(
    ("text", "says"),
    [("45", "bare number"), ("2.5", "bare number"), ("2,5", "bare number"),
     ("2:30", "is 2m30s meant?"), ("1:02:30", "is 1h2m30s meant?"), ("", "not a duration"),
     ("30s2m", "not a duration"), ("2m 30s", "not a duration"), ("-5s", "not a duration"),
     ("1.5m", "not a duration"), ("5min", "not a duration"), ("٤s", "not a duration"),
     ("9999999s", "not a duration"), ("5S", "not a duration"), ("2m30s\n", "not a duration")],
)  # fmt: skip
def test_what_is_no_duration_is_named_with_how_to_write_it(text: str, says: str) -> None:
    with pytest.raises(ValueError, match="write a duration with its units") as caught:
        parse_duration(text)
    assert says in str(caught.value)


def test_a_range_has_two_ends() -> None:
    assert parse_range("45s..70s") == (45, 70)
    assert parse_range("4m .. 7m") == (240, 420)
    assert parse_range("5m..5m") == (300, 300)


@pytest.mark.parametrize(
    ("text", "says"),
    [("5m", "not a range"), ("7m..4m", "runs backwards"), ("4..7", "bare number"),
     ("4m..", "not a duration"), ("4m...7m", "not a duration"), ("4m-7m", "not a range")],
)  # fmt: skip
def test_what_is_no_range_is_named(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse_range(text)
