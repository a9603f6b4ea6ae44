"""Write the demo's class folder: the sheets, and a file from each device in its own format."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from api.demo.flywheel import GRID_S, WheelTrace, run_wheel
from api.demo.heart import Demand, beat
from api.demo.performance import Performance, Score, perform, scores
from api.demo.session import LEAD_S, PEOPLE, PLAN, STATED_START, TRUE_START, Person
from ingest.recording import Floats, Recording
from ingest.writers.fit import FitOptions, write_fit
from ingest.writers.gpx import write_gpx
from ingest.writers.table import TableOptions, write_csv
from ingest.writers.tcx import write_tcx
from reconcile.plan_text import read_plan

SEED = 20261017

# The demo's devices: seconds by which each clock is fast, by the way its file is written.
CLOCK_FAST_S = {"machine csv pace": 3600.0, "machine fit": 11.0, "machine tcx": -4.0}

OTHER_DAY = timedelta(days=-4, hours=2)


def write_demo_folder(folder: Path) -> None:
    """Write the class folder; the same bytes each time.

    Raises OSError where the folder cannot be written.
    """
    recordings = folder / "recordings"
    recordings.mkdir(parents=True, exist_ok=True)
    plan = read_plan(PLAN)
    sheet: list[tuple[Person, Score]] = []
    for place, person in enumerate(PEOPLE):
        rng = np.random.default_rng([SEED, place])
        performance = perform(plan, person, rng)
        wheel = (
            run_wheel(performance.pulls, person.machine, performance.length_s, rng)
            if person.machine is not None
            else None
        )
        sheet.extend((person, score) for score in scores(plan, person, wheel, rng))
        for way in person.files:
            name, data = device_file(person, way, performance, wheel, rng)
            (recordings / name).write_bytes(data)
    write_text(folder / "plan.yaml", PLAN)
    write_text(folder / "class.yaml", f"plan: plan.yaml\nstart: {STATED_START.isoformat()}\n")
    write_text(folder / "roster.csv", roster_text())
    write_text(folder / "scores.csv", scores_text(sheet))


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text with the same line ends everywhere."""
    path.write_text(text, encoding="utf-8", newline="\n")


def roster_text() -> str:
    """The roster, with what each person cares to say."""
    rows = [
        [
            person.athlete,
            person.sex,
            person.birth_year or "",
            person.mass_kg or "",
            round(person.resting_bpm) if person.heart_on_roster else "",
            round(person.highest_bpm) if person.heart_on_roster else "",
            "",
        ]
        for person in PEOPLE
    ]
    header = ["athlete", "sex", "birth_year", "mass_kg", "resting_hr", "max_hr", "vo2max"]
    return table_text([header, *rows])


def scores_text(sheet: list[tuple[Person, Score]]) -> str:
    """The score sheet."""
    header = ["athlete", "block", "option", "equipment", "score", "rounds", "load_kg", "notes"]
    rows = [
        [
            person.athlete,
            score.block,
            person.option,
            person.machine or "none",
            "" if score.score is None else score.score,
            ";".join(str(count) for count in score.rounds),
            person.load_kg if score.block == "orchard" else "",
            person.notes if score.block == "orchard" else "",
        ]
        for person, score in sheet
    ]
    return table_text([header, *rows])


