"""What an explanation of a recording says, in words and numbers, before anything is drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.sheet import words
from ingest.recording import Floats
from reconcile.align.explain import Candidate, ExplainedBlock, ExplainedRecording
from reconcile.result import Status

# Beyond this a factor is only called large.
LARGE = 1e6
# A factor below this is none.
NEARLY_EVEN = 1.15
EDGE_S = 60.0
MOST_OWNERS = 4


@dataclass(frozen=True)
class PlaceRow:
    """One place that a block may have.

    number: 1 is the likeliest. start: minutes and seconds after the first sample. away: how far
    from the likeliest. probability: in words. says: for each source, how much more or less likely
    it finds this place than the likeliest one.
    """

    number: int
    start: str
    away: str
    probability: str
    says: tuple[str, ...]


@dataclass(frozen=True)
class PlaceTable:
    """The places of one block: `sources` heads the columns of what each source says."""

    sources: tuple[str, ...]
    rows: tuple[PlaceRow, ...]


@dataclass(frozen=True)
class StepRow:
    """One planned step at the likeliest place: what was measured in it, and what the fit has."""

    block: str
    round: int
    step: int
    kind: str
    start: str
    heart_rate: float | None
    fitted: float | None
    machine_s: float | None


def status(told: ExplainedRecording) -> str:
    """The file's status, and how probable it is that it is of this class."""
    return f"{told.status}; that it is of this class: {words.in_hundred(told.match)}."


def whose(told: ExplainedRecording) -> str:
    """The likeliest owners with their odds."""
    shown = [(owner, share) for owner, share in told.odds[:MOST_OWNERS] if share >= 0.01]
    if len(told.owners) > 1:
        who = words.listed(told.owners)
        return f"Whose: {who}, in turns ({words.in_hundred(told.ownership)})."
    if not told.odds:
        return (
            f"Whose: {told.owners[0]}, as it was handed in." if told.owners else "Whose: unknown."
        )
    parts = [f"{owner or 'nobody here'} {words.in_hundred(share)}" for owner, share in shown]
    return f"Whose: {', '.join(parts)}."


def place_sentences(block: ExplainedBlock, status: Status) -> tuple[str, ...]:
    """Where a block begins, what the clock alone would say, and how the heart answers."""
    best = block.candidates[0]
    begins = after_first_sample(best.start_s)
    if status == "unmatched":
        sentences = [f"If it were of this class, {block.block} would begin {begins}."]
    else:
        sentences = [f"{block.block} begins {begins} ({words.in_hundred(best.probability)})."]
    if block.clock_start_s is None:
        sentences.append("Its clock alone says nothing: it has no date, or the bell is not known.")
    else:
        off_s = block.clock_start_s - best.start_s
        apart = (
            "the same" if abs(off_s) < 1 else f"{amount_of_time(off_s)} {earlier_or_later(off_s)}"
        )
        sentences.append(
            f"By its clock alone it would begin {after_first_sample(block.clock_start_s)}: {apart}."
        )
    if block.fitted is not None:
        fitted = block.fitted
        sentences.append(
            f"The heart answers {fitted.delay_s:.0f} s late, with a time constant of "
            f"{fitted.rise_s:.0f} s up and {fitted.fall_s:.0f} s down."
        )
    return tuple(sentences)


def after_first_sample(seconds: float) -> str:
    """A time on the recording's clock."""
    where = "before" if seconds < 0 else "after"
    return f"{words.clock(abs(seconds))} {where} the first sample"


def amount_of_time(seconds: float) -> str:
    """How long, whichever way: seconds, or minutes where it is long."""
    return f"{abs(seconds):.0f} s" if abs(seconds) < 120 else words.clock(abs(seconds))


def earlier_or_later(seconds: float) -> str:
    """Which way a difference goes."""
    return "earlier" if seconds < 0 else "later"


def place_table(block: ExplainedBlock) -> PlaceTable:
    """The places of a block with what each source says of them."""
    sources = tuple(block.candidates[0].says)
    best = block.candidates[0]
    return PlaceTable(
        sources,
        tuple(
            PlaceRow(
                number,
                words.clock(place.start_s),
                "" if number == 1 else away_text(place, best),
                words.in_hundred(place.probability),
                tuple("" if number == 1 else factor_text(place.says[name]) for name in sources),
            )
            for number, place in enumerate(block.candidates, start=1)
        ),
    )


def away_text(place: Candidate, best: Candidate) -> str:
    """How far one place is from another: "+5:00", "−2:30"."""
    seconds = place.start_s - best.start_s
    return words.clock(seconds) if seconds < 0 else f"+{words.clock(seconds)}"


def factor_text(log_factor: float) -> str:
    """How much likelier or less likely: "as likely", "12× less", "over a million× less"."""
    factor = math.exp(min(abs(log_factor), 100.0))
    if factor < NEARLY_EVEN:
        return "as likely"
    direction = "more" if log_factor > 0 else "less"
    if factor > LARGE:
        return f"over a million× {direction}"
    rounded = float(f"{factor:.2g}")
    return f"{rounded:.1f}× {direction}" if rounded < 10 else f"{rounded:.0f}× {direction}"


def shown_span(told: ExplainedRecording) -> tuple[float, float]:
    """From when to when a recording is drawn: its blocks and a minute around, or the whole."""
    starts = [block.candidates[0].start_s for block in told.blocks]
    if not starts or told.status == "unmatched":
        return 0.0, max(float(told.time_s[-1]), 1.0)
    ends = [start + block.steps[-1].end_s for start, block in zip(starts, told.blocks, strict=True)]
    return min(starts) - EDGE_S, max(ends) + EDGE_S


def step_rows(told: ExplainedRecording) -> tuple[StepRow, ...]:
    """What the picture shows, step by step."""
    rows = []
    for block in told.blocks:
        begins_s = block.candidates[0].start_s
        for step in block.steps:
            span = (begins_s + step.start_s, begins_s + step.end_s)
            fitted = block.fitted
            rows.append(
                StepRow(
                    step.block,
                    step.round,
                    step.step,
                    step.kind,
                    words.clock(span[0]),
                    mean_in(told.time_s, told.heart_rate_bpm, span),
                    None if fitted is None else mean_in(fitted.time_s, fitted.bpm, span),
                    seconds_of(told.pulls, span) if told.power_w is not None else None,
                )
            )
    return tuple(rows)


def mean_in(time_s: Floats, values: Floats | None, span: tuple[float, float]) -> float | None:
    """Mean of what is known in a span; None where nothing is."""
    if values is None:
        return None
    inside = values[(time_s >= span[0]) & (time_s < span[1])]
    inside = inside[np.isfinite(inside) & (inside > 0)]
    return float(np.mean(inside)) if inside.size else None


def seconds_of(pulls: Sequence[tuple[float, float]], span: tuple[float, float]) -> float:
    """Seconds of pulling in a span."""
    return math.fsum(max(min(end, span[1]) - max(start, span[0]), 0.0) for start, end in pulls)
