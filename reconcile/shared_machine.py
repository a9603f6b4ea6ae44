"""One machine that several athletes used in turns: each pull is credited by whose turn it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ingest.recording import Floats
from reconcile.machine import MachineTrack

# People take the seat a moment before their bell and let go a moment after.
TURN_SLACK_S = 3.0
# A pull is of a turn if at least so much of it, or half of it, lies there.
LEAST_OF_TURN_S = 5.0


def split_by_turn(
    track: MachineTrack, turns: Mapping[str, Sequence[tuple[float, float]]]
) -> dict[str, MachineTrack]:
    """The track of each athlete: their own pulls, and the count that these and their coasting made.

    turns: per athlete the (start_s, end_s) of their work steps on the track's clock.
    """
    names = list(turns)
    owner_of_pull = [_owner(pull.start_s, pull.end_s, turns) for pull in track.pulls]
    starts = np.array([pull.start_s for pull in track.pulls])
    latest = np.searchsorted(starts, track.time_s + 0.75, side="right") - 1
    owners = np.array([names.index(name) if name is not None else -1 for name in owner_of_pull])
    of_sample = np.where(latest >= 0, owners[np.maximum(latest, 0)] if len(owners) else -1, -1)
    out = {}
    for number, name in enumerate(names):
        own = of_sample == number
        out[name] = replace(
            track,
            pulling=track.pulling & own,
            pulled_power_w=(
                None if track.pulled_power_w is None else np.where(own, track.pulled_power_w, 0.0)
            ),
            calories=_only(track.calories, own),
            metres=_only(track.metres, own),
            pulls=tuple(
                pull
                for pull, owner in zip(track.pulls, owner_of_pull, strict=True)
                if owner == name
            ),
        )
    return out


def _owner(
    start_s: float, end_s: float, turns: Mapping[str, Sequence[tuple[float, float]]]
) -> str | None:
    """Whose work step the pull lies in most; None where it lies in nobody's."""
    least_s = min(LEAST_OF_TURN_S, (end_s - start_s) / 2)
    best: tuple[float, str] | None = None
    for name, windows in turns.items():
        overlap = max(
            (min(end_s, high) - max(start_s, low - TURN_SLACK_S) for low, high in windows),
            default=0.0,
        )
        if overlap >= least_s and (best is None or overlap > best[0]):
            best = (overlap, name)
    return best[1] if best is not None else None


def _only(count: Floats | None, own: np.ndarray) -> Floats | None:
    """The count with what grew during others' turns left out."""
    if count is None:
        return None
    growth = np.diff(count, prepend=count[:1])
    return np.asarray(count[0] + np.cumsum(np.where(own, growth, 0.0)))
