"""Each step of each round as it was done: machine work, effort, heart rate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.effort import HeartAnswer
from reconcile.machine import MachineTrack, Pull
from reconcile.pulling import longest_step_s
from reconcile.result import Interval
from reconcile.timeline import PlannedStep

# People take the handle a moment before the bell; a pull begun this early is the coming step's.
EARLY_START_S = 3.0
LEAST_WORK_S = 3.0
# Two recordings of one machine's work see nearly the same of it.
SAME_WORK_SHARE = 0.8
HEART_WINDOW_S = 3.0
LEAST_HEART_SHARE = 0.5
LONGEST_HEART_GAP_S = 10.0
DROP_AFTER_S = 60.0
# How often a round is left out, and how the heart's answer (1 is the usual one) then and otherwise
# spreads beside its own error. Judgement, checked by simulation.
LEFT_OUT = 0.06
# The same of a whole round of several work steps, and of one of them alone; and the most that one
# step says of the others of its round. Judgement.
ROUND_LEFT_OUT, STEP_LEFT_OUT = 0.035, 0.03
MOST_SAID_BY_A_STEP = 30.0
ANSWER_LEFT_OUT, ANSWER_DONE = (0.05, 0.15), (1.0, 0.30)
# Heart rate that stood as low as in the rests speaks for a round left out; a sensor's drop-out can
# look the same, so that it is not taken for more than this.
LOW_LEVEL, HIGH_LEVEL, LOW_LEVEL_ODDS = 0.3, 0.5, 30.0
LEVEL_AFTER_S = 5.0
LEAST_RISE_BPM = 12.0
SURELY_LEFT_OUT, SURELY_DONE = 0.5, 0.03
# Where the other rounds left so much time for the machine, a round without any was not begun.
USUAL_ACTIVE_S = 10.0


@dataclass(frozen=True, eq=False)
class StepMachine:
    """The machine's part in one step, times from the step's planned start."""

    pulls: tuple[Pull, ...]
    active_s: float
    calories: float | None
    metres: float | None
    mean_power_w: float | None


def step_machine(
    track: MachineTrack, steps: Sequence[PlannedStep], index: int
) -> StepMachine | None:
    """What the machine recorded in one step; None where the recording does not cover it.

    track: on the block's clock. A pull belongs whole to the step in which it began.
    """
    step = steps[index]
    pulls = pulls_of_step(track, steps, index)
    first, last = float(track.time_s[0]), float(track.time_s[-1])
    begins_with_work = bool(track.pulls) and track.pulls[0].start_s - first < 3.0
    if last < step.start_s + 1.0 or (first > step.end_s - 1.0 and not begins_with_work):
        return None
    if last < step.end_s - 1.0 and not pulls and last < step.start_s + 5.0:
        return None
    inside = [(max(p.start_s, step.start_s), min(p.end_s, step.end_s)) for p in pulls]
    active_s = sum(max(high - low, 0.0) for low, high in inside)
    calories = metres = None
    if track.calories is not None:
        calories = float(np.diff(track.calories_at(np.array([step.start_s, step.end_s])))[0])
    if track.metres is not None:
        metres = float(np.diff(track.metres_at(np.array([step.start_s, step.end_s])))[0])
    return StepMachine(
        tuple(
            Pull(p.start_s - step.start_s, p.end_s - step.start_s, p.mean_power_w) for p in pulls
        ),
        active_s,
        calories if calories is None else max(calories, 0.0),
        metres if metres is None else max(metres, 0.0),
        mean_power(track, inside),
    )


def pulls_of_step(
    track: MachineTrack, steps: Sequence[PlannedStep], index: int
) -> tuple[Pull, ...]:
    """The pulls that began in a step; one begun just before a work step's bell is its own."""
    step = steps[index]
    low = step.start_s - (EARLY_START_S if step.kind == "work" else 0.0)
    following = steps[index + 1] if index + 1 < len(steps) else None
    early = EARLY_START_S if following is not None and following.kind == "work" else 0.0
    if following is None:
        early = -EARLY_START_S if step.kind == "work" else 0.0
    chosen = []
    for pull in track.pulls:
        if not low <= pull.start_s < step.end_s:
            continue
        into_next = pull.end_s - step.end_s
        if pull.start_s >= step.end_s - early and into_next > step.end_s - pull.start_s:
            continue
        if pull.start_s < step.start_s and pull.end_s - step.start_s <= step.start_s - pull.start_s:
            continue
        chosen.append(pull)
    return tuple(chosen)


