"""Whether an athlete's line on the sheet was read off one machine.

A line that was agrees round by round with the machine's count at the bells or some seconds later,
or is off by one factor, a round or a slip, or was read off the machine's other counter; a line that
was not has the plan's pattern at a level of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.counts import PlacedCount
from reconcile.machine import MachineTrack
from reconcile.plan import Measure, Take
from reconcile.score.digits import swapped
from reconcile.score.scored import Scored, finishing_amounts, take_of
from reconcile.timeline import PlannedStep

# Seconds after the bell at which displays are read: promptly, or late.
PROMPT_S, LATE_S = (0.0, 1.0, 2.0, 3.0), (5.0, 8.0, 12.0, 20.0)
# Judgement, no source: shares of lines that were read promptly, late, at the end of the rest, that
# are all off by one factor, that lack a round or have one twice, whose total slipped or has two
# digits swapped; of lines in the machine's other measure, with any of these; and of those that tell
# of no machine at all, with rounds and without.
PROMPT, LATE, RESTED, SCALED, MISCOUNTED, SLIPPED = 0.68, 0.13, 0.03, 0.07, 0.04, 0.03
SWAPPED = 0.02
OTHER_MEASURE = 0.025
OTHER_ROUNDS, OTHER_SCORE = 0.05, 0.2
# Spread of a round that is written once too often, about the other rounds, as a factor.
EXTRA_ROUND_SD = 0.25
# Cutting to a whole number loses half a unit, or nothing where the display ran on.
CUT, READING_SD, SLIP = 0.25, 0.6, 8.0
FACTOR_SD, SCALED_PATTERN_SD = 0.2, 0.012
SKIPPED = 0.03
# Lines read off other machines: (share, sd of a round about the usual pattern, sd of the level).
OTHER_PATTERNS = (
    (0.10, 0.015, 0.35),
    (0.30, 0.04, 0.35),
    (0.30, 0.08, 0.35),
    (0.20, 0.16, 0.5),
    (0.10, 0.4, 2.0),
)
OTHER_LEVELS = ((0.9, 0.35), (0.1, 1.5))
LARGEST_ROUNDS, LARGEST_SCORE = 5.5, 3.5
# A round counts as recorded where the file holds so much of it.
LEAST_COVER = 0.7


@dataclass(frozen=True, eq=False)
class Count:
    """What one machine counted in each round, (round, reading): promptly, late, after the rest.

    other: the same in metres where the score is in calories and the other way round; None where
    nobody could mix them up or the machine did not count both.
    """

    measure: Measure
    take: Take
    readings: Floats
    other: Floats | None = None

    @property
    def usual(self) -> Floats:
        """Each round's value as it is usually read."""
        return _as_usual(self.readings)

    @property
    def usual_other(self) -> Floats:
        """The same in the other measure, NaN where it is not known."""
        if self.other is None:
            return np.full(len(self.readings), np.nan)
        return _as_usual(self.other)


def _as_usual(readings: Floats) -> Floats:
    return np.asarray(readings[:, : len(PROMPT_S)].mean(axis=1))


def count_of(track: MachineTrack, scored: Scored) -> Count | None:
    """A machine's count in each scored round, NaN where not recorded; None where it tells nothing.

    track: on the clock of the athlete's block.
    """
    if not scored.rounds or not scored.on_machine:
        return None
    if scored.measure == "seconds":
        readings = _seconds(track, scored)
        return None if readings is None else Count("seconds", scored.take, readings)
    calories, metres = (
        None if counter is None else _counted(track, counter, scored)
        for counter in (track.calories, track.metres)
    )
    readings, other = (calories, metres) if scored.measure == "calories" else (metres, calories)
    return None if readings is None else Count(scored.measure, scored.take, readings, other)


def _counted(track: MachineTrack, counter: Floats, scored: Scored) -> Floats:
    """What a counter came to in each round, (round, reading)."""
    rounds: list[Floats] = []
    held = PlacedCount(track)
    for steps in scored.rounds:
        value = np.zeros(len(PROMPT_S) + len(LATE_S) + 1)
        for step in steps:
            if held.covered(step.start_s, step.end_s) < LEAST_COVER:
                value += np.nan
            late = np.minimum(LATE_S, max(step.next_work_s - step.end_s, PROMPT_S[-1]))
            ends_s = step.end_s + np.array([*PROMPT_S, *late, step.next_work_s - step.end_s])
            value += np.interp(ends_s, track.time_s, counter)
            value -= float(np.interp(step.start_s, track.time_s, counter))
        rounds.append(np.maximum(value, 0.0))
    return np.stack(rounds)


