"""Energy of intermittent shuttle runs from heart rate alone, end to end, on people made up.

Run as `python -m tests.bench.shuttle_bench`. Gas exchange of such runs is not at hand, so people
are made whose hearts and oxygen behave as measured ones did: hearts lie half way between two
published lines and differ between people and days so far that each published model alone misses
by as much as it did on 32 measured sessions (printed beside it); oxygen answers late and is repaid
quickly after the stop. The truth is the oxygen of the bout with that repayment; of a rest, standing
at 2.1 MET, as was measured. The plan is written as a coach would: a movement, and no machine.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.random import Generator

from ingest.recording import Floats, Recording
from reconcile.classes import Athlete, ClassRecord, Upload
from reconcile.energy import keytel, reserve
from reconcile.engine import workings
from reconcile.plan import Plan, Sex, Step, Task, TimedBlock
from reconcile.result import Energy

START = datetime(2026, 3, 9, 17, 30, tzinfo=UTC)
# Sessions: rounds, seconds of work, seconds of rest.
SESSIONS = ((20, 30, 30), (8, 60, 60), (6, 120, 90), (5, 240, 180), (3, 600, 180), (2, 900, 240))
TASKS = {
    "shuttle run": Task("shuttle run"),
    "hard shuttle run": Task("shuttle run", effort="hard"),
    "run": Task("run"),
    "unknown": Task("Pendelstaffel"),
}
STANDING_MET, STANDING_SD = 2.1, 0.15
PERSON_SD, DAY_SD = 0.08, 0.12
KCAL_PER_LITRE = 4.95
# Single models on 32 measured sessions of 16 people: mean error of whole work, share within 20 %.
MEASURED = {
    "table": (0.199, 0.59),
    "keytel": (0.164, 0.69),
    "keytel with VO2max": (0.132, 0.78),
}


@dataclass(frozen=True)
class Runner:
    """Somebody who runs shuttles: a body, and how heart and oxygen answer; seconds, kcal/min."""

    sex: Sex
    age: int
    mass_kg: float
    resting_hr: float
    max_hr: float
    vo2max: float
    standing_kcal_min: float
    energy_at_heart_rate: float
    heart_delay_s: float
    heart_on_s: float
    heart_off_s: float
    oxygen_s: float

    @property
    def most_kcal_min(self) -> float:
        return self.vo2max * self.mass_kg / 1000 * KCAL_PER_LITRE


@dataclass(frozen=True)
class Bout:
    """A step whose energy is known and was estimated; models: what each would have said alone."""

    kind: str
    truth: float
    said: Energy
    models: Mapping[str, float]


def draw_runner(rng: Generator) -> Runner:
    """A student of sport, 18 to 35 years."""
    sex: Sex = "m" if rng.random() < 0.6 else "f"
    age = int(rng.integers(18, 36))
    mass_kg = float(rng.normal(76, 9) if sex == "m" else rng.normal(62, 8))
    vo2max = float(rng.normal(51, 6) if sex == "m" else rng.normal(44, 5))
    return Runner(
        sex, age, mass_kg, rng.uniform(48, 72), 208 - 0.7 * age + rng.normal(0, 7), vo2max,
        STANDING_MET * np.exp(rng.normal(0, STANDING_SD)) * mass_kg / 60,
        float(np.exp(rng.normal(0, PERSON_SD))),
        rng.uniform(3, 12), rng.uniform(18, 40), rng.uniform(50, 110), rng.uniform(20, 40),
    )  # fmt: skip


def first_order(aim: Floats, on_s: float, off_s: float) -> Floats:
    """A level that follows an aim a second, faster or slower up than down."""
    level, out = float(aim[0]), np.empty(len(aim))
    for second, goal in enumerate(aim.tolist()):
        level += (goal - level) * -np.expm1(-1 / (on_s if goal > level else off_s))
        out[second] = level
    return out


def steady_heart_rate(runner: Runner, kcal_min: Floats, day: float) -> Floats:
    """The heart rate that a demand would settle at: half way between two published lines, but for
    what is this person's and this day's own; it bends towards the highest."""
    bpm = np.arange(runner.resting_hr, runner.max_hr + 40)
    by_reserve = reserve.energy(
        bpm, runner.resting_hr, runner.max_hr, runner.vo2max, runner.mass_kg
    )
    by_keytel = keytel.with_vo2max(bpm, runner.sex, runner.mass_kg, runner.age, runner.vo2max)
    joined = np.sqrt(by_reserve * np.maximum(by_keytel, 0.3 * by_reserve))
    steady = np.interp(kcal_min / (runner.energy_at_heart_rate * day), joined, bpm)
    share = (steady - runner.resting_hr) / (runner.max_hr - runner.resting_hr)
    share = share / (1 + share**8) ** (1 / 8)
    return np.asarray(runner.resting_hr + share * (runner.max_hr - runner.resting_hr))


def session(
    rng: Generator, runner: Runner, rounds: int, work_s: int, rest_s: int
) -> tuple[Floats, Floats]:
    """One session, second by second from 300 s before its first bell: oxygen as energy (kcal/min)
    without the slow tail, and heart rate."""
    length = 300 + rounds * (work_s + rest_s) + 300
    hardest = float(np.interp(work_s, [30, 900], [0.98, 0.78]))
    share = np.clip(rng.normal(hardest - 0.08, 0.14), 0.45, hardest)
    demand = np.full(length, runner.standing_kcal_min)
    for number in range(rounds):
        at = 300 + number * (work_s + rest_s)
        demand[at : at + work_s] = runner.most_kcal_min * share * rng.normal(1, 0.03)
    late = np.concatenate([np.full(12, demand[0]), demand[:-12]])
    oxygen = first_order(late, runner.oxygen_s, runner.oxygen_s)
    steady = steady_heart_rate(runner, demand, float(np.exp(rng.normal(0, DAY_SD))))
    delay = round(runner.heart_delay_s)
    aim = np.concatenate([np.full(delay, steady[0]), steady[:-delay]])
    beats = first_order(aim, runner.heart_on_s, runner.heart_off_s)
    drift = np.clip((np.arange(length) - 300) / 3600, 0, 1) * rng.uniform(0, 10)
    wander = first_order(rng.normal(0, 12, length), 15, 15)
    heart_rate = np.round(np.minimum(beats + drift + wander, runner.max_hr + 2))
    return oxygen, np.asarray(heart_rate, dtype=np.float64)


def truths(runner: Runner, oxygen: Floats, rounds: int, work_s: int, rest_s: int) -> list[float]:
    """Each step's energy, kcal: in the bout and what is repaid quickly after it, less what was
    still owed when it began; a rest is standing."""
    above = oxygen - runner.standing_kcal_min
    out = []
    for number in range(rounds):
        at = 300 + number * (work_s + rest_s)
        owed = runner.oxygen_s * float(above[at + work_s + 12] - above[at + 12])
        inside = float(above[at + 12 : at + work_s + 12].sum())
        out.append((inside + owed) / 60 + runner.standing_kcal_min * work_s / 60)
        out.append(runner.standing_kcal_min * rest_s / 60)
    return out


def measure(seed: int, task: Task, *, known: bool) -> list[Bout]:
    """One person's session, reconciled from its class folder's contents; known: whether the roster
    says the resting and highest heart rate and VO2max."""
    rng = np.random.default_rng(seed)
    runner = draw_runner(rng)
    rounds, work_s, rest_s = SESSIONS[seed % len(SESSIONS)]
    oxygen, beats = session(rng, runner, rounds, work_s, rest_s)
    plan = Plan(
        "Shuttles",
        (TimedBlock("shuttles", rounds, (Step("work", work_s, (task,)), Step("rest", rest_s))),),
    )
    athlete = Athlete("a01", runner.sex, START.year - runner.age, round(runner.mass_kg, 1))
    if known:
        athlete = replace(
            athlete, resting_hr=round(runner.resting_hr), max_hr=round(runner.max_hr),
            vo2max=round(runner.vo2max, 1),
        )  # fmt: skip
    begin = datetime.fromtimestamp(START.timestamp() - 300, UTC)
    recording = Recording(
        "csv", "watch", begin, len(beats), np.arange(float(len(beats))), heart_rate_bpm=beats
    )
    upload = Upload("a01.watch.csv", ("a01",), "watch", recording)
    found = workings(ClassRecord(plan, START, 600.0, (athlete,), (), (upload,)))
    rows: dict[tuple[int, int], dict[str, float]] = {}
    for row in found.energy["a01"].rows:
        rows.setdefault((row.round, row.step), {})[row.model] = row.kcal
    said = found.result.athletes[0].intervals
    return [
        Bout(step.kind, truth, step.energy, rows[step.round, step.step])
        for step, truth in zip(said, truths(runner, oxygen, rounds, work_s, rest_s), strict=True)
        if step.energy is not None
    ]


@dataclass(frozen=True)
class Figures:
    """Figures of some bouts, as shares of the truth."""

    count: int
    mean_error: float
    within_20: float
    bias: float
    coverage: float
    mean_width: float

    def __str__(self) -> str:
        return (
            f"{self.count:5} {self.mean_error:7.1%} {self.within_20:7.0%} {self.bias:+7.1%} "
            f"{self.coverage:7.1%} {self.mean_width:6.0%}"
        )


def figures(bouts: Sequence[Bout]) -> Figures:
    """The figures of merit of what was said of some bouts."""
    truth = np.array([bout.truth for bout in bouts])
    kcal, low, high = np.array([(b.said.kcal, b.said.low, b.said.high) for b in bouts]).T
    error = kcal / truth - 1
    return Figures(
        len(bouts),
        float(np.abs(error).mean()),
        float((np.abs(error) <= 0.2).mean()),
        float(error.mean()),
        float(((low <= truth) & (truth <= high)).mean()),
        float(((high - low) / kcal).mean()),
    )


def alone(sessions: Sequence[Sequence[Bout]], model: str) -> tuple[float, float]:
    """One model alone, whole work of each session: mean error, and share within 20 %."""
    errors = []
    for bouts in sessions:
        work = [bout for bout in bouts if bout.kind == "work" and model in bout.models]
        if work:
            said = sum(bout.models[model] for bout in work)
            errors.append(abs(said / sum(bout.truth for bout in work) - 1))
    return float(np.mean(errors)), float(np.mean(np.array(errors) <= 0.2))


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=60)
    seeds = range(parser.parse_args().people)
    head = f"{'bouts':>5} {'error':>7} {'in 20 %':>7} {'bias':>7} {'cover':>7} {'width':>6}"
    print(f"{'':40} {head}")
    for name, task in TASKS.items():
        for known, roster in ((False, "body mass"), (True, "with VO2max")):
            sessions = [measure(seed, task, known=known) for seed in seeds]
            for kind in ("work", "rest"):
                chosen = [bout for bouts in sessions for bout in bouts if bout.kind == kind]
                print(f"{f'{name}, {roster}: {kind}':40} {figures(chosen)}")
            if name == "shuttle run":
                for model in ("table", "keytel with VO2max" if known else "keytel"):
                    error, within = alone(sessions, model)
                    measured = "{:.1%} and {:.0%}".format(*MEASURED[model])
                    said = f"  {model} alone, whole work"
                    print(f"{said:40} {'':5} {error:7.1%} {within:7.0%} (measured {measured})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
