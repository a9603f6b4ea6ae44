"""The result document: a reconciled class as plain JSON values, always the same bytes."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from typing import Any

from ingest.recording import Problem
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

SCHEMA = 1

# Finer than any device tells (1 s, 1 W, a tenth of a metre), coarse enough to be readable.
DECIMALS = 2
PROBABILITY_DECIMALS = 4


def class_document(result: ClassResult) -> dict[str, Any]:
    """The class as JSON values, keys in the order of the class-folder contract.

    Seconds, metres, watts, kilocalories, counts and beats per minute have two decimals at most,
    probabilities four; a whole number is written without a point. What is not known is None; a
    value that is NaN or infinite is not known.
    """
    return {
        "schema": SCHEMA,
        "title": result.title,
        "athletes": [athlete_document(athlete) for athlete in result.athletes],
        "unassigned": [recording_document(recording) for recording in result.unassigned],
    }


def document_text(result: ClassResult) -> str:
    """The document as JSON text: UTF-8 characters as they are, one final newline.

    The same result gives the same text, byte for byte.
    """
    return json.dumps(class_document(result), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def athlete_document(athlete: AthleteResult) -> dict[str, Any]:
    """One athlete: files uploaded, steps, scores, advice."""
    return {
        "athlete": athlete.athlete,
        "recordings": [recording_document(recording) for recording in athlete.recordings],
        "intervals": [interval_document(interval) for interval in athlete.intervals],
        "scores": [score_document(score) for score in athlete.scores],
        "advice": [advice_document(advice) for advice in athlete.advice],
    }


def recording_document(recording: RecordingResult) -> dict[str, Any]:
    """One file: what it is, where the blocks lie on it, whose it is."""
    owner = recording.belongs_to
    return {
        "file": recording.file,
        "source": recording.source,
        "format": recording.format,
        "status": recording.status,
        "first_sample": utc_text(recording.first_sample),
        "samples": recording.samples,
        "belongs_to": list(owner) if isinstance(owner, tuple) else owner,
        "probability": rounded(recording.probability, PROBABILITY_DECIMALS),
        "blocks": [placement_document(block) for block in recording.blocks],
        "problems": [problem_document(problem) for problem in recording.problems],
    }


def placement_document(placement: BlockPlacement) -> dict[str, Any]:
    """Where one timed block begins on a recording."""
    return {
        "block": placement.block,
        "start_s": rounded(placement.start_s),
        "low_s": rounded(placement.low_s),
        "high_s": rounded(placement.high_s),
        "probability": rounded(placement.probability, PROBABILITY_DECIMALS),
    }


def problem_document(problem: Problem) -> dict[str, Any]:
    """Something that could not be taken at face value."""
    return {"code": problem.code, "message": problem.message}


def interval_document(interval: Interval) -> dict[str, Any]:
    """One step of one round."""
    return {
        "block": interval.block,
        "round": interval.round,
        "step": interval.step,
        "kind": interval.kind,
        "planned_s": rounded(interval.planned_s),
        "attempted": interval.attempted,
        "effort_start_s": rounded(interval.effort_start_s),
        "effort_end_s": rounded(interval.effort_end_s),
        "machine_start_s": rounded(interval.machine_start_s),
        "machine_end_s": rounded(interval.machine_end_s),
        "machine_active_s": rounded(interval.machine_active_s),
        "machine_calories": rounded(interval.machine_calories),
        "machine_metres": rounded(interval.machine_metres),
        "mean_power_w": rounded(interval.mean_power_w),
        "energy": energy_document(interval.energy),
        "mean_hr": rounded(interval.mean_hr),
        "peak_hr": rounded(interval.peak_hr),
        "hr_drop_60s": rounded(interval.hr_drop_60s),
    }


def energy_document(energy: Energy | None) -> dict[str, Any] | None:
    """What a step cost the body; None where nothing tells."""
    if energy is None or not math.isfinite(energy.kcal):
        return None
    return {
        "kcal": rounded(energy.kcal),
        "low": rounded(energy.low),
        "high": rounded(energy.high),
        "method": energy.method,
    }


def score_document(score: ScoreResult) -> dict[str, Any]:
    """One scored block: logged, recorded, verdict, explanations."""
    return {
        "block": score.block,
        "measure": score.measure,
        "logged": rounded(score.logged),
        "recorded": rounded(score.recorded),
        "low": rounded(score.low),
        "high": rounded(score.high),
        "verdict": score.verdict,
        "flag": score.flag,
        "explanations": [explanation_document(reason) for reason in score.explanations],
    }


def explanation_document(explanation: Explanation) -> dict[str, Any]:
    """One way in which the logged score could have come about."""
    return {
        "code": explanation.code,
        "predicts": rounded(explanation.predicts),
        "probability": rounded(explanation.probability, PROBABILITY_DECIMALS),
        "text": explanation.text,
    }


def advice_document(advice: Advice) -> dict[str, Any]:
    """One thing worth saying."""
    return {
        "code": advice.code,
        "block": advice.block,
        "movement": advice.movement,
        "text": advice.text,
    }


def rounded(value: float | None, decimals: int = DECIMALS) -> float | int | None:
    """A JSON number with at most so many decimals; None for None, NaN and the infinities.

    Takes NumPy's numbers too, which `json` would refuse.
    """
    if value is None or not math.isfinite(value):
        return None
    short = round(float(value), decimals)
    return int(short) if short.is_integer() else short


def utc_text(moment: datetime | None) -> str | None:
    """ISO 8601 in UTC with a final Z; a fraction of a second only where there is one.

    Raises ValueError for a moment without an offset, whose instant nobody could know.
    """
    if moment is None:
        return None
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no offset from UTC")
    return moment.astimezone(UTC).isoformat().removesuffix("+00:00") + "Z"
