"""All evidence of whose a class's files are, gathered for `ownership`.

Everything is looked at on the athlete's own clock, on which the class's bells are their own: people
of several waves or stations follow several timelines, and where a recording lies depends on whose
it would be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment, assign
from reconcile.align.grid import STEP_S
from reconcile.align.heart_of_machine import Work, answered_best, explained_by, work_on
from reconcile.align.joint import JointEstimate
from reconcile.align.owners import (
    OTHER_EQUIPMENT,
    SAME_EQUIPMENT,
    SECOND_SENSOR,
    body_level,
    device_evidence,
    expected_heart_levels,
    heart_level_evidence,
    heart_levels,
    heart_signal,
    other_level_evidence,
    power_level,
    power_level_evidence,
    power_signal,
    same_heart_evidence,
    same_work_evidence,
)
from reconcile.align.ownership import NOBODYS, Claims, name_prior
from reconcile.align.place import Placement, fit_under_bell
from reconcile.align.sheet_of_machine import Count, count_of, sheet_evidence
from reconcile.align.sources import Findings
from reconcile.classes import Athlete, ClassRecord, LoggedScore
from reconcile.history import History
from reconcile.machine import DRAG, machines_told
from reconcile.score.scored import scored_steps
from reconcile.sheet import Steps
from reconcile.timeline import PlannedStep

# Of several timelines one that fits so much worse than the best (nats) is no further looked at, and
# none is ruled out by more.
LEAST_SUPPORT = -12.0
NOT_LOOKED_AT = -8.0
# From fewer levels of power it is not judged what is usual in a class.
FEWEST_LEVELS = 4
# Judgement, no source: strangers' files in a class, how many of its own are without a name, how
# often a stranger's fits the plan; and what `Placement.match` holds the odds of something else at
# the same hour to be.
STRANGERS, NAMELESS, FITTING = 0.125, 0.06, 0.1
ELSE_IN_MATCH, MOST_BEYOND_MATCH = 0.011, 25.0
# Files lie side by side where both run for longer than this.
LEAST_COMMON_S = 60.0


@dataclass(frozen=True, eq=False)
class ClassKnown:
    """What ownership is judged by.

    rows, equipment: what each athlete logged for each scored block, and with which machine.
    findings: in the recordings so far.
    """

    record: ClassRecord
    people: Sequence[Athlete]
    timelines: Mapping[str, Steps]
    equipment: Mapping[str, str | None]
    rows: Mapping[tuple[str, str], LoggedScore]
    joint: JointEstimate
    history: History
    findings: Findings


@dataclass(frozen=True, eq=False)
class _Place:
    """A recording's first sample on the own clock of one timeline, and how well that fits."""

    support: float
    first_s: float


class _Timelines:
    """The distinct timelines of a class, and where each recording lies if it follows each."""

    def __init__(self, known: ClassKnown) -> None:
        self.known = known
        self.blocks = known.record.plan.timed_blocks
        self.first: list[Athlete] = []
        numbers = []
        for athlete in known.people:
            alike = (n for n, other in enumerate(self.first) if self._same(athlete, other))
            number = next(alike, len(self.first))
            if number == len(self.first):
                self.first.append(athlete)
            numbers.append(number)
        self.of_person = np.array(numbers, dtype=np.intp)

    def _same(self, one: Athlete, other: Athlete) -> bool:
        steps = self.known.timelines
        return one.delay_s == other.delay_s and steps[one.athlete] == steps[other.athlete]

    @property
    def bells_s(self) -> list[float]:
        return [start * STEP_S for start in self.known.joint.starts]

    def steps(self, number: int) -> list[tuple[PlannedStep, ...]]:
        timeline = self.known.timelines[self.first[number].athlete]
        return [timeline[block.name] for block in self.blocks]

    def places(self, assignment: Assignment, placement: Placement) -> list[_Place]:
        """Where the recording lies under each timeline."""
        own_s = placement.start_s - assignment.delay_s
        if len(self.first) == 1:
            return [_Place(0.0, own_s)]
        found = []
        for athlete in self.first:
            steps = self.known.timelines[athlete.athlete]
            other = Assignment(
                assignment.signals, (athlete.athlete,), athlete.delay_s, steps,
                ((athlete.delay_s, steps),),
            )  # fmt: skip
            place = self._place(other)
            same = athlete.delay_s == assignment.delay_s and steps == assignment.steps
            found.append(_Place(place.support, own_s) if same else place)
        best = max(place.support for place in found)
        return [_Place(max(p.support - best, LEAST_SUPPORT), p.first_s) for p in found]

    def _place(self, assignment: Assignment) -> _Place:
        """The bell being known, how well a recording fits a timeline, and where it then lies."""
        known = self.known
        support, first_s = fit_under_bell(
            assignment, known.record.plan, known.joint.starts, known.record.start, known.findings
        )
        return _Place(support, first_s - assignment.delay_s)


