"""What a class sheet says, before anything is drawn: rows, questions, files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from api.sheet import words
from reconcile.classes import ClassRecord, LoggedScore
from reconcile.compliance import Z_95, Compliance, block_compliance, class_compliance
from reconcile.plan import DurationRange, Plan, TimedBlock
from reconcile.result import (
    AthleteResult,
    ClassResult,
    Energy,
    Interval,
    RecordingResult,
    ScoreResult,
)

# Where the place of a block is not told by any recording of an athlete's own.
UNKNOWN_SD_S = 2.0


@dataclass(frozen=True)
class Question:
    """Something to ask: whom, what was seen, what may have happened, and the question itself."""

    number: int
    athlete: str | None
    seen: str
    likeliest: str | None
    ask: str


@dataclass(frozen=True)
class Row:
    """One athlete in one block.

    rounds_done: least and most rounds that were begun (they differ where some are not known);
        None where no round is known.
    machine_time_s: mean seconds of pulling over the begun rounds, where the plan intends some.
    own_measure: the score counts something else than the block's, as the option asks.
    questions: the numbers of the questions about this athlete and block.
    """

    athlete: str
    option: str | None
    equipment: str | None
    rounds_done: tuple[int, int] | None
    rounds_planned: int
    score: ScoreResult | None
    energy: Energy | None
    machine_time_s: float | None
    load: str | None
    own_measure: bool
    questions: tuple[int, ...]
    intervals: tuple[Interval, ...]


@dataclass(frozen=True)
class BlockTable:
    """The rows of one block.

    intended: the time that the coach means a machine task to last. done: what was planned against
    what was done, of each athlete of whom anything is known; together: the same of the class.
    """

    block: TimedBlock
    intended: DurationRange | None
    rows: tuple[Row, ...]
    done: tuple[tuple[str, Compliance], ...]
    together: Compliance | None


@dataclass(frozen=True)
class FileNote:
    """A file that could not be taken at face value."""

    file: str
    status: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class ClassSheet:
    """Everything that a coach reads after class.

    problems: what could not be taken as it stands in the class's own sheets.
    advice: whom it is for, and the text.
    """

    title: str
    tables: tuple[BlockTable, ...]
    problems: tuple[str, ...]
    files: tuple[FileNote, ...]
    advice: tuple[tuple[str, str], ...]
    questions: tuple[Question, ...]


def class_sheet(record: ClassRecord, result: ClassResult) -> ClassSheet:
    """Gather the sheet of a reconciled class."""
    questions = class_questions(record, result)
    blocks = shown_blocks(record.plan)
    return ClassSheet(
        title=result.title,
        tables=tuple(block_table(record, result, block, questions) for block in blocks),
        problems=tuple(problem.message for problem in record.problems),
        files=tuple(
            note
            for recording in all_recordings(result)
            if (note := file_note(recording)) is not None
        ),
        advice=class_advice(record.plan, result),
        questions=tuple(question for question, _ in questions),
    )


def shown_blocks(plan: Plan) -> tuple[TimedBlock, ...]:
    """The scored blocks; the longest timed one where none is scored."""
    scored = tuple(block for block in plan.timed_blocks if block.score is not None)
    if scored or not plan.timed_blocks:
        return scored
    return (max(plan.timed_blocks, key=lambda block: block.duration_s),)


def all_recordings(result: ClassResult) -> tuple[RecordingResult, ...]:
    """Every file of the class, under its uploader first, those without an owner last."""
    return (
        *(recording for athlete in result.athletes for recording in athlete.recordings),
        *result.unassigned,
    )


def block_table(
    record: ClassRecord,
    result: ClassResult,
    block: TimedBlock,
    questions: Sequence[tuple[Question, str | None]],
) -> BlockTable:
    """One row an athlete."""
    rows = tuple(block_row(record, athlete, block, questions) for athlete in result.athletes)
    done = tuple(
        (
            row.athlete,
            block_compliance(row.intervals, placement_sd(result, row.athlete, block.name)),
        )
        for row in rows
        if row.rounds_done is not None
    )
    return BlockTable(
        block=block,
        intended=intended_time(block),
        rows=rows,
        done=done,
        together=class_compliance(each for _, each in done),
    )


def placement_sd(result: ClassResult, athlete: str, block: str) -> float:
    """Standard deviation of where a block lies on the surest of an athlete's recordings."""
    widths = [
        placed.high_s - placed.low_s
        for recording in all_recordings(result)
        if recording.belongs_to == athlete
        or (isinstance(recording.belongs_to, tuple) and athlete in recording.belongs_to)
        for placed in recording.blocks
        if placed.block == block
    ]
    return min(widths) / (2 * Z_95) if widths else UNKNOWN_SD_S


