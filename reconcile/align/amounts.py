"""Whether a machine counted in its pulls what the plan asks for.

Where the plan fixes how far or how many calories a pull goes (500 m, 12 calories), the pulls of who
did it end there, whatever time they took: hardly another workout counts the same. Where a block
begins it does not tell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from itertools import chain

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment
from reconcile.align.edges import bridged
from reconcile.machine import MachineTrack
from reconcile.plan import Measure, Task

# A pull that goes to its amount ends within this of it, in parts of it and in the measure's unit
# (the last stroke, what is read late); which share of such pulls does, the others being broken off,
# parted by breaks or run on. Judgement.
OVER_SHARE, OVER_SD = 0.004, 0.008
UNIT_SD: Mapping[Measure, float] = {"metres": 2.0, "calories": 0.25}
ENDS_THERE = 0.8
# Anything else that somebody pulls is as likely over so many e-folds.
ANY_E_FOLDS = 3.0
# The most that amounts may say for this class and against it: other plans have round amounts too.
MOST_FOR, MOST_AGAINST = 6.0, -2.0


def as_much_as_planned(assignment: Assignment) -> float:
    """Log ratio of what was counted in the pulls, in this class against in another workout.

    0 where the plan fixes no amount on a machine, or the file tells none.
    """
    track = assignment.signals.track
    if track is None:
        return 0.0
    tasks = _machine_tasks(assignment, track.machine)
    fixed = Counter(
        (task.measure, task.amount)
        for task in tasks
        if task.measure in UNIT_SD and task.amount is not None and not task.most
    )
    said = 0.0
    for measure, unit_sd in UNIT_SD.items():
        amounts = {amount: n for (of, amount), n in fixed.items() if of == measure and amount}
        if amounts and len(counted := _counted(track, measure)):
            shares = np.array(list(amounts.values())) / len(tasks)
            said += _log_ratio(counted, np.array(list(amounts)), shares, unit_sd)
    return float(np.clip(said, MOST_AGAINST, MOST_FOR))


def _machine_tasks(assignment: Assignment, machine: str) -> list[Task]:
    """Every owner's tasks on this machine, once for each time that they are planned."""
    steps = chain.from_iterable(
        own for _, by_block in assignment.turns for own in by_block.values()
    )
    return [
        task
        for step in steps
        if step.kind == "work"
        for task in step.tasks
        if task.movement in ("machine", machine)
    ]


def _counted(track: MachineTrack, measure: Measure) -> Floats:
    """What was counted in each pull, short breaks bridged, without the coasting after it."""
    pulls = bridged(track.pulls)
    read = track.metres_at if measure == "metres" else track.calories_at
    edges_s = np.array([(pull.start_s, pull.end_s) for pull in pulls]).reshape(-1, 2)
    counted = read(edges_s[:, 1]) - read(edges_s[:, 0])
    return np.asarray(counted[np.isfinite(counted) & (counted > 0)])


def _log_ratio(counted: Floats, amounts: Floats, shares: Floats, unit_sd: float) -> float:
    """Log ratio of "each pull goes to an amount, or is anything" against "anything".

    shares: how many of the planned pulls go to each amount. Densities are of the log of a count.
    """
    over = np.log(counted[:, None] / amounts) - OVER_SHARE
    sd = np.hypot(OVER_SD, unit_sd / amounts)
    there = np.exp(-0.5 * (over / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    planned = ENDS_THERE * shares
    return float(np.sum(np.log(1 - planned.sum() + ANY_E_FOLDS * (planned * there).sum(axis=1))))
