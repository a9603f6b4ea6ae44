"""One athlete measured: intervals, tracks for drawing, and the questions that their scores ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.recording import Floats
from reconcile.advice import block_advice
from reconcile.align.heart import heart_grid
from reconcile.align.whole_class import Placed
from reconcile.classes import Athlete, ClassRecord
from reconcile.counts import PlacedCount
from reconcile.display import power_from_calories, power_from_speed
from reconcile.effort import heart_answers
from reconcile.energy.evidence import StepEvidence
from reconcile.energy.logged import logged_steps
from reconcile.intervals import (
    LEFT_OUT,
    heart_levels,
    interval,
    left_out_before,
    mean_power,
    pulls_of_step,
    usual_active_s,
    work_on_machine,
)
from reconcile.learnt import AthleteHistory
from reconcile.machine import DRAG, MachineTrack
from reconcile.plan import TimedBlock
from reconcile.restarted import joined_hearts, joined_tracks
from reconcile.result import Advice, Interval, Track
from reconcile.score.expected import usual_machine_s
from reconcile.score.left_out import said_left_out
from reconcile.score.question import ScoreQuestion
from reconcile.score.scored import scored_steps
from reconcile.shared_machine import machine_turns, split_by_turn
from reconcile.sheet import Steps, athlete_steps, equipment_of, logged_row, option_of
from reconcile.through_bells import cut_at_bells
from reconcile.timeline import PlannedStep, unfold_block


@dataclass(frozen=True, eq=False)
class AthleteWork:
    """What is gathered of one athlete before scores can be compared within the class.

    block_start_s: this athlete's start of each timed block on the class clock.
    placed: the recordings that belong to the athlete and have a place.
    machines: each block's machine work on the block's clock, cut where it goes on through bells.
    known: what earlier classes taught about the athlete.
    """

    athlete: Athlete
    steps: Steps
    block_start_s: dict[str, float]
    placed: tuple[Placed, ...]
    intervals: tuple[Interval, ...]
    questions: tuple[ScoreQuestion, ...]
    advice: tuple[Advice, ...]
    tracks: tuple[Track, ...]
    machines: dict[str, tuple[MachineTrack, ...]]
    known: AthleteHistory


def measure(
    record: ClassRecord, athlete: Athlete, placed: Sequence[Placed], known: AthleteHistory
) -> AthleteWork:
    """One athlete's intervals, advice and the questions that their scores ask."""
    steps = athlete_steps(record, athlete)
    own = tuple(
        item
        for item in placed
        if athlete.athlete in item.owners and item.placement.status in ("aligned", "ambiguous")
    )
    intervals: list[Interval] = []
    questions: list[ScoreQuestion] = []
    advice: list[Advice] = []
    starts: dict[str, float] = {}
    machines: dict[str, tuple[MachineTrack, ...]] = {}
    for block in record.plan.timed_blocks:
        block_steps = steps[block.name]
        tracks = [
            (item, track)
            for item in own
            if (track := _block_track(record, item, athlete, block.name)) is not None
        ]
        heart = _block_heart(own, block.name)
        answers = {}
        if heart is not None:
            answers = heart_answers(heart[2], heart[3], block_steps)
        on_clock = None if heart is None else (heart[0], heart[1])
        whole = joined_tracks([track for _, track in tracks])
        worked = machines[block.name] = tuple(cut_at_bells(track, block_steps) for track in whole)
        on_machine = work_on_machine(worked, block_steps)
        usual_s = usual_active_s(on_machine)
        levels = {} if on_clock is None else heart_levels(on_clock, block_steps)
        said = said_left_out(logged_row(record, athlete.athlete, block.name), block)
        before = left_out_before(block_steps, on_machine, answers, usual_s, levels, said)
        done = tuple(
            interval(
                block_steps,
                index,
                worked,
                on_clock,
                answers,
                usual_s,
                levels.get((step.round, step.step)),
                before.get((step.round, step.step), LEFT_OUT),
            )
            for index, step in enumerate(block_steps)
        )
        intervals.extend(done)
        start = _class_start(own, block.name)
        if start is not None:
            starts[block.name] = start
        advice.extend(block_advice(block, block_steps, done))
        if block.score is not None:
            asked = _question(record, athlete, block, block_steps, done, own, tracks)
            questions.append(replace(asked, earlier_power_w=_earlier_power_w(known, asked)))
    return AthleteWork(
        athlete,
        steps,
        starts,
        own,
        tuple(intervals),
        tuple(questions),
        tuple(advice),
        tuple(_track(item) for item in own),
        machines,
        known,
    )


