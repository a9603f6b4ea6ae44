"""A device's own clock that stood still in pauses, and the way to and from time that goes on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats


@dataclass(frozen=True, eq=False)
class DeviceClock:
    """A clock that stood still: piecewise linear, level in every pause.

    restart_s: what the clock showed when it went on after each pause, seconds from the first
    sample, ascending. paused_s: how long each pause was. Running time has its zero at the first
    sample too; before it and after the last restart both clocks go equally fast.
    """

    restart_s: Floats
    paused_s: Floats

    def running(self, device_s: Floats | float) -> Floats:
        """Time that goes on in pauses; a moment of restart belongs to the end of its pause."""
        time_s = np.asarray(device_s, dtype=float)
        lost_s = np.concatenate([[0.0], np.cumsum(self.paused_s)])
        return np.asarray(time_s + lost_s[np.searchsorted(self.restart_s, time_s, side="right")])

    def span(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Start and end of something on time that goes on."""
        return float(self.running(start_s)), float(self.running(end_s))

    def device(self, running_s: Floats | float) -> Floats:
        """What the clock showed at a time; all through a pause the same value."""
        time_s = np.asarray(running_s, dtype=float)
        ended_s = self.restart_s + np.cumsum(self.paused_s)
        begun_s = ended_s - self.paused_s
        stood_s = np.clip(time_s[..., None] - begun_s, 0.0, self.paused_s).sum(axis=-1)
        return np.asarray(time_s - stood_s)
