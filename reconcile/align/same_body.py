"""What two recordings of one body say of each other's clocks.

A machine's file may lie in doubt where its pulls have neither a sharp start nor a sharp end, and
its clock may be wrong. The same athlete's watch is then often the better witness: a strap that the
machine heard is the watch's own heart, beat by beat, and a heart answers the machine's work.

Everything is a log ratio over how much later the one's first sample comes than the other's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from ingest.recording import Floats
from reconcile.align.grid import NOTHING, STEP_S, LogRatio, index_of
from reconcile.align.heart import HEART_STEP_S
from reconcile.align.heart_of_machine import explained_by, work_on
from reconcile.align.joint import Posterior
from reconcile.align.signals import Signals
from reconcile.filters import convolve_full
from reconcile.timeline import PlannedStep

# Both hearts are smoothed over this and whitened; what is left is this far from independent.
# Judgement, as are all the numbers below.
SMOOTHED_S = 5
WHITENING = 0.97
LARGEST_CHANGE_BPM = 4.0
SECONDS_PER_INDEPENDENT = 10.0
LEAST_COMMON_S = 120
# How much later than a strap's a watch shows the same heart: another strap at once; a wrist sensor
# by its filter, and now and then it lags.
STRAP_SD_S = 0.7
WRIST_DELAY_S, WRIST_DELAY_SD_S = 3.0, 1.7
LAGGING_S, LAGGING_SHARE = (6.0, 22.0), 0.15
# How often two hearts under one name are not one, and the most that they may say (nats).
NOT_ONE_HEART = 0.1
HEARTS_REACH = 8.0
# What the fit of a heart to a machine's work says is divided by this, and now and then is nothing.
TEMPERED = 2.5
NO_ANSWER = 0.05
# A heart is fitted to a machine's work only where the machine's place is in more doubt than this,
# over places this likely and not many more than so many of them, and only where the watch is likely
# to lie within so much of its likeliest place.
HELD, IN_DOUBT_S = 0.95, 7.0
LEAST_LIKELY, PLACES_APART_S, MOST_PLACES = 1e-4, 4.0, 60
WITNESS_S, LEAST_TRUST = 10.0, 0.4


@dataclass(frozen=True, eq=False)
class OwnFile:
    """One of an athlete's recordings as far as it was placed without the others.

    clock: where its first sample lies in the class.
    """

    signals: Signals
    clock: Posterior


def told_by_each_other(
    files: Sequence[OwnFile],
    delay_s: float,
    bells_s: Sequence[float],
    steps: Sequence[Sequence[PlannedStep]],
) -> list[Floats]:
    """What an athlete's recordings say of where each other's first sample lies: log, as `clock`.

    bells_s: class time of each block's start; delay_s: how much later the athlete begins.
    """
    told = [np.zeros(len(file.clock.weights)) for file in files]
    for m, machine in enumerate(files):
        for w, watch in enumerate(files):
            if machine.signals.track is None or watch.signals.track is not None:
                continue
            ratio = one_heart(machine.signals, watch.signals)
            told[m] += _message(watch.clock, ratio, machine.clock)
            back = LogRatio(-ratio.last, ratio.values[::-1])
            told[w] += _message(machine.clock, back, watch.clock)
            in_doubt = _held_s(machine.clock) > IN_DOUBT_S and not ratio.values.any()
            if in_doubt and len(watch.signals.heart):
                told[m] += _by_work(machine, watch, delay_s, bells_s, steps)
    return told


def _message(other: Posterior, ratio: LogRatio, own: Posterior) -> Floats:
    """Log of the mean ratio of the time between two files, over the places of the other."""
    summed = convolve_full(other.weights, np.expm1(ratio.values))
    first = other.first + ratio.first
    at = own.first + np.arange(len(own.weights)) - first
    inside = (at >= 0) & (at < len(summed))
    values = np.where(inside, summed[np.clip(at, 0, len(summed) - 1)], 0.0)
    return np.asarray(np.log1p(np.maximum(values, 0.0)))


def _held_s(clock: Posterior) -> float:
    """Over how many seconds the likeliest 95 % of a distribution lie."""
    held = np.cumsum(np.sort(clock.weights)[::-1])
    return (int(np.searchsorted(held, HELD)) + 1) * STEP_S


def _by_work(
    machine: OwnFile,
    watch: OwnFile,
    delay_s: float,
    bells_s: Sequence[float],
    steps: Sequence[Sequence[PlannedStep]],
) -> Floats:
    """What the watch's heart says of where the machine's file lies: log, on the latter's grid."""
    likely = np.flatnonzero(machine.clock.weights > LEAST_LIKELY)
    # Some seconds apart, a heart being slow, or further where there are very many places.
    apart = index_of(PLACES_APART_S)
    apart *= 1 + len(likely) // (apart * MOST_PLACES)
    looked_at = np.unique((machine.clock.first + likely) // apart) * apart
    middle = int(np.argmax(watch.clock.weights))
    reach = min(middle, len(watch.clock.weights) - 1 - middle, index_of(WITNESS_S))
    near = watch.clock.weights[middle - reach : middle + reach + 1]
    trust = (1 - NO_ANSWER) * float(near.sum())
    if trust < LEAST_TRUST:
        return np.zeros(len(machine.clock.weights))
    ratio = work_answered(
        machine.signals,
        watch.signals,
        np.asarray(looked_at * STEP_S - delay_s, dtype=np.float64),
        (watch.clock.first + middle) * STEP_S - delay_s,
        bells_s,
        steps,
    )
    at = machine.clock.first + np.arange(len(machine.clock.weights))
    share = np.interp(at, looked_at, ratio, left=0.0, right=0.0)
    share = convolve_full(share, near / near.sum())[reach : reach + len(share)]
    return np.asarray(np.log(1 - trust + trust * np.maximum(share, 0.0)))


def one_heart(strap: Signals, watch: Signals) -> LogRatio:
    """Log ratio of each time from the watch's first sample to the machine's, by one heart in both.

    strap: a machine's recording with the heart that it heard. The ratio is over all delays of the
    watch's sensor, and to two hearts that have nothing to do with each other.
    """
    if not len(strap.heart) or not len(watch.heart):
        return NOTHING
    first, first_good = _whitened(strap.heart)
    second, second_good = _whitened(watch.heart)
    length = next_fast_len(len(first) + len(second))
    moves = np.arange(1 - len(first), len(second))
    product, squares, others, common = (
        _correlated(a, b, length)[moves]
        for a, b in (
            (first, second),
            (first**2, second_good),
            (first_good, second**2),
            (first_good, second_good),
        )
    )
    left = 1 - 2 * product / np.maximum(squares + others, 1e-6)
    ratio = -common / (2 * SECONDS_PER_INDEPENDENT) * np.log(np.maximum(left, 1e-3))
    ratio = np.where(common >= LEAST_COMMON_S, ratio, 0.0)
    # On the grid of half seconds, and the sensor's delay summed out.
    at = np.arange(index_of(float(moves[0])), index_of(float(moves[-1])) + 1)
    fine = np.interp(at * STEP_S, moves, ratio)
    top = float(fine.max())
    delay = _delay_shares(strap=watch.by_strap)
    summed = np.maximum(convolve_full(np.exp(fine - top), delay[::-1]), 1e-300)
    told = np.logaddexp(np.log(NOT_ONE_HEART), np.log(1 - NOT_ONE_HEART) + top + np.log(summed))
    least = max(float(np.log(NOT_ONE_HEART)), float(told.max()) - HEARTS_REACH)
    return LogRatio(int(at[0]) - (len(delay) - 1), np.maximum(told - least, 0.0))


def _whitened(heart: Floats) -> tuple[Floats, Floats]:
    """Changes of a heart rate second by second, 0 where not known, and where they are known."""
    count = len(heart) * 2 - 1
    at = np.arange(count) / HEART_STEP_S
    before, after = np.floor(at).astype(np.intp), np.ceil(at).astype(np.intp)
    every_second = (heart[before] + heart[after]) / 2
    good = np.isfinite(every_second)
    box = np.ones(SMOOTHED_S) / SMOOTHED_S
    smooth = np.convolve(np.where(good, every_second, 0.0), box, mode="same")
    whole = np.convolve(good, box, mode="same") > 0.99
    change = smooth[1:] - WHITENING * smooth[:-1]
    known = whole[1:] & whole[:-1]
    middle = float(change[known].mean()) if known.any() else 0.0
    change = np.clip(change - middle, -LARGEST_CHANGE_BPM, LARGEST_CHANGE_BPM)
    return np.where(known, change, 0.0), known.astype(np.float64)


def _correlated(first: Floats, second: Floats, length: int) -> Floats:
    """Σ first[u] · second[u + move], for every move (negative ones counted from the end)."""
    return np.asarray(irfft(np.conj(rfft(first, length)) * rfft(second, length), length))


def _delay_shares(*, strap: bool) -> Floats:
    """How common each delay of a watch behind a strap is judged to be, from 0 in grid steps."""
    delay_s = np.arange(0.0, LAGGING_S[1] + STEP_S, STEP_S)
    if strap:
        shares = np.exp(-0.5 * (delay_s / STRAP_SD_S) ** 2)
        return np.asarray(shares / shares.sum())
    usual = np.exp(-0.5 * ((delay_s - WRIST_DELAY_S) / WRIST_DELAY_SD_S) ** 2)
    lagging = (delay_s >= LAGGING_S[0]).astype(np.float64)
    return np.asarray(
        (1 - LAGGING_SHARE) * usual / usual.sum() + LAGGING_SHARE * lagging / lagging.sum()
    )


def work_answered(
    machine: Signals,
    watch: Signals,
    machine_first_s: Floats,
    watch_first_s: float,
    bells_s: Sequence[float],
    steps: Sequence[Sequence[PlannedStep]],
) -> Floats:
    """Ratio of each place of a machine's first sample, by how well the heart answers its work.

    All times are on the athlete's own clock, on which bells_s are the blocks' starts. The ratio is
    to all the places that are looked at, alike.
    """
    track = machine.track
    assert track is not None
    first = round(watch_first_s / HEART_STEP_S)
    off_grid_s = first * HEART_STEP_S - watch_first_s
    fits = np.array(
        [
            explained_by(first, watch.heart, work_on(track, at_s + off_grid_s, bells_s, steps))
            for at_s in machine_first_s
        ]
    )
    share = np.exp((fits - fits.max()) / TEMPERED)
    return np.asarray(share / share.mean())