def _seconds(track: MachineTrack, scored: Scored) -> Floats | None:
    """How long each round took, (round, reading); None where the machine does not show it."""
    rounds: list[Floats] = []
    held = PlacedCount(track)
    late_s = np.array([0.0, 0.3, 0.6, 0.9, *[1.5] * len(LATE_S), 1.5])
    for steps in scored.rounds:
        value = np.zeros(len(late_s))
        for step in steps:
            taken_s = _finish_s(track, step.planned)
            if taken_s is None:
                return None
            if held.covered(step.start_s, step.end_s) < LEAST_COVER:
                value += np.nan
            value += np.minimum(taken_s + late_s, step.planned.duration_s)
        rounds.append(value)
    return np.stack(rounds)


def _finish_s(track: MachineTrack, step: PlannedStep) -> float | None:
    """Seconds from a step's start to the end of its fixed amount; its length if never reached."""
    finish = finishing_amounts(step)
    counter = track.metres if finish is None or finish[0] == "metres" else track.calories
    if finish is None or counter is None:
        return None
    begun = float(np.interp(step.start_s, track.time_s, counter))
    reached = np.flatnonzero((counter >= begun + finish[1]) & (track.time_s > step.start_s))
    if len(reached) == 0:
        return step.duration_s
    return float(min(track.time_s[reached[0]] - step.start_s, step.duration_s))


def sheet_evidence(
    score: float | None,
    rounds: Sequence[float] | None,
    count: Count,
    usual: Floats,
    usual_other: Floats | None = None,
) -> float:
    """Log ratio of a line under "read off this machine" against "read off another".

    usual, usual_other: each round's value as the class's machines counted it on average, in the
    score's measure and in the other (None: nobody mixes them up).
    """
    if rounds is not None:
        written = np.asarray(rounds, dtype=np.float64)
        kept = _rounds_written(written, count.usual)
        if kept is not None or _one_too_few_or_many(written, count.usual):
            this, another = _rounds_weighed(written, count.readings, usual, kept)
            if count.other is not None and usual_other is not None:
                kept_other = None if kept is None else kept & np.isfinite(usual_other)
                weighed = _rounds_weighed(written, count.other, usual_other, kept_other)
                this, another = (
                    _mixture((1 - OTHER_MEASURE, plain), (OTHER_MEASURE, mixed_up))
                    for plain, mixed_up in zip((this, another), weighed, strict=True)
                )
            return min(_ratio(this, another, OTHER_ROUNDS), LARGEST_ROUNDS)
    if score is None or not np.isfinite(count.usual).all() or not count.usual.any():
        return 0.0
    this = _score_off_this(score, count.readings, count.take)
    another = _score_off_another(score, usual, count.take)
    if count.other is not None and usual_other is not None and np.isfinite(count.other).all():
        this = _mixture(
            (1 - OTHER_MEASURE, this),
            (OTHER_MEASURE, _score_off_this(score, count.other, count.take)),
        )
        another = _mixture(
            (1 - OTHER_MEASURE, another),
            (OTHER_MEASURE, _score_off_another(score, usual_other, count.take)),
        )
    return min(_ratio(this, another, OTHER_SCORE), LARGEST_SCORE)


def _rounds_written(written: Floats, counted: Floats) -> NDArray[np.bool_] | None:
    """Which of a machine's rounds are written down, those left out with a 0 or not at all."""
    if not np.isfinite(counted).any():
        return None
    for kept in (np.ones(len(counted), dtype=bool), ~(counted <= 0)):
        if kept.sum() == len(written):
            return kept
    return None


def _one_too_few_or_many(written: Floats, counted: Floats) -> bool:
    """Whether a round is missing on the sheet, or is there twice."""
    near = abs(len(written) - len(counted)) == 1 and min(len(written), len(counted)) > 1
    return near and bool(np.isfinite(counted).all())


def _rounds_weighed(
    written: Floats, readings: Floats, usual: Floats, kept: NDArray[np.bool_] | None
) -> tuple[float, float]:
    """Log density of written rounds under this machine and under another.

    kept: which of the machine's rounds are written down; None where one is missing or there twice,
    which may be any.
    """
    if kept is not None:
        told = kept & np.isfinite(_as_usual(readings)) & np.isfinite(usual)
        seen = written[told[kept]]
        return _rounds_off_this(seen, readings[told]), _rounds_off_another(seen, usual[told])
    ways = []
    for out in range(max(len(written), len(readings))):
        if len(written) < len(readings):
            left, lines, average = written, np.delete(readings, out, 0), np.delete(usual, out)
            extra = 0.0
        else:
            left, lines, average = np.delete(written, out), readings, usual
            extra = _level(float(written[out]), float(left.mean()), EXTRA_ROUND_SD)
        this, another = _rounds_off_this(left, lines), _rounds_off_another(left, average)
        ways.append((this + extra, another + extra))
    of_this, of_another = np.array(ways).T
    return _mean_of(of_this), _mean_of(of_another)


def _ratio(this: float, another: float, other: float) -> float:
    """Log ratio where a share of lines tells of no machine at all."""
    return float(np.logaddexp(np.log(1 - other) + this - another, np.log(other)))


