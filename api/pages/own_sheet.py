"""What an athlete's own sheet of a class says, as values; the templates put words to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from api.pages.file_words import words_for
from api.pages.round_strip import round_amount
from api.questions.schemas import DecisionAnswer, PinAnswer
from api.results.drawings import RecordingEvidence
from api.sheet.rows import Row, block_row, intended_time
from api.storage.model import Score
from reconcile.classes import ClassRecord, LoggedScore
from reconcile.plan import DurationRange, TimedBlock
from reconcile.result import AthleteResult, Interval, RecordingResult
from reconcile.score.notes import Said, read_notes


@dataclass(frozen=True)
class OwnRound:
    """One work step: its round, which work step of it (None where there is one), what followed.

    fall: by how many beats the heart rate fell in the first minute of the rest that follows.
    """

    number: int
    part: int | None
    step: Interval
    fall: float | None


@dataclass(frozen=True)
class LoggedBefore:
    """What was logged earlier and changed since."""

    score: float | None
    until: datetime


@dataclass(frozen=True)
class OwnBlock:
    """One timed block of one athlete.

    number: of the block on the page, from 1. logged: the row as logged; by_coach: a coach wrote
    it. before: earlier rows. said: what was read in its notes. decision: a coach's word on it.
    dispute: the athlete's own that stands. intended: how long the machine is meant to last.
    """

    number: int
    block: TimedBlock
    row: Row
    rounds: tuple[OwnRound, ...]
    logged: LoggedScore | None
    by_coach: bool
    before: tuple[LoggedBefore, ...]
    said: tuple[Said, ...]
    decision: DecisionAnswer | None
    dispute: DecisionAnswer | None
    intended: DurationRange | None

    @property
    def machine(self) -> bool:
        """Whether a machine's recording tells of it."""
        return any(each.step.machine_active_s is not None for each in self.rounds)

    @property
    def heart(self) -> bool:
        """Whether a heart rate tells of it."""
        return any(each.step.mean_hr is not None for each in self.rounds)

    @property
    def known(self) -> bool:
        """Whether anything tells of it."""
        return self.machine or self.heart or self.row.rounds_done is not None

    @property
    def written(self) -> tuple[float | None, ...]:
        """The rounds as written, each under its round; empty where it is not clear of which.

        As many as the plan has are of all, as many as were begun are of those.
        """
        values = (self.logged.rounds or ()) if self.logged is not None else ()
        begun = [
            any(r.step.attempted is not False for r in self.rounds if r.number == number)
            for number in range(1, self.block.rounds + 1)
        ]
        if len(values) == self.block.rounds:
            return values
        if not values or len(values) != sum(begun):
            return ()
        left = iter(values)
        return tuple(next(left) if did else None for did in begun)

    @property
    def amounts(self) -> tuple[float | None, ...]:
        """The machine's count of each round; empty where none counts what the score counts."""
        score = self.row.score
        if score is None or score.measure not in ("calories", "metres") or not self.machine:
            return ()
        return tuple(
            round_amount([r.step for r in self.rounds if r.number == number], score.measure)
            for number in range(1, self.block.rounds + 1)
        )

    @property
    def metres(self) -> bool:
        """Whether its count is in metres."""
        return self.block.score is not None and self.block.score.measure == "metres"


@dataclass(frozen=True)
class OwnFile:
    """A file of the athlete's: the upload, its entries in the result, and what tells of them.

    recording_id: None where the person may not see the upload itself. parts: the file, or a zip's
    members. waiting: no result knows it yet.
    """

    file: str
    recording_id: str | None
    parts: tuple[FilePart, ...]
    waiting: bool


@dataclass(frozen=True)
class FilePart:
    """One recording: how it fits, whose it seems to be, what to do, where it was fixed by hand.

    whose: it is the athlete's, somebody else's of the class, or nothing ties it to anybody.
    off_s: seconds from the class's start to the first sample, None where there is no date.
    """

    result: RecordingResult
    evidence: RecordingEvidence | None
    whose: Literal["own", "somebody", "nobody"]
    off_s: float | None
    to_do: tuple[str, ...]
    to_know: tuple[str, ...]
    pins: tuple[PinAnswer, ...]

    @property
    def silent(self) -> bool:
        """Whether it is a watch's and no heart was recorded."""
        return (
            self.result.source == "watch"
            and self.evidence is not None
            and not (self.evidence.heart_rate or self.evidence.machine)
        )