def gather(
    known: ClassKnown, files: Sequence[Assignment], placements: Sequence[Placement]
) -> Claims:
    """Everything that speaks for and against each owner of each file."""
    timelines = _Timelines(known)
    places = [timelines.places(f, p) for f, p in zip(files, placements, strict=True)]
    alone = _alone(known, timelines, files, placements, places)
    pairs = _pairs(timelines, files, placements, places)
    names = [a.athlete for a in known.people]
    named = [names.index(f.owners[0]) if f.owners and f.owners[0] in names else -1 for f in files]
    worn = np.array([f.signals.track is None for f in files], dtype=np.bool_)
    return Claims(alone, pairs, timelines.of_person, np.array(named, dtype=np.intp), worn)


def _alone(
    known: ClassKnown,
    timelines: _Timelines,
    files: Sequence[Assignment],
    placements: Sequence[Placement],
    places: Sequence[Sequence[_Place]],
) -> Floats:
    """(file, athlete + 1) log prior and evidence of each owner, nobody last."""
    names = [a.athlete for a in known.people]
    worn = [f.signals.track is None for f in files]
    out = np.array(
        [
            name_prior(f.owners, names, nobodys_odds=_nobodys_odds(f, p, worn.count(False)))
            for f, p in zip(files, placements, strict=True)
        ]
    )
    for row, (file, own) in enumerate(zip(files, places, strict=True)):
        out[row, :-1] += np.array([place.support for place in own])[timelines.of_person]
        recording = file.signals.upload.recording
        mark = None if recording is None else recording.device_mark
        seen = known.history.sightings(mark) if mark is not None else {}
        out[row, :-1] += device_evidence(seen, names, worn=worn[row])
        if not worn[row]:
            out[row, :-1] += _by_equipment(file, [known.equipment[name] for name in names])
        elif not file.owners:
            out[row, :-1] += _by_left_out(known, file)
    out[:, :-1] += _off_the_sheet(known, timelines, files, places)
    out[:, :-1] += _by_power(known, files)
    out[:, :-1] += _by_heart(known, files)
    return out


def _by_equipment(file: Assignment, logged: Sequence[str | None]) -> Floats:
    """Per athlete, log evidence of the machine that they logged; 0 where either side says none.

    What kind of machine it was must be the file's own word: where it was taken from whoever
    uploaded it, it speaks for nobody.
    """
    upload = file.signals.upload
    assert upload.recording is not None
    told = machines_told(upload.recording, upload.source)
    if len(told) == len(DRAG):
        return np.zeros(len(logged))
    same = np.array([equipment in told for equipment in logged])
    said = np.array([equipment is not None for equipment in logged])
    return np.where(said, np.where(same, SAME_EQUIPMENT, OTHER_EQUIPMENT), 0.0)


