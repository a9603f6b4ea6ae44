"""The whole line: align, measure, cost, judge, advise. One class in, one result out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ingest.recording import Problem
from reconcile.advice import sensor_advice
from reconcile.align.clocks import ahead_s
from reconcile.align.rhythm import may_pedal
from reconcile.align.signals import Signals, prepare
from reconcile.align.stopped_clock import on_device_clock
from reconcile.align.whole_class import Placed, place_class
from reconcile.classes import ClassRecord, Upload
from reconcile.energy.evidence import EnergyAnswer
from reconcile.energy.steps import step_energies
from reconcile.heart_rate import athlete_heart_rate, doubtful_share
from reconcile.history import History
from reconcile.measure import AthleteWork, energy_evidence, measure
from reconcile.result import AthleteResult, ClassResult, RecordingResult
from reconcile.score.judge import judge, recorded_rounds
from reconcile.sheet import equipment_of, logged_row

Progress = Callable[[str, int, int], None]
# A sensor is worth a word where so much of its heart rate in the blocks is hardly trusted.
DOUBTFUL_SHARE = 0.15
# A clock is worth a word where it is further out than people would call punctual.
CLOCK_OUT_S = 10.0


@dataclass(frozen=True, eq=False)
class Workings:
    """A result together with what it was worked out from, for explaining it.

    placed: every readable recording by file. energy: each athlete's, step by step and by model.
    """

    result: ClassResult
    placed: Mapping[str, Placed]
    energy: Mapping[str, EnergyAnswer]


def reconcile_class(record: ClassRecord, progress: Progress | None = None) -> ClassResult:
    """Reconcile one class; see `workings`."""
    return workings(record, progress).result


def workings(record: ClassRecord, progress: Progress | None = None) -> Workings:
    """Reconcile one class, and keep what the result was worked out from.

    What cannot be used of its history is left out; whoever read the history tells what that is.

    progress: called with a stage's name, how many parts of it are done, and how many there are.
    """
    tell = progress or _silent
    signals: list[Signals] = []
    for number, upload in enumerate(record.uploads):
        tell("look at recordings", number, len(record.uploads))
        equipment = next((equipment_of(record, name) for name in upload.athletes), None)
        own = (row for row in record.scores if row.athlete in upload.athletes)
        pedals = may_pedal(record.plan, {row.equipment for row in own if row.equipment})
        prepared = prepare(upload, equipment, pedals=pedals)
        if prepared is not None:
            signals.append(prepared)
    tell("place recordings", 0, 1)
    known = History.read(record.history)[0].before(record.start)
    placed = place_class(record, signals, known)
    works: list[AthleteWork] = []
    for number, athlete in enumerate(record.athletes):
        tell("measure athletes", number, len(record.athletes))
        works.append(measure(record, athlete, tuple(placed.values()), known.of(athlete.athlete)))
    others = _recorded_by_all(works)
    athletes: list[AthleteResult] = []
    energies: dict[str, EnergyAnswer] = {}
    for number, work in enumerate(works):
        tell("work out energy and scores", number, len(works))
        result, energies[work.athlete.athlete] = _athlete_result(record, work, placed, others)
        athletes.append(result)
    unassigned = tuple(
        _recording_result(upload, placed.get(upload.file), (), record.start)
        for upload in record.uploads
        if not upload.athletes
    )
    return Workings(ClassResult(record.plan.title, tuple(athletes), unassigned), placed, energies)


def _silent(stage: str, done: int, total: int) -> None:
    """Progress that nobody asked for."""


def _recorded_by_all(works: Sequence[AthleteWork]) -> dict[str, dict[str, tuple[float, ...]]]:
    """Per scored block, per athlete: what a machine recorded in each scored round."""
    out: dict[str, dict[str, tuple[float, ...]]] = {}
    for work in works:
        for question in work.questions:
            values = recorded_rounds(question)
            if values:
                out.setdefault(question.block.name, {})[work.athlete.athlete] = values
    return out


def _athlete_result(
    record: ClassRecord,
    work: AthleteWork,
    placed: Mapping[str, Placed],
    others: Mapping[str, Mapping[str, tuple[float, ...]]],
) -> tuple[AthleteResult, EnergyAnswer]:
    name = work.athlete.athlete
    heart, doubts = athlete_heart_rate(
        {
            item.placement.file: (item.signals.upload.recording, item.placement.start_s)
            for item in work.placed
            if item.signals.upload.recording is not None
        }
    )
    energy = step_energies(
        work.athlete,
        energy_evidence(record, work),
        heart,
        on=record.start.date(),
        earlier=work.known.own_line(),
    )
    intervals = tuple(
        replace(done, energy=cost) for done, cost in zip(work.intervals, energy.steps, strict=True)
    )
    scores = []
    for question in work.questions:
        block = question.block.name
        asked = replace(
            question,
            intervals=tuple(done for done in intervals if done.block == block),
            others={a: v for a, v in others.get(block, {}).items() if a != name},
            others_logged={
                a.athlete: row
                for a in record.athletes
                if a.athlete != name and (row := logged_row(record, a.athlete, block)) is not None
            },
        )
        scores.append(judge(asked))
    advice = list(work.advice)
    spans = [
        (start, start + block.duration_s)
        for block in record.plan.timed_blocks
        if (start := work.block_start_s.get(block.name)) is not None
    ]
    if heart is not None and doubtful_share(heart, spans) > DOUBTFUL_SHARE:
        advice.append(sensor_advice())
    if doubts:
        # What the sources of energy disagree about is the athlete's: told once, with the heart.
        file = next(iter(doubts))
        doubts[file] = (*doubts[file], *(p for p in energy.problems if p not in doubts[file]))
    result = AthleteResult(
        name,
        tuple(
            _recording_result(
                upload, placed.get(upload.file), doubts.get(upload.file, ()), record.start
            )
            for upload in record.uploads
            if upload.athletes and upload.athletes[0] == name
        ),
        intervals,
        tuple(scores),
        tuple(advice),
        work.block_start_s,
        work.tracks,
        energy.own_line,
    )
    return result, energy


def _recording_result(
    upload: Upload, item: Placed | None, doubts: Sequence[Problem], stated_start: datetime
) -> RecordingResult:
    """A file's entry: as placed, or why it could not be read."""
    recording = upload.recording
    problems = list(upload.problems)
    if recording is not None:
        problems += [problem for problem in recording.problems if problem not in problems]
    if recording is None or item is None:
        return RecordingResult(
            upload.file, upload.source, None, "unreadable", None, 0, None, 0.0, (), tuple(problems)
        )
    placement = item.placement
    blocks, clock = placement.blocks, item.signals.device_clock
    if clock is not None:
        blocks = on_device_clock(blocks, clock)
    problems += [problem for problem in doubts if problem not in problems]
    problems += clock_problems(item, stated_start)
    owner: str | tuple[str, ...] | None = None
    if item.owners:
        owner = item.owners[0] if len(item.owners) == 1 else item.owners
    return RecordingResult(
        upload.file,
        upload.source,
        recording.format,
        placement.status,
        recording.start,
        recording.sample_count,
        owner,
        item.ownership,
        blocks,
        tuple(problems),
    )


def clock_problems(item: Placed, stated_start: datetime) -> list[Problem]:
    """That a placed recording's clock is out, by how much."""
    recording = item.signals.upload.recording
    if recording is None or recording.start is None or item.placement.status != "aligned":
        return []
    out_s = ahead_s(recording, stated_start, item.placement.start_s)
    if abs(out_s) <= CLOCK_OUT_S:
        return []
    direction = "ahead of" if out_s > 0 else "behind"
    return [
        Problem(
            "clock_out",
            f"The device's clock is about {abs(out_s):.0f} s {direction} the class's; the samples"
            " themselves were used to place it.",
        )
    ]
