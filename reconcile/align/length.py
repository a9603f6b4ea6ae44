"""Whether a recording is as long as the others of its class.

People start and stop their devices with the class, so that its recordings are much of a length;
another workout's has the length of that one. It tells little, but it is all that is left where a
recording has no date and its heart hardly answers the plan.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reconcile.align.signals import Signals

# Logs of how much longer than the middle of the others, as (share, mean, sd): a class's recordings
# (some started late, stopped early or were cut in two), and any other workout's. Judgement.
OF_CLASS = ((0.75, 0.0, 0.12), (0.25, -0.25, 0.4))
OF_ANOTHER = ((1.0, 0.0, 0.55),)
# However far out, this is left of either density, both of them without their common 1/√(2π).
FAR_OFF = 0.05
FEWEST_OTHERS = 3


def as_long_as_others(signals: Sequence[Signals]) -> list[float]:
    """For each recording, log ratio of its length in this class against in another workout.

    It is compared with the dated ones of its kind (a machine's or worn); 0 where there are few.
    """
    lengths = np.array([max(item.length_s, 1.0) for item in signals])
    machines = np.array([item.track is not None for item in signals], dtype=bool)
    dated = np.array([_dated(item) for item in signals], dtype=bool)
    said = []
    for number, length_s in enumerate(lengths):
        others = dated & (machines == machines[number])
        others[number] = False
        if np.count_nonzero(others) < FEWEST_OTHERS:
            said.append(0.0)
            continue
        longer = float(np.log(length_s / np.median(lengths[others])))
        said.append(float(np.log(_density(longer, OF_CLASS) / _density(longer, OF_ANOTHER))))
    return said


def _dated(item: Signals) -> bool:
    recording = item.upload.recording
    return recording is not None and recording.start is not None


def _density(x: float, parts: Sequence[tuple[float, float, float]]) -> float:
    near = sum(share * np.exp(-0.5 * ((x - mean) / sd) ** 2) / sd for share, mean, sd in parts)
    return float(near) + FAR_OFF
