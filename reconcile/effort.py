"""Whether and when a step's work was done, as heart rate tells it.

Each work step is given a height of its own in the model of `reconcile.align.heart`; all heights
are fitted together, so that a round's answer is told apart from what the round before left behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.heart import (
    HEART_STEP_S,
    SAMPLES_PER_INDEPENDENT,
    USUAL_DELAY_S,
    WHITENING,
    WHITENING_LAG,
    responses_to,
    step_demand,
)
from reconcile.timeline import PlannedStep


@dataclass(frozen=True)
class HeartAnswer:
    """How strongly heart rate answered one work step, relative to the athlete's usual answer.

    share: 1 is the usual answer, 0 is none. sd: its standard deviation.
    """

    share: float
    sd: float


def heart_answers(
    heart: Floats, start_s: float, steps: Sequence[PlannedStep]
) -> dict[tuple[int, int], HeartAnswer]:
    """The answer to each work step of a block, by (round, step).

    heart: heart rate every 2 s on some clock; start_s: the block's start on that clock. Steps that
    the heart rate does not cover are left out; empty where too few are left to compare.
    """
    work = [step for step in steps if step.kind == "work"]
    covered = [step for step in work if _coverage(heart, start_s, step) > 0.7]
    if len(covered) < 3:
        return {}
    demand = _demand(heart, start_s, covered)
    best: tuple[float, Floats, Floats] | None = None
    for answers in responses_to(demand):
        fit = _fit(heart, answers)
        if fit is not None and (best is None or fit[0] < best[0]):
            best = fit
    if best is None:
        return {}
    _, heights, sds = best
    usual = {place: _usual(heights, covered, place) for place in {s.step for s in covered}}
    out = {}
    for step, height, sd in zip(covered, heights, sds, strict=True):
        reference = usual[step.step]
        if reference > 3.0:
            out[(step.round, step.step)] = HeartAnswer(
                float(height / reference), float(sd / reference)
            )
    return out


def _usual(heights: Floats, steps: Sequence[PlannedStep], place: int) -> float:
    """The usual height for a place in the round: the upper middle, since skipped rounds are low."""
    same = [h for h, s in zip(heights, steps, strict=True) if s.step == place]
    return float(np.percentile(same if len(same) >= 3 else heights, 65))


def _coverage(heart: Floats, start_s: float, step: PlannedStep) -> float:
    low = int((start_s + step.start_s) / HEART_STEP_S)
    high = int((start_s + step.end_s) / HEART_STEP_S) + 1
    if low < 0 or high > len(heart):
        return 0.0
    return float(np.mean(np.isfinite(heart[low:high])))


def _demand(heart: Floats, start_s: float, steps: Sequence[PlannedStep]) -> Floats:
    times = np.arange(len(heart)) * HEART_STEP_S - start_s
    rows = []
    for step in steps:
        share = np.clip((times - step.start_s) / HEART_STEP_S + 0.5, 0, 1)
        share = share * np.clip((step.end_s - times) / HEART_STEP_S + 0.5, 0, 1)
        rows.append(max(step_demand(step), 0.3) * share)
    late = round(USUAL_DELAY_S / HEART_STEP_S)
    return np.pad(np.array(rows), ((0, 0), (late, 0)))[:, : len(heart)]


def _fit(heart: Floats, answers: Floats) -> tuple[float, Floats, Floats] | None:
    """Residual sum of squares, heights and their standard deviations."""
    lag = WHITENING_LAG
    near = answers.max(axis=0) > 0.01
    first = max(int(np.argmax(near)) - 15, 0)
    last = min(len(near) - int(np.argmax(near[::-1])) + 15, len(near))
    signal = heart[first + lag : last] - WHITENING * heart[first : last - lag]
    white = answers[:, first + lag : last] - WHITENING * answers[:, first : last - lag]
    good = np.isfinite(signal)
    if np.count_nonzero(good) < 3 * len(white):
        return None
    trend = np.stack([np.ones(len(signal)), np.linspace(-1, 1, len(signal))])
    design = np.concatenate([trend, white])[:, good]
    gram = design @ design.T + np.diag([1e-6, 1e-6] + [1e-3] * len(white))
    inverse: NDArray[np.float64] = np.linalg.inv(gram)
    fitted = inverse @ (design @ signal[good])
    rss = float(np.sum((signal[good] - fitted @ design) ** 2))
    freedom = max(np.count_nonzero(good) / SAMPLES_PER_INDEPENDENT - len(design) / 2, 3.0)
    variance = rss / np.count_nonzero(good) * SAMPLES_PER_INDEPENDENT
    variance *= 1 + 2 / freedom
    return rss, fitted[2:], np.sqrt(variance * np.diag(inverse)[2:])
