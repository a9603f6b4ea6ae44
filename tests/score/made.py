"""Made questions with a known answer: a machine, a person, a bell, and a sheet.

Shares nothing with `reconcile.score` but the question's types. Sizes after the description of a
real class: flywheels coast, people work past the bell and stop early, rounds are skipped, displays
are read up to 3 s late; and each mistake of the contract's codes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from reconcile.classes import Athlete, LoggedScore
from reconcile.plan import ScoreRule, Step, Task, TimedBlock
from reconcile.result import Interval
from reconcile.score.question import ScoreQuestion
from reconcile.timeline import unfold_block

Floats = NDArray[np.float64]
GRAIN_S = 0.25
LEAD_S = 60.0


@dataclass(frozen=True, eq=False)
class MadeCount:
    """A count given as a curve; implements `MachineCount`."""

    machine: Literal["rower", "ski", "bike"]
    time_s: Floats
    calories: Floats
    metres: Floats
    pulls: tuple[tuple[float, float], ...]
    known: tuple[float, float] = (-1e9, 1e9)
    calories_scale_sd: float = 0.002
    metres_scale_sd: float = 0.001
    own_sd: float = 0.08
    idle: float = 0.0

    def calories_at(self, time_s: Floats) -> Floats:
        return np.asarray(np.interp(time_s, self.time_s, self.calories))

    def metres_at(self, time_s: Floats) -> Floats:
        return np.asarray(np.interp(time_s, self.time_s, self.metres))

    def calories_sd(self, start_s: float, end_s: float) -> float:
        return self.own_sd

    def metres_sd(self, start_s: float, end_s: float) -> float:
        return 0.5

    def covered(self, start_s: float, end_s: float) -> float:
        inside = max(0.0, min(end_s, self.known[1]) - max(start_s, self.known[0]))
        return inside / (end_s - start_s)

    def idle_outside(self, start_s: float, end_s: float) -> float:
        return self.idle


@dataclass(frozen=True)
class Made:
    """A question and what is true of it."""

    question: ScoreQuestion
    true: float
    code: str
    honest: bool
    impossible: bool = False
    plan: str = ""
    values: tuple[float, ...] = field(default_factory=tuple)


PLANS: tuple[TimedBlock, ...] = (
    TimedBlock(
        "task first",
        5,
        (
            Step("work", 150, (Task("lift", "reps", 12), Task("machine", "calories", most=True))),
            Step("rest", 120),
        ),
        ScoreRule("calories", "total"),
    ),
    TimedBlock(
        "all machine",
        4,
        (Step("work", 180, (Task("machine", "calories", most=True),)), Step("rest", 60)),
        ScoreRule("calories", "total"),
    ),
    TimedBlock(
        "short",
        10,
        (Step("work", 30, (Task("machine", "calories", most=True),)), Step("rest", 30)),
        ScoreRule("calories", "total"),
    ),
    TimedBlock(
        "metres",
        6,
        (Step("work", 60, (Task("machine", "metres", most=True),)), Step("rest", 60)),
        ScoreRule("metres", "total"),
    ),
    TimedBlock(
        "long lowest",
        3,
        (Step("work", 240, (Task("machine", "calories", most=True),)), Step("rest", 120)),
        ScoreRule("calories", "lowest"),
    ),
    TimedBlock(
        "highest",
        4,
        (Step("work", 90, (Task("machine", "metres", most=True),)), Step("rest", 90)),
        ScoreRule("metres", "highest"),
    ),
    TimedBlock(
        "pyramid mean",
        2,
        (
            Step("work", 60, (Task("machine", "calories", most=True),)),
            Step("rest", 30),
            Step("work", 120, (Task("machine", "calories", most=True),)),
            Step("rest", 60),
            Step("work", 60, (Task("machine", "calories", most=True),)),
            Step("rest", 90),
        ),
        ScoreRule("calories", "mean"),
    ),
    TimedBlock(
        "for time",
        4,
        (Step("work", 180, (Task("machine", "metres", 500.0),)), Step("rest", 60)),
        ScoreRule("seconds", "total"),
    ),
    TimedBlock(
        "two works",
        4,
        (
            Step("work", 60, (Task("machine", "calories", most=True),)),
            Step("rest", 30),
            Step("work", 60, (Task("swing", "reps", most=True),)),
            Step("rest", 30),
        ),
        ScoreRule("calories", "total"),
    ),
)


@dataclass(frozen=True, eq=False)
class Done:
    """What one person really did on the machine: true curves on the true block clock."""

    time_s: Floats
    calories: Floats
    metres: Floats
    pulls: tuple[tuple[float, float], ...]
    skipped: frozenset[int]


def do(rng: Generator, block: TimedBlock, drag: float) -> Done:
    """One person's machine work in a block: fading power, late starts, early stops, coasting."""
    steps = unfold_block(block)
    end_s = steps[-1].end_s + 60
    time_s = np.arange(-LEAD_S, end_s, GRAIN_S)
    power = np.zeros(len(time_s))
    base_w = float(np.clip(rng.normal(180, 45), 80, 330))
    fade = rng.uniform(0, 0.18)
    early = rng.random() < 0.1
    rests = rng.random() < 1 / 6
    late = rng.random() < 0.1
    skipped = (
        frozenset(number for number in range(1, block.rounds + 1) if rng.random() < 0.06)
        if block.rounds > 2
        else frozenset()
    )
    pulls: list[tuple[float, float]] = []
    for step in steps:
        on_machine = any(task.on_machine for task in step.tasks)
        level = base_w * (1 - fade * step.round / block.rounds) * rng.normal(1, 0.05)
        if step.kind == "rest":
            if rests and rng.random() < 0.7:
                begin = step.start_s + rng.uniform(6, 12)
                if step.end_s - begin > 12:
                    pulls.append((begin, step.end_s - rng.uniform(1, 5)))
                    power[(time_s >= pulls[-1][0]) & (time_s < pulls[-1][1])] = 0.3 * base_w
            continue
        if not on_machine or step.round in skipped:
            continue
        begin = step.start_s + rng.uniform(-1, 4) + (rng.uniform(5, 15) if late else 0)
        if len(step.tasks) > 1:
            begin = step.start_s + rng.uniform(0.4, 0.8) * step.duration_s
        stop = step.end_s + rng.uniform(-2, 3) - (rng.uniform(5, 20) if early else 0)
        if step.tasks[-1].amount is not None:
            stop = step.end_s
        if stop - begin < 4:
            continue
        pulls.append((begin, stop))
        here = (time_s >= begin) & (time_s < stop)
        ramp = np.minimum(1.0, (time_s[here] - begin) / 3.0)
        power[here] = level * ramp * (1 + 0.08 * np.sin(2 * np.pi * time_s[here] / 2.3))
    # The flywheel: what is pulled in keeps it turning, the air takes k·v³.
    speed = np.zeros(len(time_s))
    inertia = 30.0 if drag > 1 else 6.0
    velocity = 0.0
    for index in range(len(time_s)):
        gain = power[index] / max(velocity, 1.0)
        velocity = max(0.0, velocity + GRAIN_S * (gain - drag * velocity**2) / inertia)
        speed[index] = velocity
    air = drag * speed**3
    moving = speed > 0.6
    watts = np.where(power > 0, power, air)
    rate = np.where(moving | (power > 0), (4 * 0.8604 * watts + 300) / 3600, 0.0)
    return Done(
        time_s,
        np.concatenate([[0.0], np.cumsum(rate[:-1]) * GRAIN_S]),
        np.concatenate([[0.0], np.cumsum(speed[:-1]) * GRAIN_S]),
        tuple(sorted(pulls)),
        skipped,
    )


