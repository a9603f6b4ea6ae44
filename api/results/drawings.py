"""What is drawn of a class when it is worked out, kept as numbers: pages put words to them.

The signals themselves are at hand only then, and so is what the engine's sentences are made of.
Nothing here is in any language.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Literal

from pydantic import ConfigDict, TypeAdapter, ValidationError

from api.sheet.explained import StepRow, shown_span, step_rows
from api.sheet.explained_page import LikelihoodPicture, likelihood_picture, signal_picture
from api.sheet.picture import Picture, athlete_picture
from reconcile.align.explain import Candidate, ExplainedBlock, ExplainedRecording, explain
from reconcile.classes import ClassRecord
from reconcile.engine import Workings
from reconcile.result import ClassResult, Energy, Status
from reconcile.sentence import Sentence, read_sentence, sentence_document


@dataclass(frozen=True)
class AthleteDrawing:
    """One athlete: the picture (None where nothing has a place), and what a mask would read.

    oxygen_timed: kcal in each step's window, in the order of the result's intervals.
    """

    picture: Picture | None
    oxygen_timed: tuple[Energy | None, ...]


@dataclass(frozen=True)
class BlockEvidence:
    """Where one block begins on a recording, and what tells.

    steps: kind, start and end of each planned step, seconds from the block's start. candidates:
    places, the likeliest first. clock_start_s: where the device's clock alone would have it.
    delay_s, rise_s, fall_s: how late the heart answers and its time constants; None without a
    heart rate that fits.
    """

    block: str
    steps: tuple[tuple[Literal["work", "rest"], float, float], ...]
    candidates: tuple[Candidate, ...]
    clock_start_s: float | None
    delay_s: float | None
    rise_s: float | None
    fall_s: float | None
    likelihood: LikelihoodPicture


@dataclass(frozen=True)
class RecordingEvidence:
    """What one recording's place and owner rest on; seconds from its first sample.

    start_s, end_s: what the picture shows; the plan is not in it, so that it can be moved. match:
    probability that it is of this class. odds: of each owner, None being nobody here. spread_out:
    pauses in which its clock stood are put back.
    """

    status: Status
    match: float
    owners: tuple[str, ...]
    odds: tuple[tuple[str | None, float], ...]
    spread_out: bool
    start_s: float
    end_s: float
    heart_rate: bool
    machine: bool
    picture: Picture
    steps: tuple[StepRow, ...]
    blocks: tuple[BlockEvidence, ...]


@dataclass(frozen=True)
class Drawings:
    """Everything drawn of a class: athletes by handle, recordings by their name in the folder.

    sentences: by each text of the result's explanations and advice, what it is made of.
    """

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(ser_json_inf_nan="constants")

    athletes: Mapping[str, AthleteDrawing] = field(default_factory=dict)
    recordings: Mapping[str, RecordingEvidence] = field(default_factory=dict)
    sentences: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def sentence(self, text: str) -> str:
        """A text of the result as a sentence that other languages can say, where that is known."""
        made_of = self.sentences.get(text)
        return text if made_of is None else read_sentence(made_of)


FORM = TypeAdapter(Drawings)


def class_drawings(record: ClassRecord, worked: Workings) -> Drawings:
    """Draw every athlete, and every recording that could be read."""
    return Drawings(
        {
            athlete.athlete: AthleteDrawing(
                athlete_picture(record.plan, athlete),
                tuple(worked.energy[athlete.athlete].oxygen_timed),
            )
            for athlete in worked.result.athletes
        },
        {file: evidence_of(explain(record, worked.placed, file)) for file in worked.placed},
        {text: sentence_document(text) for text in sentences_of(worked.result)},
    )


def sentences_of(result: ClassResult) -> Iterator[Sentence]:
    """What the engine says of everybody: explanations of scores, and advice."""
    for athlete in result.athletes:
        reasons = [reason for score in athlete.scores for reason in score.explanations]
        texts = [reason.text for reason in reasons] + [advice.text for advice in athlete.advice]
        yield from (text for text in texts if isinstance(text, Sentence))


def evidence_of(told: ExplainedRecording) -> RecordingEvidence:
    """A recording's evidence without its samples."""
    start_s, end_s = shown_span(told)
    return RecordingEvidence(
        told.status,
        told.match,
        told.owners,
        told.odds,
        told.spread_out,
        start_s,
        end_s,
        heart_recorded(told),
        told.power_w is not None,
        replace(signal_picture(told), bands=(), bells=(), blocks=()),
        step_rows(told),
        tuple(block_evidence(block) for block in told.blocks),
    )


def heart_recorded(told: ExplainedRecording) -> bool:
    """Whether any heartbeat was recorded."""
    return told.heart_rate_bpm is not None and bool((told.heart_rate_bpm > 0).any())


def block_evidence(block: ExplainedBlock) -> BlockEvidence:
    """One block's evidence without its samples."""
    fitted = block.fitted
    return BlockEvidence(
        block.block,
        tuple((step.kind, step.start_s, step.end_s) for step in block.steps),
        block.candidates,
        block.clock_start_s,
        None if fitted is None else fitted.delay_s,
        None if fitted is None else fitted.rise_s,
        None if fitted is None else fitted.fall_s,
        likelihood_picture(block),
    )


def packed(drawings: Drawings) -> bytes:
    """The drawings in few bytes, to be sealed beside a result."""
    return zlib.compress(FORM.dump_json(drawings))


def unpacked(data: bytes) -> Drawings | None:
    """Undo `packed`; None where another version wrote it in another form."""
    try:
        return FORM.validate_json(zlib.decompress(data))
    except (zlib.error, ValidationError):
        return None
