"""What athletes log: honest readings of the display, and every way of getting it wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tests.bench.simulator.machine import DRAG, STEP_S
from tests.bench.simulator.movements import MOVEMENTS
from tests.bench.simulator.perform import Track
from tests.bench.simulator.plans import Block
from tests.bench.simulator.rates import Rates
from tests.bench.simulator.truth import OwnMachine, ScoreTruth, StepTruth
from tests.bench.simulator.work import Slot, ticks

# Best marks of all time: 60 s to 300 s efforts lie below critical power
# 483.3 W plus 36.34 kJ for men; nobody comes near one and a half times that.
BEYOND_ANYONE_W = (483.3, 36340.0)
BEYOND = 1.5


@dataclass(frozen=True)
class Logged:
    """A number on the score sheet, and the per-round values where they were written down."""

    score: float
    rounds: tuple[float, ...] | None


@dataclass(frozen=True)
class Other:
    """What somebody else logged honestly for the same block."""

    measure: str
    logged: Logged


@dataclass(frozen=True)
class Scored:
    """One athlete's scored block: its work slots by round, and what clock and display showed."""

    block: Block
    measure: str
    take: str
    rounds: tuple[tuple[Slot, ...], ...]
    steps: dict[tuple[int, int], StepTruth]
    track: Track
    own: OwnMachine | None

    @property
    def on_display(self) -> bool:
        return self.measure in ("calories", "metres") and self.own is not None

    def done(self, number: int) -> bool:
        """Whether the athlete did this round, counted from 1."""
        return any(self.steps[number, slot.step].attempted for slot in self.rounds[number - 1])


def scored(
    track: Track, block: Block, steps: tuple[StepTruth, ...], own: OwnMachine | None
) -> Scored:
    """Put together what is needed to score a block."""
    assert block.measure is not None
    assert block.take is not None
    option = track.member.option
    measure = block.measure
    replaced = [
        job.instead[option]
        for step in block.steps
        for job in step.jobs
        if option in job.instead and job.most and job.measure == block.measure
    ]
    if replaced and replaced[0].most and replaced[0].measure is not None:
        measure = replaced[0].measure
    mine = [slot for slot in track.slots if slot.block == block.name and slot.kind == "work"]
    rounds = tuple(
        tuple(slot for slot in mine if slot.round == number)
        for number in range(1, block.rounds + 1)
    )
    by_key = {(step.round, step.step): step for step in steps if step.block == block.name}
    return Scored(block, measure, block.take, rounds, by_key, track, own)


def combine(values: list[float], take: str) -> float:
    if not values:
        return 0.0
    if take == "total":
        return sum(values)
    if take == "mean":
        return sum(values) / len(values)
    return min(values) if take == "lowest" else max(values)


def step_seconds(item: Scored, slot: Slot) -> float:
    key = (slot.block, slot.round, slot.step)
    done = item.track.doing.finished.get(key)
    return ((slot.end if done is None else done) - slot.start) * STEP_S


def true_rounds(item: Scored) -> list[float | None]:
    """Each round's value at the bells; None for a skipped one, except in a measure of seconds."""
    values: list[float | None] = []
    for number, slots in enumerate(item.rounds, start=1):
        if item.measure == "seconds":
            values.append(sum(step_seconds(item, slot) for slot in slots))
        elif not item.done(number):
            values.append(None)
        elif item.measure == "reps":
            reps = item.track.doing.reps
            values.append(float(sum(reps.get((s.block, s.round, s.step), 0) for s in slots)))
        else:
            field = "machine_calories" if item.measure == "calories" else "machine_metres"
            values.append(
                sum(getattr(item.steps[number, slot.step], field) or 0.0 for slot in slots)
            )
    return values


def true_score(item: Scored) -> float:
    """The score at the bells by the contract's rules."""
    rounds = true_rounds(item)
    if item.take == "total":
        return sum(value or 0.0 for value in rounds)
    return combine([value for value in rounds if value is not None], item.take)


def written(value: float, take: str) -> float:
    return round(value, 1) if take == "mean" else float(round(value))


Reading = tuple[float, float]


def readings(item: Scored, delay: Callable[[Slot], float]) -> list[list[Reading]]:
    """The display at the start of each machine step and `delay` seconds after its bell, unrounded,
    by round; skipped rounds left out."""
    assert item.own is not None
    shown = item.own.count if item.measure == "calories" else item.own.metres
    rounds = []
    for number, slots in enumerate(item.rounds, start=1):
        if not item.done(number):
            continue
        pairs = []
        for slot, following in zip(slots, [*slots[1:], None], strict=True):
            if not any(job.on_machine for job in slot.jobs):
                continue
            end = min(slot.end + ticks(delay(slot)), shown.size - 1)
            if following is not None:
                end = min(end, following.start)
            pairs.append((float(shown[slot.start]), float(shown[end])))
        rounds.append(pairs)
    return rounds