def _earlier_power_w(known: AthleteHistory, asked: ScoreQuestion) -> tuple[float, ...]:
    """The athlete's power on this machine in earlier blocks that left it as much time."""
    planned_s = usual_machine_s(scored_steps(asked.block, asked.steps))
    return () if planned_s is None else known.earlier_power_w(asked.equipment, planned_s)


def _class_start(own: Sequence[Placed], block: str) -> float | None:
    """A block's start for one athlete on the class clock, by the surest of their recordings."""
    known = [
        (item.placement.block_sd_s.get(block, np.inf), item.placement.start_s + start)
        for item in own
        if (start := item.start_of(block)) is not None
    ]
    return min(known)[1] if known else None


def _block_track(
    record: ClassRecord, item: Placed, athlete: Athlete, block: str
) -> MachineTrack | None:
    """The athlete's own machine work on a block's clock; None without a machine or a place."""
    start = item.start_of(block)
    if item.signals.track is None or start is None:
        return None
    track = item.signals.track.shifted(-start)
    if len(item.owners) < 2:
        return track
    people = {a.athlete: a for a in record.athletes}
    first = people[item.owners[0]]
    turns = {}
    for name in item.owners:
        person = people[name]
        own_steps = unfold_block(
            next(b for b in record.plan.timed_blocks if b.name == block),
            option_of(record, name, block),
            person.station,
        )
        turns[name] = machine_turns(own_steps, person.delay_s - first.delay_s)
    mine = split_by_turn(track, turns)[athlete.athlete]
    return mine.shifted(-(athlete.delay_s - first.delay_s))


def _block_heart(own: Sequence[Placed], block: str) -> tuple[Floats, Floats, Floats, float] | None:
    """(time_s on the block's clock, bpm, 2 s grid, the block's start on the grid's clock).

    Of several recordings with a heart rate, the one that covers the block best, and what others
    have before and after it.
    """
    found = [
        (int(np.count_nonzero(np.isfinite(item.signals.heart))), item, start)
        for item in own
        if (start := item.start_of(block)) is not None and len(item.signals.heart)
    ]
    if not found:
        return None
    found.sort(key=lambda one: -one[0])
    parts = []
    for _, item, start in found:
        recording = item.signals.upload.recording
        assert recording is not None
        assert recording.heart_rate_bpm is not None
        bpm = np.where(recording.heart_rate_bpm > 25, recording.heart_rate_bpm, np.nan)
        parts.append((recording.time_s - start, bpm))
    time_s, bpm = joined_hearts(parts)
    if len(time_s) == len(parts[0][0]):
        return time_s, bpm, found[0][1].signals.heart, found[0][2]
    return time_s, bpm, heart_grid(time_s - time_s[0], bpm), -float(time_s[0])


def _track(item: Placed) -> Track:
    recording = item.signals.upload.recording
    assert recording is not None
    machine = item.signals.track
    shift = item.placement.start_s
    return Track(
        recording.time_s + shift,
        recording.heart_rate_bpm,
        None if machine is None else machine.pulled_power_w,
        ()
        if machine is None
        else tuple((pull.start_s + shift, pull.end_s + shift) for pull in machine.pulls),
    )


def _question(
    record: ClassRecord,
    athlete: Athlete,
    block: TimedBlock,
    steps: tuple[PlannedStep, ...],
    done: tuple[Interval, ...],
    own: Sequence[Placed],
    tracks: Sequence[tuple[Placed, MachineTrack]],
) -> ScoreQuestion:
    logged = logged_row(record, athlete.athlete, block.name)
    equipment = logged.equipment if logged is not None else None
    if equipment is None:
        equipment = equipment_of(record, athlete.athlete)  # type: ignore[assignment]
    if equipment is None and tracks:
        equipment = tracks[0][1].machine
    best = tracks[0][0] if tracks else None
    watch = [item for item in own if item.signals.track is None]
    return ScoreQuestion(
        block=block,
        steps=steps,
        athlete=athlete,
        logged=logged,
        equipment=equipment,
        intervals=done,
        counts=tuple(PlacedCount(track, _cut_off(item)) for item, track in tracks),
        placement_sd_s=best.placement.block_sd_s.get(block.name, 2.0) if best else 0.5,
        placement_probability=_block_probability(best, block.name) if best else 1.0,
        ownership_probability=best.ownership if best else 1.0,
        owner_stated=best is None or athlete.athlete in best.signals.upload.athletes,
        watch_calories=tuple(n for item in watch for n in _watch_calories(item, block)),
        has_heart_rate=any(
            len(item.signals.heart) and item.start_of(block.name) is not None for item in own
        ),
    )


