"""For each code of the contract, how the number on the sheet would have come about.

Every account gives the probability of the sheet (the score, and the rounds where they were written
down) under it. A sheet is explained on two levels: what happened to the rounds, with a total that
follows from them, or what happened to the total, with rounds that are as they should be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.plan import Take
from reconcile.score import priors
from reconcile.score.evidence import DELAYS_S, PROMPT_DELAYS_S, Bools, Evidence
from reconcile.score.scored import take_of
from reconcile.score.shown import (
    Shown,
    bin_probability,
    decimals_of,
    take_probability,
    totals_of_mean,
)

Facts = Mapping[str, object]
Indices = NDArray[np.intp]

# How often a skipped round is written as 0 and not as what the display showed in it.
SKIPPED_AS_NOTHING = 0.7


@dataclass(frozen=True, eq=False)
class Sheet:
    """What was written down, with everything that accounts for it.

    total, rounds: as logged. evidence: of the score's own measure; in_other_measures: of others,
    by their name. others: other athletes' values at the bells. watch_calories: the watch's.
    """

    total: float
    rounds: tuple[float, ...] | None
    take: Take
    evidence: Evidence
    in_other_measures: Mapping[str, Evidence] = field(default_factory=dict)
    others: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    watch_calories: tuple[float, ...] = ()


@dataclass(frozen=True)
class Account:
    """One way in which the sheet could have come about.

    share: its share within its code. likelihood: probability of the sheet under it.
    prompt: whether it is no more than rounding and reading up to 3 s after the bell.
    """

    code: str
    share: float
    likelihood: float
    predicts: float | None = None
    prompt: bool = False
    facts: Facts = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Habit:
    """A way of reading the display: its share of its code, and what is then shown.

    weight, delay_s: for each row of `shown` (a scenario read so long after the bell), how probable
    it is within the habit, and how late that is (the mean, where each round has its own delay).
    """

    code: str
    share: float
    prompt: bool
    shown: Shown
    weight: Floats
    delay_s: Floats

    def average(self, by_row: Floats) -> float:
        """The mean over the habit's rows."""
        return float(self.weight @ by_row)


def reading_habits(evidence: Evidence) -> list[Habit]:
    """At the bell, within 3 s of it, and later; the same delay each round, or each its own."""
    prompt = range(1, len(PROMPT_DELAYS_S))
    late = range(len(PROMPT_DELAYS_S), len(DELAYS_S))
    late_share = priors.LATE_SHARE
    found = []
    for offset, cut in priors.CUT_SHARE.items():
        found += [
            read_alike(evidence, "rounding", cut, range(1), offset),
            read_alike(evidence, "counted_coasting", 0.6 * (1 - late_share) * cut, prompt, offset),
            read_anew(evidence, "counted_coasting", 0.4 * (1 - late_share) * cut, prompt, offset),
        ]
    if evidence.measure == "seconds":
        return found  # a clock does not run on like a flywheel: late is as good as any number
    return [
        *found,
        read_alike(evidence, "counted_coasting", 0.7 * late_share, late),
        read_anew(evidence, "counted_coasting", 0.3 * late_share, late),
    ]


def read_alike(
    evidence: Evidence, code: str, share: float, delays: range, offset: float = 0.0
) -> Habit:
    """Every round read equally late: a row for each scenario and each delay."""
    read = np.concatenate([evidence.read[:, :, d] for d in delays])[:, :, None]
    sd = np.tile(between_delays(evidence, delays), (len(delays), 1))
    shown = Shown(read, np.ones(1), sd, offset)
    return Habit(
        code,
        share,
        delays[-1] < len(PROMPT_DELAYS_S),
        shown,
        np.tile(evidence.weight, len(delays)) / len(delays),
        np.repeat(DELAYS_S[list(delays)], len(evidence.weight)),
    )


def read_anew(
    evidence: Evidence, code: str, share: float, delays: range, offset: float = 0.0
) -> Habit:
    """Each round read with a delay of its own: a row for each scenario."""
    moments = np.full(len(delays), 1.0 / len(delays))
    sd = between_delays(evidence, delays)
    shown = Shown(evidence.read[:, :, list(delays)], moments, sd, offset)
    return Habit(
        code,
        share,
        delays[-1] < len(PROMPT_DELAYS_S),
        shown,
        evidence.weight,
        np.full(len(evidence.weight), float(DELAYS_S[list(delays)].mean())),
    )


