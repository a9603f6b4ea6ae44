"""Whether and when a step's work was done, as heart rate tells it.

Each work step is given a height of its own in the model of `reconcile.align.heart`; all heights
are fitted together, so that a round's answer is told apart from what the round before left behind.
When the work began and ended is told by how much earlier or later the heart answered in that round
than in the athlete's others: the model is linear in small moves of a step's two edges, and how late
this heart answers altogether is left open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.heart import (
    HEART_STEP_S,
    RESPONSES,
    SAMPLES_PER_INDEPENDENT,
    USUAL_DELAY_S,
    WHITENING,
    WHITENING_LAG,
    step_demand,
)
from reconcile.timeline import PlannedStep

# Fewer rounds than this cannot be compared.
LEAST_STEPS = 3
# What is looked at before a block and after it, until the slowest answer has died away.
BEFORE_S, AFTER_S = 60.0, 400.0
# People begin so long after a bell and stop so long after one. Common practice, no source; the
# same habits as in `reconcile.align.edges`.
USUAL_START_S, USUAL_STOP_S = 2.3, 0.3
# How far one round strays from that (judgement, seconds, one standard deviation), and how far the
# answers of one heart may all lie from where they are expected, the first and the last of work.
EDGE_SD_S = 5.0
COMMON_SD_S = 5.0
# An edge that heart rate by itself does not fix to this standard deviation is not told.
UNSURE_S = 8.0
# A weak pull of every height towards zero, so that steps that cannot be told apart do no harm.
HEIGHT_PRECISION = 1e-3
# By how much the answer to one kind of work may differ from that to another (judgement, a share of
# the usual answer, one standard deviation).
OTHER_WORK_SD = 0.6
# However easy a step is meant to be, it is some work.
LEAST_DEMAND = 0.3
# An edge is moved by this much to see what that changes, and at most by so much altogether.
MOVE_S, MOST_S = 6.0, 25.0
PASSES = 3


# Heights are surer than places: what is left of the noise's correlation moves edges more.
# Share of the fit's standard deviation that a height really has, by simulation.
HEIGHT_SD_SHARE = 0.5


@dataclass(frozen=True)
class Edge:
    """When work began or ended, seconds from the step's planned start, with one sd."""

    at_s: float
    sd_s: float


@dataclass(frozen=True)
class HeartAnswer:
    """How strongly heart rate answered one work step, relative to the athlete's usual answer.

    share: 1 is the usual answer, 0 is none. sd: its standard deviation. start, end: when the work
    began and ended; None where heart rate does not tell, which it never does of a fixed amount's
    end: that lies before the bell in every round.
    """

    share: float
    sd: float
    start: Edge | None = None
    end: Edge | None = None


def heart_answers(
    heart: Floats, start_s: float, steps: Sequence[PlannedStep]
) -> dict[tuple[int, int], HeartAnswer]:
    """The answer to each work step of a block, by (round, step).

    heart: heart rate every 2 s on some clock; start_s: the block's start on that clock. Steps that
    the heart rate does not cover are left out; empty where too few are left to compare.
    """
    work = [step for step in steps if step.kind == "work"]
    covered = [step for step in work if _coverage(heart, start_s, step) > 0.7]
    if len(covered) < LEAST_STEPS:
        return {}
    first = max(int((start_s - BEFORE_S) / HEART_STEP_S), 0)
    last = int((start_s + covered[-1].end_s + AFTER_S) / HEART_STEP_S) + 1
    heart, start_s = heart[first:last], start_s - first * HEART_STEP_S
    best: tuple[_Fit, tuple[float, float], slice] | None = None
    for response in RESPONSES:
        answers = _answers(len(heart), start_s, covered, response)
        near = _near(answers)
        signal, rows = _whitened(heart, near), _whitened(answers, near)
        if np.count_nonzero(np.isfinite(signal)) < 3 * len(covered):
            continue
        fit = _fit(signal, rows, np.full(len(covered), HEIGHT_PRECISION))
        if best is None or fit.rss < best[0].rss:
            best = fit, response, near
    if best is None:
        return {}
    fit = best[0]
    edges = _edges(heart, start_s, covered, *best)
    usual = [_usual(fit.values, covered, step) for step in covered]
    return {
        (step.round, step.step): HeartAnswer(
            float(height / most),
            float(np.hypot(HEIGHT_SD_SHARE * sd / most, other_sd)),
            start,
            end,
        )
        for step, height, sd, (start, end), (most, other_sd) in zip(
            covered, fit.values, fit.sds, edges, usual, strict=True
        )
        if most > 3.0
    }


def _usual(heights: Floats, steps: Sequence[PlannedStep], step: PlannedStep) -> tuple[float, float]:
    """The usual height for a step, the upper middle, since skipped rounds are low; and its doubt.

    Of the same place in the other rounds, else of the same work anywhere in the block, else of all
    work, which may be much harder or easier for the heart.
    """
    for alike in (
        [s.step == step.step for s in steps],
        [_same_work(s, step) for s in steps],
    ):
        if sum(alike) >= LEAST_STEPS:
            return float(np.percentile(heights[np.array(alike)], 65)), 0.0
    return float(np.percentile(heights, 65)), OTHER_WORK_SD


def _same_work(one: PlannedStep, other: PlannedStep) -> bool:
    """Whether two steps ask for the same movements at the same effort, however long."""
    first, second = ([(t.movement, t.effort) for t in s.tasks] for s in (one, other))
    return first == second


def _coverage(heart: Floats, start_s: float, step: PlannedStep) -> float:
    low = int((start_s + step.start_s) / HEART_STEP_S)
    high = int((start_s + step.end_s) / HEART_STEP_S) + 1
    if low < 0 or high > len(heart):
        return 0.0
    return float(np.mean(np.isfinite(heart[low:high])))


