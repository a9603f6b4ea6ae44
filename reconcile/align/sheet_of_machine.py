"""Whether an athlete's line on the sheet was read off one machine.

A line that was agrees round by round with the machine's count at the bells or some seconds later,
or is off by one factor, a round or a slip; a line that was not has the plan's pattern at a level of
its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.counts import PlacedCount
from reconcile.machine import MachineTrack
from reconcile.plan import Measure, Take
from reconcile.score.scored import Scored, finishing_amounts, take_of
from reconcile.timeline import PlannedStep

# Seconds after the bell at which displays are read: promptly, or late.
PROMPT_S, LATE_S = (0.0, 1.0, 2.0, 3.0), (5.0, 8.0, 12.0, 20.0)
# Judgement, no source: shares of lines that were read promptly, late, at the end of the rest, that
# are all off by one factor, that lack a round or have one twice, and whose total slipped; and of
# those that tell of no machine at all, with rounds and without.
PROMPT, LATE, RESTED, SCALED, MISCOUNTED, SLIPPED = 0.70, 0.13, 0.03, 0.07, 0.04, 0.03
OTHER_ROUNDS, OTHER_SCORE = 0.05, 0.2
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
    """What one machine counted in each round, (round, reading): promptly, late, after the rest."""

    measure: Measure
    take: Take
    readings: Floats

    @property
    def usual(self) -> Floats:
        """Each round's value as it is usually read."""
        return np.asarray(self.readings[:, : len(PROMPT_S)].mean(axis=1))


def count_of(track: MachineTrack, scored: Scored) -> Count | None:
    """A machine's count in each scored round, NaN where not recorded; None where it tells nothing.

    track: on the clock of the athlete's block.
    """
    if not scored.rounds or not scored.on_machine:
        return None
    rounds: list[Floats] = []
    held = PlacedCount(track)
    for steps in scored.rounds:
        value = np.zeros(len(PROMPT_S) + len(LATE_S) + 1)
        for step in steps:
            if held.covered(step.start_s, step.end_s) < LEAST_COVER:
                value += np.nan
            if scored.measure == "seconds":
                taken_s = _finish_s(track, step.planned)
                if taken_s is None:
                    return None
                late_s = np.array([0.0, 0.3, 0.6, 0.9, *[1.5] * len(LATE_S), 1.5])
                value += np.minimum(taken_s + late_s, step.planned.duration_s)
                continue
            count = track.calories if scored.measure == "calories" else track.metres
            if count is None:
                return None
            late = np.minimum(LATE_S, max(step.next_work_s - step.end_s, PROMPT_S[-1]))
            ends_s = step.end_s + np.array([*PROMPT_S, *late, step.next_work_s - step.end_s])
            value += np.interp(ends_s, track.time_s, count)
            value -= float(np.interp(step.start_s, track.time_s, count))
        rounds.append(np.maximum(value, 0.0))
    return Count(scored.measure, scored.take, np.stack(rounds))


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
    score: float | None, rounds: Sequence[float] | None, count: Count, usual: Floats
) -> float:
    """Log ratio of a line under "read off this machine" against "read off another".

    usual: each round's value as the class's machines counted it on average.
    """
    known = np.isfinite(count.usual)
    if rounds is not None and known.any():
        for kept in (np.ones(len(known), dtype=bool), ~(count.usual <= 0)):
            if kept.sum() == len(rounds):
                written = np.asarray(rounds, dtype=np.float64)[known[kept]]
                told = kept & known
                this = _rounds_off_this(written, count.readings[told])
                another = _rounds_off_another(written, usual[told])
                return min(_ratio(this, another, OTHER_ROUNDS), LARGEST_ROUNDS)
    if score is None or not known.all() or not count.usual.any():
        return 0.0
    this = _score_off_this(score, count)
    another = _score_off_another(score, usual, count.take)
    return min(_ratio(this, another, OTHER_SCORE), LARGEST_SCORE)


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


def _score_off_this(score: float, count: Count) -> float:
    readings, take = count.readings, count.take
    counted = readings[:, 0] > 0
    values = np.array([take_of(column[counted], take) for column in readings.T])
    pieces = len(readings) if take == "total" else 1
    sd = READING_SD * float(np.sqrt(pieces))
    logs = _log_normal(np.full(len(values), score) + CUT * pieces, values, sd)
    usual = float(values[: len(PROMPT_S)].mean())
    terms = [
        (PROMPT, _mean_of(logs[: len(PROMPT_S)])),
        (LATE, _mean_of(logs[len(PROMPT_S) : -1])),
        (RESTED, float(logs[-1])),
        (SCALED, _level(score, usual, FACTOR_SD)),
        (SLIPPED, float(_log_normal(np.array([score]), usual, np.hypot(sd, SLIP))[0])),
    ]
    if pieces > 1:
        ways = usual + np.concatenate([-count.usual, count.usual])
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
    """Log density of a score that lies about a middle by a factor."""
    least = max(score, 0.5)
    apart = np.log(least / max(middle, 0.5))
    return float(_log_normal(np.array([apart]), 0.0, log_sd)[0]) - float(np.log(least))
