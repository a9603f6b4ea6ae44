"""What two recordings of one body say of each other's clocks.

A machine's file may lie in doubt where its pulls have neither a sharp start nor a sharp end, and
its clock may be wrong. The same athlete's watch is then often the better witness: a strap that the
machine heard is the watch's own heart, beat by beat, and a heart answers the machine's work.

Everything is a log ratio over how much later the one's first sample comes than the other's.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from ingest.recording import Floats
from reconcile.align.answered_work import (
    OwnFile,
    OwnTimeline,
    machine_by_heart,
    watch_by_work,
)
from reconcile.align.grid import STEP_S, LogRatio, index_of, log_summed
from reconcile.align.heart import HEART_STEP_S
from reconcile.align.joint import Place, Posterior
from reconcile.align.lag import lags_of
from reconcile.align.signals import Signals
from reconcile.filters import convolve_full

# Both hearts are smoothed over this and whitened; what is left is this far from independent.
# Judgement, as are all the numbers below.
SMOOTHED_S = 5
WHITENING = 0.97
LARGEST_CHANGE_BPM = 4.0
SECONDS_PER_INDEPENDENT = 10.0
LEAST_COMMON_S = 120
# How often two hearts under one name are not one, and the most that they may say (nats).
NOT_ONE_HEART = 0.1
HEARTS_REACH = 8.0


def told_by_each_other(
    files: Sequence[OwnFile], turns: Sequence[OwnFile], own: OwnTimeline
) -> list[list[Floats]]:
    """What an athlete's recordings say of where each other's first sample lies: log, as `clock`.

    Of each file, in each way in which its device may be late. turns: the athlete's own part of
    machines that they used in turns with others.
    """
    told = [[np.zeros(len(way.weights)) for _, way in file.place.ways] for file in files]
    machines = [n for n, file in enumerate(files) if file.signals.track is not None]
    for w in (n for n in range(len(files)) if n not in machines):
        watch, witnesses = files[w], list(turns)
        for m in machines:
            machine = files[m]
            by_lag = one_heart(machine.signals, watch.signals)
            if by_lag:
                _add(told[m], [_by_one_heart(machine.clock, watch.place, by_lag)])
                back = [LogRatio(-ratio.last, ratio.values[::-1]) for ratio in by_lag]
                _add(told[w], [_message(machine.clock, ratio, watch.clock) for ratio in back])
            else:
                witnesses.append(machine)
                _add(told[m], [machine_by_heart(machine, watch, own)])
        answers = (watch_by_work(watch, machine, own) for machine in witnesses)
        answered = next((says for says in answers if says is not None), None)
        _add(told[w], [answered] * len(told[w]))
    return told


def _add(told: list[Floats], more: Sequence[Floats | None]) -> None:
    """Add what is said in each way, where something is."""
    for number, says in enumerate(more):
        if says is not None:
            told[number] = told[number] + says


def _message(other: Posterior, ratio: LogRatio, own: Posterior) -> Floats:
    """Log of the mean ratio of the time between two files, over the places of the other."""
    summed = convolve_full(other.weights, np.expm1(ratio.values))
    first = other.first + ratio.first
    at = own.first + np.arange(len(own.weights)) - first
    inside = (at >= 0) & (at < len(summed))
    values = np.where(inside, summed[np.clip(at, 0, len(summed) - 1)], 0.0)
    return np.asarray(np.log1p(np.maximum(values, 0.0)))


def _by_one_heart(machine: Posterior, watch: Place, of_lags: Sequence[LogRatio]) -> Floats:
    """What one heart in both says of the machine's file, however late the watch is."""
    return np.asarray(
        log_summed(
            [
                np.log(max(probability, 1e-300)) + _message(clock, ratio, machine)
                for (probability, clock), ratio in zip(watch.ways, of_lags, strict=True)
            ]
        )
    )


def one_heart(strap: Signals, watch: Signals) -> tuple[LogRatio, ...]:
    """Log ratio of each time from the watch's first sample to the machine's, by one heart in both.

    For each way in which the watch may be late; none where a heart is missing or they tell nothing.
    strap: a machine's recording with the heart that it heard. The ratio is to two hearts that have
    nothing to do with each other.
    """
    if not len(strap.heart) or not len(watch.heart):
        return ()
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
    delays = [lag.shares(STEP_S) for lag in lags_of(strap=watch.by_strap)]
    shifted = [np.maximum(convolve_full(np.exp(fine - top), d[::-1]), 1e-300) for d in delays]
    told = [
        np.logaddexp(np.log(NOT_ONE_HEART), np.log(1 - NOT_ONE_HEART) + top + np.log(each))
        for each in shifted
    ]
    least = max(
        float(np.log(NOT_ONE_HEART)), max(float(each.max()) for each in told) - HEARTS_REACH
    )
    if max(float(each.max()) for each in told) <= least:
        return ()
    first_index = int(at[0]) - (len(delays[0]) - 1)
    return tuple(LogRatio(first_index, np.maximum(each - least, 0.0)) for each in told)


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