def own_blocks(
    record: ClassRecord,
    athlete: AthleteResult,
    rows: Sequence[Score],
    person_id: str,
    decisions: Mapping[str, DecisionAnswer],
    disputes: Mapping[str, DecisionAnswer],
) -> tuple[OwnBlock, ...]:
    """Every timed block; rows: the athlete's score rows, replaced ones too, in their order."""
    return tuple(
        own_block(number, record, athlete, block, rows, person_id, decisions, disputes)
        for number, block in enumerate(record.plan.timed_blocks, start=1)
    )


def own_block(
    number: int,
    record: ClassRecord,
    athlete: AthleteResult,
    block: TimedBlock,
    rows: Sequence[Score],
    person_id: str,
    decisions: Mapping[str, DecisionAnswer],
    disputes: Mapping[str, DecisionAnswer],
) -> OwnBlock:
    """One block."""
    row = block_row(record, athlete, block, ())
    logged = next(
        (each for each in record.scores if each.athlete == athlete.athlete
         and each.block in (block.name, None)), None,
    ) if block.score is not None else None  # fmt: skip
    own = [each for each in rows if each.block in (block.name, None)] if logged else []
    standing = [each for each in own if each.replaced_at is None]
    return OwnBlock(
        number=number,
        block=block,
        row=row,
        rounds=own_rounds(row.intervals),
        logged=logged,
        by_coach=bool(standing) and standing[-1].logged_by not in (person_id, None),
        before=tuple(
            LoggedBefore(each.score, each.replaced_at)
            for each in own
            if each.replaced_at is not None
        ),
        said=read_notes(logged.notes, block.rounds) if logged else (),
        decision=decisions.get(block.name),
        dispute=disputes.get(block.name),
        intended=intended_time(block),
    )


def own_rounds(intervals: Sequence[Interval]) -> tuple[OwnRound, ...]:
    """The work steps in order, each with the rest after it."""
    work = [step for step in intervals if step.kind == "work"]
    several = len({step.step for step in work}) > 1
    part: dict[int, int] = {
        step: number for number, step in enumerate(sorted({s.step for s in work}), start=1)
    }
    rests = {(s.round, s.step): s.hr_drop_60s for s in intervals if s.kind == "rest"}
    return tuple(
        OwnRound(
            step.round,
            part[step.step] if several else None,
            step,
            rests.get((step.round, step.step + 1)),
        )
        for step in work
    )


def own_files(
    athlete: AthleteResult | None,
    uploads: Mapping[str, str],
    evidence: Mapping[str, RecordingEvidence],
    pins: Sequence[PinAnswer],
    start: datetime,
    handle: str,
) -> tuple[OwnFile, ...]:
    """The athlete's files; uploads: each recording's identifier by its name in the class folder."""
    found: dict[str, list[FilePart]] = {name: [] for name in uploads}
    for recording in athlete.recordings if athlete is not None else ():
        name = recording.file.partition("/")[0]
        to_do, to_know = words_for([problem.code for problem in recording.problems])
        first = recording.first_sample
        found.setdefault(name, []).append(
            FilePart(
                result=recording,
                evidence=evidence.get(recording.file),
                whose=whose_of(recording, evidence.get(recording.file), handle),
                off_s=None if first is None else (first - start).total_seconds(),
                to_do=to_do,
                to_know=to_know,
                pins=tuple(pin for pin in pins if pin.file == recording.file),
            )
        )
    return tuple(
        OwnFile(name, uploads.get(name), tuple(parts), not parts) for name, parts in found.items()
    )


def whose_of(
    recording: RecordingResult, told: RecordingEvidence | None, handle: str
) -> Literal["own", "somebody", "nobody"]:
    """Whose a recording is, from one athlete's side; another's name may be left out of it."""
    owner = recording.belongs_to
    owners = owner if isinstance(owner, tuple) else (owner,)
    if handle in owners:
        return "own"
    return "somebody" if owner is not None or (told is not None and told.owners) else "nobody"
