"""What the devices say a score could have been: weighted scenarios, round by round.

A scenario is one place of the bells on the machine's recording together with one factor by which
the count may be off. Each gives what the display showed at the bells and some seconds later.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from ingest.recording import Floats
from reconcile.plan import Measure, Take
from reconcile.score.expected import expectation
from reconcile.score.notes import rounds_left_out
from reconcile.score.question import MachineCount, ScoreQuestion
from reconcile.score.scored import Scored, ScoredStep, finishing_amounts, take_of

Bools = NDArray[np.bool_]

# Seconds after the bell at which a display may be read: up to 3 s is what a class hears and does
# (the contract's own tolerance); later, until the flywheel has run out.
PROMPT_DELAYS_S = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
LATE_DELAYS_S = np.array([4.0, 5.0, 6.5, 8.0, 10.0, 13.0, 17.0, 22.0, 30.0])
DELAYS_S = np.concatenate([PROMPT_DELAYS_S, LATE_DELAYS_S])

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

# A count's own doubt is never less than this (between two displayed numbers; clock grain).
LEAST_SD: dict[Measure, float] = {"calories": 0.06, "metres": 0.6, "reps": 0.5, "seconds": 0.35}
# What a missing stretch is filled with is known to about this share; where nothing was recorded,
# rounds of one person vary by about that.
FILLED_SPREAD = 0.25
ROUND_SPREAD = 0.35
# How probably a score counts what the flywheel adds in work off the machine right after the bell.
RUN_ON_COUNTS = 0.6
# Tasks off the machine that were seen to begin make it so many times less probable that nothing
# followed on the machine after a recording's end.
BEGUN_ELSEWHERE = 0.2
# A step known to less than this share does not count as directly recorded.
LEAST_COVER = 0.5
# Seconds of machine time around a step within which its finish is looked for, and the grain.
FINISH_GRAIN_S = 0.1


@dataclass(frozen=True, eq=False)
class Evidence:
    """Scenarios (g) of the value of each round (k), read at each of `DELAYS_S` (d).

    weight: (g,), sums to 1. read: (g, k, d), continuous; `read[:, :, 0]` is at the bells.
    with_rest: (g, k, 2), the display left running until the next work step, and until the next
    scored one (the block's end after the last).
    run_on: (g, k), what the flywheel adds in work off the machine that follows without a rest.
    pieces: (k,), how many readings of the display make a round's value.
    sd: (g, k), the doubt of each value beside the scenario. skipped: (k,), rounds not attempted.
    covered: (k,), share of the round's scored work that is known. unseen: (k,), rounds that count
    in a total for what may have been done after the recording's end, though probably nothing was.
    recorded: (g,), which scenarios rest on a recording and not on mere expectation.
    machine: the machine that counted; None without one. pulls_in_rests: it was used in rests.
    """

    measure: Measure
    weight: Floats
    read: Floats
    with_rest: Floats
    run_on: Floats
    pieces: Floats
    sd: Floats
    skipped: Bools
    unseen: Bools
    covered: Floats
    recorded: Bools
    machine: str | None
    pulls_in_rests: bool

    @property
    def direct(self) -> bool:
        """Whether a machine counted at least half of what is scored."""
        return bool(self.recorded.any() and self.covered.mean() >= LEAST_COVER)

    @property
    def counting(self) -> Bools:
        """(k,) Which rounds count in a lowest, highest or mean: a skipped one does in seconds."""
        if self.measure == "seconds":
            return np.ones(len(self.skipped), dtype=bool)
        return ~self.skipped | self.unseen

    @property
    def best(self) -> int:
        """The likeliest scenario, of those that rest on a recording where there are any."""
        known = self.weight * self.recorded if self.recorded.any() else self.weight
        return int(np.argmax(known))


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


def _counted_evidence(
    question: ScoreQuestion, scored: Scored, unit: Measure, skipped: Bools
) -> Evidence | None:
    shift, shift_weight = _shifts(question, question.block.round_s)
    step_values: list[list[StepReading | None]] = [
        [_step_reading(step, question.counts, unit, shift) for step in steps]
        for steps in scored.rounds
    ]
    known = [reading for steps in step_values for reading in steps if reading is not None]
    if not known:
        return None
    rounds = [
        _round_reading(steps, readings, known, unit, bool(skip))
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


def _step_reading(
    step: ScoredStep, counts: Sequence[MachineCount], unit: Measure, shift: Floats
) -> StepReading | None:
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


def _round_reading(
    steps: Sequence[ScoredStep],
    readings: Sequence[StepReading | None],
    known: Sequence[StepReading],
    unit: Measure,
    skipped: bool,
) -> RoundReading:
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


def recorded_value(evidence: Evidence, take: Take) -> tuple[float, float, float] | None:
    """(best value, low, high) of the score at the bells, 95 % range; None if nothing recorded it.

    The range mixes the scenarios, each with the doubt of its rounds.
    """
    if not evidence.direct:
        return None
    rows = np.flatnonzero(evidence.recorded)
    counting = evidence.counting
    weight = evidence.weight[rows] / evidence.weight[rows].sum()
    at_bell = evidence.read[rows][:, :, 0]
    doubt = evidence.sd[rows]
    if evidence.run_on[rows].max() > 0:
        # "Over a round's work steps" may or may not mean those in which only the flywheel worked.
        at_bell = np.concatenate([at_bell + evidence.run_on[rows], at_bell])
        doubt = np.concatenate([doubt, doubt])
        weight = np.concatenate([weight * RUN_ON_COUNTS, weight * (1 - RUN_ON_COUNTS)])
    values = np.array([take_of(row[counting], take) for row in at_bell])
    if not np.isfinite(values).all():
        return None
    sd = np.array(
        [
            # A score to which no round counts is 0, and no surer than one count.
            max(take_sd(row[counting], own[counting], take), LEAST_SD[evidence.measure])
            for row, own in zip(at_bell, doubt, strict=True)
        ]
    )
    best = float(values[int(np.argmax(weight))])

    def share_below(x: float) -> float:
        return float(weight @ ndtr((x - values) / sd))

    low_x, high_x = float((values - 8 * sd).min()), float((values + 8 * sd).max())
    low = brentq(lambda x: share_below(x) - 0.025, low_x, high_x)
    high = brentq(lambda x: share_below(x) - 0.975, low_x, high_x)
    return best, min(max(0.0, float(low)), best), max(float(high), best)


def take_sd(values: Floats, sd: Floats, take: Take) -> float:
    """Standard deviation of a take over independent rounds (the extreme round's, for extremes)."""
    if take == "total":
        return float(np.sqrt((sd**2).sum()))
    if take == "mean":
        return float(np.sqrt((sd**2).sum()) / len(sd))
    index = int(np.argmin(values)) if take == "lowest" else int(np.argmax(values))
    return float(sd[index])
