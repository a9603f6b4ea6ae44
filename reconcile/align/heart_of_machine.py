"""Whether one heart answers the work on one machine.

All follow one plan, so that every machine's work explains every heart to some degree: what tells is
how much better one does than the others. A heart is explained by the work off the machine that the
plan asks for until the first pull, by pulling, and by its power, each through a first-order answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.grid import log_sum_exp
from reconcile.align.heart import HEART_STEP_S
from reconcile.filters import first_order
from reconcile.machine import MachineTrack
from reconcile.timeline import PlannedStep

# Judgement, no source. Both ways of the answer have one time constant here, that the fit is linear.
TIME_CONSTANTS_S = (25.0, 40.0, 60.0)
# From work to the answer that a device shows: usually about so late, sometimes (a sensor that lags)
# by anything up to the last of these.
DELAYS_S = np.arange(0.0, 36.0, HEART_STEP_S)
USUAL_DELAY_S, DELAY_SD_S, LAGGING_SHARE = 8.0, 4.0, 0.2
WHITENING = 0.97
SAMPLES_PER_INDEPENDENT = 4.0
# Whitened changes (bpm in 2 s) beyond so many robust spreads, and beyond what a heart can do, are a
# sensor's. Judgement.
LARGEST_CHANGE, HEARTS_CHANGE_BPM = 4.0, 6.0
MOST_GROUPS = 3
# Before and after the blocks hearts are not looked at for longer than this; pulls are looked for
# from a little before a bell.
MARGIN_S = 600.0
EARLY_S, LATE_S = 5.0, 2.0
LEAST_SAMPLES = 60
ENOUGH_MACHINES, ENOUGH_SAMPLES = 5, 300
# Log ratio of "this machine's work drove this heart" against "another's did", by how much better it
# explains the heart than the others on average (nats): as counted over simulated classes. A clear
# winner says less than its fit: where the heart's own machine left no file, another wins as well.
BETTER_BY = (-33.0, -9.0, -4.2, -1.7, -0.6, 0.0, 0.6, 1.5, 3.0, 5.0, 8.0, 13.0, 30.0)
SAYS = (-3.3, -2.5, -1.8, -1.4, -0.9, 0.0, 0.2, 1.2, 2.2, 2.8, 3.6, 3.9, 4.6)


@dataclass(frozen=True, eq=False)
class Work:
    """Whitened answers to each kind of work, (time constant, kind, time) on the heart's grid.

    first: grid index of the first column; times are of the athlete's own clock. products: of each
    two kinds' answers, (time constant, pair of kinds, time), the pairs as of `np.triu_indices`.
    """

    first: int
    answers: Floats
    products: Floats


def work_on(
    track: MachineTrack,
    first_sample_s: float,
    starts_s: Sequence[float],
    steps: Sequence[Sequence[PlannedStep]],
) -> Work:
    """What whoever used this machine did, if they follow these steps.

    first_sample_s, starts_s: of the track's zero and of each block, on the athlete's own clock.
    """
    low_s = min(starts_s) - MARGIN_S - TIME_CONSTANTS_S[-1] * 4
    high_s = max(s + b[-1].end_s for s, b in zip(starts_s, steps, strict=True)) + MARGIN_S
    first = round(low_s / HEART_STEP_S)
    at_s: Floats = np.asarray(np.arange(first, round(high_s / HEART_STEP_S) + 1) * HEART_STEP_S)
    begins = np.array([pull.start_s for pull in track.pulls]) + first_sample_s
    pulling = np.zeros(len(at_s))
    for pull in track.pulls:
        pulling += _share_of_grid(at_s, pull.start_s + first_sample_s, pull.end_s + first_sample_s)
    rows = [np.minimum(pulling, 1.0), _power(track, at_s - first_sample_s)]
    # Steps that ended before the machine was reached, or of which its file holds nothing. Where
    # nothing else was to be done, and the file would show it, the step was left out.
    unpulled = np.zeros(len(at_s))
    recorded_s = first_sample_s + float(track.time_s[0]), first_sample_s + float(track.time_s[-1])
    for start_s, block in zip(starts_s, steps, strict=True):
        for group in _groups(block):
            row = np.zeros(len(at_s))
            for step in group:
                low, high = start_s + step.start_s, start_s + step.end_s
                own = begins[(begins > low - EARLY_S) & (begins < high - LATE_S)]
                if not (step.tasks and step.tasks[-1].on_machine):
                    row += _share_of_grid(at_s, low, high)
                elif len(own):
                    row += _share_of_grid(at_s, low, min(high, float(own.min())))
                elif len(step.tasks) > 1 or not recorded_s[0] <= low < high <= recorded_s[1]:
                    unpulled += _share_of_grid(at_s, low, high)
            rows.append(np.minimum(row, 1.0))
    rows = [row for row in (*rows, unpulled) if row.any()] or [unpulled]
    work = np.stack(rows)
    answers = np.stack([first_order(work, tau_s / HEART_STEP_S) for tau_s in TIME_CONSTANTS_S])
    white = answers[:, :, 1:] - WHITENING * answers[:, :, :-1]
    one, other = np.triu_indices(len(rows))
    return Work(first + 1, white, white[:, one] * white[:, other])


def _share_of_grid(at_s: Floats, low_s: float, high_s: float) -> Floats:
    """How much of the time about each grid point lies between two moments, 0 to 1."""
    half = HEART_STEP_S / 2
    common = np.minimum(at_s + half, high_s) - np.maximum(at_s - half, low_s)
    return np.clip(common / HEART_STEP_S, 0.0, 1.0)


def _groups(steps: Sequence[PlannedStep]) -> list[list[PlannedStep]]:
    """Work steps of one place in the round; all together where there are many places."""
    work = [step for step in steps if step.kind == "work"]
    places = sorted({step.step for step in work})
    if len(places) > MOST_GROUPS:
        return [work]
    return [[step for step in work if step.step == place] for place in places]


def _power(track: MachineTrack, at_s: Floats) -> Floats:
    """Pulled power as a share of the hard work on it; of a wheel without power by its cubic law."""
    power = track.pulled_effort()
    if power is None or not track.pulling.any():
        return np.zeros(len(at_s))
    power = np.nan_to_num(power)
    level = max(float(np.percentile(power[track.pulling], 90)), 1e-9)
    return np.interp(at_s, track.time_s, power / level, left=0.0, right=0.0)


def explained_by(first: int, heart: Floats, work: Work) -> float:
    """Log likelihood of a heart rate under this work, up to a constant of the heart's own.

    first: grid index of the heart's first value on the athlete's own clock. The heights of the
    answers are fitted; delays and time constants are averaged over.
    """
    return _explained(first, heart, work)[0]


def explained_beyond_rest(first: int, heart: Floats, work: Work) -> float:
    """Log ratio of a heart rate under this work and under none.

    So compared, places of which a recording covers more and less of the work are alike.
    """
    by_work, by_none = _explained(first, heart, work)
    return by_work - by_none


def _explained(first: int, heart: Floats, work: Work) -> tuple[float, float]:
    """Log likelihood under this work, and under a level and a drift; 0 where too little is seen."""
    delays = np.round(DELAYS_S / HEART_STEP_S).astype(np.intp)
    low = max(first + 1, work.first + int(delays[-1]))
    high = min(first + len(heart), work.first + work.answers.shape[2])
    if high - low < LEAST_SAMPLES:
        return 0.0, 0.0
    seen = heart[low - first - 1 : high - first]
    white = seen[1:] - WHITENING * seen[:-1]
    good = np.isfinite(white)
    if np.count_nonzero(good) < LEAST_SAMPLES:
        return 0.0, 0.0
    target = np.zeros(len(white))
    target[good] = _within_reason(white[good])
    gram, cross = _normal_equations(target, good, work, low - work.first, len(delays))
    fitted = np.linalg.solve(gram, cross[:, :, None])[:, :, 0]
    independent = np.count_nonzero(good) / SAMPLES_PER_INDEPENDENT

    def likelihood(answered: Floats) -> Floats:
        return np.asarray(-0.5 * independent * np.log(np.maximum(target @ target - answered, 1e-6)))

    logs = likelihood(np.einsum("ij,ij->i", fitted, cross))
    logs = logs.reshape(len(TIME_CONSTANTS_S), -1) + np.log(_delay_shares())
    level = np.linalg.solve(gram[0, :2, :2], cross[0, :2])
    by_none = likelihood(np.asarray(level @ cross[0, :2]))
    return log_sum_exp(logs) - float(np.log(len(TIME_CONSTANTS_S))), float(by_none)


def _normal_equations(
    target: Floats, good: NDArray[np.bool_], work: Work, first: int, delays: int
) -> tuple[Floats, Floats]:
    """Gram matrices and right sides of the fit of a level, a drift and the answers to a target.

    first: column of the work at which the target begins if it answers at once. Of each time
    constant with each delay, 0 to `delays` - 1 columns. What is sought are sums over time of an
    answer, or of two, times something that is shifted by each delay: one product of matrices.
    """
    drift = np.linspace(-1, 1, len(target)) * good
    padding = np.zeros(delays - 1)

    def shifted(values: Floats) -> Floats:
        """(time, delay) The values, moved by each delay."""
        return sliding_window_view(np.concatenate([padding, values, padding]), delays)

    here = slice(first - (delays - 1), first + len(target))
    level, sloped, sought = (shifted(v) for v in (good.astype(np.float64), drift, target))
    answers = work.answers[:, :, here]
    with_level, with_drift, with_target = (answers @ v for v in (level, sloped, sought))
    kinds = answers.shape[1]
    gram = np.empty((len(answers), delays, 2 + kinds, 2 + kinds))
    gram[:, :, 0, 0] = np.count_nonzero(good)
    gram[:, :, 0, 1] = gram[:, :, 1, 0] = drift.sum()
    gram[:, :, 1, 1] = drift @ drift
    for row, sums in enumerate((with_level, with_drift)):
        gram[:, :, row, 2:] = gram[:, :, 2:, row] = sums.transpose(0, 2, 1)
    one, other = np.triu_indices(kinds)
    products = (work.products[:, :, here] @ level).transpose(0, 2, 1)
    gram[:, :, 2 + one, 2 + other] = gram[:, :, 2 + other, 2 + one] = products
    cross = np.empty((len(answers), delays, 2 + kinds))
    cross[:, :, 0], cross[:, :, 1] = target.sum(), drift @ target
    cross[:, :, 2:] = with_target.transpose(0, 2, 1)
    size = 2 + kinds
    return gram.reshape(-1, size, size) + 1e-3 * np.eye(size), cross.reshape(-1, size)


def _delay_shares() -> Floats:
    """How common each delay is judged to be; they sum to 1."""
    usual = np.exp(-0.5 * ((DELAYS_S - USUAL_DELAY_S) / DELAY_SD_S) ** 2)
    lagging = LAGGING_SHARE / len(DELAYS_S)
    return np.asarray((1 - LAGGING_SHARE) * usual / usual.sum() + lagging)


def _within_reason(changes: Floats) -> Floats:
    """Changes of a heart, the few that only a sensor makes cut to the largest of the others."""
    middle = float(np.median(changes))
    spread = 1.48 * float(np.median(np.abs(changes - middle)))
    most = max(LARGEST_CHANGE * spread, HEARTS_CHANGE_BPM)
    return np.clip(changes, middle - most, middle + most)


def answered_best(explained: Floats, samples: int) -> Floats:
    """Log ratio, for each machine, of "its work drove this heart" against "another's did".

    explained: log likelihood of the heart under each machine's work. samples: of the heart. A short
    recording, or one compared with few machines, says less: by chance one fits much better.
    """
    count = len(explained)
    if count < 2:
        return np.zeros(count)
    top = explained.max()
    weight = np.exp(explained - top)
    others = (weight.sum() - weight) / (count - 1)
    better_by = explained - top - np.log(np.maximum(others, 1e-300))
    trust = min(count / ENOUGH_MACHINES, 1.0) * min(samples / ENOUGH_SAMPLES, 1.0)
    return np.asarray(trust * np.interp(better_by, BETTER_BY, SAYS))