def mean_power(track: MachineTrack, inside: Sequence[tuple[float, float]]) -> float | None:
    """Mean pulled power over stretches of pulling, W; a sample counts by its share of them.

    A sample stands for the time since the one before it.
    """
    if track.pulled_power_w is None or not inside:
        return None
    before = np.concatenate([track.time_s[:1], track.time_s[:-1]])
    weight = np.zeros(len(track.time_s))
    for low, high in inside:
        weight += np.maximum(np.minimum(track.time_s, high) - np.maximum(before, low), 0.0)
    weight[~track.pulling | (track.time_s - before > longest_step_s(track.time_s))] = 0.0
    total = float(weight.sum())
    return float(weight @ track.pulled_power_w) / total if total > 0 else None


def interval(
    steps: Sequence[PlannedStep],
    index: int,
    tracks: Sequence[MachineTrack],
    heart: tuple[Floats, Floats] | None,
    answers: Mapping[tuple[int, int], HeartAnswer],
    usual_s: float,
    level: float | None = None,
    left_out: float = LEFT_OUT,
) -> Interval:
    """One step as it was done.

    tracks, heart (time_s, bpm): on the block's clock. usual_s: see `usual_active_s`. level: of
    `heart_levels`. left_out: of `left_out_before`.
    """
    step = steps[index]
    machine = _best_machine(tracks, steps, index)
    mean_hr = peak_hr = drop = None
    if heart is not None:
        mean_hr, peak_hr = _heart_in(heart, step.start_s, step.end_s)
        if step.kind == "rest" and step.duration_s >= DROP_AFTER_S:
            drop = _heart_drop(heart, step.start_s)
    machine_start = machine_end = None
    if machine is not None and machine.pulls:
        machine_start, machine_end = machine.pulls[0].start_s, machine.pulls[-1].end_s
    answer = answers.get((step.round, step.step))
    attempted = _attempted(step, machine, (answer, level), usual_s, left_out)
    effort_start = effort_end = None
    if step.kind == "work" and attempted:
        effort_start, effort_end = _effort(step, machine_start, machine_end, answer)
    return Interval(
        block=step.block,
        round=step.round,
        step=step.step,
        kind=step.kind,
        planned_s=step.duration_s,
        attempted=attempted,
        effort_start_s=effort_start,
        effort_end_s=effort_end,
        machine_start_s=machine_start,
        machine_end_s=machine_end,
        machine_active_s=None if machine is None else machine.active_s,
        machine_calories=None if machine is None else machine.calories,
        machine_metres=None if machine is None else machine.metres,
        mean_power_w=None if machine is None else machine.mean_power_w,
        mean_hr=mean_hr,
        peak_hr=peak_hr,
        hr_drop_60s=drop,
    )


def _best_machine(
    tracks: Sequence[MachineTrack], steps: Sequence[PlannedStep], index: int
) -> StepMachine | None:
    """Of several recordings the one that saw the step's work; work counts once.

    Of those that saw about all of it, one with the machine's own count.
    """
    seen = [
        (machine, track.counted)
        for track in tracks
        if (machine := step_machine(track, steps, index)) is not None
    ]
    most_s = max((machine.active_s for machine, _ in seen), default=0.0)
    enough = [(m, counted) for m, counted in seen if m.active_s >= SAME_WORK_SHARE * most_s]
    return max(enough, key=lambda one: (one[1], one[0].active_s), default=(None, False))[0]


def work_on_machine(
    tracks: Sequence[MachineTrack], steps: Sequence[PlannedStep]
) -> list[StepMachine | None]:
    """The machine's part in each work step; None in rests, and where no recording covers it."""
    return [
        _best_machine(tracks, steps, index) if step.kind == "work" else None
        for index, step in enumerate(steps)
    ]


