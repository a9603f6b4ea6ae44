"""One machine that several athletes used in turns: each pull is credited by whose turn it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ingest.recording import Floats
from reconcile.intervals import mean_power
from reconcile.machine import MachineTrack, Pull
from reconcile.timeline import PlannedStep

# People take the seat a moment before their bell and let go a moment after.
TURN_SLACK_S = 3.0
# A pull is of a turn if at least so much of it, or half of it, lies there.
LEAST_OF_TURN_S = 5.0
# The machine is handed over from a little before the bell to some seconds after, and while it is
# nobody pulls: below this share of the pull's usual power. Judgement.
HANDED_OVER_S = (-1.5, 5.0)
STILL_SHARE = 0.35


def machine_turns(steps: Sequence[PlannedStep], later_s: float) -> list[tuple[float, float]]:
    """Start and end of somebody's turns at a machine, `later_s` after their block's own clock."""
    return [
        (step.start_s + later_s, step.end_s + later_s)
        for step in steps
        if step.kind == "work" and any(task.on_machine for task in step.tasks)
    ]


def split_by_turn(
    track: MachineTrack, turns: Mapping[str, Sequence[tuple[float, float]]]
) -> dict[str, MachineTrack]:
    """The track of each athlete: their own pulls, and the count that these and their coasting made.

    turns: per athlete the (start_s, end_s) of their work steps on the track's clock.
    """
    names = list(turns)
    track = replace(track, pulls=_cut_at_handovers(track, turns))
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


def _cut_at_handovers(
    track: MachineTrack, turns: Mapping[str, Sequence[tuple[float, float]]]
) -> tuple[Pull, ...]:
    """The pulls, those cut in two that run from one's turn into the next one's."""
    bells = sorted(
        low
        for name, windows in turns.items()
        for low, _ in windows
        if any(
            abs(high - low) <= TURN_SLACK_S
            for other, others in turns.items()
            if other != name
            for _, high in others
        )
    )
    out: list[Pull] = []
    for pull in track.pulls:
        rest = pull
        for bell_s in bells:
            if rest.start_s < bell_s - LEAST_OF_TURN_S and bell_s + LEAST_OF_TURN_S < rest.end_s:
                end_s, start_s = _handover(track, rest, bell_s)
                out.append(_part(track, rest.start_s, end_s, rest))
                rest = _part(track, start_s, rest.end_s, rest)
        out.append(rest)
    return tuple(out)


def _handover(track: MachineTrack, pull: Pull, bell_s: float) -> tuple[float, float]:
    """When the one let go of the machine about a bell, and when the next began."""
    power = track.pulled_effort()
    if power is None:
        return bell_s, bell_s
    inside = (track.time_s >= pull.start_s) & (track.time_s <= pull.end_s)
    near = np.flatnonzero(
        (track.time_s >= bell_s + HANDED_OVER_S[0]) & (track.time_s <= bell_s + HANDED_OVER_S[1])
    )
    still = near[np.nan_to_num(power[near]) < STILL_SHARE * float(np.nanmedian(power[inside]))]
    if len(still) == 0:
        return bell_s, bell_s
    # A sample stands for the time since the one before it.
    return float(track.time_s[max(still[0] - 1, 0)]), float(track.time_s[still[-1]])


def _part(track: MachineTrack, start_s: float, end_s: float, of: Pull) -> Pull:
    """Part of a pull, with its own mean power."""
    mean_w = mean_power(track, [(start_s, end_s)])
    return Pull(start_s, end_s, of.mean_power_w if mean_w is None else mean_w)


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
