"""The demo's session and its people. All of it is invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Literal

from api.demo.flywheel import Machine

PLAN = """\
title: Orchard sixes
options: [prescribed, lighter, no machine]
blocks:
  - name: warm-up
    rounds: 3
    steps:
      - {work: 45s, tasks: [{movement: machine, effort: easy}]}
      - {rest: 15s}
      - {work: 30s, tasks: [{movement: crawl, effort: easy}]}
      - {rest: 15s}
  - name: fetch the sacks
    free: 3m..6m
  - name: orchard
    rounds: 6
    steps:
      - work: 2m10s
        tasks:
          - {movement: sack drag, metres: 16, load_kg: {men: 45, women: 32}}
          - {movement: reverse lunge, reps: 10}
          - movement: machine
            most: calories
            intended: 40s..65s
            instead:
              no machine: {movement: rope slam, most: reps}
      - rest: 1m20s
    score: {measure: calories, take: total}
  - name: put the sacks away
    free: 2m..4m
  - name: gate
    rounds: 4
    steps:
      - work: 35s
        tasks:
          - movement: machine
            most: metres
            instead:
              no machine: {movement: fast step, most: reps}
      - rest: 55s
    score: {measure: metres, take: highest}
"""

STATED_START = datetime(2026, 10, 17, 9, 15, tzinfo=timezone(timedelta(hours=2)))

# Devices run from a while before the first bell; second 0 of the demo's own clock.
LEAD_S = 150.0
TRUE_START = STATED_START + timedelta(seconds=74)

# What the two free blocks really took.
FREE_S = {"fetch the sacks": 292.0, "put the sacks away": 171.0}

Mistake = Literal[
    "none", "read late", "rests counted", "digits swapped", "too high", "nothing logged"
]


@dataclass(frozen=True)
class Person:
    """One of the ten.

    watts: mean power in the main block. machine_s: seconds that the tasks leave for the machine.
    files: which files there are, by the name of how they are written (see `folder`).
    """

    athlete: str
    sex: Literal["m", "f", ""]
    birth_year: int | None
    mass_kg: float | None
    resting_bpm: float
    highest_bpm: float
    option: str
    machine: Machine | None
    watts: float
    machine_s: float
    load_kg: float
    files: tuple[str, ...]
    mistake: Mistake = "none"
    left_out: int | None = None
    late_s: float = 1.0
    notes: str = ""
    heart_on_roster: bool = False


PEOPLE = (
    Person(
        "a01",
        "f",
        1988,
        63,
        56,
        186,
        "prescribed",
        "rower",
        172,
        52,
        32,
        ("watch fit", "machine fit"),
        heart_on_roster=True,
    ),
    Person(
        "a02",
        "m",
        1979,
        84,
        61,
        180,
        "prescribed",
        "rower",
        205,
        44,
        45,
        ("watch tcx", "machine csv pace"),
        mistake="read late",
    ),
    Person(
        "a03",
        "m",
        1996,
        77,
        52,
        194,
        "prescribed",
        "bike",
        228,
        58,
        45,
        ("watch gpx", "machine tcx"),
        heart_on_roster=True,
        late_s=2.5,
    ),
    Person(
        "a04",
        "f",
        1971,
        70,
        64,
        174,
        "lighter",
        "ski",
        118,
        47,
        24,
        ("watch csv", "machine csv elapsed"),
        left_out=4,
        notes="sat round 4 out, calf was tight",
    ),
    Person(
        "a05",
        "f",
        1992,
        58,
        60,
        190,
        "no machine",
        None,
        0,
        50,
        32,
        ("watch gpx",),
        notes="rope instead of the machine",
    ),
    Person(
        "a06",
        "m",
        1985,
        91,
        58,
        184,
        "prescribed",
        "rower",
        236,
        33,
        45,
        ("watch fit", "machine fit big"),
        mistake="digits swapped",
        heart_on_roster=True,
    ),
    Person(
        "a07",
        "f",
        2001,
        66,
        54,
        197,
        "prescribed",
        "bike",
        164,
        61,
        32,
        ("watch tcx", "machine fit"),
        mistake="rests counted",
    ),
    Person("a08", "", None, None, 66, 182, "lighter", "ski", 126, 55, 30, ("watch broken",)),
    Person(
        "a09",
        "m",
        1990,
        79,
        57,
        188,
        "prescribed",
        "ski",
        176,
        49,
        45,
        ("watch cut", "machine unassigned"),
        notes="forgot to put my name on the machine file",
    ),
    Person(
        "a10",
        "f",
        1983,
        61,
        59,
        183,
        "lighter",
        "rower",
        139,
        78,
        20,
        ("watch other day", "machine csv"),
        mistake="too high",
    ),
)