def usual_active_s(machines: Sequence[StepMachine | None]) -> float:
    """Median seconds on the machine in the work steps that were done on it; 0 without any."""
    active = [found.active_s for found in machines if found is not None]
    return float(np.median([seconds for seconds in active if seconds > 0] or [0.0]))


def heart_levels(
    heart: tuple[Floats, Floats], steps: Sequence[PlannedStep]
) -> dict[tuple[int, int], float]:
    """How high heart rate stood late in each work step, by (round, step).

    1 is the athlete's usual height in the same step of the other rounds, 0 the lowest that they
    reached in the block. Empty where heart rate hardly moved or too few rounds are known.
    """
    time_s, bpm = heart
    reached = {}
    for step in steps:
        late = (time_s >= (step.start_s + step.end_s) / 2) & (time_s < step.end_s + LEVEL_AFTER_S)
        known = bpm[late & np.isfinite(bpm)]
        if step.kind == "work" and len(known) >= max(3, 0.15 * step.duration_s):
            reached[(step.round, step.step)] = float(np.median(known))
    inside = bpm[(time_s >= 0) & (time_s < steps[-1].end_s) & np.isfinite(bpm)]
    if len(inside) < 30:
        return {}
    low = float(np.percentile(inside, 5))
    levels = {}
    for (number, place), value in reached.items():
        same = [other for (_, at), other in reached.items() if at == place]
        usual = float(np.median(same))
        if len(same) >= 3 and usual - low >= LEAST_RISE_BPM:
            levels[(number, place)] = (value - low) / (usual - low)
    return levels


def left_out_before(
    steps: Sequence[PlannedStep],
    machines: Sequence[StepMachine | None],
    answers: Mapping[tuple[int, int], HeartAnswer],
    usual_s: float,
    levels: Mapping[tuple[int, int], float],
    said: Mapping[int, float],
) -> dict[tuple[int, int], float]:
    """How probable it is that each step was left out, before it is looked at, by (round, step).

    Who leaves out one work step of a round has often left out the whole round: what the machine and
    the heart tell of the others counts. machines: of `work_on_machine`. said: of rounds, by the
    athlete's own words.
    """
    odds: dict[int, dict[int, float]] = {}
    for step, machine in zip(steps, machines, strict=True):
        if step.kind == "work":
            key = step.round, step.step
            own = _odds(step, machine, answers.get(key), levels.get(key), usual_s)
            odds.setdefault(step.round, {})[step.step] = own
    several = len(odds) > 1
    before = {}
    for number, of_round in odds.items():
        for place in of_round:
            others = np.array([own for at, own in of_round.items() if at != place])
            left_out = LEFT_OUT
            if several and len(others):
                whole = ROUND_LEFT_OUT * float(np.prod(others))
                parted = (1 - ROUND_LEFT_OUT) * float(np.prod(1 + STEP_LEFT_OUT * (others - 1)))
                whole /= whole + parted
                left_out = whole + (1 - whole) * STEP_LEFT_OUT
            before[number, place] = said.get(number, left_out)
    return before


def _odds(
    step: PlannedStep,
    machine: StepMachine | None,
    answer: HeartAnswer | None,
    level: float | None,
    usual_s: float,
) -> float:
    """Ratio of what is known of a step if it was left out to the same if it was done."""
    odds = 1.0
    on_machine = [task.on_machine for task in step.tasks]
    if machine is not None and machine.active_s >= LEAST_WORK_S:
        odds = 0.0
    elif machine is not None and any(on_machine) and (all(on_machine) or usual_s >= USUAL_ACTIVE_S):
        odds = MOST_SAID_BY_A_STEP
    elif answer is not None or level is not None:
        even = _probably_left_out(answer, level, 0.5)
        odds = even / max(1 - even, 1e-9)
    return float(np.clip(odds, 1 / MOST_SAID_BY_A_STEP, MOST_SAID_BY_A_STEP))


