"""A machine's count as the judgement of a score needs it: on one athlete's block clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.machine import Machine, MachineTrack
from reconcile.pulling import longest_step_s

# Judgement, checked by simulation: a file's own count is what the display shows; a count computed
# from power or speed carries the model's error.
COUNTED_SCALE_SD = 0.001
MODELLED_SCALE_SD = 0.006
CROSSING_SD = 0.07
# A count below this at the first sample has only just begun. A pull from rest begins with less than
# this share of its mean power. A flywheel at rest adds less than this to any count.
LEAST_COUNTED = 3.0
RISING_SHARE = 0.8
LEAST_RATE_PER_S = 0.01
# How probably no machine work follows a recording's last sample: people end a recording when they
# are done with the machine; one that breaks off was lost on its way, and few leave out a round.
IDLE_AFTER_REST = 0.9
IDLE_AFTER_CUT = 0.06


@dataclass(frozen=True, eq=False)
class PlacedCount:
    """A `MachineTrack` whose clock is the block's: 0 at the block's first bell for the athlete.

    cut_off: the file ends before the recording did.
    """

    track: MachineTrack
    cut_off: bool = False

    @property
    def machine(self) -> Machine:
        """The kind of machine."""
        return self.track.machine

    @property
    def pulls(self) -> tuple[tuple[float, float], ...]:
        """(start_s, end_s) of each pull."""
        return tuple((pull.start_s, pull.end_s) for pull in self.track.pulls)

    @property
    def calories_scale_sd(self) -> float:
        """Relative error common to the whole count of calories."""
        return COUNTED_SCALE_SD if self.track.counted else MODELLED_SCALE_SD

    @property
    def metres_scale_sd(self) -> float:
        """Relative error common to the whole count of metres."""
        return COUNTED_SCALE_SD

    def calories_at(self, time_s: Floats) -> Floats:
        """Running calories, a fraction."""
        return self.track.calories_at(time_s)

    def metres_at(self, time_s: Floats) -> Floats:
        """Running metres."""
        return self.track.metres_at(time_s)

    def calories_sd(self, start_s: float, end_s: float) -> float:
        """Error of one difference of the count, beside the common factor."""
        return CROSSING_SD if self.track.counted else 0.02 + 0.002 * (end_s - start_s) ** 0.5

    def metres_sd(self, start_s: float, end_s: float) -> float:
        """Error of one difference of the metres, beside the common factor."""
        return 0.7 if end_s > start_s else 0.0

    def covered(self, start_s: float, end_s: float) -> float:
        """Share of the window that was recorded, what lies before a first pull from rest included.

        A file that begins at rest with nothing counted has lost nothing: the machine stood still
        since its display was set to 0.
        """
        times = self.track.time_s
        first, last = float(times[0]), float(times[-1])
        if self._begins_at_rest() and (first < end_s or self._begins_with_work()):
            first = min(first, start_s)
        if end_s <= start_s:
            return 1.0
        known = max(min(end_s, last + 1.0) - max(start_s, first - 1.0), 0.0)
        return min(known / (end_s - start_s), 1.0)

    def idle_outside(self, start_s: float, end_s: float) -> float:
        """Probability that nothing was done on the machine in what was not recorded of the window.

        What lies before a file that begins in mid-pull was lost with it.
        """
        if self.covered(start_s, max(start_s, min(end_s, float(self.track.time_s[-1])))) < 1.0:
            return 0.0
        return IDLE_AFTER_CUT if self.cut_off or not self._ends_at_rest() else IDLE_AFTER_REST

    def _begins_with_work(self) -> bool:
        pulls = self.track.pulls
        return bool(pulls) and pulls[0].start_s - self.track.time_s[0] <= longest_step_s(
            self.track.time_s
        )

    def _begins_at_rest(self) -> bool:
        """Whether nothing was counted before the first sample: still, or in a pull from rest."""
        track = self.track
        begun = track.calories if track.calories is not None else track.metres
        if begun is None or abs(float(begun[0])) >= LEAST_COUNTED or not track.pulls:
            return False
        if not (track.pulling[0] or self._begins_with_work()):
            return not _moves(begun[:2], track.time_s[:2])
        mean_w, first_w = track.pulls[0].mean_power_w, track.pulled_power_w
        if mean_w is None or first_w is None:
            return track.counted
        return track.counted or bool(first_w[0] < RISING_SHARE * mean_w)

    def _ends_at_rest(self) -> bool:
        """Whether the recording goes on until the flywheel stands still."""
        track = self.track
        count = track.calories if track.calories is not None else track.metres
        if count is None or track.pulling[-1]:
            return False
        return not _moves(count[-2:], track.time_s[-2:])


def _moves(count: Floats, time_s: Floats) -> bool:
    """Whether a running count grows between two samples."""
    return bool(np.diff(count)[0] > LEAST_RATE_PER_S * np.diff(time_s)[0])