def between_delays(evidence: Evidence, delays: range) -> Floats:
    """(g, k) Doubt of a reading that also covers the moments between the given delays."""
    if len(delays) < 2:
        return evidence.sd
    step = np.diff(evidence.read[:, :, list(delays)], axis=2).mean(axis=2)
    return np.asarray(np.hypot(evidence.sd, 0.4 * step))


def accounts(sheet: Sheet) -> list[Account]:
    """Every account of the sheet, of every code."""
    honest = Honest(sheet)
    found: list[Account] = []
    for give in GIVERS:
        found.extend(give(sheet, honest))
    return found


class Honest:
    """Probabilities of honest rounds and totals under a sheet's evidence, for all accounts."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.evidence = sheet.evidence
        self.habits = reading_habits(sheet.evidence)
        self.counting = self.evidence.counting
        self.attempted = np.flatnonzero(~self.evidence.skipped)
        prompt = [habit for habit in self.habits if habit.prompt]
        share = sum(habit.share * priors.PRIOR[habit.code] for habit in prompt)
        # (habit, its share among the prompt ones): an honest sheet is any of them.
        self.prompt = [(habit, habit.share * priors.PRIOR[habit.code] / share) for habit in prompt]

    def mix(self, give: Callable[[Shown], Floats]) -> float:
        """Probability over scenarios and prompt habits."""
        return sum(share * habit.average(give(habit.shown)) for habit, share in self.prompt)

    def total(self, number: float, shown: Shown, keep: Bools | None = None) -> Floats:
        """(g,) Probability that a total without rounds is `number`."""
        counting = self.counting if keep is None else self.counting & keep
        own = shown.only(counting)
        summed = take_probability(number, own, self.sheet.take)
        if self.sheet.take != "total" or own.read.shape[1] < 2:
            return summed
        whole = one_reading(own)
        single = take_probability(number, whole, "total")
        return (1 - priors.ONE_READING_SHARE) * summed + priors.ONE_READING_SHARE * single

    def honest_totals(self, numbers: Sequence[float]) -> Floats:
        """Probability of each number as an honest total."""
        if self.sheet.take != "total" or self.counting.sum() < 2:
            return np.array([self.mix(partial(self.total, number)) for number in numbers])
        found = np.zeros(len(numbers))
        column = np.asarray(numbers, dtype=np.float64)[None, :]
        single = priors.ONE_READING_SHARE
        for habit, share in self.prompt:
            own = habit.shown.only(self.counting)
            for part, shown in ((1 - single, own), (single, one_reading(own))):
                mean = shown.mean.sum(axis=1)[:, None]
                variance = shown.variance.sum(axis=1)[:, None]
                found += share * part * (habit.weight @ bin_probability(column, mean, variance))
        return found

    def round_probability(self, shown: Shown, values: tuple[float, ...]) -> Floats:
        """(g,) Probability of written rounds, a skipped one as 0 or left out."""
        return written_probability(shown, values, self.evidence.skipped)

    def honest_rounds(self, values: tuple[float, ...]) -> float:
        """Probability that honest rounds are written as `values`."""
        return self.mix(lambda shown: self.round_probability(shown, values))

    def at_bells(self, keep: Bools | None = None) -> float:
        """The score at the bells in the likeliest scenario, of all rounds or of some."""
        counting = self.counting if keep is None else self.counting & keep
        return take_of(self.evidence.read[self.evidence.best, counting, 0], self.sheet.take)


def prompt_readings(evidence: Evidence) -> Shown:
    """Readings up to 3 s after the bells without distinction."""
    delays = range(0, len(PROMPT_DELAYS_S), 2)
    moments = np.full(len(delays), 1.0 / len(delays))
    return Shown(evidence.read[:, :, list(delays)], moments, between_delays(evidence, delays))


def one_reading(shown: Shown) -> Shown:
    """The rounds as one: a display that stops in the rests and is read once at the end."""
    return Shown(
        shown.read.sum(axis=1, keepdims=True),
        shown.moments,
        np.sqrt((shown.sd**2).sum(axis=1, keepdims=True)),
        shown.offset,
    )


def align(values: tuple[float, ...], skipped: Bools) -> tuple[Indices, Floats] | None:
    """Which round each written value is of: all rounds, or only those attempted; else None."""
    rounds, attempted = len(skipped), np.flatnonzero(~skipped)
    if len(values) == rounds:
        return np.arange(rounds, dtype=np.intp), np.asarray(values, dtype=np.float64)
    if len(values) == len(attempted):
        return attempted.astype(np.intp), np.asarray(values, dtype=np.float64)
    return None


def follows(
    total: float, values: tuple[float, ...], take: Take, skipped: Bools | None = None
) -> bool:
    """Whether a score follows from its written rounds, zeros and skipped ones counted or not."""
    ways = [values, tuple(value for value in values if value > 0)]
    if skipped is not None and len(skipped) == len(values):
        ways.append(tuple(v for v, skip in zip(values, skipped, strict=True) if not skip))
    for kept in ways:
        if not kept:
            continue
        made = take_of(kept, take)
        grain = 10.0 ** -decimals_of(total)
        if abs(total - made) <= grain / 2 + 1e-9:
            return True
        if take == "mean" and 0 <= made - total < grain:
            return True
    return not values and total == 0


def on_two_levels(
    sheet: Sheet,
    honest: Honest,
    changed_rounds: float,
    changed_total: float,
    share_of_rounds: float = priors.ROUNDS_CHANGED_SHARE,
) -> float:
    """Probability of the sheet under a change of the rounds or of the total alone.

    changed_rounds: probability of the written rounds under the change; changed_total: of the
    total. Without written rounds only the total counts.
    """
    if sheet.rounds is None:
        return changed_total
    likelihood = 0.0
    if follows(sheet.total, sheet.rounds, sheet.take, sheet.evidence.skipped):
        likelihood += share_of_rounds * changed_rounds
    else:
        honest_rounds = honest.honest_rounds(sheet.rounds)
        likelihood += (1 - share_of_rounds) * honest_rounds * changed_total
    return likelihood


# --- one function a code ---------------------------------------------------------------------


def reading(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """`rounding` and `counted_coasting`: displays read at the bell, just after it, or late."""
    sheet_rounds = sheet.rounds
    aligned = sheet_rounds is None or align(sheet_rounds, sheet.evidence.skipped) is not None
    consistent = sheet_rounds is None or follows(
        sheet.total, sheet_rounds, sheet.take, sheet.evidence.skipped
    )
    for habit in honest.habits:
        if sheet_rounds is None:
            by_row = honest.total(sheet.total, habit.shown)
        elif not aligned:
            # The right total beside a wrong number of rounds: the rounds say nothing then.
            by_row = priors.MISCOUNTED_SHARE * honest.total(sheet.total, habit.shown)
        elif consistent:
            by_row = honest.round_probability(habit.shown, sheet_rounds)
        else:
            by_row = (
                priors.CARELESS_SHARE
                * honest.round_probability(habit.shown, sheet_rounds)
                * honest.total(sheet.total, habit.shown)
            )
        row = int(np.argmax(habit.weight * by_row))
        shown = habit.shown.read[row] @ habit.shown.moments
        yield Account(
            habit.code,
            habit.share,
            habit.average(by_row),
            take_of(shown[honest.counting], sheet.take),
            habit.prompt,
            {"delay_s": float(habit.delay_s[row])},
        )


def counted_rest(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """The display ran on through the rests, or was read at their ends."""
    evidence = sheet.evidence
    if evidence.measure == "seconds" or evidence.machine is None:
        return
    weight = evidence.weight
    still = np.array([1.0])
    whole = Shown(evidence.with_rest[:, :, None], still, evidence.sd)
    last_at_bell = evidence.with_rest.copy()
    last_at_bell[:, -1] = evidence.read[:, -1, 0]
    but_last = Shown(last_at_bell[:, :, None], still, evidence.sd)
    for share, shown in ((0.5, whole), (0.5, but_last)):
        by_rounds = 0.0
        if sheet.rounds is not None:
            by_rounds = float(weight @ honest.round_probability(shown, sheet.rounds))
        own = shown.only(honest.counting)
        summed = float(weight @ take_probability(sheet.total, own, sheet.take))
        if sheet.take == "total":
            summed = 0.5 * summed + 0.5 * float(
                weight @ take_probability(sheet.total, one_reading(own), "total")
            )
        likelihood = on_two_levels(sheet, honest, by_rounds, summed, 0.7)
        values = shown.read[evidence.best, honest.counting, 0]
        yield Account("counted_rest", share, likelihood, take_of(values, sheet.take))


def missing_round(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """One round, or more rarely two, left out of the score."""
    attempted = honest.attempted
    if len(attempted) < 2:
        return
    singles = [(int(index),) for index in attempted]
    pairs = [(int(a), int(b)) for a, b in combinations(attempted, 2)] if len(attempted) > 3 else []
    for groups, group_share in ((singles, 0.88 if pairs else 1.0), (pairs, 0.12)):
        for left_out in groups:
            yield from _without(sheet, honest, left_out, group_share / len(groups))


def _without(
    sheet: Sheet, honest: Honest, left_out: tuple[int, ...], share: float
) -> Iterator[Account]:
    keep = np.ones(len(sheet.evidence.skipped), dtype=bool)
    keep[list(left_out)] = False
    predicts = honest.at_bells(keep)
    if sheet.take in ("lowest", "highest") and abs(predicts - honest.at_bells()) < 0.5:
        return
    changed_total = honest.mix(lambda shown: honest.total(sheet.total, shown, keep))
    if sheet.take == "mean":
        # The sum of the others over the full number of rounds is a second way to leave one out.
        full = int(honest.counting.sum())
        short = predicts * (full - len(left_out)) / full
        changed_total = 0.5 * changed_total + 0.5 * honest.mix(
            lambda shown: _mean_of(sheet.total, shown.only(honest.counting & keep), full)
        )
        predicts = min((predicts, short), key=lambda value: abs(value - sheet.total))
    changed_rounds = 0.0
    if sheet.rounds is not None:
        changed_rounds = _rounds_without(sheet, honest, left_out)
        entries = align(sheet.rounds, sheet.evidence.skipped)
        if entries is not None:
            others = tuple(
                value
                for index, value in zip(entries[0], entries[1], strict=True)
                if int(index) not in left_out
            )
            changed_total = float(follows(sheet.total, others, sheet.take))
    likelihood = on_two_levels(sheet, honest, changed_rounds, changed_total, 0.5)
    rounds = tuple(index + 1 for index in left_out)
    yield Account("missing_round", share, likelihood, predicts, facts={"rounds": rounds})


def _mean_of(number: float, shown: Shown, rounds: int) -> Floats:
    mean, variance = shown.mean.sum(axis=1), shown.variance.sum(axis=1)
    totals = totals_of_mean(number, rounds)
    parts = [bin_probability(total, mean, variance) for total in totals]
    return np.asarray(sum(parts, np.zeros(len(mean))) * min(1.0, rounds / max(1, len(totals))))


def _rounds_without(sheet: Sheet, honest: Honest, left_out: tuple[int, ...]) -> float:
    """Probability of written rounds that lack some: shorter, or with nothing in their place."""
    assert sheet.rounds is not None
    values, skipped = sheet.rounds, sheet.evidence.skipped
    gone = np.zeros(len(skipped), dtype=bool)
    gone[list(left_out)] = True
    if len(values) == len(skipped):
        if any(values[index] > 0 for index in left_out):
            return 0.0
        indices = np.flatnonzero(~gone)
        numbers = np.asarray(values)[indices]
    else:
        numbers = np.asarray(values, dtype=np.float64)
        ways = [np.flatnonzero(~gone), np.flatnonzero(~gone & ~skipped)]
        fitting = [way for way in ways if len(way) == len(values)]
        if not fitting:
            return 0.0
        indices = fitting[0]
    return honest.mix(lambda shown: rounds_probability(shown, indices, numbers, skipped))


def extra_round(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """A round counted twice, or one that was not there."""
    attempted = honest.attempted
    if len(attempted) == 0 or sheet.take in ("lowest", "highest"):
        return
    share = 1.0 / len(attempted)
    for index in attempted:
        again = int(index)
        counting = np.append(np.flatnonzero(honest.counting), again).astype(np.intp)
        changed_total = honest.mix(partial(_repeated, sheet, counting))
        changed_rounds = 0.0
        if sheet.rounds is not None:
            changed_rounds = _rounds_with_extra(sheet, honest, again)
            entries = align(sheet.rounds, sheet.evidence.skipped)
            if entries is not None:
                more = (*sheet.rounds, *(v for i, v in zip(*entries, strict=True) if i == again))
                changed_total = float(follows(sheet.total, more, sheet.take))
        likelihood = on_two_levels(sheet, honest, changed_rounds, changed_total, 0.6)
        values = sheet.evidence.read[sheet.evidence.best, counting, 0]
        yield Account(
            "extra_round",
            share,
            likelihood,
            take_of(values, sheet.take),
            facts={"rounds": (again + 1,)},
        )


def _repeated(sheet: Sheet, chosen: Indices, shown: Shown) -> Floats:
    repeated = Shown(shown.read[:, chosen], shown.moments, shown.sd[:, chosen], shown.offset)
    if sheet.take == "total":
        return take_probability(sheet.total, repeated, "total")
    # A mean with a round more: over the rounds there were, or over one more.
    rounds = len(chosen)
    return 0.5 * (
        _mean_of(sheet.total, repeated, rounds) + _mean_of(sheet.total, repeated, rounds - 1)
    )


def _rounds_with_extra(sheet: Sheet, honest: Honest, again: int) -> float:
    """Probability of written rounds with one entry more after round `again`: a copy or the like."""
    assert sheet.rounds is not None
    values, skipped = sheet.rounds, sheet.evidence.skipped
    for indices in (np.arange(len(skipped)), np.flatnonzero(~skipped)):
        if len(values) != len(indices) + 1 or again not in indices:
            continue
        place = int(np.flatnonzero(indices == again)[0])
        likelihood = 0.0
        for extra in range(len(values)):
            rest = values[:extra] + values[extra + 1 :]
            usual = float(np.mean(rest))
            spread = max(1.5, 0.2 * usual)
            near = float(bin_probability(values[extra], np.array(usual), np.array(spread**2)))
            copy = float(values[extra] == rest[place]) if extra in (place, place + 1) else 0.0
            end = 1.0 if extra == len(values) - 1 else 0.0
            likelihood += (0.6 * copy + (0.4 * end + 0.2 / len(values)) * near) * (
                honest.honest_rounds(rest)
            )
        return likelihood
    return 0.0


def arithmetic_slip(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """Rounds as they should be, a total that does not follow from them."""
    if sheet.rounds is None:
        if sheet.take not in ("total", "mean") or len(honest.attempted) < 2:
            return
        sizes = [
            (sign * size, share / 2)
            for size, share in priors.SLIP_SIZES.items()
            for sign in (-1.0, 1.0)
        ]
        totals = honest.honest_totals([sheet.total - size for size, _ in sizes])
        likelihood = float(totals @ np.array([share for _, share in sizes]))
        yield Account(
            "arithmetic_slip", priors.UNSEEN_SLIP, likelihood, _nearest_slip(sheet, honest)
        )
        return
    kept = tuple(value for value in sheet.rounds if value > 0) or sheet.rounds
    made = take_of(sheet.rounds if sheet.take == "total" else kept, sheet.take)
    if follows(sheet.total, sheet.rounds, sheet.take, sheet.evidence.skipped):
        return
    rounds = honest.honest_rounds(sheet.rounds)
    likelihood = rounds * slip_probability(sheet.total - made, made)
    yield Account("arithmetic_slip", 1.0, likelihood, made, facts={"sum": made})


def _nearest_slip(sheet: Sheet, honest: Honest) -> float:
    at_bells = honest.at_bells()
    slips = [sign * size for size in priors.SLIP_SIZES for sign in (-1.0, 1.0)]
    return min((at_bells + slip for slip in slips), key=lambda value: abs(value - sheet.total))


def slip_probability(slip: float, total: float) -> float:
    """Probability that a sum is out by `slip`: a carry, a few, or anything of some size."""
    size = round(abs(slip), 6)
    known = priors.SLIP_SIZES.get(size, 0.0) / 2
    scale = max(2.0, priors.SLIP_SPREAD * total)
    spread = priors.SLIP_SPREAD_SHARE * float(np.exp(-size / scale)) / (2 * scale)
    return known + spread


def digits_swapped(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """Two digits swapped, or one mistyped, in the total or in one of the rounds."""
    for share, origins in (
        (priors.SWAPPED_SHARE, swapped(sheet.total)),
        (priors.MISTYPED_SHARE, mistyped(sheet.total)),
    ):
        totals = (
            honest.honest_totals(list(origins)) if sheet.rounds is None else np.zeros(len(origins))
        )
        for place, (origin, origin_share) in enumerate(origins.items()):
            if sheet.rounds is None:
                likelihood = float(totals[place])
            elif follows(origin, sheet.rounds, sheet.take):
                likelihood = 0.8 * honest.honest_rounds(sheet.rounds)
            else:
                continue
            yield Account(
                "digits_swapped", share * origin_share, likelihood, origin, facts={"origin": origin}
            )
    if sheet.rounds is None or align(sheet.rounds, sheet.evidence.skipped) is None:
        return
    for place, value in enumerate(sheet.rounds):
        for origin, origin_share in swapped(value).items():
            values = (*sheet.rounds[:place], origin, *sheet.rounds[place + 1 :])
            if not follows(
                sheet.total, sheet.rounds, sheet.take, sheet.evidence.skipped
            ) and not follows(sheet.total, values, sheet.take):
                continue
            likelihood = 0.2 / len(sheet.rounds) * honest.honest_rounds(values)
            yield Account(
                "digits_swapped",
                origin_share,
                likelihood,
                take_of(values, sheet.take),
                facts={"round": place + 1, "origin": origin, "written": value},
            )


def swapped(number: float) -> dict[float, float]:
    """Numbers that become `number` when two neighbouring digits are swapped, with shares."""
    if number != round(number) or number < 10:
        return {}
    text = str(round(number))
    found: dict[float, float] = {}
    for place in range(len(text) - 1):
        other = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
        if other != text:
            found[float(other)] = 1.0 / (len(text) - 1)
    return found


def mistyped(number: float) -> dict[float, float]:
    """Numbers that become `number` when one digit is wrong, lost or doubled, with shares."""
    if number != round(number) or number < 1:
        return {}
    text = str(round(number))
    found: dict[float, float] = {}
    for place, digit in enumerate(text):
        # A wrong digit: neighbours on the keys are likelier than others.
        for other in "0123456789":
            if other == digit or (place == 0 and other == "0"):
                continue
            near = abs(int(other) - int(digit)) == 1
            found[float(text[:place] + other + text[place + 1 :])] = (
                0.5 / len(text) * (0.3 if near else 0.4 / 7)
            )
        # A digit typed twice.
        if place and text[place - 1] == digit:
            found[float(text[:place] + text[place + 1 :])] = 0.25 / len(text)
    for place in range(len(text) + 1):
        # A digit that was lost: any digit at any place.
        for digit in "0123456789":
            if place == 0 and digit == "0":
                continue
            lost = float(text[:place] + digit + text[place:])
            found.setdefault(lost, 0.25 / (10 * (len(text) + 1)) * 3)
    return found


def wrong_measure(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """The machine's other number: metres for calories, calories for metres."""
    known = sheet.in_other_measures
    for name, evidence in known.items():
        shown = prompt_readings(evidence)
        own = shown.only(evidence.counting)
        summed = 0.5 * take_probability(sheet.total, own, sheet.take)
        summed = summed + 0.5 * take_probability(
            sheet.total, one_reading(own) if sheet.take == "total" else own, sheet.take
        )
        total = float(evidence.weight @ summed)
        by_rounds = 0.0
        if sheet.rounds is not None:
            by_rounds = float(
                evidence.weight @ written_probability(shown, sheet.rounds, evidence.skipped)
            )
        likelihood = on_two_levels(sheet, honest, by_rounds, total)
        values = evidence.read[evidence.best, evidence.counting, 0]
        yield Account(
            "wrong_measure",
            1.0 / len(known),
            likelihood,
            take_of(values, sheet.take),
            facts={"measure": name},
        )


