"""A small class by hand: a result as the engine would give it, to draw sheets and pages from."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import numpy as np

from ingest.recording import Problem
from reconcile.classes import Athlete, ClassRecord, LoggedScore, Upload
from reconcile.plan import (
    DurationRange,
    FreeBlock,
    Plan,
    Quantity,
    ScoreRule,
    Step,
    Task,
    TimedBlock,
)
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
    Track,
)

LIFT = Task("sack drag", "metres", 16, load=Quantity(Fraction(45), Fraction(32), "kg"))
MACHINE = Task("machine", "calories", most=True, intended=DurationRange(40.0, 65.0))
MAIN = TimedBlock(
    "orchard",
    3,
    (Step("work", 130.0, (LIFT, MACHINE)), Step("rest", 80.0)),
    ScoreRule("calories", "total"),
)
WARM_UP = TimedBlock("warm-up", 2, (Step("work", 45.0), Step("rest", 15.0)))
PLAN = Plan(
    "Orchard <sixes> & sons",
    (WARM_UP, FreeBlock("fetch", 180.0, 360.0), MAIN),
    ("prescribed", "lighter"),
)

STARTS = {"warm-up": 0.0, "orchard": 400.0}


def work(round_number: int, **fields: object) -> Interval:
    """A work step of the main block, done with 50 s on the machine unless said otherwise."""
    done = Interval(
        "orchard",
        round_number,
        1,
        "work",
        130.0,
        attempted=True,
        effort_start_s=1.5,
        effort_end_s=128.25,
        machine_start_s=78.0,
        machine_end_s=128.0,
        machine_active_s=50.0,
        machine_calories=12.345,
        machine_metres=198.5,
        mean_power_w=181.0,
        energy=Energy(25.0, 20.0, 30.0, "machine+heart-rate"),
        mean_hr=151.0,
        peak_hr=168.0,
    )
    return dataclasses.replace(done, **fields)  # type: ignore[arg-type]


def rest(round_number: int) -> Interval:
    """A rest step of the main block."""
    return Interval(
        "orchard",
        round_number,
        2,
        "rest",
        80.0,
        energy=Energy(3.0, 2.0, 4.0, "activity-table"),
        hr_drop_60s=31.0,
    )


def unknown(round_number: int) -> Interval:
    """A work step of which nothing is known."""
    return Interval("orchard", round_number, 1, "work", 130.0)


LEFT_OUT = Interval(
    "orchard", 2, 1, "work", 130.0, attempted=False, energy=Energy(5.0, 4.0, 6.0, "heart-rate")
)


def track(seed: int, power: bool = True) -> Track:
    """Heart rate and, where asked for, power over the whole class, with one long gap."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(-60.0, 1100.0)
    beats = 110 + 40 * np.sin(time_s / 60.0) + rng.normal(0.0, 1.0, time_s.size)
    beats[300:360] = np.nan
    pulls = tuple(
        (400.0 + 210.0 * index + 78.0, 400.0 + 210.0 * index + 128.0) for index in range(3)
    )
    watts = np.zeros(time_s.size)
    for start_s, end_s in pulls:
        watts[(time_s >= start_s) & (time_s < end_s)] = 181.0
    return Track(time_s, beats, watts if power else None, pulls if power else ())


def recording(file: str, **fields: object) -> RecordingResult:
    """A file that is aligned and belongs to the athlete of its name."""
    owner, source, ending = file.split(".")
    whole = RecordingResult(
        file=file,
        source=source,
        format="fit" if ending == "fit" else "csv",
        status="aligned",
        first_sample=datetime(2026, 10, 17, 7, 14, 3, tzinfo=UTC),
        samples=1160,
        belongs_to=owner,
        probability=0.99,
        blocks=(BlockPlacement("orchard", 460.0, 459.0, 461.25, 0.98),),
        problems=(),
    )
    return dataclasses.replace(whole, **fields)  # type: ignore[arg-type]


