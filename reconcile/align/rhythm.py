"""What the cadence at a wrist says of where a block starts.

Rope jumping and running show in it as nothing else in a class does: from the bell on, until
something else is done. Stretches of such a cadence are compared with the plan as pulls are.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats, Recording
from reconcile.align.edges import Bout, WorkWindow, pull_evidence
from reconcile.align.grid import NOTHING, STEP_S, LogRatio
from reconcile.energy.movements import movement
from reconcile.plan import Plan
from reconcile.timeline import PlannedStep

Indices = NDArray[np.intp]
# Movements of our table with a cadence of their own, and those whose steps may be as quick: where
# a block has these too, a cadence does not tell which of them it was. Common practice, no source.
FAST_FEET = frozenset(
    {"rope jumping", "double-unders", "run", "shuttle run", "running on the spot"}
)
OTHER_STEPS = frozenset(
    {"walk", "stairs", "step-up", "jump", "carry", "sled", "crawl", "boxing", "stretching"}
)
# Devices count strides or steps, so that the same feet show 70 or 140 a minute: what is quick is
# seen from a recording's own quick stretches. Judgement.
LEAST_PER_MIN, QUICK_SHARE = 45.0, 0.7
BRIDGED_GAP_S, LEAST_BOUT_S = 5.0, 6.0
# A channel with fewer samples than this share of every two seconds has no edges to compare.
MOST_GAP_S, LEAST_DENSE = 2.5, 0.8
# A wrist shows a change of cadence up to so much later, much alike all the time. Judgement.
LATEST_S = 5.0
# How often a channel shows something else altogether, the arms at work for instance. Judgement.
SOMETHING_ELSE = 0.3


def may_pedal(plan: Plan, equipment: str | None) -> bool:
    """Whether somebody who logged this equipment may have pedalled.

    A watch that hears a bike shows its cadence as it shows quick feet.
    """
    if equipment in ("rower", "ski", "none"):
        return False
    tasks = (task for block in plan.timed_blocks for step in block.steps for task in step.tasks)
    return any(task.movement in ("machine", "bike") for task in tasks)


def rhythm_bouts(recording: Recording) -> tuple[Bout, ...]:
    """Stretches of a quick cadence, seconds on the recording's clock."""
    cadence, time_s = recording.cadence_per_min, recording.time_s
    if cadence is None or len(time_s) < 2:
        return ()
    if np.mean(np.diff(time_s) <= MOST_GAP_S) < LEAST_DENSE:
        return ()
    stepping = cadence[cadence > LEAST_PER_MIN]
    if len(stepping) == 0:
        return ()
    quick = cadence >= max(LEAST_PER_MIN, QUICK_SHARE * float(np.percentile(stepping, 90)))
    edges = np.diff(np.concatenate([[0], quick.astype(int), [0]]))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    joined: list[Bout] = []
    for start_s, end_s in zip(_midway(time_s, begins), _midway(time_s, ends), strict=True):
        if joined and start_s - joined[-1].end_s < BRIDGED_GAP_S:
            joined[-1] = Bout(joined[-1].start_s, float(end_s))
        else:
            joined.append(Bout(float(start_s), float(end_s)))
    return tuple(bout for bout in joined if bout.end_s - bout.start_s >= LEAST_BOUT_S)


def _midway(time_s: Floats, index: Indices) -> Floats:
    """Half-way between each of these samples and the one before it; at the ends, the end."""
    last = len(time_s) - 1
    return np.asarray((time_s[np.clip(index - 1, 0, last)] + time_s[np.clip(index, 0, last)]) / 2)


def rhythm_windows(steps: Sequence[PlannedStep]) -> list[WorkWindow]:
    """Where in a block a quick cadence is planned; nowhere where other tasks may look like it."""
    windows: list[WorkWindow] = []
    for step in steps:
        names = [movement(task.movement).name for task in step.tasks]
        if OTHER_STEPS.intersection(names):
            return []
        quick = [place for place, name in enumerate(names) if name in FAST_FEET]
        if step.kind != "work" or not quick:
            continue
        last = step.tasks[quick[-1]]
        to_the_bell = quick[-1] == len(names) - 1 and (last.most or last.amount is None)
        windows.append(WorkWindow(step.start_s, step.end_s, quick[0] == 0, to_the_bell))
    return windows


def rhythm_evidence(
    bouts: Sequence[Bout],
    covered_s: tuple[float, float],
    steps: Sequence[PlannedStep],
    block_s: float,
) -> LogRatio:
    """Evidence of quick stretches for each start of a block. `covered_s`: first and last sample.

    It is averaged over how late the wrist shows them; a channel may also show something else
    altogether.
    """
    prompt = pull_evidence(bouts, covered_s, rhythm_windows(steps), block_s)
    if prompt is NOTHING:
        return NOTHING
    late = round(LATEST_S / STEP_S)
    padded = np.pad(prompt.values, (0, late), mode="edge")
    count = len(prompt.values)
    delayed = np.stack([padded[delay : delay + count] for delay in range(late + 1)])
    shown = np.logaddexp.reduce(delayed, axis=0) - np.log(late + 1)
    return LogRatio(
        prompt.first, np.logaddexp(np.log(SOMETHING_ELSE), np.log1p(-SOMETHING_ELSE) + shown)
    )