def block_row(
    record: ClassRecord,
    athlete: AthleteResult,
    block: TimedBlock,
    questions: Sequence[tuple[Question, str | None]],
) -> Row:
    """One athlete's row in one block."""
    logged = logged_score(record, athlete.athlete, block)
    intervals = tuple(step for step in athlete.intervals if step.block == block.name)
    load = next(
        (
            advice.code
            for advice in athlete.advice
            if advice.code in words.LOADS and advice.block == block.name
        ),
        None,
    )
    score = next((score for score in athlete.scores if score.block == block.name), None)
    return Row(
        athlete=athlete.athlete,
        option=logged.option if logged else None,
        equipment=logged.equipment if logged else None,
        rounds_done=rounds_done(intervals),
        rounds_planned=block.rounds,
        score=score,
        energy=total_energy(intervals),
        machine_time_s=mean_machine_time(intervals) if intended_time(block) else None,
        load=load,
        own_measure=(
            score is not None and block.score is not None and score.measure != block.score.measure
        ),
        questions=tuple(
            question.number
            for question, about in questions
            if question.athlete == athlete.athlete and about in (block.name, None)
        ),
        intervals=intervals,
    )


def logged_score(record: ClassRecord, athlete: str, block: TimedBlock) -> LoggedScore | None:
    """The athlete's row of the score sheet for a block; a blank block is the only scored one."""
    rows = [row for row in record.scores if row.athlete == athlete]
    named = [row for row in rows if row.block == block.name]
    return next(iter(named or [row for row in rows if row.block is None]), None)


def intended_time(block: TimedBlock) -> DurationRange | None:
    """How long the coach means the block's machine task to last, where the plan says."""
    return next(
        (
            task.intended
            for step in block.steps
            for task in step.tasks
            if task.on_machine and task.intended is not None
        ),
        None,
    )


def rounds_done(intervals: Sequence[Interval]) -> tuple[int, int] | None:
    """Least and most rounds in which any work was begun; None where no round is known."""
    by_round: dict[int, list[bool | None]] = {}
    for step in intervals:
        if step.kind == "work":
            by_round.setdefault(step.round, []).append(step.attempted)
    done = sum(any(step is True for step in steps) for steps in by_round.values())
    unknown = sum(
        not any(step is True for step in steps) and any(step is None for step in steps)
        for steps in by_round.values()
    )
    return None if unknown == len(by_round) else (done, done + unknown)


def total_energy(intervals: Sequence[Interval]) -> Energy | None:
    """The sum over steps; None unless every step has one.

    What errs in one step errs in all of an athlete's steps (the same body, the same day, the same
    sensor), so lows add to lows and highs to highs.
    """
    parts = [step.energy for step in intervals]
    known = [part for part in parts if part is not None]
    if not known or len(known) < len(parts):
        return None
    methods = dict.fromkeys(name for part in known for name in part.method.split("+"))
    return Energy(
        kcal=math.fsum(part.kcal for part in known),
        low=math.fsum(part.low for part in known),
        high=math.fsum(part.high for part in known),
        method="+".join(methods),
    )


def mean_machine_time(intervals: Sequence[Interval]) -> float | None:
    """Mean seconds of pulling over the begun rounds, 0 for one without; None without a machine."""
    by_round: dict[int, list[Interval]] = {}
    for step in intervals:
        if step.kind == "work" and step.attempted:
            by_round.setdefault(step.round, []).append(step)
    seconds = [
        math.fsum(step.machine_active_s or 0.0 for step in steps) for steps in by_round.values()
    ]
    recorded = any(step.machine_active_s is not None for step in intervals)
    return math.fsum(seconds) / len(seconds) if seconds and recorded else None


def load_summary(table: BlockTable) -> str:
    """Whether the load was right for the group, in one sentence; empty where nothing tells."""
    codes = [row.load for row in table.rows if row.load is not None]
    if not codes:
        return ""
    counts = [
        f"{words.LOADS[code]} for {codes.count(code)}" for code in words.LOADS if code in codes
    ]
    return f"The time left for the machine was {words.listed(counts)}."


def class_advice(plan: Plan, result: ClassResult) -> tuple[tuple[str, str], ...]:
    """What to change next time, and for whom; a load that was right needs no word."""
    several = len(plan.timed_blocks) > 1
    whom: dict[tuple[str, str], list[str]] = {}
    for athlete in result.athletes:
        for advice in athlete.advice:
            if advice.code != "load_right":
                block = f", {advice.block}" if several and advice.block else ""
                whom.setdefault((block, advice.text), []).append(athlete.athlete)
    return tuple(
        (words.listed(list(dict.fromkeys(names))) + block, text)
        for (block, text), names in whom.items()
    )


