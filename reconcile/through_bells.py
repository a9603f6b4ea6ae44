"""Pulling that goes on through a bell, cut into what was done in each step.

A pull that runs over a bell belongs whole to the step in which it began. That is meant for the last
strokes of an interval. Who pedals on through a rest, or from one interval into the next, is at work
in both, and easy pulling in a rest is the rest's: there the pull is cut at the bell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ingest.recording import Floats
from reconcile.machine import MachineTrack, Pull
from reconcile.timeline import PlannedStep

# Judgement: what goes on for longer than this is no last stroke of the step before, and what begins
# earlier than that before a bell is no early start.
LONGEST_OVERRUN_S = 8.0
EARLY_START_S = 3.0
EASY_SHARE = 0.5
RAMP_S = 3.0


def cut_at_bells(track: MachineTrack, steps: Sequence[PlannedStep]) -> MachineTrack:
    """The track, on the block's clock, with pulls that go on through bells cut there."""
    pulls = tuple(piece for pull in track.pulls for piece in _pieces(pull, track, steps))
    return replace(track, pulls=pulls)


def _pieces(pull: Pull, track: MachineTrack, steps: Sequence[PlannedStep]) -> list[Pull]:
    ends = [*(step.end_s for step in steps), np.inf]
    kinds = [*(step.kind for step in steps), "rest"]
    bells = [steps[0].start_s, *ends[:-1]]
    cuts = [pull.start_s]
    for bell_s, end_s, kind in zip(bells, ends, kinds, strict=True):
        if not cuts[-1] < bell_s < pull.end_s:
            continue
        if _goes_on(pull, track, (cuts[-1], bell_s, end_s), into_rest=kind == "rest"):
            cuts.append(bell_s)
    edges = [*cuts, pull.end_s]
    if len(edges) == 2:
        return [pull]
    return [Pull(low, high, _mean(track, low, high)) for low, high in pairwise(edges)]


def _goes_on(
    pull: Pull, track: MachineTrack, at_s: tuple[float, float, float], *, into_rest: bool
) -> bool:
    """Whether a pull is work, or easy pulling, of its own after a bell.

    at_s: where the pull (or its last piece) began, the bell, and the end of the step after it.
    """
    began_s, bell_s, end_s = at_s
    if not into_rest and bell_s - began_s < EARLY_START_S:
        return False
    if pull.end_s >= end_s:
        return True
    if pull.end_s - bell_s < LONGEST_OVERRUN_S or bell_s - began_s < EARLY_START_S:
        return False
    if not into_rest:
        return True
    before, after = _mean(track, began_s, bell_s), _mean(track, bell_s + RAMP_S, pull.end_s)
    return before is not None and after is not None and after < EASY_SHARE * before


def _mean(track: MachineTrack, low_s: float, high_s: float) -> float | None:
    """Mean pulled power between two times, W."""
    if track.pulled_power_w is None:
        return None
    inside = (track.time_s > low_s) & (track.time_s <= high_s) & track.pulling
    pulled: Floats = track.pulled_power_w[inside]
    return float(np.mean(pulled)) if len(pulled) else None
