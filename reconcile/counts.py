"""A machine's count as the judgement of a score needs it: on one athlete's block clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.machine import Machine, MachineTrack
from reconcile.pulling import LONGEST_SAMPLE_GAP_S

# Judgement, checked by simulation: a file's own count is what the display shows; a count computed
# from power or speed carries the model's error.
COUNTED_SCALE_SD = 0.001
MODELLED_SCALE_SD = 0.006
CROSSING_SD = 0.07


@dataclass(frozen=True, eq=False)
class PlacedCount:
    """A `MachineTrack` whose clock is the block's: 0 at the block's first bell for the athlete."""

    track: MachineTrack

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
        """Share of the window in which the count is known."""
        times = self.track.time_s
        first, last = float(times[0]), float(times[-1])
        if self._begins_still():
            first = min(first, start_s)
        if end_s <= start_s:
            return 1.0
        known = max(min(end_s, last + 1.0) - max(start_s, first - 1.0), 0.0)
        return min(known / (end_s - start_s), 1.0)

    def _begins_still(self) -> bool:
        """Whether the file began with the first pull, so that nothing was counted before it."""
        pulls = self.track.pulls
        if not pulls or pulls[0].start_s - float(self.track.time_s[0]) > LONGEST_SAMPLE_GAP_S:
            return False
        start = self.track.calories if self.track.calories is not None else self.track.metres
        return start is not None and bool(np.abs(start[0]) < 3.0)