def _by_left_out(known: ClassKnown, file: Assignment) -> Floats:
    """(athlete,) log evidence that a heart rested in the rounds that their lines say they left out.

    Told by hearts without a name alone: where a name stands on one, it is placed with its lines.
    """
    record, bells, said = known.record, known.joint.starts, np.zeros(len(known.people))

    def fits(way: Assignment) -> float:
        return fit_under_bell(way, record.plan, bells, record.start, known.findings)[0]

    for column, athlete in enumerate(known.people):
        theirs = assign(record, file.signals, (athlete.athlete,), known.timelines)
        if any(theirs.left_out.values()):
            said[column] = fits(theirs) - fits(replace(theirs, left_out={}))
    return said


def _nobodys_odds(file: Assignment, placement: Placement, machines: int) -> float | None:
    """Odds that a file is nobody's of this class; None where they are as usual.

    A heart without a date may be its athlete's own of another day: as probably as it does not fit.
    A machine's file may be a stranger's. How well it fits the plan says most: what fits badly at
    the same hour is oftener a stranger's than `Placement.match`, which reckons with all files,
    says. A class of so many machines leaves so many files without a name itself; few strangers'
    files come under the name of who had the machine.
    """
    recording = file.signals.upload.recording
    dated = recording is not None and recording.start is not None
    unlikely = (1 - placement.match) / max(placement.match, 1e-9)
    if file.signals.track is None:
        return NOBODYS + unlikely if file.owners and not dated else None
    if file.owners:
        return NOBODYS + (0.1 if dated else 0.01) * unlikely
    usual = STRANGERS / (NAMELESS * max(machines, 1))
    beyond = min(usual / ELSE_IN_MATCH, MOST_BEYOND_MATCH if dated else 2.0)
    return FITTING * usual + beyond * unlikely


def _by_power(known: ClassKnown, files: Sequence[Assignment]) -> Floats:
    """(file, athlete) log evidence of whose body has the power that a machine's file shows.

    What power is above a body's in this class is learnt from the names that files carry.
    """
    names = [a.athlete for a in known.people]
    day = known.record.start.date()
    bodies, spreads = np.array([body_level(a, day) for a in known.people]).T
    levels = [np.nan if (t := f.signals.track) is None else power_level(t) for f in files]
    above = [
        level - bodies[names.index(f.owners[0])]
        for f, level in zip(files, levels, strict=True)
        if np.isfinite(level) and f.owners and f.owners[0] in names
    ]
    usual = float(np.median(above)) if len(above) >= FEWEST_LEVELS else np.nan
    return np.stack([power_level_evidence(level, bodies, spreads, usual) for level in levels])


def _by_heart(known: ClassKnown, files: Sequence[Assignment]) -> Floats:
    """(file, athlete) log evidence of whose heart comes as high and as low as a file shows.

    How far this class takes hearts is learnt from the names that files carry.
    """
    names = [a.athlete for a in known.people]
    expected, spreads = expected_heart_levels(known.people, known.record.start.date())
    levels = np.array([heart_levels(file.signals.heart) for file in files])
    beyond = [
        level - expected[names.index(file.owners[0])]
        for file, level in zip(files, levels, strict=True)
        if np.isfinite(level).all() and file.owners and file.owners[0] in names
    ]
    if beyond:
        expected = expected + np.median(beyond, axis=0) * len(beyond) / (
            len(beyond) + FEWEST_LEVELS
        )
    return np.stack([heart_level_evidence(level, expected, spreads) for level in levels])