def score(**fields: object) -> ScoreResult:
    """A confirmed score of the main block."""
    confirmed = ScoreResult("orchard", "calories", 37.0, 37.035, 36.5, 37.5, "confirmed", False)
    return dataclasses.replace(confirmed, **fields)  # type: ignore[arg-type]


def three_rounds() -> tuple[Interval, ...]:
    """All three rounds, done."""
    return tuple(step for number in (1, 2, 3) for step in (work(number), rest(number)))


RESULT = ClassResult(
    title=PLAN.title,
    athletes=(
        AthleteResult(
            "a01",
            (recording("a01.rower.fit"),),
            three_rounds(),
            (score(),),
            (Advice("load_right", "The load left 50 s for the machine.", "orchard", "sack drag"),),
            STARTS,
            (track(1), track(2, power=False)),
        ),
        AthleteResult(
            "a02",
            (
                recording("a02.bike.csv", belongs_to="a03", probability=0.93),
                recording(
                    "a02.watch.fit",
                    status="unreadable",
                    format=None,
                    first_sample=None,
                    samples=0,
                    belongs_to=None,
                    probability=0.0,
                    blocks=(),
                    problems=(Problem("unreadable", "no header at offset 0"),),
                ),
            ),
            (work(1), rest(1), LEFT_OUT, rest(2), unknown(3), rest(3)),
            (
                score(
                    logged=52.0,
                    recorded=37.0,
                    verdict="doubtful",
                    flag=True,
                    explanations=(
                        Explanation("extra_round", 49.4, 0.62, "One round may stand there twice."),
                        Explanation("inflated", None, 0.2, ""),
                    ),
                ),
            ),
            (
                Advice("load_right", "The load left 50 s for the machine.", "orchard", "sack drag"),
                Advice("start_sooner", "start the machine a little sooner", "orchard"),
            ),
            STARTS,
            (track(3),),
        ),
        AthleteResult(
            "[bold]a03[/bold]<script>",
            (),
            (unknown(1), rest(1), unknown(2), rest(2), unknown(3), rest(3)),
            (score(logged=None, recorded=None, low=None, high=None, verdict="unverifiable"),),
            (),
        ),
        AthleteResult(
            "a04",
            (),
            three_rounds(),
            (
                score(
                    logged=640.0,
                    recorded=None,
                    low=None,
                    high=None,
                    verdict="impossible",
                    flag=True,
                ),
            ),
            (),
            STARTS,
            (track(4, power=False),),
        ),
        AthleteResult(
            "a05", (), three_rounds(), (score(recorded=None, verdict="plausible"),), (), STARTS
        ),
    ),
    unassigned=(
        recording("unassigned.rower.csv", belongs_to="a04", probability=0.97),
        recording("unassigned.ski.csv", status="unmatched", belongs_to=None, probability=0.8),
    ),
)

RECORD = ClassRecord(
    plan=PLAN,
    start=datetime(2026, 10, 17, 9, 15, tzinfo=timezone(timedelta(hours=2))),
    start_tolerance_s=600.0,
    athletes=tuple(Athlete(athlete.athlete) for athlete in RESULT.athletes),
    scores=(
        LoggedScore("a01", None, "prescribed", "rower", 37.0, (12.0, 12.0, 13.0), 45.0),
        LoggedScore(
            "a02", "orchard", "lighter", "bike", 52.0, notes="<b>sack</b> felt light\x1b[31m"
        ),
        LoggedScore("a04", "orchard", "prescribed", "ski", 640.0),
    ),
    uploads=(
        Upload("a01.rower.fit", ("a01",), "rower", None),
        Upload("a02.bike.csv", ("a02",), "bike", None),
        Upload("a02.watch.fit", ("a02",), "watch", None),
        Upload("unassigned.rower.csv", (), "rower", None),
        Upload("unassigned.ski.csv", (), "ski", None),
    ),
)