def _attempted(
    step: PlannedStep,
    machine: StepMachine | None,
    heart: tuple[HeartAnswer | None, float | None],
    usual_s: float,
    left_out: float,
) -> bool | None:
    """Whether any task of a work step was begun, by the machine, else by the heart and the words.

    left_out: how probable it is without either that the step was left out.
    """
    if step.kind == "rest":
        return None
    if machine is not None and machine.active_s >= LEAST_WORK_S:
        return True
    on_machine = [task.on_machine for task in step.tasks]
    if machine is not None and on_machine and all(on_machine):
        return False
    missed = machine is not None and any(on_machine) and usual_s >= USUAL_ACTIVE_S
    answer, level = heart
    if answer is None and level is None:
        return False if missed or left_out > SURELY_LEFT_OUT else None
    left_out = _probably_left_out(answer, level, left_out)
    if left_out > (0.3 if missed else SURELY_LEFT_OUT):
        return False
    return True if left_out < (SURELY_DONE / 10 if missed else SURELY_DONE) else None


def _probably_left_out(answer: HeartAnswer | None, level: float | None, usual: float) -> float:
    """Probability that a step was left out, by how the heart answered it and how high it stood.

    usual: the same without the heart.
    """
    odds = usual / (1 - usual)
    if answer is not None:
        for (mean, spread), sign in ((ANSWER_LEFT_OUT, 1.0), (ANSWER_DONE, -1.0)):
            sd = float(np.hypot(answer.sd, spread))
            log_density = -0.5 * ((answer.share - mean) / sd) ** 2 - float(np.log(sd))
            odds *= float(np.exp(sign * np.clip(log_density, -30.0, 30.0)))
    if level is not None:
        odds *= LOW_LEVEL_ODDS if level < LOW_LEVEL else 1.0 if level < HIGH_LEVEL else 0.1
    return odds / (1 + odds)


def _effort(
    step: PlannedStep,
    machine_start_s: float | None,
    machine_end_s: float | None,
    answer: HeartAnswer | None,
) -> tuple[float | None, float | None]:
    """When the step's work began and ended: as the machine tells where it comes first or last.

    Else as heart rate tells, never inside the machine's part.
    """
    start = end = None
    if answer is not None:
        start = None if answer.start is None else answer.start.at_s
        end = None if answer.end is None else answer.end.at_s
        if start is not None and end is not None and end <= start:
            start = end = None
    if machine_start_s is not None and machine_end_s is not None and step.tasks:
        if step.tasks[0].on_machine:
            start = machine_start_s
        elif start is not None:
            start = min(start, machine_start_s)
        if step.tasks[-1].on_machine:
            end = machine_end_s
        elif end is not None:
            end = max(end, machine_end_s)
    return start, end


def _heart_at(heart: tuple[Floats, Floats], at_s: Floats) -> Floats:
    """Heart rate at given times, NaN where no sample is near: some watches record only changes."""
    time_s, bpm = heart
    good = np.isfinite(bpm)
    if np.count_nonzero(good) < 2:
        return np.full(len(at_s), np.nan)
    times = time_s[good]
    after = np.clip(np.searchsorted(times, at_s), 1, len(times) - 1)
    values = np.interp(at_s, times, bpm[good], left=np.nan, right=np.nan)
    return np.where(times[after] - times[after - 1] <= LONGEST_HEART_GAP_S, values, np.nan)


def _heart_in(
    heart: tuple[Floats, Floats], start_s: float, end_s: float
) -> tuple[float | None, float | None]:
    """Mean and highest heart rate in a window; None where less than half of it is known."""
    time_s, bpm = heart
    each_s = _heart_at(heart, np.arange(start_s + 0.5, end_s, 1.0))
    known = each_s[np.isfinite(each_s)]
    if len(known) < LEAST_HEART_SHARE * (end_s - start_s):
        return None, None
    inside = bpm[(time_s >= start_s) & (time_s < end_s) & np.isfinite(bpm)]
    return float(np.mean(known)), float(np.max(inside, initial=float(np.max(known))))


def _heart_drop(heart: tuple[Floats, Floats], start_s: float) -> float | None:
    """Heart rate at a rest's start less heart rate 60 s later, each the mean of a few seconds."""
    around_s = np.linspace(-HEART_WINDOW_S / 2, HEART_WINDOW_S / 2, 7)
    ends = [_heart_at(heart, at + around_s) for at in (start_s, start_s + DROP_AFTER_S)]
    if not all(np.isfinite(end).any() for end in ends):
        return None
    first, later = (float(np.nanmean(end)) for end in ends)
    return first - later