def scored_windows(block: TimedBlock) -> list[list[tuple[float, float]]]:
    rounds: dict[int, list[tuple[float, float]]] = {}
    for step in unfold_block(block):
        if step.kind == "work" and any(task.on_machine for task in step.tasks):
            rounds.setdefault(step.round, []).append((step.start_s, step.end_s))
    return [rounds[number] for number in sorted(rounds)]


def read_rounds(
    done: Done, block: TimedBlock, delays: Floats, measure: str | None = None
) -> Floats:
    """(k,) What the display adds up to for each round, read so long after each bell."""
    assert block.score is not None
    unit = measure or block.score.measure
    curve = done.calories if unit == "calories" else done.metres
    values = []
    for steps, delay in zip(scored_windows(block), delays, strict=True):
        value = 0.0
        for place, (start, end) in enumerate(steps):
            later = min(delay, steps[place + 1][0] - end) if place + 1 < len(steps) else delay
            begun = np.interp(start, done.time_s, curve)
            if unit == "seconds":
                goal = np.interp(start, done.time_s, done.metres) + 500.0
                index = int(np.searchsorted(done.metres, goal))
                when = done.time_s[index] - start if index < len(done.time_s) else 1e9
                value += min(end - start, when + later)
            else:
                value += float(np.interp(end + later, done.time_s, curve) - begun)
        values.append(value)
    return np.array(values)


