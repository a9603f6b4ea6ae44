"""One simulated class, reconciled, and laid beside its truth as flat rows."""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from api.folder.reading import read_class_folder
from reconcile.classes import ClassRecord
from reconcile.document import class_document
from reconcile.engine import reconcile_class
from reconcile.plan import TimedBlock
from tests.bench.baselines import (
    Guess,
    correlated_start,
    keytel_block_kcal,
    spreadsheet_total,
    stated_start,
    watch_share_kcal,
)
from tests.bench.simulator.simulate import simulate_class
from tests.bench.simulator.truth import AthleteTruth, FileTruth, ScoreTruth, StepTruth, Truth

Document = dict[str, Any]


@dataclass(frozen=True)
class ClassRow:
    """One class: its draw, how long it took, and what went wrong with it as a whole."""

    seed: int
    difficulty: str
    family: str
    grouping: str
    people: int
    files: int
    has_machine_file: bool
    seconds: float


@dataclass(frozen=True)
class FileRow:
    """One file: the truth, and what was said of it (None where it is missing from the result)."""

    of: ClassRow
    truth: FileTruth
    said: Document | None


@dataclass(frozen=True)
class StartRow:
    """One timed block on one file of the class: the true start and the one listed first.

    gap_s: the shortest time between two work starts of the block. first_scored: whether the block
    is the class's first scored one. baselines: other ways of placing it, None where they cannot.
    """

    of: ClassRow
    file: FileTruth
    block: str
    first_scored: bool
    gap_s: float
    true_s: float
    status: str
    said: Document | None
    rivals: tuple[float, ...]
    stated_s: Guess = None
    correlated_s: Guess = None

    @property
    def error_s(self) -> float | None:
        return None if self.said is None else float(self.said["start_s"]) - self.true_s

    @property
    def right_round(self) -> bool:
        return self.error_s is not None and abs(self.error_s) <= self.gap_s / 2


@dataclass(frozen=True)
class StepRow:
    """One step: what happened and what was said. machine, heart: which evidence covers the whole of
    its block (a readable file that holds every pull; every second)."""

    of: ClassRow
    athlete: str
    scored: bool
    truth: StepTruth
    said: Document | None
    machine: bool
    heart: bool


@dataclass(frozen=True)
class ScoreRow:
    """One scored block of one athlete.

    direct: a readable machine file holds every pull, and the measure is one that a machine counts.
    heart_only: some watch file is readable and no machine file is.
    """

    of: ClassRow
    athlete: str
    truth: ScoreTruth
    said: Document | None
    direct: bool
    heart_only: bool
    spreadsheet: Guess = None


@dataclass(frozen=True)
class BlockRow:
    """One scored block of one athlete as a whole: its cost, and the advice on its load."""

    of: ClassRow
    athlete: str
    block: str
    true_kcal: float
    said_kcal: float | None
    machine: bool
    heart: bool
    true_advice: str | None
    said_advice: str | None
    watch_kcal: Guess = None
    keytel_kcal: Guess = None


@dataclass(frozen=True)
class RoundRow:
    """One round of a scored block: whether it was skipped, and what was said."""

    of: ClassRow
    athlete: str
    skipped: bool
    called_skipped: bool
    machine: bool
    any_file: bool


@dataclass
class Outcome:
    """All rows of one class."""

    of: ClassRow
    files: list[FileRow] = field(default_factory=list)
    starts: list[StartRow] = field(default_factory=list)
    steps: list[StepRow] = field(default_factory=list)
    scores: list[ScoreRow] = field(default_factory=list)
    blocks: list[BlockRow] = field(default_factory=list)
    rounds: list[RoundRow] = field(default_factory=list)


def shortest_gap(block: TimedBlock) -> float:
    """The shortest time between two work starts of a block; its length where it has only one."""
    clock, starts = 0.0, []
    for _ in range(block.rounds):
        for step in block.steps:
            if step.kind == "work":
                starts.append(clock)
            clock += step.duration_s
    gaps = [b - a for a, b in itertools.pairwise(starts)]
    return min(gaps, default=block.duration_s)


def recording_entries(document: Document) -> dict[str, Document]:
    entries = list(document["unassigned"])
    for athlete in document["athletes"]:
        entries += athlete["recordings"]
    return {entry["file"]: entry for entry in entries}


def holds(truth: Truth, athlete: str, block: str, kinds: tuple[str, ...]) -> bool:
    """Whether a readable file of the athlete's own holds the whole of the block."""
    return any(
        file.kind in kinds and file.status == "aligned" and block in file.whole_of.get(athlete, ())
        for file in truth.files
    )


MACHINE_KINDS = ("machine", "phone")