def _log_normal(values: Floats, middle: Floats | float, sd: Floats | float) -> Floats:
    z = (values - middle) / sd
    return np.asarray(-0.5 * z * z - np.log(sd) - 0.5 * np.log(2 * np.pi))


def _mean_of(logs: Floats) -> float:
    """Log of the mean of densities."""
    return float(np.logaddexp.reduce(logs) - np.log(len(logs)))


def _mixture(*terms: tuple[float, float]) -> float:
    """Log of a mixture: (share, log density) each."""
    return float(np.logaddexp.reduce([np.log(share) + log for share, log in terms]))


def _rounds_off_this(written: Floats, readings: Floats) -> float:
    prompt = readings[:, : len(PROMPT_S)]
    usual, jitter = prompt.mean(axis=1), prompt[:, -1] - prompt[:, 0]
    alike = _rounds(written[:, None], readings, READING_SD).sum(axis=0)
    anew = _rounds(written, usual, np.hypot(READING_SD, jitter / np.sqrt(12))).sum()
    late = alike[len(PROMPT_S) : -1]
    return _mixture(
        (0.5 * PROMPT, _mean_of(alike[: len(PROMPT_S)])),
        (0.5 * PROMPT, float(anew)),
        (LATE, _mean_of(late)),
        (RESTED, float(alike[-1])),
        (SCALED, _scaled(written, usual, SCALED_PATTERN_SD, FACTOR_SD)),
    )


def _rounds(written: Floats, readings: Floats, sd: Floats | float) -> Floats:
    """Log density of written rounds; one that was skipped here or there is another matter."""
    log = _log_normal(written + CUT, readings, sd)
    return np.where((written == 0) | (readings <= 0), np.maximum(log, np.log(SKIPPED)), log)


def _rounds_off_another(written: Floats, usual: Floats) -> float:
    return _mixture(
        *(
            (share, _scaled(written, usual, pattern_sd, factor_sd))
            for share, pattern_sd, factor_sd in OTHER_PATTERNS
        )
    )


def _scaled(written: Floats, values: Floats, pattern_sd: float, factor_sd: float) -> float:
    """Log density of rounds that follow values, all times one factor that is integrated out."""
    known = (values > 0) & (written > 0)
    skipped = np.count_nonzero((written > 0) != (values > 0)) * float(np.log(SKIPPED))
    if not known.any():
        return skipped
    usual, seen = values[known], written[known] + CUT
    sd = np.hypot(READING_SD, pattern_sd * seen)
    weight = float(((usual / sd) ** 2).sum())
    factor = max(float((usual * seen / sd**2).sum()) / weight, 1e-3)
    log = float(_log_normal(seen, factor * usual, sd).sum())
    of_factor = float(_log_normal(np.log(np.array([factor])), 0.0, factor_sd)[0])
    width = np.sqrt(2 * np.pi / weight) / factor
    return log + of_factor + float(np.log(min(width, 1.0))) + skipped


def _score_off_this(score: float, readings: Floats, take: Take) -> float:
    counted = readings[:, 0] > 0
    if not counted.any():
        return _level(score, 0.0, FACTOR_SD)
    values = np.array([take_of(column[counted], take) for column in readings.T])
    pieces = len(readings) if take == "total" else 1
    sd = READING_SD * float(np.sqrt(pieces))
    logs = _log_normal(np.full(len(values), score) + CUT * pieces, values, sd)
    each = _as_usual(readings)
    usual = float(values[: len(PROMPT_S)].mean())
    terms = [
        (PROMPT, _mean_of(logs[: len(PROMPT_S)])),
        (LATE, _mean_of(logs[len(PROMPT_S) : -1])),
        (RESTED, float(logs[-1])),
        (SCALED, _level(score, usual, FACTOR_SD)),
        (SLIPPED, float(_log_normal(np.array([score]), usual, np.hypot(sd, SLIP))[0])),
    ]
    terms += [
        (SWAPPED * share, _mean_of(_log_normal(values[: len(PROMPT_S)], meant + CUT * pieces, sd)))
        for meant, share in swapped(score).items()
    ]
    if pieces > 1:
        ways = usual + np.concatenate([-each, each])
        terms.append(
            (MISCOUNTED, _mean_of(_log_normal(np.full(len(ways), score + CUT * pieces), ways, sd)))
        )
    return _mixture(*terms)


def _score_off_another(score: float, usual: Floats, take: Take) -> float:
    middle = take_of(usual[usual > 0], take) if (usual > 0).any() else 1.0
    return _mixture(
        *((share, _level(score, middle, sd)) for share, sd in OTHER_LEVELS),
    )


def _level(score: float, middle: float, log_sd: float) -> float:
    """Log density of a number that lies about a middle by a factor."""
    least = max(score, 0.5)
    apart = np.log(least / max(middle, 0.5))
    return float(_log_normal(np.array([apart]), 0.0, log_sd)[0]) - float(np.log(least))