def taken(values: Floats, take: str, counts: NDArray[np.bool_]) -> float:
    kept = values[counts]
    if take == "total":
        return float(kept.sum())
    if len(kept) == 0:
        return 0.0
    if take == "lowest":
        return float(kept.min())
    return float(kept.max() if take == "highest" else kept.mean())


CODES = (
    "counted_coasting", "counted_rest", "missing_round", "extra_round", "arithmetic_slip",
    "digits_swapped", "wrong_measure", "watch_calories", "other_athlete", "inflated",
    "understated", "impossible",
)  # fmt: skip


def make(
    rng: Generator, code: str | None = None, plan: int | None = None, direct: bool = True
) -> Made | None:
    """One question; None where this mistake does not exist for this plan or sheet."""
    block = PLANS[int(rng.integers(len(PLANS))) if plan is None else plan]
    assert block.score is not None
    machine: Literal["rower", "ski", "bike"] = ("rower", "ski", "bike")[int(rng.integers(3))]
    drag = 0.35 if machine == "bike" else 2.8
    done = do(rng, block, drag)
    count = block.rounds
    take, unit = block.score.take, block.score.measure
    skipped = np.array([number in done.skipped for number in range(1, count + 1)])
    counting = ~skipped | (unit == "seconds")
    at_bells = read_rounds(done, block, np.zeros(count))
    true = taken(at_bells, take, counting)
    if true < 4:
        return None
    honest_delays = rng.uniform(0, 3, count)
    shown = np.floor(read_rounds(done, block, honest_delays) + 1e-6)
    code = code or (None if rng.random() < 0.62 else str(rng.choice(CODES)))
    others = {
        f"a{number:02d}": tuple(
            float(v) for v in read_rounds(do(rng, block, drag), block, np.zeros(count))
        )
        for number in range(2, 7 if code == "other_athlete" else 4)
    }
    watch = (float(np.round(rng.uniform(120, 420))), float(np.round(rng.uniform(40, 160))))
    written = rng.random() < 0.55
    rounds: list[float] | None = [float(v) for v in shown] if written else None
    mean_decimals = int(rng.integers(0, 2))

    def score_of(values: Floats, counts: NDArray[np.bool_] = counting) -> float:
        value = taken(values, take, counts)
        return round(value, mean_decimals) if take == "mean" else float(round(value))

    logged = score_of(shown)
    if code is None and rounds is None and take == "total" and rng.random() < 0.15:
        logged = float(np.floor(read_rounds(done, block, honest_delays).sum()))
    impossible = False
    if code == "counted_coasting":
        if unit == "seconds":
            return None
        late = np.floor(read_rounds(done, block, rng.uniform(4, 12, count)) + 1e-6)
        logged, rounds = score_of(late), [float(v) for v in late] if written else None
    elif code == "counted_rest":
        if unit == "seconds":
            return None
        gaps = np.array([block.round_s * 0 + _rest_after(block, k) for k in range(count)])
        ran = np.floor(read_rounds(done, block, gaps) + 1e-6)
        logged, rounds = score_of(ran), [float(v) for v in ran] if written else None
    elif code in ("missing_round", "extra_round"):
        kept = np.flatnonzero(~skipped)
        if len(kept) < 2 or (code == "extra_round" and take in ("lowest", "highest")):
            return None
        which = int(rng.choice(kept))
        if code == "missing_round":
            left = counting.copy()
            left[which] = False
            logged = score_of(shown, left)
            if rounds is not None and rng.random() < 0.6:
                rounds = [v for k, v in enumerate(rounds) if k != which]
        else:
            values = np.append(shown, shown[which])
            logged = score_of(values, np.append(counting, True))
            if rounds is not None and rng.random() < 0.6:
                rounds = [*rounds[: which + 1], rounds[which], *rounds[which + 1 :]]
    elif code == "arithmetic_slip":
        if rounds is None:
            rounds = [float(v) for v in shown]
        logged += float(rng.choice([-20, -10, -10, -5, -3, -2, 2, 3, 5, 10, 10, 20]))
        if take in ("lowest", "highest", "mean") or logged <= 0:
            return None
    elif code == "digits_swapped":
        text = f"{logged:.0f}"
        if len(text) < 2 or logged != round(logged):
            return None
        place = int(rng.integers(len(text) - 1))
        logged = float(text[:place] + text[place + 1] + text[place] + text[place + 2 :])
        if rounds is not None and rng.random() < 0.5:
            rounds = None
    elif code == "wrong_measure":
        if unit == "seconds":
            return None
        other = "metres" if unit == "calories" else "calories"
        values = np.floor(read_rounds(done, block, honest_delays, other) + 1e-6)
        logged = score_of(values)
        rounds = [float(v) for v in values] if written else None
    elif code == "watch_calories":
        if unit != "calories":
            return None
        logged, rounds = watch[int(rng.integers(2))], None
    elif code == "other_athlete":
        if unit == "seconds":
            return None
        name = str(rng.choice(list(others)))
        theirs = np.floor(np.array(others[name]) + rng.uniform(0, 0.6, count))
        logged = score_of(theirs, theirs > 0)
        rounds = [float(v) for v in theirs] if written else None
    elif code in ("inflated", "understated"):
        factor = rng.uniform(1.04, 1.5) if code == "inflated" else rng.uniform(0.6, 0.96)
        if rounds is not None:
            values = np.round(shown * factor)
            rounds, logged = [float(v) for v in values], score_of(values)
        else:
            logged = float(round(logged * factor))
    elif code == "impossible":
        impossible = True
        code = "inflated"
        logged, rounds = float(round(logged * rng.uniform(4, 8))), None
        if unit == "seconds":
            return None
    reaching = [
        true,
        score_of(shown),
        *(
            score_of(np.floor(read_rounds(done, block, np.full(count, d)) + 1e-6))
            for d in (0.0, 3.0)
        ),
    ]
    honest = code is None or min(reaching) - 1 <= logged <= max(reaching) + 1
    if code is not None and not impossible and honest and code != "arithmetic_slip":
        return None  # a mistake that changed nothing is none
    question = _question(rng, block, machine, done, skipped, direct)
    sheet = LoggedScore(
        "a01",
        block.name,
        score=logged,
        rounds=None if rounds is None else tuple(rounds),
        equipment=machine,
    )
    return Made(
        replace(question, logged=sheet, others=others, watch_calories=watch),
        true,
        code or "rounding",
        code is None,
        impossible,
        block.name,
        tuple(float(v) for v in at_bells),
    )


