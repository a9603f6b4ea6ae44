"""The scenarios of a score: from what machines counted, or from what is usual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ingest.recording import Floats
from reconcile.plan import Measure
from reconcile.score.evidence import DELAYS_S, LEAST_SD, Bools, Evidence
from reconcile.score.expected import expectation
from reconcile.score.notes import rounds_left_out
from reconcile.score.question import ScoreQuestion
from reconcile.score.scored import Scored, ScoredStep
from reconcile.score.step_readings import FILLED_SPREAD, StepReading, round_reading, step_reading

# What a placement leaves open however sure it is: samples a second apart, a bell by ear (s).
BELL_SD_S = 0.5

# Placements are weighed over this many of their own standard deviations, in steps of no more than
# so many seconds, by Student's t with 5 degrees of freedom: they err further out than a normal law
# says.
SHIFT_REACH, SHIFT_STEP_S, FEWEST_SHIFTS, MOST_SHIFTS = 4.0, 0.8, 11, 81
FACTOR_NODES = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
FACTOR_WEIGHTS = np.exp(-(FACTOR_NODES**2) / 2)
# A factor known better than this is taken as part of each value's own doubt.
LEAST_FACTOR_SD = 0.004
# Nodes of an expectation's spread, Student's t again.
SPREAD_NODES = np.linspace(-4.0, 4.0, 17)
SPREAD_WEIGHTS = (1 + SPREAD_NODES**2 / 5) ** -3
# Rounds of one person vary by about this share where nothing was recorded.
ROUND_SPREAD = 0.35
# Tasks off the machine that were seen to begin make it so many times less probable that nothing
# followed on the machine after a recording's end.
BEGUN_ELSEWHERE = 0.2


def score_evidence(
    question: ScoreQuestion, scored: Scored, measure: Measure | None = None
) -> Evidence:
    """What the machine recordings say of the score, or where there are none, the expectation.

    `measure` asks for the same rounds in another unit (calories or metres).
    """
    unit = measure or scored.measure
    skipped = skipped_rounds(question, scored)
    same = (
        question.block.score is not None and unit == scored.measure == question.block.score.measure
    )
    others = tuple(question.others.values()) if same else ()
    prior = _expected_evidence(question, replace(scored, measure=unit), skipped, others)
    useful = unit in ("calories", "metres") or (unit == "seconds" and scored.on_machine)
    if not question.counts or not useful:
        return prior
    counted = _counted_evidence(question, scored, unit, skipped)
    if counted is None:
        return prior
    return _mixture(counted, prior, question.ownership_probability)


def _expected_evidence(
    question: ScoreQuestion,
    scored: Scored,
    skipped: Bools,
    others: tuple[tuple[float, ...], ...],
) -> Evidence:
    expected = expectation(
        scored, question.athlete, question.equipment, question.earlier_power_w, others
    )
    factor = np.exp(SPREAD_NODES * expected.spread)
    values = factor[:, None] * np.where(
        skipped & (scored.measure != "seconds"), 0.0, expected.rounds
    )
    if scored.measure == "seconds":
        lengths = [sum(step.planned.duration_s for step in steps) for steps in scored.rounds]
        values = np.minimum(values, np.asarray(lengths))
    return Evidence(
        measure=scored.measure,
        weight=SPREAD_WEIGHTS / SPREAD_WEIGHTS.sum(),
        read=np.repeat(values[:, :, None], len(DELAYS_S), axis=2),
        with_rest=np.repeat(values[:, :, None], 2, axis=2),
        run_on=np.zeros_like(values),
        pieces=pieces_of(scored),
        sd=np.maximum(ROUND_SPREAD * values, LEAST_SD[scored.measure]),
        skipped=skipped,
        unseen=np.zeros(len(scored.rounds), dtype=bool),
        covered=np.zeros(len(scored.rounds)),
        recorded=np.zeros(len(factor), dtype=bool),
        machine=None,
        pulls_in_rests=False,
    )


def _counted_evidence(
    question: ScoreQuestion, scored: Scored, unit: Measure, skipped: Bools
) -> Evidence | None:
    shift, shift_weight = _shifts(question, question.block.round_s)
    step_values: list[list[StepReading | None]] = [
        [step_reading(step, question.counts, unit, shift) for step in steps]
        for steps in scored.rounds
    ]
    known = [reading for steps in step_values for reading in steps if reading is not None]
    if not known:
        return None
    rounds = [
        round_reading(steps, readings, known, unit, bool(skip))
        for steps, readings, skip in zip(scored.rounds, step_values, skipped, strict=True)
    ]
    begun = _begun_elsewhere(question, scored)
    missed = np.array([reading.missed for reading in rounds]) * ~skipped
    unseen = np.zeros(len(rounds), dtype=bool)
    if unit != "seconds":
        idle = np.array([reading.idle for reading in rounds])
        unseen = idle & (missed > 0) & ~begun & (scored.take == "total")
        skipped = skipped | (idle & ~begun)
    read = np.stack([reading.read for reading in rounds], axis=1)
    with_rest = np.stack([reading.with_rest for reading in rounds], axis=1)
    run_on = np.stack([reading.run_on for reading in rounds], axis=1)
    sd = np.repeat(np.array([[reading.sd for reading in rounds]]), len(shift), axis=0)
    weight = shift_weight
    if missed.any():
        # Two worlds: nothing was done after the recording's end, or the usual was.
        nothing = min(r.nothing for r, more in zip(rounds, missed, strict=True) if more)
        if begun[missed > 0].any():
            odds = BEGUN_ELSEWHERE * nothing / (1 - nothing)
            nothing = odds / (1 + odds)
        read = np.concatenate([read, read + missed[None, :, None]])
        with_rest = np.concatenate([with_rest, with_rest + missed[None, :, None]])
        run_on = np.tile(run_on, (2, 1))
        sd = np.concatenate([sd, np.hypot(sd, FILLED_SPREAD * missed)])
        weight = np.concatenate([nothing * weight, (1 - nothing) * weight])
    scale_sd = known[0].scale_sd
    if unit != "seconds" and scale_sd <= LEAST_FACTOR_SD:
        sd = np.hypot(sd, scale_sd * read[:, :, 0])
    elif unit != "seconds":
        factor = np.exp(FACTOR_NODES * scale_sd)
        factor_weight = FACTOR_WEIGHTS / FACTOR_WEIGHTS.sum()
        read = (factor[:, None, None, None] * read[None]).reshape(-1, *read.shape[1:])
        with_rest = (factor[:, None, None, None] * with_rest[None]).reshape(-1, len(rounds), 2)
        run_on = np.tile(run_on, (len(factor), 1))
        sd = np.tile(sd, (len(factor), 1))
        weight = (factor_weight[:, None] * weight[None]).ravel()
    return Evidence(
        measure=unit,
        weight=weight / weight.sum(),
        read=read,
        with_rest=with_rest,
        run_on=run_on,
        pieces=pieces_of(scored),
        sd=sd,
        skipped=skipped,
        unseen=unseen,
        covered=np.array([reading.covered for reading in rounds]),
        recorded=np.ones(len(weight), dtype=bool),
        machine=known[0].machine,
        pulls_in_rests=_pulls_in_rests(question, scored),
    )


def _mixture(counted: Evidence, prior: Evidence, ownership: float) -> Evidence:
    """The counted scenarios where the recording is the athlete's, the expected ones where not."""
    if ownership >= 1.0:
        return counted
    return replace(
        counted,
        weight=np.concatenate([counted.weight * ownership, prior.weight * (1 - ownership)]),
        read=np.concatenate([counted.read, prior.read]),
        with_rest=np.concatenate([counted.with_rest, prior.with_rest]),
        run_on=np.concatenate([counted.run_on, prior.run_on]),
        sd=np.concatenate([counted.sd, prior.sd]),
        recorded=np.concatenate([counted.recorded, prior.recorded]),
    )