def _cut_off(item: Placed) -> bool:
    """Whether a file ends before its recording did."""
    upload = item.signals.upload
    assert upload.recording is not None
    problems = (*upload.problems, *upload.recording.problems)
    return any(problem.code == "truncated" for problem in problems)


def _block_probability(item: Placed, block: str) -> float:
    return next((b.probability for b in item.placement.blocks if b.block == block), 0.0)


def _watch_calories(item: Placed, block: TimedBlock) -> list[float]:
    """Numbers that a watch may have shown as its own estimate."""
    recording = item.signals.upload.recording
    assert recording is not None
    out = []
    if recording.total_calories:
        out.append(float(recording.total_calories))
    start = item.start_of(block.name)
    if recording.calories is not None and start is not None:
        known = np.isfinite(recording.calories)
        if known.any():
            ends = np.interp(
                [start, start + block.duration_s],
                recording.time_s[known],
                recording.calories[known],
            )
            out.extend([float(ends[1] - ends[0]), float(recording.calories[known][-1])])
    return [number for number in out if number > 0]


def energy_evidence(record: ClassRecord, work: AthleteWork) -> list[StepEvidence]:
    """What the energy of an athlete's steps is worked out from."""
    evidence: list[StepEvidence] = []
    done_at = iter(work.intervals)
    equipment = equipment_of(record, work.athlete.athlete)
    logged_machine = next((machine for machine in DRAG if machine == equipment), None)
    for block in record.plan.timed_blocks:
        steps = work.steps[block.name]
        logged = next((q.logged for q in work.questions if q.block.name == block.name), None)
        by_step = logged_steps(logged, block, steps)
        tracks = work.machines[block.name]
        for index, step in enumerate(steps):
            done = next(done_at)
            pulls = max(
                (_pulls(track, steps, index) for track in tracks),
                key=lambda found: sum(high - low for low, high, _ in found),
                default=(),
            )
            evidence.append(
                StepEvidence(
                    planned=step,
                    block_start_s=work.block_start_s.get(block.name, 0.0),
                    attempted=done.attempted,
                    effort_start_s=done.effort_start_s,
                    effort_end_s=done.effort_end_s,
                    machine=tracks[0].machine if tracks else logged_machine,
                    pulls=pulls,
                    machine_recorded=done.machine_active_s is not None,
                    load_kg=logged.load_kg if logged is not None else None,
                    logged=by_step.get((step.round, step.step)),
                )
            )
    return evidence


def _pulls(
    track: MachineTrack, steps: Sequence[PlannedStep], index: int
) -> tuple[tuple[float, float, float], ...]:
    """The pulls of a step, from its start, each with its mean power (NaN where unknown)."""
    return tuple(
        (
            pull.start_s - steps[index].start_s,
            pull.end_s - steps[index].start_s,
            _pull_power(track, pull.start_s, pull.end_s),
        )
        for pull in pulls_of_step(track, steps, index)
    )


def _pull_power(track: MachineTrack, start_s: float, end_s: float) -> float:
    """Mean power of a pull, W: as recorded, else by what the count or the distance grew; or NaN."""
    power_w = mean_power(track, [(start_s, end_s)])
    if power_w is not None:
        return power_w
    times_s, seconds = np.array([start_s, end_s]), end_s - start_s
    if track.calories is not None:
        counted = float(np.diff(track.calories_at(times_s))[0])
        return max(power_from_calories(counted, seconds), 0.0)
    if track.metres is not None:
        return power_from_speed(
            float(np.diff(track.metres_at(times_s))[0]) / seconds, track.machine
        )
    return float("nan")