def _answers(
    count: int, start_s: float, steps: Sequence[PlannedStep], response: tuple[float, float]
) -> Floats:
    """(step, time) first-order answers to each step by itself on the grid of heart rate.

    The same as `reconcile.align.heart.responses_to` gives, written out, since each is one box.
    """
    rise_s, fall_s = response
    times = np.arange(count) * HEART_STEP_S - start_s - USUAL_DELAY_S + HEART_STEP_S / 2
    begin, end = np.array([(step.start_s, step.end_s) for step in steps]).T[:, :, None]
    height = np.array([max(step_demand(step), LEAST_DEMAND) for step in steps])[:, None]
    up = 1 - np.exp(-np.clip(times, begin, np.maximum(end, begin)) / rise_s + begin / rise_s)
    return np.asarray(height * up * np.exp(-np.maximum(times - end, 0.0) / fall_s))


@dataclass(frozen=True, eq=False)
class _Fit:
    """A least-squares fit: values and standard deviations, the noise's variance, what is left."""

    values: Floats
    sds: Floats
    variance: float
    rss: float


def _near(answers: Floats) -> slice:
    """From half a minute before the first answer to as long after the last."""
    near = np.flatnonzero(answers.max(axis=0) > 0.01)
    return slice(max(int(near[0]) - 15, 0), min(int(near[-1]) + 16, answers.shape[1]))


def _whitened(values: Floats, part: slice) -> Floats:
    """A part of a signal, or of rows of them, without what a moment before tells."""
    kept = values[..., part]
    return kept[..., WHITENING_LAG:] - WHITENING * kept[..., :-WHITENING_LAG]


def _fit(signal: Floats, rows: Floats, precision: Floats, variance: float | None = None) -> _Fit:
    """The rows' share in the signal, a trend beside them, each pulled to zero by its precision."""
    good = np.isfinite(signal)
    count = int(np.count_nonzero(good))
    trend = np.stack([np.ones(len(signal)), np.linspace(-1, 1, len(signal))])
    design = np.concatenate([trend, rows])[:, good]
    gram = design @ design.T + np.diag(np.concatenate([[1e-6, 1e-6], precision]))
    inverse: NDArray[np.float64] = np.linalg.inv(gram)
    fitted = inverse @ (design @ signal[good])
    rss = float(np.sum((signal[good] - fitted @ design) ** 2))
    if variance is None:
        freedom = max(count / SAMPLES_PER_INDEPENDENT - len(design) / 2, 3.0)
        variance = rss / count * SAMPLES_PER_INDEPENDENT * (1 + 2 / freedom)
    return _Fit(fitted[2:], np.sqrt(variance * np.diag(inverse)[2:]), variance, rss)


def _edges(
    heart: Floats,
    start_s: float,
    steps: Sequence[PlannedStep],
    heights: _Fit,
    response: tuple[float, float],
    near: slice,
) -> list[tuple[Edge | None, Edge | None]]:
    """When each step's work began and ended, where heart rate tells.

    The answer is taken as linear in the moves of the edges; where they moved far, once more from
    where they were moved to.
    """
    count = len(steps)
    signal, scale = _whitened(heart, near), np.maximum(heights.values, 0.0)[:, None]
    spreads = np.repeat([COMMON_SD_S, EDGE_SD_S], [2, 2 * count])
    precision = np.append(np.full(count, HEIGHT_PRECISION), heights.variance / spreads**2)
    moved = np.zeros((2, count))
    for _ in range(PASSES):
        at = [
            replace(step, start_s=step.start_s + start, end_s=step.end_s + end)
            for step, start, end in zip(steps, *moved, strict=True)
        ]
        later = [replace(step, start_s=step.start_s + MOVE_S) for step in at]
        earlier = [replace(step, end_s=step.end_s - MOVE_S) for step in at]
        answers = _answers(len(heart), start_s, [*at, *later, *earlier], response)
        now, begun_later, ended_earlier = np.split(_whitened(answers, near), 3)
        starts = scale * (begun_later - now) / MOVE_S
        ends = scale * (now - ended_earlier) / MOVE_S
        together = np.stack([starts.sum(axis=0), ends.sum(axis=0)])
        fit = _fit(
            signal + moved[0] @ starts + moved[1] @ ends,
            np.concatenate([now, together, starts, ends]),
            precision,
            heights.variance,
        )
        scale = np.maximum(fit.values[:count], 0.0)[:, None]
        common = fit.values[count : count + 2, None]
        own, sds = (v[count + 2 :].reshape(2, count) for v in (fit.values, fit.sds))
        before, moved = moved, np.clip(common + own, -MOST_S, MOST_S)
        if np.max(np.abs(moved - before)) < MOVE_S / 2:
            break
    return [
        (
            _edge(USUAL_START_S + own[0, number], sds[0, number]),
            _edge(step.duration_s + USUAL_STOP_S + own[1, number], sds[1, number])
            if _to_the_bell(step)
            else None,
        )
        for number, step in enumerate(steps)
    ]


def _edge(at_s: float, sd_s: float) -> Edge | None:
    """An edge; None where what heart rate adds to the habit is too little."""
    added = 1 / sd_s**2 - 1 / EDGE_SD_S**2
    return Edge(float(at_s), float(sd_s)) if added * UNSURE_S**2 > 1 else None


def _to_the_bell(step: PlannedStep) -> bool:
    """Whether the step's work lasts as long as there is time."""
    return not step.tasks or step.tasks[-1].most or step.tasks[-1].amount is None
