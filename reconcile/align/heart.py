"""How well heart rate answers a block of work and rest that starts at each possible time.

Heart rate follows work with a delay and, roughly, as a first-order system: time constants 20 to
40 s on and 50 to 90 s off (from memory; slower after severe work). Neither is known for one person
on one day, so a few pairs are tried and averaged over. The height of the answer to each kind of
work is fitted. The noise of heart rate is strongly correlated in time: signal and template go
through the same whitening filter, and the evidence is divided by the correlation that is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from ingest.recording import Floats
from reconcile.align.grid import (
    NOTHING,
    STEP_S,
    LogRatio,
    delay_summed_out,
    index_of,
    log_summed,
)
from reconcile.align.lag import WRIST_S, Lag, however_late, kept_up
from reconcile.energy.compendium import STANDING_MET
from reconcile.energy.movements import movement, row_of
from reconcile.plan import Task
from reconcile.timeline import PlannedStep

HEART_STEP_S = 2.0
# Time constants (on, off), seconds, and how common each pair is judged to be.
RESPONSES = ((20.0, 42.0), (30.0, 55.0), (42.0, 75.0))
RESPONSE_WEIGHTS = (0.35, 0.40, 0.25)
# From the bell to the answer that a strap shows: people start a second or three late, the heart
# answers some seconds later. A wrist sensor shows it later still (see `lag.py`). Judgement.
ANSWER_S, ANSWER_SD_S = 10.5, 4.2
USUAL_DELAY_S = ANSWER_S + WRIST_S
WHITENING = 0.92
WHITENING_LAG = 2
# Whitened samples per independent one, judged from the correlation that whitening leaves.
SAMPLES_PER_INDEPENDENT = 10.0
AFTER_BLOCK_S = 60.0
# From which share of a step's time on people are done with a fixed amount, and when the last are.
FIRST_DONE, LAST_DONE = 0.55, 1.0
LEAST_OVERLAP_S = 60.0
MOST_GROUPS = 3
# What is hard work for the heart of most; how little and how much easy work is of it. Judgement.
HARD_MET, LEAST_DEMAND, MOST_EASY = 9.0, 0.1, 0.6
# However badly a heart answers, sensors and bodies can be odder: no placement is ruled out by it.
LEAST_EVIDENCE = -2.0


def heart_grid(time_s: Floats, heart_rate_bpm: Floats) -> Floats:
    """Heart rate on a regular grid from time 0, NaN where no sample is near. 0 is missing."""
    good = np.isfinite(heart_rate_bpm) & (heart_rate_bpm > 25) & (heart_rate_bpm < 240)
    if np.count_nonzero(good) < 10:
        return np.zeros(0)
    times, values = time_s[good], heart_rate_bpm[good]
    grid = np.arange(0.0, float(time_s[-1]) + HEART_STEP_S / 2, HEART_STEP_S)
    out: Floats = np.interp(grid, times, values)
    following = np.searchsorted(times, grid)
    nearest_before = times[np.clip(following - 1, 0, len(times) - 1)]
    nearest_after = times[np.clip(following, 0, len(times) - 1)]
    far = np.minimum(np.abs(grid - nearest_before), np.abs(nearest_after - grid)) > 5.0
    out[far | (grid < times[0] - HEART_STEP_S) | (grid > times[-1] + HEART_STEP_S)] = np.nan
    return out


def step_demand(step: PlannedStep) -> float:
    """A first guess of how hard a step is for the heart, 0 for rest, 1 for hard work.

    Without a word of effort, work is hard. Easy work is as hard as it costs beyond standing about
    (Compendium of Physical Activities, see `reconcile.energy.movements`): easy pulling lifts a
    heart well, circling the arms by a few beats.
    """
    if step.kind == "rest":
        return 0.0
    return max((_task_demand(task) for task in step.tasks), default=0.8)


def _task_demand(task: Task) -> float:
    if task.effort != "easy":
        return 0.7 if task.effort == "steady" else 1.0
    row = row_of(movement(task.movement), "easy", loaded=task.load is not None)
    share = (row.met - STANDING_MET) / (HARD_MET - STANDING_MET)
    return float(np.clip(share, LEAST_DEMAND, MOST_EASY))


def _groups(steps: Sequence[PlannedStep]) -> list[list[PlannedStep]]:
    """Work steps that are fitted with one height: the same place in the round, at most three."""
    places = sorted({step.step for step in steps if step.kind == "work"})
    if len(places) > MOST_GROUPS:
        return [[step for step in steps if step.kind == "work"]]
    return [[s for s in steps if s.kind == "work" and s.step == place] for place in places]


def _to_the_bell(step: PlannedStep) -> bool:
    """Whether a step's work goes on as long as there is time; a fixed amount ends before."""
    return step.tasks[-1].most or step.tasks[-1].amount is None


def block_demand(steps: Sequence[PlannedStep]) -> Floats:
    """(group, time) work asked for by a block, from its first bell to a minute after its last."""
    times = np.arange(0.0, steps[-1].end_s + AFTER_BLOCK_S, HEART_STEP_S)
    groups = _groups(steps)
    demand = np.zeros((len(groups), len(times)))
    for row, group in enumerate(groups):
        for step in group:
            share = np.clip((times - step.start_s) / HEART_STEP_S + 0.5, 0, 1)
            share *= np.clip((step.end_s - times) / HEART_STEP_S + 0.5, 0, 1)
            if len(step.tasks) == 1 and not _to_the_bell(step):
                through = (times - step.start_s) / step.duration_s
                share *= np.clip((LAST_DONE - through) / (LAST_DONE - FIRST_DONE), 0, 1)
            demand[row] += step_demand(step) * share
    return demand


