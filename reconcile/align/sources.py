"""What each source in one recording says of where one block of the plan begins on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment
from reconcile.align.edges import (
    Bout,
    WorkWindow,
    lap_evidence,
    machine_windows,
    pull_evidence,
)
from reconcile.align.grid import STEP_S, LogRatio, index_of
from reconcile.align.heart import HeartSays, block_demand, heart_evidence, responses_to
from reconcile.align.lag import lags_of
from reconcile.align.rhythm import rhythm_evidence
from reconcile.align.signals import Signals
from reconcile.classes import Pin
from reconcile.machine import MachineTrack
from reconcile.plan import TimedBlock
from reconcile.timeline import PlannedStep

PINNED = 60.0
# The source whose error all hearts may share.
HEART_RATE = "heart rate"


@dataclass(frozen=True, eq=False)
class Findings:
    """What was found in a class's recordings so far, kept by the caller.

    A recording is compared with the same steps again and again: under another bell, for another
    owner, in another wave. That is worked out once. answers: of hearts to each demand, which all
    who do the same share. hearts, pulls: by the recording and what it was compared with.
    """

    answers: dict[bytes, Floats] = field(default_factory=dict)
    hearts: dict[tuple[Signals, bytes], HeartSays] = field(default_factory=dict)
    pulls: dict[tuple[Signals, bool, tuple[WorkWindow, ...]], LogRatio] = field(
        default_factory=dict
    )

    def heart(self, signals: Signals, steps: Sequence[PlannedStep]) -> HeartSays:
        """What heart rate says of where these steps begin."""
        demand = block_demand(steps)
        key = demand.tobytes()
        if key not in self.answers:
            self.answers[key] = responses_to(demand)
        if (signals, key) not in self.hearts:
            self.hearts[signals, key] = heart_evidence(
                signals.heart, self.answers[key], lags_of(strap=signals.by_strap)
            )
        return self.hearts[signals, key]

    def machine(self, assignment: Assignment, block: TimedBlock) -> LogRatio:
        """What pulls say of where a block begins."""
        signals, shared = assignment.signals, len(assignment.turns) > 1
        track, recording = signals.track, signals.upload.recording
        assert track is not None
        assert recording is not None
        windows = tuple(_turn_windows(assignment, block))
        key = signals, shared, windows
        if key not in self.pulls:
            # Turns of another wave may lie long before the first owner's bell or after the last.
            before = max((-index_of(window.start_s) for window in windows), default=0)
            before = max(before, 0)
            end_s = max([block.duration_s, *(window.end_s for window in windows)])
            told = pull_evidence(
                _turns(track) if shared else signals.bouts,
                (float(recording.time_s[0]), signals.length_s),
                [window.later(before * STEP_S) for window in windows],
                before * STEP_S + end_s,
            )
            self.pulls[key] = LogRatio(told.first + before, told.values)
        return self.pulls[key]


def evidence_by_source(
    assignment: Assignment, block: TimedBlock, pin: Pin | None, findings: Findings
) -> dict[str, LogRatio]:
    """What each kind of evidence in one recording says of one block's start."""
    signals, steps = assignment.signals, assignment.steps[block.name]
    if pin is not None and pin.start_s is not None:
        pinned = np.array([PINNED - 1, PINNED, PINNED - 1])
        return {"pin": LogRatio(index_of(pin.start_s) - 1, pinned)}
    found: dict[str, LogRatio] = {}
    if len(signals.heart):
        found[HEART_RATE] = heart_says(assignment, block, findings).whole
    if signals.track is not None and signals.upload.recording is not None:
        found["machine"] = findings.machine(assignment, block)
    if signals.rhythm and signals.upload.recording is not None:
        first_s = float(signals.upload.recording.time_s[0])
        found["cadence"] = rhythm_evidence(
            signals.rhythm, (first_s, signals.length_s), steps, block.duration_s
        )
    if signals.upload.recording is not None and signals.upload.recording.laps:
        found["laps"] = lap_evidence(signals.upload.recording.laps, steps, signals.length_s)
    return found


def heart_says(assignment: Assignment, block: TimedBlock, findings: Findings) -> HeartSays:
    """What heart rate says of a block's start, with rounds perhaps left out and without them."""
    signals, steps = assignment.signals, assignment.steps[block.name]
    left_out = assignment.left_out.get(block.name, {})
    as_planned = findings.heart(signals, steps)
    done = [s if s.round not in left_out else replace(s, kind="rest", tasks=()) for s in steps]
    if not left_out or all(step.kind == "rest" for step in done):
        return as_planned
    return as_planned.or_else(findings.heart(signals, done), min(left_out.values()))


def _turns(track: MachineTrack) -> list[Bout]:
    """Pulls as they are: one hands the machine to the next within the time of a short break."""
    return [Bout(pull.start_s, pull.end_s) for pull in track.pulls]


def _turn_windows(assignment: Assignment, block: TimedBlock) -> list[WorkWindow]:
    """Windows of machine work of all owners, on the first owner's block clock."""
    shared = len(assignment.turns) > 1
    left_out = assignment.left_out.get(block.name, {})

    def said(window: WorkWindow, steps: Sequence[PlannedStep]) -> float:
        inside = (s for s in steps if s.start_s < window.end_s and window.start_s < s.end_s)
        return min(left_out.get(step.round, window.left_out) for step in inside)

    windows = [
        WorkWindow(
            window.start_s + delay_s - assignment.delay_s,
            window.end_s + delay_s - assignment.delay_s,
            window.starts_at_bell,
            window.ends_at_bell,
            window.easy or shared,  # one's hard work is another's easy pulling
            said(window, steps[block.name]),
        )
        for delay_s, steps in assignment.turns
        for window in machine_windows(steps[block.name], assignment.signals.machine, parted=True)
    ]
    return sorted(windows, key=lambda window: window.start_s)
