"""What the cadence at a wrist says of where a block starts.

Rope jumping and running show in it as nothing else in a class does: from the bell on, until
something else is done. Stretches of such a cadence are compared with the plan as pulls are.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ingest.recording import Recording
from reconcile.align.edges import Bout, WorkWindow, bridged, pull_evidence, work_windows
from reconcile.align.grid import NOTHING, STEP_S, LogRatio, delay_summed_out
from reconcile.energy.movements import UNKNOWN, movement
from reconcile.plan import Plan
from reconcile.timeline import PlannedStep

# Movements of our table with a cadence of their own, and those whose steps may be as quick, an
# unknown one's too: where a block has these, a cadence does not tell which of them it was. Common
# practice, no source.
FAST_FEET = frozenset(
    {"rope jumping", "double-unders", "run", "shuttle run", "running on the spot"}
)
OTHER_STEPS = frozenset(
    {
        "walk", "stairs", "step-up", "jump", "carry", "sled", "crawl", "boxing", "stretching",
        "heavy rope", UNKNOWN.name,
    }
)  # fmt: skip
# Devices count strides or steps, so that the same feet show 70 or 140 a minute: what is quick is
# seen from a recording's own quick stretches. Judgement.
LEAST_PER_MIN, QUICK_SHARE = 45.0, 0.7
LEAST_BOUT_S = 6.0
# A channel of which fewer samples than this share follow so soon has no edges to compare.
MOST_GAP_S, LEAST_DENSE = 2.5, 0.8
# A wrist shows a change of cadence up to so much later, much alike all the time. Judgement.
LATEST_S = 5.0
# How often a channel shows something else altogether, the arms at work for instance. Judgement.
SOMETHING_ELSE = 0.3


def may_pedal(plan: Plan, equipment: Collection[str]) -> bool:
    """Whether somebody who logged this equipment, some or none, may have pedalled.

    A watch that hears a bike shows its cadence as it shows quick feet.
    """
    if equipment and {"rower", "ski", "none"}.issuperset(equipment):
        return False
    tasks = (task for block in plan.timed_blocks for step in block.steps for task in step.tasks)
    return any(
        movement(done.movement).name in ("machine", "bike")
        for task in tasks
        for done in (task, *task.instead.values())
    )


def rhythm_bouts(recording: Recording) -> tuple[Bout, ...]:
    """Stretches of a quick cadence, seconds on the recording's clock."""
    if recording.cadence_per_min is None:
        return ()
    known = np.isfinite(recording.cadence_per_min)
    time_s, cadence = recording.time_s[known], recording.cadence_per_min[known]
    gaps_s = np.diff(time_s)
    stepping = cadence[cadence > LEAST_PER_MIN]
    if len(stepping) == 0 or len(gaps_s) == 0 or np.mean(gaps_s <= MOST_GAP_S) < LEAST_DENSE:
        return ()
    quick = cadence >= max(LEAST_PER_MIN, QUICK_SHARE * float(np.percentile(stepping, 90)))
    joined = gaps_s <= MOST_GAP_S
    on = joined & quick[:-1] & quick[1:]
    begins = np.flatnonzero(quick & ~np.concatenate([[False], on]))
    ends = np.flatnonzero(quick & ~np.concatenate([on, [False]]))
    # A change lies half-way between two samples; beside a hole nobody knows, and the sample counts.
    midway = np.where(joined, gaps_s / 2, 0.0)
    starts_s = time_s[begins] - np.concatenate([[0.0], midway])[begins]
    ends_s = time_s[ends] + np.concatenate([midway, [0.0]])[ends]
    quick_bouts = [Bout(*edges) for edges in zip(starts_s.tolist(), ends_s.tolist(), strict=True)]
    return tuple(b for b in bridged(quick_bouts) if b.end_s - b.start_s >= LEAST_BOUT_S)


def rhythm_windows(steps: Sequence[PlannedStep]) -> list[WorkWindow]:
    """Where in a block a quick cadence is planned; nowhere where other tasks may look like it."""
    names = {movement(task.movement).name for step in steps for task in step.tasks}
    if OTHER_STEPS & names:
        return []
    return work_windows(steps, lambda task: movement(task.movement).name in FAST_FEET, parted=True)


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
    delays = round(LATEST_S / STEP_S) + 1
    shown = delay_summed_out(prompt.values, np.full(delays, 1 / delays))
    return LogRatio(
        prompt.first, np.logaddexp(np.log(SOMETHING_ELSE), np.log1p(-SOMETHING_ELSE) + shown)
    )
