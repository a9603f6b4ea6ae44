"""How displays are read: at the bell, just after it, late; one table of all ways, a row each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.plan import Take
from reconcile.score import priors
from reconcile.score.evidence import DELAYS_S, PROMPT_DELAYS_S, Bools, Evidence
from reconcile.score.scored import take_of
from reconcile.score.sheet import Indices, align
from reconcile.score.shown import (
    CUT_VARIANCE,
    Shown,
    bin_probability,
    extreme_probability,
    totals_of_mean,
    whole_moments,
)

# How often a skipped round is written as 0 and not as what the display showed in it.
SKIPPED_AS_NOTHING = 0.7


@dataclass(frozen=True, eq=False)
class Habit:
    """A way of reading the display: its share of its code, and what is then shown.

    weight, delay_s: for each row of `shown` (a scenario read so long after the bell), how probable
    it is within the habit, and how late that is (the mean, where each round has its own delay).
    """

    code: str
    share: float
    shown: Shown
    weight: Floats
    delay_s: Floats

    @property
    def prompt(self) -> bool:
        """Whether the display is read within 3 s of the bell."""
        return bool(self.delay_s.max() <= PROMPT_DELAYS_S[-1])


def reading_habits(evidence: Evidence) -> list[Habit]:
    """At the bell, within 3 s of it, and later; the same delay each round, or each its own."""
    prompt = range(1, len(PROMPT_DELAYS_S))
    late = range(len(PROMPT_DELAYS_S), len(DELAYS_S))
    late_share = priors.LATE_SHARE if evidence.direct else 0.0
    habits = []
    for way, cut in priors.CUT_SHARE.items():
        habits += [
            read_alike(evidence, "rounding", cut, range(1), way),
            read_alike(evidence, "counted_coasting", 0.6 * (1 - late_share) * cut, prompt, way),
            read_anew(evidence, "counted_coasting", 0.4 * (1 - late_share) * cut, prompt, way),
        ]
    if evidence.measure == "seconds" or not late_share:
        return habits  # a clock does not run on like a flywheel: late is as good as any number
    return [
        *habits,
        read_alike(evidence, "counted_coasting", 0.7 * late_share, late),
        read_anew(evidence, "counted_coasting", 0.3 * late_share, late),
    ]


def read_alike(
    evidence: Evidence, code: str, share: float, delays: range, way: priors.Cut = "set to 0"
) -> Habit:
    """Every round read equally late: a row for each scenario and each delay."""
    read = np.concatenate([evidence.read[:, :, d] for d in delays])[:, :, None]
    sd = np.tile(between_delays(evidence, delays), (len(delays), 1))
    weight = np.tile(evidence.weight, len(delays)) / len(delays)
    delay_s = np.repeat(DELAYS_S[list(delays)], len(evidence.weight))
    return Habit(code, share, cut_to_whole(read, sd, evidence.pieces, way), weight, delay_s)


def read_anew(
    evidence: Evidence, code: str, share: float, delays: range, way: priors.Cut = "set to 0"
) -> Habit:
    """Each round read with a delay of its own: a row for each scenario."""
    sd = between_delays(evidence, delays)
    shown = cut_to_whole(evidence.read[:, :, list(delays)], sd, evidence.pieces, way)
    mean_delay = float(DELAYS_S[list(delays)].mean())
    return Habit(code, share, shown, evidence.weight, np.full(len(evidence.weight), mean_delay))


def cut_to_whole(read: Floats, sd: Floats, pieces: Floats, way: priors.Cut) -> Shown:
    """Readings as whole numbers, one for each of a round's `pieces`.

    A display set to 0 for each piece loses half a unit each on average; one that runs on is read
    before and after, which loses nothing on average; rounding loses nothing either.
    """
    more = pieces - 1.0
    if way == "set to 0":
        spread = np.hypot(sd, np.sqrt(more * CUT_VARIANCE))
        return Shown(np.maximum(read - 0.5 * more[None, :, None], 0.0), spread, 0.0)
    if way == "running on":
        return Shown(read, np.hypot(sd, np.sqrt((2 * pieces - 1.0) * CUT_VARIANCE)), 0.5)
    return Shown(read, np.hypot(sd, np.sqrt(more * CUT_VARIANCE)), 0.7)


def between_delays(evidence: Evidence, delays: range) -> Floats:
    """(g, k) Doubt of a reading that also covers the moments between the given delays."""
    if len(delays) < 2:
        return evidence.sd
    step = np.diff(evidence.read[:, :, list(delays)], axis=2).mean(axis=2)
    return np.asarray(np.hypot(evidence.sd, 0.4 * step))


def prompt_readings(evidence: Evidence) -> Shown:
    """Readings up to 3 s after the bells without distinction, a row for each scenario."""
    delays = range(0, len(PROMPT_DELAYS_S), 2)
    return Shown(evidence.read[:, :, list(delays)], between_delays(evidence, delays))


class Readings:
    """Every way of reading as rows of one table, and the probabilities that follow from it.

    weight: (r,), prior probability of each row given that the display was read (prompt or late).
    """

    def __init__(self, evidence: Evidence, take: Take) -> None:
        """Lay out the rows for this evidence."""
        self.evidence = evidence
        self.take = take
        self.habits = reading_habits(evidence)
        self.counting = evidence.counting
        self.attempted = np.flatnonzero(~evidence.skipped)
        self.weight = np.concatenate([habit.share * habit.weight for habit in self.habits])
        self.delay_s = np.concatenate([habit.delay_s for habit in self.habits])
        self.code = np.concatenate([[h.code] * len(h.weight) for h in self.habits])
        rows = len(self.weight) // len(evidence.weight)
        # (r,) Rows that rest on a recording and not on mere expectation.
        self.recorded = np.tile(evidence.recorded, rows)
        self.is_prompt = np.concatenate([[h.prompt] * len(h.weight) for h in self.habits])
        prior = np.array([priors.PRIOR[code] for code in self.code]) * self.is_prompt
        honest = prior * self.weight
        # (r,) An honest sheet is read in any of the prompt ways.
        self.honest = honest / honest.sum()
        self.middle = np.concatenate([habit.shown.middle for habit in self.habits])
        self.doubt = np.concatenate([habit.shown.doubt for habit in self.habits])
        offset = np.concatenate([[h.shown.offset] * len(h.weight) for h in self.habits])
        self.cut = offset[:, None] - 0.5
        mean, variance = whole_moments(self.middle + offset[:, None], self.doubt)
        works = self.middle >= 2 * np.sqrt(self.doubt)
        # (r, k) Moments of the number shown for each round; one that shows nothing adds nothing.
        self.shown_mean = np.where(works, mean, self.middle)
        self.shown_variance = np.where(works, variance, self.doubt)
        self.memory: dict[tuple[float, ...], Floats] = {}

    def at_bells(self, keep: Bools | None = None) -> float:
        """The score at the bells in the likeliest scenario, of all rounds or of some."""
        counting = self.counting if keep is None else self.counting & keep
        return take_of(self.evidence.read[self.evidence.best, counting, 0], self.take)

    def rounds(self, values: tuple[float, ...]) -> Floats:
        """(r,) Probability of these written rounds, a skipped one as 0 or left out."""
        if values not in self.memory:
            entries = align(values, self.evidence.skipped)
            if entries is None:
                self.memory[values] = np.zeros(len(self.weight))
            else:
                self.memory[values] = self.some_rounds(*entries)
        return self.memory[values]

    def some_rounds(self, indices: Indices, numbers: Floats) -> Floats:
        """(r,) Probability that these rounds are written as these numbers.

        Without a recording it is 1: written rounds then tell only by whether they make the score.
        """
        if not self.evidence.direct:
            return np.ones(len(self.weight))
        parts = [
            rounds_probability(habit.shown, indices, numbers, self.evidence.skipped)
            for habit in self.habits
        ]
        return np.concatenate(parts)

    def honest_rounds(self, values: tuple[float, ...]) -> float:
        """Probability that honest rounds are written as `values`."""
        return float(self.honest @ self.rounds(values))

    def score(self, number: float, keep: Bools | None = None) -> Floats:
        """(r,) Probability that the score of all rounds, or of some, is written as `number`."""
        counting = self.counting if keep is None else self.counting & keep
        if not counting.any():
            return np.full(len(self.weight), float(number == 0))
        if self.take in ("lowest", "highest") or (self.take == "total" and counting.sum() == 1):
            parts = [
                extreme_probability(number, habit.shown.only(counting), self.take)
                if self.take != "total"
                else habit.shown.only(counting).equals(np.array([number]))[:, 0]
                for habit in self.habits
            ]
            return np.concatenate(parts)
        times = counting[None, :].astype(np.float64)
        if self.take == "mean":
            return self.means(number, times, int(counting.sum()))[:, 0]
        return self.totals(np.array([number]), times)[:, 0]

    def honest_scores(self, numbers: Sequence[float]) -> Floats:
        """Probability of each number as an honest score."""
        if self.take == "total" and self.counting.sum() > 1 and len(numbers) > 0:
            times = self.counting[None, :].astype(np.float64)
            return np.asarray(self.honest @ self.totals(np.asarray(numbers), times))
        found = np.zeros(len(numbers))
        rounds = self.middle[:, self.counting]
        if rounds.size == 0:
            return found
        reach = 8 * float(np.sqrt(self.doubt.max())) + 2
        low, high = float(rounds.min()) - reach, float(rounds.max()) + reach
        for index, number in enumerate(numbers):
            if low <= number <= high:
                found[index] = self.honest @ self.score(number)
        return found

    def totals(self, numbers: Floats, times: Floats) -> Floats:
        """(r, n) Probability of totals in which each round is counted so many `times` (n, k).

        By a normal law over the rounds: the sum of whole numbers, or a single reading of the sum.
        """
        squared = (times**2).T
        summed = self.shown_mean @ times.T
        each = bin_probability(numbers, summed, self.shown_variance @ squared)
        spread = self.doubt @ squared
        once = bin_probability(numbers, self.middle @ times.T + self.cut, spread + CUT_VARIANCE)
        single = priors.ONE_READING_SHARE
        return (1 - single) * each + single * once

    def means(self, number: float, times: Floats, rounds: int) -> Floats:
        """(r, n) Probability of a mean over `rounds`, each round counted so many `times` (n, k)."""
        found = np.zeros((len(self.weight), len(times)))
        totals = totals_of_mean(number, rounds)
        share = min(1.0, rounds / max(1, len(totals)))
        for total in totals:
            found += share * self.totals(np.full(len(times), total), times)
        return found


def rounds_probability(shown: Shown, indices: Indices, numbers: Floats, skipped: Bools) -> Floats:
    """(r,) Probability that these rounds are written as these numbers.

    A skipped round is mostly written as nothing, whatever the flywheel added in it.
    """
    keep = np.zeros(len(skipped), dtype=bool)
    keep[indices] = True
    each = shown.only(keep).equals(numbers)
    nothing = SKIPPED_AS_NOTHING * (numbers == 0) + (1 - SKIPPED_AS_NOTHING) * each
    return np.asarray(np.where(skipped[indices], nothing, each).prod(axis=1))


def written_probability(shown: Shown, values: tuple[float, ...], skipped: Bools) -> Floats:
    """(r,) Probability of written rounds, a skipped one as 0 or left out."""
    entries = align(values, skipped)
    if entries is None:
        return np.zeros(shown.read.shape[0])
    return rounds_probability(shown, *entries, skipped)


def score_probability(number: float, shown: Shown, take: Take) -> Floats:
    """(r,) Probability of a score of other readings than the athlete's own (all rounds count)."""
    if take in ("lowest", "highest"):
        return extreme_probability(number, shown, take)
    rounds = shown.read.shape[1]
    summed = (shown.middle + shown.offset - 0.5).sum(axis=1)
    spread = shown.doubt.sum(axis=1)
    whole = shown.middle.sum(axis=1) + shown.offset - 0.5
    numbers = totals_of_mean(number, rounds) if take == "mean" else (number,)
    share = min(1.0, rounds / max(1, len(numbers))) if take == "mean" else 1.0
    found = np.zeros(len(summed))
    for each in numbers:
        found += share * 0.5 * bin_probability(each, summed, spread + CUT_VARIANCE * rounds)
        found += share * 0.5 * bin_probability(each, whole, spread + CUT_VARIANCE)
    return found
