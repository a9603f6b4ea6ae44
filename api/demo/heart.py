"""A heart for the demo: what is asked of the body in; beats a minute out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from ingest.recording import Floats

# Within what is known of healthy people's hearts; judgement, no source.
DELAY_S = 7.0
RISE_S = 27.0
FALL_S = 52.0
DRIFT_PER_S = 0.00002


@dataclass(frozen=True)
class Demand:
    """What is asked of the body from `start_s` to `end_s`, as a share of heart-rate reserve."""

    start_s: float
    end_s: float
    share: float


def beat(
    demands: Sequence[Demand],
    resting_bpm: float,
    highest_bpm: float,
    length_s: int,
    rng: np.random.Generator,
) -> Floats:
    """Heart rate at each second of the class: first order, up faster than down, with drift.

    The demands follow one another without a hole.
    """
    time_s = np.arange(float(length_s))
    share = np.full(time_s.size, 0.15)
    now = 0.15
    for demand in demands:
        inside = (time_s >= demand.start_s + DELAY_S) & (time_s < demand.end_s + DELAY_S)
        settle_s = RISE_S if demand.share > now else FALL_S
        since_s = time_s[inside] - demand.start_s - DELAY_S
        share[inside] = demand.share + (now - demand.share) * np.exp(-since_s / settle_s)
        length = demand.end_s - demand.start_s
        now = demand.share + (now - demand.share) * float(np.exp(-length / settle_s))
    after = time_s >= demands[-1].end_s + DELAY_S
    since_s = time_s[after] - demands[-1].end_s - DELAY_S
    share[after] = 0.15 + (now - 0.15) * np.exp(-since_s / FALL_S)
    share = np.minimum(share * (1.0 + DRIFT_PER_S * time_s), 0.97)
    wander = lfilter([1.0], [1.0, -0.85], rng.normal(0.0, 0.7, time_s.size))
    return np.rint(resting_bpm + share * (highest_bpm - resting_bpm) + wander)
