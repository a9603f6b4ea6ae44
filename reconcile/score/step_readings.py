"""What a machine counted of one scored step, and of one round, at each place of the bells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.plan import Measure
from reconcile.score.evidence import DELAYS_S, LATE_DELAYS_S, LEAST_COVER, LEAST_SD, PROMPT_DELAYS_S
from reconcile.score.question import MachineCount
from reconcile.score.scored import ScoredStep, finishing_amounts

# What a missing stretch is filled with is known to about this share.
FILLED_SPREAD = 0.25
# Seconds of machine time around a step within which its finish is looked for, and the grain.
FINISH_GRAIN_S = 0.1


@dataclass(frozen=True, eq=False)
class StepReading:
    """One scored step as counted: read (g, d), with_rest (g, 2), run_on (g,), and its doubt.

    covered: the share that was recorded. nothing: how probably the rest of it was idle.
    """

    read: Floats
    with_rest: Floats
    run_on: Floats
    sd: float
    covered: float
    nothing: float
    scale_sd: float
    machine: str
    duration_s: float


@dataclass(frozen=True, eq=False)
class RoundReading:
    """One round: the sum over its scored steps, missing stretches filled from the others.

    missed: what such stretches usually hold where they were probably idle (`nothing`).
    """

    read: Floats
    with_rest: Floats
    run_on: Floats
    sd: float
    covered: float
    missed: float
    nothing: float
    idle: bool


def step_reading(
    step: ScoredStep, counts: Sequence[MachineCount], unit: Measure, shift: Floats
) -> StepReading | None:
    """A step as its machines counted it, at each place of the bells; None where none saw it."""
    taken = counts_of_step(step, counts)
    if not taken:
        return None
    covered = max(count.covered(step.start_s, step.end_s) for count in taken)
    machine = taken[0].machine
    if unit == "seconds":
        return _finish_reading(step, taken[0], shift, covered)
    # A late reading ends where the next work begins; a prompt one is what the class does anyway.
    late_s = np.minimum(LATE_DELAYS_S, max(3.0, step.next_work_s - step.end_s))
    delay_s = np.concatenate([PROMPT_DELAYS_S, late_s])
    read_s = step.end_s + shift[:, None] + delay_s[None, :]
    start_s = step.start_s + shift
    rest_end_s = np.array([step.next_work_s, step.next_scored_s])[None, :] + shift[:, None]
    read = np.zeros(read_s.shape)
    with_rest = np.zeros((len(shift), 2))
    run_on = np.zeros(len(shift))
    variance = 0.0
    for count in taken:
        at = count.metres_at if unit == "metres" else count.calories_at
        own_sd = count.metres_sd if unit == "metres" else count.calories_sd
        begun = np.asarray(at(start_s))
        read += np.asarray(at(read_s.ravel())).reshape(read_s.shape) - begun[:, None]
        with_rest += np.asarray(at(rest_end_s.ravel())).reshape(-1, 2) - begun[:, None]
        if step.on_into_s > step.end_s:
            run_on += np.asarray(at(step.on_into_s + shift)) - np.asarray(at(step.end_s + shift))
        variance += own_sd(step.start_s, step.end_s) ** 2
    if not (np.isfinite(read).all() and np.isfinite(with_rest).all()):
        return None
    scale_sd = taken[0].metres_scale_sd if unit == "metres" else taken[0].calories_scale_sd
    sd = max(LEAST_SD[unit], float(np.sqrt(variance)))
    return StepReading(
        np.maximum(read, 0.0),
        np.maximum(with_rest, 0.0),
        np.maximum(run_on, 0.0),
        sd,
        covered,
        max(count.idle_outside(step.start_s, step.end_s) for count in taken),
        scale_sd,
        machine,
        step.planned.duration_s,
    )


def counts_of_step(step: ScoredStep, counts: Sequence[MachineCount]) -> list[MachineCount]:
    """The machines whose work in a step adds up; work recorded twice is taken once.

    The first that saw the step is taken; another is added only where it was pulled at other times.
    """
    taken: list[MachineCount] = []
    busy: list[tuple[float, float]] = []
    for count in counts:
        if known_share(step, count) < LEAST_COVER:
            continue
        pulls = [
            (max(start, step.start_s), min(end, step.end_s))
            for start, end in count.pulls
            if start < step.end_s and end > step.start_s
        ]
        if not taken:
            taken.append(count)
            busy = pulls
            continue
        total_s = sum(end - start for start, end in pulls)
        common_s = sum(
            max(0.0, min(end, other_end) - max(start, other_start))
            for start, end in pulls
            for other_start, other_end in busy
        )
        if total_s > 0 and common_s < 0.3 * total_s:
            taken.append(count)
            busy = [*busy, *pulls]
    return taken


def known_share(step: ScoredStep, count: MachineCount) -> float:
    """Share of a step that a recording tells of, with what it probably missed nothing of."""
    seen = count.covered(step.start_s, step.end_s)
    return seen + (1 - seen) * count.idle_outside(step.start_s, step.end_s)


def _finish_reading(
    step: ScoredStep, count: MachineCount, shift: Floats, covered: float
) -> StepReading | None:
    """Seconds from the bell until the count reached the step's amount; its length if it did not.

    The clock is read up to some seconds after the finish. A recording that ends before the finish
    leaves the time open between its end and the bell.
    """
    finish = finishing_amounts(step.planned)
    assert finish is not None  # asked only of steps that a machine finishes
    measure, amount = finish
    at = count.metres_at if measure == "metres" else count.calories_at
    own_sd = count.metres_sd if measure == "metres" else count.calories_sd
    length_s = step.planned.duration_s
    grid_s = np.arange(
        step.start_s + float(shift.min()), step.end_s + float(shift.max()) + 1.0, FINISH_GRAIN_S
    )
    running = np.asarray(at(grid_s))
    if not np.isfinite(running).all():
        return None
    target = np.asarray(at(step.start_s + shift)) + amount
    index = np.searchsorted(np.maximum.accumulate(running), target, side="left")
    finish_s = np.where(index < len(grid_s), grid_s[np.minimum(index, len(grid_s) - 1)], np.inf)
    taken_s = np.clip(finish_s - (step.start_s + shift), 0.0, length_s)
    usual_s = float(np.median(taken_s))
    doubt_s = own_sd(step.start_s, step.end_s) / max(amount / max(usual_s, 1.0), 1e-6)
    if usual_s < length_s:
        covered = 1.0
    else:
        doubt_s = float(np.hypot(doubt_s, (1 - covered) * length_s / 2))
    return StepReading(
        np.minimum(taken_s[:, None] + DELAYS_S[None, :], length_s),
        np.repeat(taken_s[:, None], 2, axis=1),
        np.zeros(len(shift)),
        max(LEAST_SD["seconds"], doubt_s),
        max(covered, LEAST_COVER),
        0.0,
        0.0,
        count.machine,
        length_s,
    )


def round_reading(
    steps: Sequence[ScoredStep],
    readings: Sequence[StepReading | None],
    known: Sequence[StepReading],
    unit: Measure,
    skipped: bool,
) -> RoundReading:
    """A round from its steps' readings.

    known: every reading of the block, from which missing stretches are filled. skipped: whether
    the round was not attempted, so that nothing is missing.
    """
    read = np.zeros_like(known[0].read)
    with_rest = np.zeros_like(known[0].with_rest)
    run_on = np.zeros_like(known[0].run_on)
    variance = 0.0
    covered_s = missed = 0.0
    nothing = 1.0
    well_known = [reading for reading in known if reading.covered > 0.95] or list(known)
    usual_rate = float(
        np.mean([reading.read[:, 0].mean() / reading.duration_s for reading in well_known])
    )
    for step, reading in zip(steps, readings, strict=True):
        length_s = step.planned.duration_s
        usual = length_s * usual_rate
        if reading is None:
            if unit == "seconds":
                missing = length_s if skipped else usual
            else:
                missing = 0.0 if skipped else usual
            read = read + missing
            with_rest = with_rest + missing
            variance += (FILLED_SPREAD * missing) ** 2
            continue
        read = read + reading.read
        with_rest = with_rest + reading.with_rest
        run_on = run_on + reading.run_on
        variance += reading.sd**2
        unseen = 0.0 if reading.covered >= 0.98 or unit == "seconds" else 1 - reading.covered
        covered_s += (1 - unseen + unseen * reading.nothing) * length_s
        if unseen:
            missed += unseen * usual
            nothing = min(nothing, reading.nothing)
    total_s = sum(step.planned.duration_s for step in steps)
    return RoundReading(
        read,
        with_rest,
        run_on,
        float(np.sqrt(variance)) or LEAST_SD[unit],
        covered_s / total_s,
        missed,
        nothing,
        idle=bool(covered_s > 0.85 * total_s and read[:, 0].max() < LEAST_SD[unit] * 5),
    )
