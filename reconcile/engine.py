"""The whole line: align, measure, cost, judge, advise. One class in, one result out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from ingest.recording import Problem
from reconcile.advice import sensor_advice
from reconcile.align.signals import Signals, prepare
from reconcile.align.whole_class import Placed, equipment_of, place_class
from reconcile.classes import ClassRecord, Upload
from reconcile.energy.steps import step_energies
from reconcile.heart_rate import athlete_heart_rate
from reconcile.measure import AthleteWork, energy_evidence, measure
from reconcile.result import AthleteResult, ClassResult, RecordingResult
from reconcile.score.judge import judge
from reconcile.score.judge import recorded_rounds

Progress = Callable[[str, int, int], None]


def reconcile_class(record: ClassRecord, progress: Progress | None = None) -> ClassResult:
    """Reconcile one class.

    progress: called with a stage's name, how many parts of it are done, and how many there are.
    """
    tell = progress or _silent
    signals: list[Signals] = []
    for number, upload in enumerate(record.uploads):
        tell("look at recordings", number, len(record.uploads))
        equipment = next((equipment_of(record, name) for name in upload.athletes), None)
        prepared = prepare(upload, equipment)
        if prepared is not None:
            signals.append(prepared)
    tell("place recordings", 0, 1)
    placed = place_class(record, signals)
    works: list[AthleteWork] = []
    for number, athlete in enumerate(record.athletes):
        tell("measure athletes", number, len(record.athletes))
        works.append(measure(record, athlete, tuple(placed.values())))
    others = _recorded_by_all(works)
    athletes: list[AthleteResult] = []
    for number, work in enumerate(works):
        tell("work out energy and scores", number, len(works))
        athletes.append(_athlete_result(record, work, placed, others))
    unassigned = tuple(
        _recording_result(upload, placed.get(upload.file), {})
        for upload in record.uploads
        if not upload.athletes
    )
    return ClassResult(record.plan.title, tuple(athletes), unassigned)


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
) -> AthleteResult:
    name = work.athlete.athlete
    heart, doubts = athlete_heart_rate(
        [
            (item.signals.upload.recording, item.placement.start_s)
            for item in work.placed
            if item.signals.upload.recording is not None
        ]
    )
    energy = step_energies(
        work.athlete,
        energy_evidence(record, work),
        heart,
        on=record.start.date(),
        history=record.history,
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
        )
        scores.append(judge(asked))
    advice = list(work.advice)
    problems = (*doubts, *(p for p in energy.problems if p not in doubts))
    if any(problem.code.startswith("heart_rate") for problem in problems):
        advice.append(sensor_advice())
    extra = {name: problems}
    return AthleteResult(
        name,
        tuple(
            _recording_result(upload, placed.get(upload.file), extra)
            for upload in record.uploads
            if upload.athletes and upload.athletes[0] == name
        ),
        intervals,
        tuple(scores),
        tuple(advice),
        work.block_start_s,
        work.tracks,
    )


def _recording_result(
    upload: Upload, item: Placed | None, extra: Mapping[str, tuple[Problem, ...]]
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
    for owner in item.owners:
        problems += extra.get(owner, ())
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
        placement.blocks,
        tuple(problems),
    )
