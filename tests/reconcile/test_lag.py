"""How late a device shows the heart, and that it is so late in one block as in the other."""

from __future__ import annotations

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.lag import LAGS_S, OF_STRAPS, OF_WRISTS, Lag
from tests.reconcile.classroom import beating, class_of, of_file, session

# Two blocks that hearts answer, and a watch of whose clock nothing is known.
TWICE = session(
    """title: Lock and weir
blocks:
  - name: first
    rounds: 4
    steps:
      - {work: 70s, tasks: [{movement: box step-up, most: reps}]}
      - {rest: 80s}
  - name: set-up
    free: 2m..4m
  - name: second
    rounds: 4
    steps:
      - {work: 50s, tasks: [{movement: box step-up, most: reps}]}
      - {rest: 60s}
    score: {measure: reps, take: total}
""",
    first=0.0,
    second=780.0,
)
BELLS = {"first": 0.0, "second": 780.0}


def watch(late_s: float) -> Recording:
    first = [(150.0 * n + 2.0, 150.0 * n + 70.0, 0.9) for n in range(4)]
    second = [(780.0 + 110.0 * n + 2.0, 780.0 + 110.0 * n + 50.0, 0.9) for n in range(4)]
    return beating([*first, *second], -90.0, 1300.0, seed=6, delay_s=8.0 + late_s)


@pytest.mark.parametrize("lag", [*OF_STRAPS, *OF_WRISTS])
def test_the_shares_of_all_delays_sum_to_one_about_the_lag(lag: Lag) -> None:
    shares = lag.shares(0.5, 10.0, 3.0)
    mean_s = float(np.dot(shares, np.arange(len(shares)) * 0.5))
    assert shares.sum() == pytest.approx(1.0)
    assert mean_s == pytest.approx(10.0 + lag.late_s, abs=0.6)


def test_a_wrist_sensor_lags_by_anything_from_six_to_twenty_two_seconds() -> None:
    together = np.sum([lag.share * lag.shares(0.5) for lag in OF_WRISTS], axis=0)
    late_s = np.arange(len(together)) * 0.5
    inside = (late_s > LAGS_S[0] - 2) & (late_s < LAGS_S[-1] + 2)
    assert sum(lag.share for lag in OF_WRISTS) == pytest.approx(1.0)
    assert (together[inside] > 0.002).all()


def test_a_sensor_that_lags_in_one_block_does_so_in_the_next() -> None:
    """Both blocks begin late by the same: that is one odd sensor, not two odd answers."""
    files = {"b01.watch.fit": watch(15.0)}
    entry = of_file(class_of(TWICE, files, starts_s=BELLS).reconciled(), "b01.watch.fit")
    assert [b.start_s for b in entry.blocks] == pytest.approx([90.0, 870.0], abs=3.0)