def display_rounds(item: Scored, delay: Callable[[Slot], float], *, resets: bool) -> list[float]:
    """Whole numbers as read: of a display that is set to 0 for each step, or as a difference."""
    if resets:
        return [
            float(sum(math.floor(end - start + 1e-9) for start, end in pairs))
            for pairs in readings(item, delay)
        ]
    return [
        float(sum(math.floor(end) - math.floor(start) for start, end in pairs))
        for pairs in readings(item, delay)
    ]


def honest_rounds(rng: Generator, item: Scored) -> list[float]:
    """What an honest athlete writes down for each round that counts."""
    if item.measure == "seconds":
        return [
            float(
                min(round(value + rng.uniform(0, 0.8)), sum(s.end - s.start for s in slots) // 10)
            )
            for value, slots in zip(true_rounds(item), item.rounds, strict=True)
            if value is not None
        ]
    if item.on_display:
        return display_rounds(item, lambda _: rng.uniform(0, 3), resets=bool(rng.random() < 0.5))
    return [float(round(value)) for value in true_rounds(item) if value is not None]


def honest_range(item: Scored) -> tuple[float, float]:
    """The lowest and highest score that an honest reading could give."""
    true = true_rounds(item)
    if not item.on_display:
        slack = 1.0 * len(true) if item.measure == "seconds" else 0.0
        middle = true_score(item)
        share = 1.0 if item.take == "total" else 1 / max(len(true), 1)
        return middle - slack * share - 0.5, middle + slack * share + 0.5
    low = [value - 1.0 for value in true if value is not None]
    high = [sum(end - start for start, end in pairs) for pairs in readings(item, lambda _: 3.0)]
    return combine(low, item.take), combine(high, item.take)


def running_on(item: Scored) -> Callable[[Slot], float]:
    """How long after a bell the flywheel has run out, or the athlete pulls again."""
    assert item.own is not None
    machine = item.own.machine

    def delay(slot: Slot) -> float:
        after = [pull.start for pull in machine.pulls if pull.start >= slot.end]
        until = min([*after, slot.end + 250, machine.ticks])
        still = np.flatnonzero(machine.speed_m_s[slot.end : until] <= 0.6)
        return float((still[0] if still.size else until - slot.end) * STEP_S)

    return delay


def whole_rest(item: Scored) -> Callable[[Slot], float]:
    """How long after a work step the athlete's next step of work begins."""
    slots = item.track.slots

    def delay(slot: Slot) -> float:
        later = [s.start for s in slots if s.kind == "work" and s.start >= slot.end]
        until = later[0] if later else slot.end + 600
        rest = [s.end for s in slots if s.kind == "rest" and s.start == slot.end]
        return (min(until, rest[0]) if rest else slot.end) * STEP_S - slot.end * STEP_S

    return delay


def total_of(item: Scored, rounds: list[float]) -> float:
    return written(combine(rounds, item.take), item.take)


def mistake(
    rng: Generator,
    code: str,
    item: Scored,
    honest: list[float],
    watch_calories: float | None,
    others: list[Other],
) -> Logged | None:
    """Return the score with this mistake in it, or None where it could not have happened."""
    rounds = tuple(honest)
    total = total_of(item, honest)
    listed = rounds if rng.random() < 0.6 else None
    if code in ("counted_coasting", "counted_rest"):
        if not item.on_display:
            return None
        delay = running_on(item) if code == "counted_coasting" else whole_rest(item)
        if code == "counted_rest":
            pulls = item.track.doing.pulls
            mine = {key for key in pulls if key[0] == item.block.name}
            rests = {(s.block, s.round, s.step) for s in item.track.slots if s.kind == "rest"}
            if not mine & rests:
                return None
        values = display_rounds(item, delay, resets=True)
        return Logged(total_of(item, values), tuple(values) if listed else None)
    if code == "missing_round":
        if item.take != "total" or len(honest) < 3:
            return None
        gone = int(rng.integers(len(honest)))
        values = [value for index, value in enumerate(honest) if index != gone]
        return Logged(total_of(item, values), tuple(values) if listed else None)
    if code == "extra_round":
        if item.take != "total" or len(honest) < 2:
            return None
        twice = int(rng.integers(len(honest)))
        values = [*honest, honest[twice]]
        return Logged(total_of(item, values), tuple(values) if listed else None)
    if code == "arithmetic_slip":
        if item.take != "total" or len(honest) < 2:
            return None
        slip = float(rng.choice((1, 2, 3, 4, 5, 10, 10, 20))) * float(rng.choice((-1, 1)))
        return Logged(total + slip, rounds)
    if code == "digits_swapped":
        digits = list(f"{total:.0f}")
        pairs = [i for i in range(len(digits) - 1) if digits[i] != digits[i + 1]]
        pairs = [i for i in pairs if not (i == 0 and digits[1] == "0")]
        if not pairs or item.take == "mean":
            return None
        at = pairs[int(rng.integers(len(pairs)))]
        digits[at], digits[at + 1] = digits[at + 1], digits[at]
        return Logged(float("".join(digits)), rounds if rng.random() < 0.3 else None)
    if code == "wrong_measure":
        if not item.on_display:
            return None
        other = "metres" if item.measure == "calories" else "calories"
        swapped = Scored(
            item.block, other, item.take, item.rounds, item.steps, item.track, item.own
        )
        values = honest_rounds(rng, swapped)
        return Logged(total_of(item, values), tuple(values) if listed else None)
    if code == "watch_calories":
        if item.measure != "calories" or watch_calories is None:
            return None
        return Logged(float(round(watch_calories)), None)
    if code == "other_athlete":
        same = [other for other in others if other.measure == item.measure]
        if not same:
            return None
        copied = same[int(rng.integers(len(same)))].logged
        return Logged(copied.score, copied.rounds if listed else None)
    if code in ("inflated", "understated"):
        size = 0.05 + rng.exponential(0.14)
        factor = 1 + min(size, 0.7) if code == "inflated" else 1 - min(size, 0.5)
        values = [float(round(value * factor)) for value in honest]
        score = written(total_of(item, honest) * factor, item.take)
        if listed is None:
            return Logged(score, None)
        return Logged(total_of(item, values), tuple(values))
    if code == "unexplained":
        factor = rng.choice((rng.uniform(0.25, 0.7), rng.uniform(1.4, 2.2)))
        return Logged(written(total * factor + rng.integers(-3, 4), item.take), None)
    return None


def impossible_score(rng: Generator, item: Scored) -> Logged | None:
    """A number that no body could reach in the time, whatever the machine."""
    values = []
    for slots in item.rounds:
        value = 0.0
        for slot in slots:
            seconds = (slot.end - slot.start) * STEP_S
            watts = BEYOND * (BEYOND_ANYONE_W[0] + BEYOND_ANYONE_W[1] / seconds)
            if item.measure == "calories":
                value += (4 * 0.8604 * watts + 300) / 3600 * seconds
            elif item.measure == "metres":
                value += (watts / 0.35) ** (1 / 3) * seconds
            elif item.measure == "seconds":
                metres = sum(job.amount or 0.0 for job in slot.jobs if job.on_machine)
                drag = DRAG[item.own.machine.kind] if item.own is not None else DRAG["bike"]
                value += metres / (watts / drag) ** (1 / 3)
            elif item.measure == "reps":
                names = [job.movement for job in slot.jobs if job.most]
                fastest = min((MOVEMENTS[n].seconds for n in names if n in MOVEMENTS), default=1)
                value += seconds / (0.12 * fastest)
        factor = rng.uniform(0.5, 0.9) if item.measure == "seconds" else rng.uniform(1.0, 1.5)
        values.append(value * factor)
    if min(values) <= 0:
        return None
    return Logged(written(combine(values, item.take), item.take), None)


MISTAKES = (
    "counted_coasting", "counted_rest", "missing_round", "extra_round", "arithmetic_slip",
    "digits_swapped", "wrong_measure", "watch_calories", "other_athlete", "inflated",
    "understated", "unexplained",
)  # fmt: skip
# Most mistakes are small: a whole wrong measure is rarer than a slip.
WEIGHTS = (3.0, 2.5, 1.0, 1.0, 1.2, 0.8, 0.4, 0.5, 0.6, 1.3, 0.9, 0.4)


def log_score(
    rng: Generator,
    item: Scored,
    rates: Rates,
    watch_calories: float | None,
    others: list[Other],
) -> tuple[ScoreTruth, Logged | None]:
    """Draw what this athlete logs for this block, and keep the truth beside it."""
    true = true_score(item)

    def truth(logged: Logged | None, code: str | None, *, impossible: bool = False) -> ScoreTruth:
        return ScoreTruth(
            item.block.name, item.measure, item.take, true,
            None if logged is None else logged.score,
            None if logged is None else logged.rounds,
            code, impossible,
        )  # fmt: skip

    if rng.random() < rates.missing_score:
        return truth(None, None), None
    honest = honest_rounds(rng, item)
    if rng.random() < rates.wrong_score:
        if rng.random() < 0.06:
            logged = impossible_score(rng, item)
            if logged is not None:
                code = "understated" if item.measure == "seconds" else "inflated"
                return truth(logged, code, impossible=True), logged
        low, high = honest_range(item)
        weights = np.array(WEIGHTS) / sum(WEIGHTS)
        for code in rng.choice(MISTAKES, size=len(MISTAKES), replace=False, p=weights).tolist():
            logged = mistake(rng, code, item, honest, watch_calories, others)
            if logged is None or logged.score < 0:
                continue
            slip = code == "arithmetic_slip" and logged.rounds is not None
            if low <= logged.score <= high and not slip:
                continue
            return truth(logged, code), logged
    rounds = tuple(honest) if rng.random() < 0.6 else None
    logged = Logged(total_of(item, honest), rounds)
    return truth(logged, "rounding"), logged