def start_rows(
    of: ClassRow, truth: Truth, record: ClassRecord, entries: dict[str, Document]
) -> list[StartRow]:
    blocks = {block.name: block for block in record.plan.timed_blocks}
    uploads = {upload.file: upload for upload in record.uploads}
    rows = []
    for file in truth.files:
        if file.status != "aligned":
            continue
        entry = entries.get(file.file)
        upload = uploads.get(file.file)
        recording = None if upload is None else upload.recording
        for name, true_s in file.start_s.items():
            listed = [] if entry is None else [b for b in entry["blocks"] if b["block"] == name]
            first = name == truth.first_scored_block
            stated: Guess = None
            correlated: Guess = None
            if first and recording is not None and not file.at_home:
                stated = stated_start(record, recording, name)
                correlated = correlated_start(record, recording, name, file.kind)
            rows.append(
                StartRow(
                    of, file, name, first, shortest_gap(blocks[name]), true_s,
                    "missing" if entry is None else entry["status"],
                    listed[0] if listed else None,
                    tuple(float(b["start_s"]) for b in listed[1:]), stated, correlated,
                )
            )  # fmt: skip
    return rows


def called_skipped(steps: Sequence[Document | None]) -> bool:
    """Whether a round is called skipped: some work step was not attempted, and none was."""
    said = [None if step is None else step["attempted"] for step in steps]
    return False in said and True not in said


def athlete_rows(
    outcome: Outcome, truth: Truth, athlete: AthleteTruth, said: Document, record: ClassRecord
) -> None:
    """Add the rows of one athlete."""
    of, name = outcome.of, athlete.athlete
    scored = {score.block for score in athlete.scores}
    intervals = {(i["block"], i["round"], i["step"]): i for i in said["intervals"]}
    by_block: dict[str, list[StepRow]] = {}
    for step in athlete.steps:
        row = StepRow(
            of, name, step.block in scored, step,
            intervals.get((step.block, step.round, step.step)),
            holds(truth, name, step.block, MACHINE_KINDS),
            holds(truth, name, step.block, ("watch",)),
        )  # fmt: skip
        outcome.steps.append(row)
        by_block.setdefault(step.block, []).append(row)

    mine = [file for file in truth.files if name in file.owners and file.status == "aligned"]
    has_machine = any(file.kind in MACHINE_KINDS for file in mine)
    for score in athlete.scores:
        rows = by_block[score.block]
        entry = next((s for s in said["scores"] if s["block"] == score.block), None)
        on_display = score.measure in ("calories", "metres")
        held = rows[0].machine
        outcome.scores.append(
            ScoreRow(
                of, name, score, entry, held and on_display, bool(mine) and not has_machine,
                spreadsheet_total(record, mine, score.measure) if held else None,
            )
        )  # fmt: skip
        energies = [None if row.said is None else row.said["energy"] for row in rows]
        kcal = None if None in energies else sum(e["kcal"] for e in energies if e is not None)
        loads = [
            a["code"]
            for a in said["advice"]
            if a["code"].startswith("load_") and a["block"] == score.block
        ]
        outcome.blocks.append(
            BlockRow(
                of, name, score.block, sum(row.truth.energy_kcal for row in rows), kcal, held,
                rows[0].heart, athlete.load_advice.get(score.block), loads[0] if loads else None,
                watch_share_kcal(record, mine, name, score.block),
                keytel_block_kcal(record, mine, name, score.block),
            )
        )  # fmt: skip
        for number in sorted({row.truth.round for row in rows}):
            works = [r for r in rows if r.truth.round == number and r.truth.kind == "work"]
            outcome.rounds.append(
                RoundRow(
                    of, name,
                    not any(r.truth.attempted for r in works),
                    called_skipped([r.said for r in works]),
                    works[0].machine, bool(mine),
                )
            )  # fmt: skip


def reconcile_simulated(
    seed: int, difficulty: Literal["easy", "medium", "hard"] | None = None
) -> Outcome:
    """Simulate a class in a folder that is gone afterwards, reconcile it, and compare."""
    with tempfile.TemporaryDirectory(prefix="class-") as name:
        folder = Path(name) / "class"
        truth = simulate_class(seed, folder, difficulty)
        begin = time.perf_counter()
        record = read_class_folder(folder)
        document = class_document(reconcile_class(record))
        seconds = time.perf_counter() - begin
    of = ClassRow(
        seed, truth.difficulty, truth.family, truth.grouping, truth.people, len(truth.files),
        truth.has_machine_file, seconds,
    )  # fmt: skip
    outcome = Outcome(of)
    entries = recording_entries(document)
    outcome.files = [FileRow(of, file, entries.get(file.file)) for file in truth.files]
    outcome.starts = start_rows(of, truth, record, entries)
    said = {athlete["athlete"]: athlete for athlete in document["athletes"]}
    for athlete in truth.athletes:
        athlete_rows(outcome, truth, athlete, said[athlete.athlete], record)
    return outcome