def written_probability(shown: Shown, values: tuple[float, ...], skipped: Bools) -> Floats:
    """(rows,) Probability of written rounds, a skipped one as 0 or left out."""
    entries = align(values, skipped)
    if entries is None:
        return np.zeros(shown.read.shape[0])
    return rounds_probability(shown, entries[0], entries[1], skipped)


def rounds_probability(shown: Shown, indices: Indices, numbers: Floats, skipped: Bools) -> Floats:
    """(rows,) Probability that these rounds are written as these numbers.

    A skipped round is mostly written as nothing, whatever the flywheel added in it.
    """
    keep = np.zeros(len(skipped), dtype=bool)
    keep[indices] = True
    each = shown.only(keep).equals(numbers)
    nothing = SKIPPED_AS_NOTHING * (numbers == 0) + (1 - SKIPPED_AS_NOTHING) * each
    return np.asarray(np.where(skipped[indices], nothing, each).prod(axis=1))


def watch_calories(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """The watch's own estimate stands on the sheet."""
    if sheet.evidence.measure != "calories" or not sheet.watch_calories:
        return
    for candidate in sheet.watch_calories:
        mean = np.array(candidate)
        exact = float(bin_probability(sheet.total, mean, np.array(0.4**2)))
        about = float(bin_probability(sheet.total, mean, np.array(1.0 + (0.02 * candidate) ** 2)))
        total = 0.75 * exact + 0.25 * about
        changed_rounds = 0.0
        if sheet.rounds is not None:
            changed_rounds = total * flat_rounds(sheet.rounds)
        likelihood = on_two_levels(sheet, honest, changed_rounds, total, 0.3)
        yield Account("watch_calories", 1.0 / len(sheet.watch_calories), likelihood, candidate)


def flat_rounds(values: tuple[float, ...]) -> float:
    """Probability of rounds of which nothing is known but their mean."""
    usual = max(1.0, float(np.mean(values)))
    return float((1.0 / (2.0 * usual)) ** max(0, len(values) - 1))


def other_athlete(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """It fits what a machine recorded for somebody else."""
    if not sheet.others:
        return
    for name, values in sheet.others.items():
        read = np.asarray(values, dtype=np.float64)
        drift = np.array([0.0, 0.3, 0.6])
        shown = Shown(
            (read[:, None] + drift[None, :])[None],
            np.full(3, 1 / 3),
            np.full((1, len(read)), 0.3 if sheet.evidence.measure == "calories" else 2.0),
        )
        worked = read > 0.5
        own = shown.only(worked)
        if not worked.any():
            continue
        total = float(take_probability(sheet.total, own, sheet.take)[0])
        by_rounds = 0.0
        if sheet.rounds is not None:
            by_rounds = float(written_probability(shown, sheet.rounds, ~worked)[0])
        likelihood = on_two_levels(sheet, honest, by_rounds, total, 0.6)
        yield Account(
            "other_athlete",
            1.0 / len(sheet.others),
            likelihood,
            take_of(read[worked], sheet.take),
            facts={"athlete": name},
        )


def changed_size(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """`inflated` and `understated`: some share above or below what was done."""
    for code, sizes, sign in (
        ("inflated", priors.INFLATED_SIZES, 1.0),
        ("understated", priors.UNDERSTATED_SIZES, -1.0),
    ):
        total = _size_density(sheet, honest, sizes, sign)
        if sheet.rounds is None:
            yield Account(code, 1.0, total)
            continue
        rounds = _rounds_changed(sheet, sizes, sign)
        yield Account(code, 1.0, on_two_levels(sheet, honest, rounds, total))


def _log_density(log_ratio: Floats, sizes: tuple[tuple[float, float], ...]) -> Floats:
    """Density of the log ratio of a changed number to the true one, by its size."""
    density = sum(
        share / scale * np.exp(-np.maximum(log_ratio, 0.0) / scale) for share, scale in sizes
    )
    return np.where(log_ratio > 0, density, 0.0)


def _size_density(
    sheet: Sheet, honest: Honest, sizes: tuple[tuple[float, float], ...], sign: float
) -> float:
    if sheet.total <= 0:
        return 0.0
    counting = honest.counting
    rows = sheet.evidence.read[:, counting, 0]
    values = np.array([take_of(row, sheet.take) for row in rows])
    known = np.isfinite(values) & (values > 0)
    log_ratio = np.zeros(len(values))
    log_ratio[known] = sign * np.log(sheet.total / values[known])
    density = np.where(known, _log_density(log_ratio, sizes), 0.0)
    return float(sheet.evidence.weight @ density) / sheet.total


def _rounds_changed(sheet: Sheet, sizes: tuple[tuple[float, float], ...], sign: float) -> float:
    """Rounds all changed by one factor, or each changed or left by itself."""
    assert sheet.rounds is not None
    entries = align(sheet.rounds, sheet.evidence.skipped)
    if entries is None:
        return 0.0
    indices, numbers = entries
    keep = np.zeros(len(sheet.evidence.skipped), dtype=bool)
    keep[indices] = True
    grid = np.arange(0.02, 2.0, 0.03)
    density = _log_density(grid, sizes)
    weight = density / density.sum()
    middle = prompt_readings(sheet.evidence).only(keep)
    common = 0.0
    for step, share in zip(grid, weight, strict=True):
        scaled = middle.scaled(float(np.exp(sign * step)))
        # The grid's grain and the rounding of a scaled number widen each round.
        wider = np.hypot(scaled.sd, 0.01 * scaled.read[:, :, 0] + 0.3)
        shown = Shown(scaled.read, scaled.moments, wider, scaled.offset)
        common += share * float(sheet.evidence.weight @ shown.equals(numbers).prod(axis=1))
    at_bells = np.maximum(middle.read[:, :, 0], 0.5)
    with np.errstate(divide="ignore"):
        log_ratio = sign * np.log(np.maximum(numbers, 0.25) / at_bells)
    each = np.where(numbers > 0, _log_density(log_ratio, sizes) / np.maximum(numbers, 0.5), 0.0)
    single = middle.equals(numbers)
    separate = float(sheet.evidence.weight @ (0.5 * single + 0.5 * each).prod(axis=1))
    return 0.6 * common + 0.4 * separate


def unexplained(sheet: Sheet, honest: Honest) -> Iterator[Account]:
    """Any number at all, evenly over orders of magnitude."""
    flat = 1.0 / (max(sheet.total, 1.0) * np.log(1000.0))
    likelihood = flat
    if sheet.rounds is not None:
        likelihood = flat * flat_rounds(sheet.rounds)
        if not follows(sheet.total, sheet.rounds, sheet.take, sheet.evidence.skipped):
            likelihood = (
                0.5
                * flat
                * max(
                    flat_rounds(sheet.rounds) / max(1.0, sheet.total),
                    honest.honest_rounds(sheet.rounds),
                )
            )
    yield Account("unexplained", 1.0, likelihood)


GIVERS: tuple[Callable[[Sheet, Honest], Iterator[Account]], ...] = (
    reading,
    counted_rest,
    missing_round,
    extra_round,
    arithmetic_slip,
    digits_swapped,
    wrong_measure,
    watch_calories,
    other_athlete,
    changed_size,
    unexplained,
)


def posterior(found: list[Account]) -> list[tuple[Account, float]]:
    """Each account with its probability given the sheet (Bayes' rule with `priors.PRIOR`)."""
    weights = [priors.PRIOR[each.code] * each.share * each.likelihood for each in found]
    total = sum(weights)
    if not total > 0:
        return [(each, 0.0) for each in found]
    return [(each, weight / total) for each, weight in zip(found, weights, strict=True)]