def _shifts(question: ScoreQuestion, round_s: float) -> tuple[Floats, Floats]:
    """Where else the bells may lie on the recording (s later than the best place), and weights."""
    sd_s = float(np.hypot(question.placement_sd_s, BELL_SD_S))
    count = int(np.clip(np.ceil(2 * SHIFT_REACH * sd_s / SHIFT_STEP_S), FEWEST_SHIFTS, MOST_SHIFTS))
    nodes = np.linspace(-SHIFT_REACH, SHIFT_REACH, count + 1 - count % 2)
    shift = nodes * sd_s
    weight = (1 + nodes**2 / 5) ** -3
    weight *= question.placement_probability / weight.sum()
    left = 1.0 - question.placement_probability
    if left <= 1e-6:
        return shift, weight / weight.sum()
    others = [(other.offset_s, other.probability) for other in question.other_placements]
    if not others:
        others = [(-round_s, 1.0), (round_s, 1.0)]
    total = sum(probability for _, probability in others)
    shift = np.concatenate([shift, [offset for offset, _ in others]])
    weight = np.concatenate([weight, [left * probability / total for _, probability in others]])
    return shift, weight / weight.sum()


def skipped_rounds(question: ScoreQuestion, scored: Scored) -> Bools:
    """Which rounds were not attempted, by the measured intervals, or else by the notes."""
    attempted = {
        (interval.round, interval.step): interval.attempted for interval in question.intervals
    }
    notes = question.logged.notes if question.logged is not None else ""
    said = rounds_left_out(notes, question.block.rounds)
    return np.array([_skipped(steps, attempted, said) for steps in scored.rounds], dtype=bool)


def _skipped(
    steps: Sequence[ScoredStep],
    attempted: Mapping[tuple[int, int], bool | None],
    said: Sequence[int],
) -> bool:
    seen = [attempted.get((step.planned.round, step.planned.step)) for step in steps]
    if all(each is False for each in seen):
        return True
    return steps[0].planned.round in said and not any(seen)


def _begun_elsewhere(question: ScoreQuestion, scored: Scored) -> Bools:
    """(k,) Rounds with tasks off the machine that were seen to begin: idle there, not skipped."""
    begun = {
        (interval.round, interval.step)
        for interval in question.intervals
        if interval.attempted is True
    }
    return np.array(
        [
            any(
                (step.planned.round, step.planned.step) in begun
                and not all(task.on_machine for task in step.planned.tasks)
                for step in steps
            )
            for steps in scored.rounds
        ],
        dtype=bool,
    )


def pieces_of(scored: Scored) -> Floats:
    """(k,) Readings of the display that make each round's value."""
    return np.array([float(len(steps)) for steps in scored.rounds])


def _pulls_in_rests(question: ScoreQuestion, scored: Scored) -> bool:
    gaps = [(step.end_s + 3.0, step.next_work_s - 1.0) for step in scored.steps]
    return any(
        min(end, gap_end) - max(start, gap_start) > 2.0
        for count in question.counts
        for start, end in count.pulls
        for gap_start, gap_end in gaps
    )
