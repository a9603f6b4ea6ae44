"""A whole class placed: every recording under its bell, and every file with its owner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ingest.recording import Floats
from reconcile.align.grid import STEP_S
from reconcile.align.joint import JointEstimate
from reconcile.align.owners import (
    OTHER_EQUIPMENT,
    SAME_EQUIPMENT,
    SECOND_SENSOR,
    TWO_MACHINES,
    ClassSignal,
    best_of_gains,
    device_evidence,
    heart_explained_by,
    heart_level_evidence,
    heart_signal,
    plan_signal,
    power_signal,
    same_heart_evidence,
    same_work_evidence,
    score_evidence,
)
from reconcile.align.ownership import Ownership, assign_owners, name_prior
from reconcile.align.place import Assignment, Placement, place, support_under
from reconcile.align.priors import class_prior
from reconcile.align.signals import Signals
from reconcile.align.stopped_clock import place_stopped, stood_still, usual_starts
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Pin
from reconcile.history import History
from reconcile.machine import MachineTrack
from reconcile.plan import Measure
from reconcile.score.scored import take_of
from reconcile.timeline import PlannedStep, unfold_block

Steps = Mapping[str, tuple[PlannedStep, ...]]
# Where nothing but the name speaks for an owner, and nothing against.
SURELY = 0.98


@dataclass(frozen=True, eq=False)
class Placed:
    """A recording with a place in the class, and whose it is (nobody's: no owners).

    odds: how probable each owner is, likeliest first; empty where there was nothing to weigh.
    """

    signals: Signals
    owners: tuple[str, ...]
    ownership: float
    placement: Placement
    odds: tuple[tuple[str | None, float], ...] = ()

    def start_of(self, block: str) -> float | None:
        """The block's start on the recording's clock; None where it has no part of the block."""
        return next((b.start_s for b in self.placement.blocks if b.block == block), None)


def option_of(record: ClassRecord, athlete: str, block: str) -> str | None:
    """The option an athlete did: as logged for the block, else as logged for any other."""
    own = [row for row in record.scores if row.athlete == athlete and row.option]
    named = next((row.option for row in own if row.block == block), None)
    return named or next((row.option for row in own), None)


def equipment_of(record: ClassRecord, athlete: str) -> str | None:
    """The machine that an athlete logged, if any."""
    return next((r.equipment for r in record.scores if r.athlete == athlete and r.equipment), None)


def row_of(record: ClassRecord, athlete: str, block: str) -> LoggedScore | None:
    """An athlete's row for a block: the row that names it, or the one that names none."""
    own = [row for row in record.scores if row.athlete == athlete]
    named = next((row for row in own if row.block == block), None)
    return named or next((row for row in own if row.block is None), None)


def athlete_steps(record: ClassRecord, athlete: Athlete) -> Steps:
    """An athlete's own timeline of every timed block: option and station applied."""
    return {
        block.name: unfold_block(
            block, option_of(record, athlete.athlete, block.name), athlete.station
        )
        for block in record.plan.timed_blocks
    }


def place_class(
    record: ClassRecord, signals: Sequence[Signals], history: History
) -> dict[str, Placed]:
    """Every readable recording placed: the class under its one bell, those alone each by itself.

    history: what earlier classes taught about whose devices these are.
    """
    athletes = {a.athlete: a for a in record.athletes}
    timelines = {name: athlete_steps(record, a) for name, a in athletes.items()}
    pinned_owners = {
        pin.file: tuple(pin.owner.split("+")) for pin in record.pins if pin.owner is not None
    }
    alone: dict[datetime, list[Assignment]] = {}
    together: list[Assignment] = []
    for item in signals:
        owners = pinned_owners.get(item.upload.file, item.upload.athletes)
        assignment = assign(record, item, owners, timelines)
        known = [athletes[name] for name in owners if name in athletes]
        if len(known) == 1 and known[0].start is not None:
            alone.setdefault(known[0].start, []).append(assignment)
        else:
            together.append(assignment)
    placed: dict[str, Placed] = {}
    for start, assignments in alone.items():
        _, compared, placements = _place_group(record, start, assignments, alone=True)
        moved = (start - record.start).total_seconds()
        for assignment, placement in zip(compared, placements, strict=True):
            placed[placement.file] = Placed(
                assignment.signals, assignment.owners, SURELY, placement.moved(moved)
            )
    joint, compared, placements = _place_group(record, record.start, together, alone=False)
    owned = _owners(record, timelines, compared, placements, joint, pinned_owners, history)
    changed = False
    for number, (assignment, ownership) in enumerate(zip(together, owned, strict=True)):
        owner = () if ownership.owner is None else (ownership.owner,)
        if len(assignment.owners) < 2 and owner and owner != assignment.owners:
            moved_to = assign(record, assignment.signals, owner, timelines)
            changed = changed or not _same_timeline(assignment, moved_to)
            together[number] = moved_to
    if changed:
        joint, compared, placements = _place_group(record, record.start, together, alone=False)
    for assignment, ownership, placement in zip(compared, owned, placements, strict=True):
        owners = assignment.owners
        if len(owners) < 2:
            owners = () if ownership.owner is None else (ownership.owner,)
        placed[placement.file] = Placed(
            assignment.signals, owners, ownership.probability, placement, ownership.odds
        )
    return placed


def assign(
    record: ClassRecord,
    item: Signals,
    owners: tuple[str, ...],
    timelines: Mapping[str, Steps],
) -> Assignment:
    """A recording compared with the timeline of its owners, or with the plan as written."""
    known = [a for name in owners for a in record.athletes if a.athlete == name]
    generic = {block.name: unfold_block(block) for block in record.plan.timed_blocks}
    return Assignment(
        item,
        owners,
        known[0].delay_s if known else 0.0,
        timelines[known[0].athlete] if known else generic,
        tuple((a.delay_s, timelines[a.athlete]) for a in known) or ((0.0, generic),),
    )


def _same_timeline(first: Assignment, second: Assignment) -> bool:
    return first.delay_s == second.delay_s and first.steps == second.steps


def _place_group(
    record: ClassRecord, start: datetime, assignments: Sequence[Assignment], *, alone: bool
) -> tuple[JointEstimate, list[Assignment], list[Placement]]:
    """The bell, and every recording of a group with its place; a stopped clock's spread out."""
    pins: dict[str, dict[str, Pin]] = {}
    for pin in record.pins:
        if pin.block is not None and pin.start_s is not None:
            pins.setdefault(pin.file, {})[pin.block] = pin
    starts_s = (
        {} if alone else {name: (at - start).total_seconds() for name, at in record.starts.items()}
    )
    prior = class_prior(record.plan, record.start_tolerance_s, starts_s, alone=alone)
    usual_s = usual_starts(record.plan)
    stopped = [stood_still(record.plan, assignment, usual_s) for assignment in assignments]
    running = [a for a, stood in zip(assignments, stopped, strict=True) if not stood]
    joint, found = place(record.plan, prior, start, running, pins)
    bells_s = [first * STEP_S for first in joint.starts]
    still_to_come = iter(zip(running, found, strict=True))
    placed = [
        place_stopped(record.plan, a, bells_s, pins.get(a.signals.upload.file, {}))
        if stood
        else next(still_to_come)
        for a, stood in zip(assignments, stopped, strict=True)
    ]
    return joint, [assignment for assignment, _ in placed], [placement for _, placement in placed]


def _owners(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    together: Sequence[Assignment],
    placements: Sequence[Placement],
    joint: JointEstimate,
    pinned: Mapping[str, tuple[str, ...]],
    history: History,
) -> list[Ownership]:
    """An owner for every recording of the class, machines first, then heart rates."""
    people = [a for a in record.athletes if a.start is None]
    names = [a.athlete for a in people]
    out = {
        p.file: Ownership(p.file, a.owners[0] if a.owners else None, SURELY)
        for a, p in zip(together, placements, strict=True)
    }
    rows = [
        n
        for n, placement in enumerate(placements)
        if placement.status in ("aligned", "ambiguous")
        and len(together[n].owners) < 2
        and placement.file not in pinned
    ]
    if rows and names:
        known = _Known(record, timelines, people, together, placements, joint, history)
        solved = assign_owners(
            [placements[n].file for n in rows],
            [together[n].owners[0] if together[n].owners else None for n in rows],
            names,
            known.alone(rows),
            known.pairs(rows),
        )
        out.update({item.file: item for item in solved})
    return [out[p.file] for p in placements]


def _overlaps(spans: Sequence[tuple[float, float]]) -> list[list[bool]]:
    """Which recordings ran at the same time for longer than a minute."""
    return [[min(a + n, b + m) - max(a, b) > 60.0 for b, m in spans] for a, n in spans]


class _Known:
    """What ownership is judged by: who takes part, what they logged, where every file lies."""

    def __init__(
        self,
        record: ClassRecord,
        timelines: Mapping[str, Steps],
        people: Sequence[Athlete],
        together: Sequence[Assignment],
        placements: Sequence[Placement],
        joint: JointEstimate,
        history: History,
    ) -> None:
        self.record = record
        self.timelines = timelines
        self.people = people
        self.together = together
        self.placements = placements
        self.joint = joint
        self.history = history
        self.plans = {
            a.athlete: plan_signal(
                [start * STEP_S + a.delay_s for start in joint.starts],
                [timelines[a.athlete][block.name] for block in record.plan.timed_blocks],
            )
            for a in people
        }
        self.generic = self.plans[people[0].athlete]
        self.answers: dict[bytes, Floats] = {}

    def power(self, n: int) -> ClassSignal:
        """A machine's work on the class clock."""
        track = self.together[n].signals.track
        assert track is not None
        return power_signal(track, self.placements[n].start_s)

    def heart(self, n: int) -> ClassSignal:
        """A recording's heart rate on the class clock."""
        return heart_signal(self.together[n].signals, self.placements[n].start_s)

    def gains(self, heart: int, plan: ClassSignal, machines: Sequence[int]) -> Floats:
        """How much better each machine's work explains a heart than the plan alone."""
        signal = self.heart(heart)
        alone = heart_explained_by(signal, [plan])
        return np.array(
            [heart_explained_by(signal, [plan, self.power(n)]) - alone for n in machines]
        )

    def alone(self, rows: Sequence[int]) -> Floats:
        """(file, athlete + 1) log prior and evidence of each owner, nobody last."""
        names = [a.athlete for a in self.people]
        out = np.array([name_prior(self.together[n].owners, names) for n in rows])
        for row, n in enumerate(rows):
            out[row, :-1] += self.timeline_support(n)
            out[row, :-1] += self.device(n, names)
            if len(self.together[n].signals.heart):
                out[row, :-1] += heart_level_evidence(
                    self.together[n].signals.heart, self.people, self.record.start.year
                )
            if self.together[n].signals.track is None:
                continue
            for column, athlete in enumerate(self.people):
                equipment = equipment_of(self.record, athlete.athlete)
                if equipment is not None:
                    same = equipment == self.together[n].signals.machine
                    out[row, column] += SAME_EQUIPMENT if same else OTHER_EQUIPMENT
                out[row, column] += _scores(
                    self.record,
                    athlete,
                    self.together[n],
                    self.placements[n],
                    self.timelines[athlete.athlete],
                )
        return out

    def device(self, n: int, names: Sequence[str]) -> Floats:
        """Whose device recorded a file, as earlier classes know it."""
        recording = self.together[n].signals.upload.recording
        mark = None if recording is None else recording.device_mark
        seen = self.history.sightings(mark) if mark is not None else {}
        return device_evidence(seen, names, worn=self.together[n].signals.track is None)

    def pairs(self, rows: Sequence[int]) -> Floats:
        """(file, file) log evidence that two files belong to one athlete."""
        out = np.zeros((len(rows), len(rows)))
        machines = [i for i, n in enumerate(rows) if self.together[n].signals.track is not None]
        watches = [i for i in range(len(rows)) if i not in machines]
        hearts = {i for i, n in enumerate(rows) if len(self.together[n].signals.heart)}
        spans = [(self.placements[n].start_s, self.together[n].signals.length_s) for n in rows]
        overlap = _overlaps(spans)
        sure = [self.placements[n].status == "aligned" for n in rows]
        for w in watches:
            if w in hearts and machines:
                owners = self.together[rows[w]].owners
                plan = self.plans.get(owners[0] if owners else "", self.generic)
                gains = self.gains(rows[w], plan, [rows[m] for m in machines])
                out[w, machines] += best_of_gains(gains)
                out[machines, w] = out[w, machines]
        for i in range(len(rows)):
            for j in range(i):
                if not overlap[i][j]:
                    continue
                if i in hearts and j in hearts:
                    out[i, j] += same_heart_evidence(self.heart(rows[i]), self.heart(rows[j]))
                if not (sure[i] and sure[j]):
                    pass  # where a file lies must be known before it can be at once with another
                elif i in machines and j in machines:
                    out[i, j] += TWO_MACHINES + same_work_evidence(
                        self.power(rows[i]), self.power(rows[j])
                    )
                elif i in watches and j in watches:
                    out[i, j] += SECOND_SENSOR
                out[j, i] = out[i, j]
        return out

    def timeline_support(self, n: int) -> Floats:
        """How well each athlete's own timeline fits a recording, the best one being 0."""
        supports: dict[tuple[object, ...], float] = {}
        keys = [
            (
                a.delay_s,
                a.station,
                *(option_of(self.record, a.athlete, b.name) for b in self.record.plan.timed_blocks),
            )
            for a in self.people
        ]
        if len(set(keys)) == 1:
            return np.zeros(len(keys))
        for athlete, key in zip(self.people, keys, strict=True):
            if key not in supports:
                assignment = assign(
                    self.record, self.together[n].signals, (athlete.athlete,), self.timelines
                )
                supports[key] = support_under(
                    self.record.plan, assignment, self.joint, self.record.start, self.answers
                )
        best = max(supports.values())
        return np.array([max(supports[key] - best, -12.0) for key in keys])


def _scores(
    record: ClassRecord,
    athlete: Athlete,
    assignment: Assignment,
    placement: Placement,
    steps: Steps,
) -> float:
    """How well the athlete's logged scores fit the machine's count at the bells."""
    total = 0.0
    track = assignment.signals.track
    assert track is not None
    for block in record.plan.timed_blocks:
        start = next((b.start_s for b in placement.blocks if b.block == block.name), None)
        logged = row_of(record, athlete.athlete, block.name)
        if block.score is None or start is None or logged is None:
            continue
        rounds = rounds_measured(track.shifted(-start), steps[block.name], block.score.measure)
        if rounds is None or len(rounds) == 0:
            continue
        if logged.rounds is not None and len(logged.rounds) == len(rounds):
            each = [score_evidence(a, b) for a, b in zip(logged.rounds, rounds, strict=True)]
            total += float(np.clip(np.sum(each) / 2, -4.0, 6.0))
        elif logged.score is not None:
            total += score_evidence(logged.score, take_of(rounds, block.score.take))
    return total


def rounds_measured(
    track: MachineTrack, steps: Sequence[PlannedStep], measure: Measure
) -> Floats | None:
    """Each round's value at the bells by the machine's count, on the block's clock.

    Calories or metres counted in the work steps, or the seconds until a fixed amount was counted;
    None where the machine tells neither.
    """
    work = [step for step in steps if step.kind == "work"]
    numbers = np.array([step.round for step in work])
    if measure == "seconds":
        finished = [_finish_s(track, step) for step in work]
        if any(value is None for value in finished):
            return None
        values = np.array(finished, dtype=np.float64)
    else:
        counter = track.calories if measure == "calories" else track.metres
        if counter is None or measure == "reps":
            return None
        edges = np.array([(step.start_s, step.end_s) for step in work])
        values = np.diff(np.interp(edges, track.time_s, counter), axis=1)[:, 0]
    return np.array([values[numbers == number].sum() for number in np.unique(numbers)])


def _finish_s(track: MachineTrack, step: PlannedStep) -> float | None:
    """Seconds from a step's start to the end of its fixed amount on the machine, its last task."""
    if not step.tasks or not step.tasks[-1].on_machine or step.tasks[-1].amount is None:
        return None
    counter = track.metres if step.tasks[-1].measure == "metres" else track.calories
    if counter is None:
        return None
    begun = float(np.interp(step.start_s, track.time_s, counter))
    reached = np.flatnonzero(
        (counter >= begun + step.tasks[-1].amount) & (track.time_s > step.start_s)
    )
    if len(reached) == 0:
        return step.duration_s
    return float(min(track.time_s[reached[0]] - step.start_s, step.duration_s))
