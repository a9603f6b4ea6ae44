"""A result document read back: the values that pages and tables are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from api.folder.recordings import read_file_name
from api.results.record import Inputs, athlete_of, logged_of
from api.storage.moments import with_offset
from ingest.recording import Problem
from reconcile.classes import ClassRecord, Upload
from reconcile.plan_text import read_plan
from reconcile.result import (
    Advice,
    AthleteResult,
    BlockPlacement,
    ClassResult,
    Energy,
    Explanation,
    Interval,
    RecordingResult,
    ScoreResult,
)

Values = Mapping[str, Any]


def class_result(document: Values) -> ClassResult:
    """Undo `reconcile.document.class_document`, apart from what it leaves out.

    Signals, block starts on the class clock and an athlete's own line are not in a document.
    """
    return ClassResult(
        title=document["title"],
        athletes=tuple(athlete_result(athlete) for athlete in document["athletes"]),
        unassigned=tuple(recording_result(recording) for recording in document["unassigned"]),
    )


def athlete_result(values: Values) -> AthleteResult:
    """One athlete: files uploaded, steps, scores, advice."""
    return AthleteResult(
        athlete=values["athlete"],
        recordings=tuple(recording_result(recording) for recording in values["recordings"]),
        intervals=tuple(interval(step) for step in values["intervals"]),
        scores=tuple(score_result(score) for score in values["scores"]),
        advice=tuple(Advice(**advice) for advice in values["advice"]),
    )


def recording_result(values: Values) -> RecordingResult:
    """One file."""
    owner = values["belongs_to"]
    first = values["first_sample"]
    return RecordingResult(
        **{
            **values,
            "first_sample": None if first is None else datetime.fromisoformat(first),
            "belongs_to": tuple(owner) if isinstance(owner, list) else owner,
            "blocks": tuple(BlockPlacement(**block) for block in values["blocks"]),
            "problems": tuple(Problem(**problem) for problem in values["problems"]),
        }
    )


def interval(values: Values) -> Interval:
    """One step of one round."""
    energy = values["energy"]
    return Interval(**{**values, "energy": None if energy is None else Energy(**energy)})


def score_result(values: Values) -> ScoreResult:
    """One scored block."""
    reasons = tuple(Explanation(**reason) for reason in values["explanations"])
    return ScoreResult(**{**values, "explanations": reasons})


def record_without_signals(inputs: Inputs) -> ClassRecord:
    """The class as its sheets have it: everybody, what was logged, and whose each file is.

    Recordings are not decoded: what came of them stands in the result.
    """
    found = inputs.found
    handles = [person.handle for _, person in inputs.people]
    return ClassRecord(
        plan=read_plan(inputs.version.text),
        start=with_offset(found.start, found.start_offset_s),
        start_tolerance_s=found.start_tolerance_s,
        athletes=tuple(athlete_of(row, person) for row, person in inputs.people),
        scores=tuple(logged_of(row, handle) for row, handle in inputs.scores),
        uploads=tuple(
            Upload(row.file, name.athletes, name.source, None)
            for row in inputs.recordings
            for name in (read_file_name(row.file, handles),)
        ),
    )