def file_note(recording: RecordingResult) -> FileNote | None:
    """What is worth saying of a file; None where all is well.

    Notes on energy are no trouble with the file: they stand with the athlete (see
    `energy_notes`).
    """
    problems = tuple(
        problem.message.removeprefix(f"{recording.file}: ")
        for problem in recording.problems
        if not problem.code.startswith("energy_")
    )
    if recording.status == "aligned" and not problems:
        return None
    lead = () if recording.status == "aligned" else (words.STATUSES[recording.status],)
    return FileNote(recording.file, recording.status, lead + problems)


def energy_notes(result: ClassResult, athlete: str) -> tuple[str, ...]:
    """What there is to say of an athlete's energy, each once."""
    return tuple(
        dict.fromkeys(
            problem.message
            for recording in all_recordings(result)
            if recording.belongs_to == athlete
            for problem in recording.problems
            if problem.code.startswith("energy_")
        )
    )


def class_questions(
    record: ClassRecord, result: ClassResult
) -> tuple[tuple[Question, str | None], ...]:
    """Questions to ask, numbered, each with the block that it is about (None for a file).

    Scores first, in the roster's order, then files that seem to be somebody else's.
    """
    found: list[tuple[Question, str | None]] = []
    for athlete in result.athletes:
        for score in athlete.scores:
            if score.flag:
                question = score_question(len(found) + 1, record, athlete, score)
                found.append((question, score.block))
    for athlete in result.athletes:
        for recording in athlete.recordings:
            owner = recording.belongs_to
            if (
                isinstance(owner, str)
                and recording.blocks
                and owner not in uploaders(record, recording.file)
            ):
                found.append((swap_question(len(found) + 1, athlete.athlete, recording), None))
    for recording in result.unassigned:
        if recording.belongs_to is not None:
            found.append((owner_question(len(found) + 1, recording), None))
    return tuple(found)


def uploaders(record: ClassRecord, file: str) -> tuple[str, ...]:
    """Who handed in a file."""
    return next((upload.athletes for upload in record.uploads if upload.file == file), ())


def score_question(
    number: int, record: ClassRecord, athlete: AthleteResult, score: ScoreResult
) -> Question:
    """The question behind a flagged score: what was seen, the likeliest way to it, what to ask."""
    several = len(shown_blocks(record.plan)) > 1
    whom = f"{athlete.athlete}, {score.block}" if several else athlete.athlete
    logged = "nothing" if score.logged is None else words.amount(score.logged, score.measure)
    if score.recorded is None:
        seen = f"{whom}: {logged} logged."
    else:
        seen = f"{whom}: {logged} logged, {words.amount(score.recorded, score.measure)} recorded"
        if score.low is not None and score.high is not None:
            low, high = (words.count(value, score.measure) for value in (score.low, score.high))
            seen += f" ({low} to {high})"
        seen += "."
    if score.verdict == "impossible":
        seen += " That is more than a body or the machine can do."
    if not score.explanations:
        return Question(
            number, athlete.athlete, seen, None, words.EXPLANATIONS["unexplained"].question
        )
    reason = score.explanations[0]
    phrase = words.EXPLANATIONS.get(reason.code, words.EXPLANATIONS["unexplained"])
    likeliest = (
        f"Likeliest ({words.in_hundred(reason.probability)}): {reason.text or f'{phrase.clause}.'}"
    )
    return Question(number, athlete.athlete, seen, likeliest, phrase.question)


def swap_question(number: int, uploader: str, recording: RecordingResult) -> Question:
    """A file that fits another athlete better than the one who handed it in."""
    owner = recording.belongs_to
    swap = "wear each other's watch" if recording.source == "watch" else "change machines"
    return Question(
        number,
        uploader,
        f"{recording.file}: it fits {owner} better than {uploader} "
        f"({words.in_hundred(recording.probability)}).",
        None,
        f"Did {uploader} and {owner} {swap}, or did the file get the wrong name?",
    )


def owner_question(number: int, recording: RecordingResult) -> Question:
    """A file that nobody's name stands on, and whose it seems to be."""
    owner = recording.belongs_to
    whom = words.listed(owner) if isinstance(owner, tuple) else owner
    return Question(
        number,
        None if isinstance(owner, tuple) else owner,
        f"{recording.file}: nobody's name is on it, and it fits {whom} best "
        f"({words.in_hundred(recording.probability)}).",
        None,
        f"Is it {whom}'s?",
    )
