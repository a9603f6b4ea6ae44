"""What classes taught about one athlete, as plain values.

Every entry is kept under the start of the class that taught it, so that a class checked again
teaches nothing twice and is never judged by what it, or a later one, taught itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

import numpy as np

from reconcile.energy import own_line
from reconcile.energy.heart import EARLIER_DAY_SD
from reconcile.machine import Machine

# The newest entries are kept, this many of each kind: an old one is no evidence of today's form.
MOST_LINES = 5
MOST_POWERS = 12
MOST_DROPS = 12
MOST_DEVICES = 6
MOST_SIGHTINGS = 8

# Power falls with the length of an effort: classes count as like this one where the plan leaves the
# machine a time that differs by less than this factor, and rests where the heart began them within
# so many beats. Judgement.
LIKE_TIME = 1.4
LIKE_PEAK_BPM = 10.0
LIKE_DROPS = 5


@dataclass(frozen=True)
class LearntLine:
    """An own line from heart rate to energy; see `reconcile.energy.own_line` for its values.

    anchors_bpm: two heart rates; kcal_per_min: the line there; covariance: of those two values.
    stretches: of machine work that it was fitted to.
    """

    at: datetime
    machine: Machine
    stretches: int
    anchors_bpm: tuple[float, float]
    kcal_per_min: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]

    @property
    def line(self) -> own_line.Line:
        """The line, ready for use."""
        return own_line.Line(
            self.anchors_bpm, np.array(self.kcal_per_min), np.array(self.covariance)
        )


@dataclass(frozen=True)
class LearntPower:
    """Mean power of the work steps of one scored block on one machine, W.

    planned_s: the time that the plan leaves for the machine in a step.
    """

    at: datetime
    machine: Machine
    planned_s: float
    steps: int
    mean_w: float
    best_w: float


@dataclass(frozen=True)
class LearntDrop:
    """How far the heart fell in the first 60 s of rests, mean; peak_bpm: from what mean peak."""

    at: datetime
    rests: int
    peak_bpm: float
    drop_bpm: float


@dataclass(frozen=True)
class SeenDevice:
    """A device's mark, and the starts of the classes in which the athlete had it, in order."""

    mark: str
    seen: tuple[datetime, ...]


Entry = TypeVar("Entry", LearntLine, LearntPower, LearntDrop)


@dataclass(frozen=True)
class AthleteHistory:
    """What is known of one athlete, each kind of entry in the order of the classes."""

    own_lines: tuple[LearntLine, ...] = ()
    powers: tuple[LearntPower, ...] = ()
    drops: tuple[LearntDrop, ...] = ()
    devices: tuple[SeenDevice, ...] = ()

    @property
    def last(self) -> datetime | None:
        """The last class that taught something; None where none did."""
        starts = [line.at for line in self.own_lines]
        starts += [power.at for power in self.powers]
        starts += [drop.at for drop in self.drops]
        starts += [start for device in self.devices for start in device.seen]
        return max(starts, default=None)

    def own_line(self) -> own_line.Line | None:
        """The own line of all classes together, as sure as they make it; None without one."""
        if not self.own_lines:
            return None
        return own_line.joined([learnt.line for learnt in self.own_lines], EARLIER_DAY_SD)

    def earlier_power_w(self, machine: str | None, planned_s: float) -> tuple[float, ...]:
        """Mean power on a machine in each class whose plan left it a like time, W."""
        return tuple(
            power.mean_w
            for power in self.powers
            if power.machine == machine and 1 / LIKE_TIME < power.planned_s / planned_s < LIKE_TIME
        )

    def drops_from(self, peak_bpm: float) -> tuple[float, ...]:
        """The heart's drop in 60 s in the last classes that took it as high, beats."""
        like = [d.drop_bpm for d in self.drops if abs(d.peak_bpm - peak_bpm) <= LIKE_PEAK_BPM]
        return tuple(like[-LIKE_DROPS:])

    def chosen(self, keep: Callable[[datetime], bool]) -> AthleteHistory:
        """What was taught by the classes whose start is kept."""
        return tidy(
            [entry for entry in self.own_lines if keep(entry.at)],
            [entry for entry in self.powers if keep(entry.at)],
            [entry for entry in self.drops if keep(entry.at)],
            [SeenDevice(d.mark, tuple(s for s in d.seen if keep(s))) for d in self.devices],
        )

    def joined(self, other: AthleteHistory) -> AthleteHistory:
        """Both together; of two entries for one thing in one class the other's counts."""
        return tidy(
            (*self.own_lines, *other.own_lines),
            (*self.powers, *other.powers),
            (*self.drops, *other.drops),
            (*self.devices, *other.devices),
        )


def tidy(
    own_lines: Iterable[LearntLine] = (),
    powers: Iterable[LearntPower] = (),
    drops: Iterable[LearntDrop] = (),
    devices: Iterable[SeenDevice] = (),
) -> AthleteHistory:
    """Entries in their order, each once, the newest of them."""
    seen: dict[str, set[datetime]] = {}
    for device in devices:
        seen.setdefault(device.mark, set()).update(device.seen)
    known = [
        SeenDevice(mark, tuple(sorted(starts)[-MOST_SIGHTINGS:]))
        for mark, starts in seen.items()
        if starts
    ]
    known.sort(key=lambda device: (device.seen[-1], device.mark))
    return AthleteHistory(
        _newest(own_lines, MOST_LINES, lambda line: (line.at,)),
        _newest(powers, MOST_POWERS, lambda p: (p.at, p.machine, p.planned_s)),
        _newest(drops, MOST_DROPS, lambda drop: (drop.at,)),
        tuple(known[-MOST_DEVICES:]),
    )


def _newest(
    entries: Iterable[Entry], most: int, key: Callable[[Entry], tuple[Any, ...]]
) -> tuple[Entry, ...]:
    once: dict[tuple[Any, ...], Entry] = {key(entry): entry for entry in entries}
    return tuple(sorted(once.values(), key=key)[-most:])