def _off_the_sheet(
    known: ClassKnown,
    timelines: _Timelines,
    files: Sequence[Assignment],
    places: Sequence[Sequence[_Place]],
) -> Floats:
    """(file, athlete) log evidence that the athlete's lines were read off the file's machine."""
    out = np.zeros((len(files), len(known.people)))
    for number, block in enumerate(timelines.blocks):
        if block.score is None:
            continue
        counts: dict[tuple[int, int], Count] = {}
        for timeline in range(len(timelines.first)):
            scored = scored_steps(block, timelines.steps(timeline)[number])
            for row, file in enumerate(files):
                place = places[row][timeline]
                if file.signals.track is None or place.support < NOT_LOOKED_AT:
                    continue
                on_block = place.first_s - timelines.bells_s[number]
                count = count_of(file.signals.track.shifted(on_block), scored)
                if count is not None:
                    counts[row, timeline] = count
        for (row, timeline), count in counts.items():
            alike = [
                other
                for (_, theirs), other in counts.items()
                if theirs == timeline and len(other.usual) == len(count.usual)
            ]
            usual = _mean_known([other.usual for other in alike])
            usual_other = _mean_known([other.usual_other for other in alike])
            for column in np.flatnonzero(timelines.of_person == timeline):
                line = known.rows.get((known.people[int(column)].athlete, block.name))
                if line is not None:
                    out[row, column] += sheet_evidence(
                        line.score, line.rounds, count, usual, usual_other
                    )
    return out


def _mean_known(rounds: Sequence[Floats]) -> Floats:
    """(round,) The mean over machines of what is known of each round; 0 where nothing is."""
    values = np.stack(rounds)
    known = np.isfinite(values)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.asarray(total / np.maximum(known.sum(axis=0), 1))


def _pairs(
    timelines: _Timelines,
    files: Sequence[Assignment],
    placements: Sequence[Placement],
    places: Sequence[Sequence[_Place]],
) -> Floats:
    """(timeline, file, file) log evidence that two files belong to one athlete who follows it."""
    count = len(files)
    out = np.zeros((len(timelines.first), count, count))
    machines = [i for i, f in enumerate(files) if f.signals.track is not None]
    hearts = [i for i, f in enumerate(files) if len(f.signals.heart)]
    watches = [i for i in hearts if i not in machines]
    for timeline, found in enumerate(out):
        looked_at = [own[timeline].support >= NOT_LOOKED_AT for own in places]
        first_s = [own[timeline].first_s for own in places]
        steps = timelines.steps(timeline)
        uses_machine = any(task.on_machine for b in steps for step in b for task in step.tasks)
        works: dict[int, Work] = {}
        for i in machines:
            track = files[i].signals.track
            assert track is not None
            if looked_at[i] and uses_machine:
                works[i] = work_on(track, first_s[i], timelines.bells_s, steps)
        numbers = list(works)
        for i in watches:
            if looked_at[i] and numbers:
                at = round(first_s[i] / 2.0)
                heart = files[i].signals.heart
                explained = np.array([explained_by(at, heart, work) for work in works.values()])
                says = answered_best(explained, int(np.count_nonzero(np.isfinite(heart))))
                found[i, numbers] += says
                found[numbers, i] += says
        for i in range(count):
            for j in range(i):
                if looked_at[i] and looked_at[j] and _at_once(files, first_s, i, j):
                    found[i, j] += _side_by_side(files, placements, first_s, i, j)
                    found[j, i] = found[i, j]
    return out


def _at_once(files: Sequence[Assignment], first_s: Sequence[float], i: int, j: int) -> bool:
    ends = [first_s[n] + files[n].signals.length_s for n in (i, j)]
    return min(ends) - max(first_s[i], first_s[j]) > LEAST_COMMON_S


def _side_by_side(
    files: Sequence[Assignment],
    placements: Sequence[Placement],
    first_s: Sequence[float],
    i: int,
    j: int,
) -> float:
    """Log evidence of two recordings at once: one heart, one machine's work, two devices."""
    said = 0.0
    if len(files[i].signals.heart) and len(files[j].signals.heart):
        said += same_heart_evidence(
            heart_signal(files[i].signals, first_s[i]), heart_signal(files[j].signals, first_s[j])
        )
    if not all(placements[n].status == "aligned" for n in (i, j)):
        return said  # where a file lies must be known before it can be at once with another
    one, other = files[i].signals.track, files[j].signals.track
    if one is not None and other is not None:
        works = power_signal(one, first_s[i]), power_signal(other, first_s[j])
        return said + same_work_evidence(*works) + other_level_evidence(one, other)
    if one is None and other is None:
        said += SECOND_SENSOR
    return said
