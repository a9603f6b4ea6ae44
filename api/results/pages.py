"""The sheets of a result as pieces of a page, drawn when the result is made."""

from __future__ import annotations

import json
import zlib
from collections import Counter
from dataclasses import dataclass, replace

from api.sheet.page import class_page
from reconcile.classes import ClassRecord
from reconcile.result import AthleteResult, ClassResult, RecordingResult


@dataclass(frozen=True)
class Sheets:
    """Style and body of the class's page, and of one page for each athlete (by handle)."""

    whole: str
    athletes: dict[str, str]


def rendered(record: ClassRecord, result: ClassResult, names: dict[str, str]) -> bytes:
    """Draw every sheet, people by their names (of handles); compressed."""
    labels = labels_of(names)
    athletes = {
        athlete.athlete: class_page(*named(*only(record, result, athlete), labels))
        for athlete in result.athletes
    }
    text = json.dumps({"whole": class_page(*named(record, result, labels)), "athletes": athletes})
    return zlib.compress(text.encode())


def labels_of(names: dict[str, str]) -> dict[str, str]:
    """What each athlete is called on a sheet: the name, with the handle where two share it."""
    counts = Counter(names.values())
    return {
        handle: name if counts[name] == 1 else f"{name} ({handle})"
        for handle, name in names.items()
    }


def named(
    record: ClassRecord, result: ClassResult, labels: dict[str, str]
) -> tuple[ClassRecord, ClassResult]:
    """The same class with people by their names."""

    def label(handle: str) -> str:
        return labels.get(handle, handle)

    def owner(found: RecordingResult) -> RecordingResult:
        whose = found.belongs_to
        if isinstance(whose, tuple):
            return replace(found, belongs_to=tuple(label(handle) for handle in whose))
        return found if whose is None else replace(found, belongs_to=label(whose))

    return (
        replace(
            record,
            athletes=tuple(replace(a, athlete=label(a.athlete)) for a in record.athletes),
            scores=tuple(replace(s, athlete=label(s.athlete)) for s in record.scores),
            uploads=tuple(
                replace(u, athletes=tuple(label(handle) for handle in u.athletes))
                for u in record.uploads
            ),
        ),
        replace(
            result,
            athletes=tuple(
                replace(
                    a,
                    athlete=label(a.athlete),
                    recordings=tuple(owner(found) for found in a.recordings),
                )
                for a in result.athletes
            ),
            unassigned=tuple(owner(found) for found in result.unassigned),
        ),
    )


def sheets_of(data: bytes) -> Sheets:
    """Undo `rendered`."""
    read = json.loads(zlib.decompress(data))
    return Sheets(read["whole"], read["athletes"])


def only(
    record: ClassRecord, result: ClassResult, athlete: AthleteResult
) -> tuple[ClassRecord, ClassResult]:
    """A class as if there had been one athlete: what that athlete may see of it."""
    name = athlete.athlete
    seen = private_athlete(athlete)
    return (
        replace(
            record,
            athletes=tuple(a for a in record.athletes if a.athlete == name),
            scores=tuple(score for score in record.scores if score.athlete == name),
            uploads=tuple(upload for upload in record.uploads if name in upload.athletes),
            pins=(),
            problems=(),
        ),
        replace(result, athletes=(seen,), unassigned=()),
    )


OTHER = "It fits a recording of somebody else in the class."


def private_athlete(athlete: AthleteResult) -> AthleteResult:
    """An athlete's result without the name of anybody else."""
    name = athlete.athlete
    recordings = tuple(
        recording
        if recording.belongs_to in (name, None)
        else replace(recording, belongs_to=name if name in recording.belongs_to else None)
        if isinstance(recording.belongs_to, tuple)
        else replace(recording, belongs_to=None)
        for recording in athlete.recordings
    )
    scores = tuple(
        replace(
            score,
            explanations=tuple(
                replace(reason, text=OTHER) if reason.code == "other_athlete" else reason
                for reason in score.explanations
            ),
        )
        for score in athlete.scores
    )
    return replace(athlete, recordings=recordings, scores=scores)


def piece(page: str) -> tuple[str, str]:
    """Style and body of a whole page, to be put into another."""
    style = page.partition("<style>")[2].partition("</style>")[0]
    body = page.partition("<body")[2].partition(">")[2].rpartition("</body>")[0]
    return style, body
