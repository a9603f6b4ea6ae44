"""A device that was stopped and started anew: its recordings, one after the other, as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ingest.recording import Floats
from reconcile.machine import MachineTrack, Pull
from reconcile.pulling import SHORTEST_BREAK_S

# Two recordings followed one another where they ran at once for no longer than this, and where the
# time between them is too short to have hidden a step.
LONGEST_OVERLAP_S = 1.0
LONGEST_STOP_S = 15.0


def joined_tracks(tracks: Sequence[MachineTrack]) -> list[MachineTrack]:
    """Tracks on one clock, those that follow one another closely joined; others as they are.

    The count goes on where it stopped: nothing is known of the time between.
    """
    out: list[MachineTrack] = []
    for track in sorted(tracks, key=lambda track: float(track.time_s[0])):
        before = next((n for n, known in enumerate(out) if _follows(track, known)), None)
        if before is None:
            out.append(track)
        else:
            out[before] = _joined(out[before], track)
    return out


def _follows(track: MachineTrack, before: MachineTrack) -> bool:
    same_columns = all(
        (getattr(track, name) is None) == (getattr(before, name) is None)
        for name in ("pulled_power_w", "calories", "metres")
    )
    apart_s = float(track.time_s[0] - before.time_s[-1])
    near = -LONGEST_OVERLAP_S <= apart_s <= LONGEST_STOP_S
    return track.machine == before.machine and same_columns and near


def _joined(first: MachineTrack, second: MachineTrack) -> MachineTrack:
    later = second.time_s > first.time_s[-1]

    def both(ours: Floats | None, theirs: Floats | None, *, runs_on: bool) -> Floats | None:
        if ours is None or theirs is None:
            return None
        step = ours[-1] - theirs[later][0] if runs_on and later.any() else 0.0
        return np.concatenate([ours, theirs[later] + step])

    pulls = list(first.pulls)
    for pull in second.pulls:
        if pulls and pull.start_s - pulls[-1].end_s < SHORTEST_BREAK_S:
            pulls[-1] = _one_pull(pulls[-1], pull)
        else:
            pulls.append(pull)
    return replace(
        first,
        time_s=np.concatenate([first.time_s, second.time_s[later]]),
        pulling=np.concatenate([first.pulling, second.pulling[later]]),
        pulled_power_w=both(first.pulled_power_w, second.pulled_power_w, runs_on=False),
        calories=both(first.calories, second.calories, runs_on=True),
        metres=both(first.metres, second.metres, runs_on=True),
        pulls=tuple(pulls),
        counted=first.counted and second.counted,
    )


def _one_pull(first: Pull, second: Pull) -> Pull:
    """A pull that the restart cut in two."""
    power: float | None = None
    if first.mean_power_w is not None and second.mean_power_w is not None:
        lengths = [first.end_s - first.start_s, second.end_s - second.start_s]
        power = float(np.average([first.mean_power_w, second.mean_power_w], weights=lengths))
    return Pull(first.start_s, max(first.end_s, second.end_s), power)


def joined_hearts(parts: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Heart rates (time_s, bpm) on one clock, the first as it is, the others before and after it.

    Raises ValueError without any part.
    """
    if not parts:
        raise ValueError("there is no heart rate to join")
    time_s, bpm = parts[0]
    for other_s, other_bpm in parts[1:]:
        before, after = other_s < time_s[0], other_s > time_s[-1]
        time_s = np.concatenate([other_s[before], time_s, other_s[after]])
        bpm = np.concatenate([other_bpm[before], bpm, other_bpm[after]])
    return time_s, bpm