def table_text(rows: Sequence[Sequence[object]]) -> str:
    """Rows as CSV."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def device_file(
    person: Person,
    way: str,
    performance: Performance,
    wheel: WheelTrace | None,
    rng: np.random.Generator,
) -> tuple[str, bytes]:
    """The name and the bytes of one file, by the way it is written."""
    device, _, spelling = way.partition(" ")
    if device == "machine" and wheel is not None and person.machine is not None:
        recording = machine_recording(person, way, performance, wheel)
        name = f"{person.athlete}.{person.machine}"
        if spelling == "unassigned":
            return f"unassigned.{person.machine}.1.csv", write_csv(recording)
        ending, data = machine_bytes(spelling, recording)
        return f"{name}.{ending}", data
    recording = watch_recording(person, performance, rng)
    name = f"{person.athlete}.watch"
    if spelling == "broken":
        return f"{name}.fit", rng.bytes(700)
    if spelling == "cut":
        whole = write_fit(recording)
        return f"{name}.fit", whole[: int(0.83 * len(whole))]
    if spelling == "other day":
        return f"{name}.gpx", write_gpx(other_day_recording(person, rng))
    if spelling == "csv":
        return f"{name}.csv", write_csv(every(recording, 2))
    writer = {"fit": write_fit, "tcx": write_tcx, "gpx": write_gpx}[spelling]
    return f"{name}.{spelling}", writer(recording)


def machine_bytes(spelling: str, recording: Recording) -> tuple[str, bytes]:
    """A machine's file: its ending and its bytes."""
    match spelling:
        case "fit":
            return "fit", write_fit(recording)
        case "fit big":
            return "fit", write_fit(recording, FitOptions(byte_order="big"))
        case "tcx":
            return "tcx", write_tcx(recording)
        case "csv pace":
            spelled = TableOptions(
                delimiter=";",
                decimal_comma=True,
                byte_order_mark=True,
                line_end="\r\n",
                pace_metres=500,
            )
            return "csv", write_csv(recording, spelled)
        case "csv elapsed":
            return "csv", write_csv(recording, TableOptions(time="elapsed"))
        case _:
            return "csv", write_csv(recording)


def machine_recording(
    person: Person, way: str, performance: Performance, wheel: WheelTrace
) -> Recording:
    """The machine's samples, one a second from shortly before its first pull to its last."""
    begin = max(int(performance.pulls[0].start_s) - 12, 1)
    end = min(int(performance.pulls[-1].end_s) + 25, performance.length_s - 1)
    seconds = np.arange(begin, end)
    index = np.rint(seconds / GRID_S).astype(np.int64)
    samples = round(1 / GRID_S)
    mean_power = np.stack([wheel.power_w[index - back] for back in range(samples)]).mean(axis=0)
    distance = wheel.distance_m[index] - wheel.distance_m[index[0]]
    calories = np.floor(wheel.calories[index] - wheel.calories[index[0]])
    start = moment(float(begin) + CLOCK_FAST_S.get(way, 0.0))
    return Recording(
        format="csv",
        device=person.machine or "unknown",
        start=start,
        sample_count=seconds.size,
        time_s=(seconds - begin).astype(np.float64),
        power_w=np.rint(mean_power),
        cadence_per_min=np.rint(wheel.cadence_per_min[index]),
        speed_m_s=np.round(wheel.speed_m_s[index], 3),
        distance_m=np.round(distance, 1),
        calories=calories,
    )


def watch_recording(
    person: Person, performance: Performance, rng: np.random.Generator
) -> Recording:
    """The watch's samples, one a second, from some time before the first bell."""
    bpm = beat(
        performance.demands, person.resting_bpm, person.highest_bpm, performance.length_s, rng
    )
    begin = int(rng.integers(20, 110))
    return heart_recording(bpm[begin:], moment(float(begin) + float(rng.integers(-2, 3))))


def other_day_recording(person: Person, rng: np.random.Generator) -> Recording:
    """An easy run of another day, that has nothing of the class in it."""
    demands = [
        Demand(start, start + 240.0, 0.55 + 0.1 * float(rng.random()))
        for start in np.arange(0.0, 2400.0, 240.0).tolist()
    ]
    bpm = beat(demands, person.resting_bpm, person.highest_bpm, 2450, rng)
    return heart_recording(bpm, STATED_START + OTHER_DAY)


def heart_recording(bpm: Floats, start: datetime) -> Recording:
    """A watch's recording of a heart rate at one sample a second."""
    return Recording(
        format="fit",
        device="watch",
        start=start,
        sample_count=bpm.size,
        time_s=np.arange(float(bpm.size)),
        heart_rate_bpm=bpm,
    )


def every(recording: Recording, nth: int) -> Recording:
    """The same heart rate with every n-th sample only, as a sparing watch keeps it."""
    kept = recording.time_s[::nth]
    assert recording.heart_rate_bpm is not None
    return dataclasses.replace(
        recording,
        sample_count=kept.size,
        time_s=kept,
        heart_rate_bpm=recording.heart_rate_bpm[::nth],
    )


def moment(second: float) -> datetime:
    """A second of the demo's clock as a moment."""
    return TRUE_START + timedelta(seconds=second - LEAD_S)