def responses_to(demand: Floats) -> Floats:
    """(response, group, time) answers of heart rate to the demand, without delay or whitening."""
    on_s, off_s = (np.array(column) for column in zip(*RESPONSES, strict=True))
    driven = np.broadcast_to(demand, (len(on_s), *demand.shape))
    state = np.zeros(driven.shape[:2])
    rise, fall = (1 - np.exp(-HEART_STEP_S / tau[:, None]) for tau in (on_s, off_s))
    answers = np.empty(driven.shape)
    for index in range(demand.shape[1]):  # over the template's time, all responses at once
        gap = driven[:, :, index] - state
        state = state + gap * np.where(gap > 0, rise, fall)
        answers[:, :, index] = state
    return answers


@dataclass(frozen=True, eq=False)
class HeartSays:
    """Evidence of a heart: for each way in which its device may be late, and whichever it is."""

    by_lag: tuple[LogRatio, ...]
    whole: LogRatio

    def or_else(self, other: HeartSays, share: float) -> HeartSays:
        """The evidence if the other is true in this share of cases; both on one grid."""

        def either(one: LogRatio, two: LogRatio) -> LogRatio:
            both = np.logaddexp(np.log1p(-share) + one.values, np.log(share) + two.values)
            return LogRatio(one.first, both)

        by_lag = (either(a, b) for a, b in zip(self.by_lag, other.by_lag, strict=True))
        return HeartSays(tuple(by_lag), either(self.whole, other.whole))


def heart_evidence(heart_rate: Floats, answers: Floats, lags: Sequence[Lag]) -> HeartSays:
    """Evidence of heart rate for each time at which the first column of the answers may lie.

    heart_rate: as `heart_grid` makes it. answers: of `responses_to`. lags: the ways in which the
    device may be late. The result is averaged over the responses that are tried.
    """
    nothing = HeartSays((NOTHING,) * len(lags), NOTHING)
    if len(heart_rate) < 30 or not answers.any():
        return nothing
    lag = WHITENING_LAG
    before = int(20.0 / HEART_STEP_S)
    answers = np.pad(answers, ((0, 0), (0, 0), (before, 0)))
    white = answers[:, :, lag:] - WHITENING * answers[:, :, :-lag]
    count = white.shape[2]
    trend = np.stack([np.ones(count), np.linspace(-1, 1, count)])

    signal = heart_rate[lag:] - WHITENING * heart_rate[:-lag]
    mask = np.isfinite(signal)
    if np.count_nonzero(mask) < 30:
        return nothing
    clean = np.where(mask, signal - np.mean(signal[mask]), 0.0)
    total = len(signal)
    size = next_fast_len(total + 2 * count, real=True)
    of_mask, of_signal = rfft(mask.astype(float), size), rfft(clean, size)

    def slide(rows: Floats, spectrum: NDArray[np.complex128]) -> Floats:
        """Σ_t row[t] · signal[t + k] for k from −count + 1 to total − 1, row by row."""
        product = rfft(rows[..., ::-1], size, axis=-1) * spectrum
        return np.asarray(irfft(product, size, axis=-1))[..., : total + count - 1]

    energy = slide(np.ones(count), rfft(clean * clean, size))
    samples = np.maximum(slide(np.ones(count), of_mask), 0.0)
    ratios = []
    null_rss: Floats | None = None
    for regressors in white:
        design = np.concatenate([trend, regressors])
        wide = len(design)
        first, second = np.triu_indices(wide)
        cross = slide(design, of_signal).T
        gram = np.empty((len(cross), wide, wide))
        gram[:, first, second] = gram[:, second, first] = slide(
            design[first] * design[second], of_mask
        ).T
        # A weak pull of every height towards zero: a few beats are always possible, hundreds never.
        gram += np.diag([1e-6, 1e-6] + [0.02] * (wide - 2))
        if null_rss is None:
            null = np.linalg.solve(gram[:, :2, :2], cross[:, :2, None])[:, :, 0]
            null_rss = energy - np.einsum("ij,ij->i", null, cross[:, :2])
        fitted = np.linalg.solve(gram, cross[:, :, None])[:, :, 0]
        rss = energy - np.einsum("ij,ij->i", fitted, cross)
        floor = 0.02 * samples + 1.0
        independent = samples / SAMPLES_PER_INDEPENDENT
        ratio = independent / 2 * np.log(np.maximum(null_rss, floor) / np.maximum(rss, floor))
        spent = (wide - 2) / 4 * np.log(np.maximum(independent, 1.0))
        heights = fitted[:, 2:].mean(axis=1)
        ratios.append(np.where(heights > 0, ratio, 0.0) - spent)
    weights = np.log(RESPONSE_WEIGHTS)
    joined = log_summed([ratio + weight for ratio, weight in zip(ratios, weights, strict=True)])
    # Template column c stands for c − before steps after the start, whitened ones for c + lag; the
    # lags of signal and template cancel.
    starts = (np.arange(len(joined)) - (count - 1) + before) * HEART_STEP_S
    enough = samples * HEART_STEP_S >= LEAST_OVERLAP_S
    joined = np.where(enough, np.maximum(joined, LEAST_EVIDENCE), 0.0)
    shares = np.stack([lag.shares(HEART_STEP_S, ANSWER_S, ANSWER_SD_S) for lag in lags])
    by_lag = kept_up(delay_summed_out(joined, shares), lags)
    return HeartSays(
        tuple(_on_fine_grid(starts, each) for each in by_lag),
        _on_fine_grid(starts, however_late(by_lag, lags)),
    )


def _on_fine_grid(starts_s: Floats, values: Floats) -> LogRatio:
    first, last = index_of(float(starts_s[0])), index_of(float(starts_s[-1]))
    fine = np.arange(first, last + 1)
    return LogRatio(first, np.interp(fine * STEP_S, starts_s, values))