def _rest_after(block: TimedBlock, index: int) -> float:
    steps = unfold_block(block)
    windows = scored_windows(block)[index]
    end = windows[-1][1]
    starts = [start for steps_ in scored_windows(block) for start, _ in steps_ if start >= end]
    return (min(starts) if starts else steps[-1].end_s) - end


def _question(
    rng: Generator,
    block: TimedBlock,
    machine: Literal["rower", "ski", "bike"],
    done: Done,
    skipped: NDArray[np.bool_],
    direct: bool,
) -> ScoreQuestion:
    placement_sd = float(rng.choice([0.3, 0.6, 1.2]))
    error = rng.normal(0, placement_sd)
    counted = rng.random() < 0.82
    scale_sd = 0.002 if counted else 0.012
    scale = rng.normal(1, scale_sd)
    knots = np.arange(done.time_s[0], done.time_s[-1] + 15, 15.0)
    wiggle = np.interp(done.time_s, knots, rng.normal(0, 0.06, len(knots)))
    made = MadeCount(
        machine,
        done.time_s - error,
        np.maximum.accumulate(done.calories * scale + wiggle),
        done.metres,
        tuple((start - error, end - error) for start, end in done.pulls),
        calories_scale_sd=scale_sd,
    )
    intervals = tuple(
        Interval(
            block.name,
            step.round,
            step.step,
            step.kind,
            step.duration_s,
            attempted=None if step.kind == "rest" else not skipped[step.round - 1],
        )
        for step in unfold_block(block)
    )
    sex: Literal["m", "f"] = "m" if rng.random() < 0.5 else "f"
    athlete = Athlete(
        "a01",
        sex=sex,
        mass_kg=float(rng.normal(82 if sex == "m" else 66, 9)),
        vo2max=None if rng.random() < 0.5 else float(rng.normal(44, 6)),
    )
    return ScoreQuestion(
        block,
        unfold_block(block),
        athlete,
        None,
        equipment=machine,
        intervals=intervals,
        counts=(made,) if direct else (),
        placement_sd_s=placement_sd,
        has_heart_rate=True,
    )
