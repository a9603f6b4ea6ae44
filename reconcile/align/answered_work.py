"""Where an athlete's watch or machine lies: by the answer of the heart to the machine's work.

What the machine saw is more than the plan says: when each pull began and ended, how hard it was,
which round was left out. It is looked at only where one of the two lies in doubt and the other
does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.grid import STEP_S, index_of
from reconcile.align.heart import HEART_STEP_S
from reconcile.align.heart_of_machine import explained_beyond_rest, explained_by, work_on
from reconcile.align.joint import Place, Posterior, limited
from reconcile.align.signals import Signals
from reconcile.filters import convolve_full
from reconcile.timeline import PlannedStep

# All numbers are judgement. What the fit of a heart to a machine's work says of the machine is
# divided by this, and now and then is nothing.
TEMPERED = 2.5
NO_ANSWER = 0.05
# Of the watch it says less, and never more than so much (nats): that the heart answers the plan,
# which all machines follow, is counted already.
WATCH_TEMPERED, WATCH_REACH = 4.0, 3.0
# How many seconds a file's likeliest places may cover together before it is in doubt.
HELD, MACHINE_IN_DOUBT_S, WATCH_IN_DOUBT_S = 0.95, 7.0, 12.0
# Places this likely are looked at, some seconds apart, a heart being slow; not many more than so
# many of them.
LEAST_LIKELY, PLACES_APART_S, MOST_PLACES = 1e-4, 4.0, 60
# The other file must be this likely to lie within so much of its likeliest place.
WITNESS_S, LEAST_TRUST = 10.0, 0.4


@dataclass(frozen=True, eq=False)
class OwnTimeline:
    """When an athlete was to do what.

    bells_s: class time of each block's bell. delay_s: how much later theirs is. steps: of each
    block.
    """

    bells_s: Sequence[float]
    delay_s: float
    steps: Sequence[Sequence[PlannedStep]]


@dataclass(frozen=True, eq=False)
class OwnFile:
    """One of an athlete's recordings as far as it was placed without the others."""

    signals: Signals
    place: Place

    @property
    def clock(self) -> Posterior:
        """Where its first sample lies in the class."""
        return self.place.clock


def machine_by_heart(machine: OwnFile, watch: OwnFile, own: OwnTimeline) -> Floats | None:
    """What the watch's heart says of where the machine's file lies: log, on its clock's grid.

    None where it tells nothing, the machine is not in doubt, or the watch is.
    """
    near = _near_likeliest(watch.clock)
    heart = watch.signals.heart
    if not len(heart) or near is None or _held_s(machine.clock) <= MACHINE_IN_DOUBT_S:
        return None
    looked_at = _looked_at(machine.clock)
    ratio = work_answered(
        machine.signals,
        watch.signals,
        np.asarray(looked_at * STEP_S - own.delay_s, dtype=np.float64),
        watch.clock.likeliest_s() - own.delay_s,
        own,
    )
    trust = (1 - NO_ANSWER) * float(near.sum())
    share = np.interp(_grid(machine.clock), looked_at, ratio, left=0.0, right=0.0)
    reach = len(near) // 2
    share = convolve_full(share, near / near.sum())[reach : reach + len(share)]
    return np.asarray(np.log(1 - trust + trust * np.maximum(share, 0.0)))


def watch_by_work(watch: OwnFile, machine: OwnFile, own: OwnTimeline) -> Floats | None:
    """What the machine's work says of where the watch's file lies; see `machine_by_heart`."""
    heart, track = watch.signals.heart, machine.signals.track
    assert track is not None
    if not len(heart) or _near_likeliest(machine.clock) is None:
        return None
    if _held_s(watch.clock) <= WATCH_IN_DOUBT_S:
        return None
    work = work_on(track, machine.clock.likeliest_s() - own.delay_s, own.bells_s, own.steps)
    looked_at = _looked_at(watch.clock)
    first = np.round((looked_at * STEP_S - own.delay_s) / HEART_STEP_S).astype(np.intp)
    fits = np.array([explained_beyond_rest(int(at), heart, work) for at in first])
    fits /= WATCH_TEMPERED
    says = np.interp(_grid(watch.clock), looked_at, fits, left=fits.min(), right=fits.min())
    return limited(says, WATCH_REACH)


def work_answered(
    machine: Signals,
    watch: Signals,
    machine_first_s: Floats,
    watch_first_s: float,
    own: OwnTimeline,
) -> Floats:
    """Ratio of each place of a machine's first sample, by how well the heart answers its work.

    All times are on the athlete's own clock. The ratio is to all the places that are looked at,
    alike.
    """
    track = machine.track
    assert track is not None
    first = round(watch_first_s / HEART_STEP_S)
    off_grid_s = first * HEART_STEP_S - watch_first_s
    fits = np.array(
        [
            explained_by(
                first, watch.heart, work_on(track, at_s + off_grid_s, own.bells_s, own.steps)
            )
            for at_s in machine_first_s
        ]
    )
    share = np.exp((fits - fits.max()) / TEMPERED)
    return np.asarray(share / share.mean())


def _held_s(clock: Posterior) -> float:
    """Over how many seconds the likeliest 95 % of a distribution lie."""
    held = np.cumsum(np.sort(clock.weights)[::-1])
    return (int(np.searchsorted(held, HELD)) + 1) * STEP_S


def _grid(clock: Posterior) -> NDArray[np.intp]:
    return clock.first + np.arange(len(clock.weights))


def _looked_at(clock: Posterior) -> NDArray[np.intp]:
    """Grid indices of the places that are looked at; further apart where there are very many."""
    least = min(LEAST_LIKELY, float(clock.weights.max()) / 2)
    likely = np.flatnonzero(clock.weights > least)
    apart = index_of(PLACES_APART_S)
    apart *= 1 + len(likely) // (apart * MOST_PLACES)
    return np.asarray(np.unique((clock.first + likely) // apart) * apart)


def _near_likeliest(clock: Posterior) -> Floats | None:
    """The distribution within some seconds of its likeliest place; None if it is hardly there."""
    middle = int(np.argmax(clock.weights))
    reach = min(middle, len(clock.weights) - 1 - middle, index_of(WITNESS_S))
    near = clock.weights[middle - reach : middle + reach + 1]
    return near if (1 - NO_ANSWER) * float(near.sum()) >= LEAST_TRUST else None
