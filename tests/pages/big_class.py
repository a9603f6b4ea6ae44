"""A class of any size with a result as the engine would give it, laid into a gym without a run."""

from __future__ import annotations

from datetime import datetime

from api.storage.model import Reconciliation, TrainingClass
from api.work.engine import ENGINE_VERSION
from reconcile.document import document_text
from reconcile.result import (
    AthleteResult,
    BlockPlacement,
    ClassResult,
    Energy,
    Explanation,
    Interval,
    RecordingResult,
    ScoreResult,
)
from tests.service.gym import API, START, GymUnderTest

ROUNDS = 6
PLAN = f"""\
title: Harbour steps
options: [prescribed, lighter]
blocks:
  - name: main
    rounds: {ROUNDS}
    steps:
      - work: 130s
        tasks:
          - {{movement: sack drag, metres: 16}}
          - {{movement: machine, most: calories, intended: 40s..65s}}
      - rest: 80s
    score: {{measure: calories, take: total}}
"""


def made_class(gym: GymUnderTest, people: int, *, start: datetime = START) -> str:
    """Make a class with everybody's score logged, and lay a result beside it."""
    handles = [f"x{number:02d}" for number in range(1, people + 1)]
    for handle in handles:
        if handle not in gym.people:
            gym.add(handle, "athlete")
    coach = gym.client("coach")
    plans = coach.get(f"{API}/plans").json()["items"]
    plan_id = next((plan["id"] for plan in plans if plan["title"] == "Harbour steps"), None)
    if plan_id is None:
        plan_id = coach.post(f"{API}/plans", json={"text": PLAN}).json()["id"]
    body = {"plan_id": plan_id, "start": start.isoformat()}
    class_id: str = coach.post(f"{API}/classes", json=body).json()["id"]
    roster = {"athletes": [{"athlete": handle} for handle in handles]}
    assert coach.put(f"{API}/classes/{class_id}/roster", json=roster).is_success
    for number, handle in enumerate(handles):
        said = {"score": 60 + number, "option": "prescribed", "equipment": "rower", "load_kg": 32}
        path = f"{API}/classes/{class_id}/scores/{handle}"
        assert coach.put(path, json=said).is_success
    lay_result(gym, class_id, made_result(handles))
    return class_id


def lay_result(gym: GymUnderTest, class_id: str, result: ClassResult) -> None:
    """Put a result in place as if the class had just been worked out."""
    with gym.service.database.writing() as session:
        found = session.get_one(TrainingClass, class_id)
        session.add(
            Reconciliation(
                class_id=class_id,
                inputs_version=found.inputs_version,
                inputs={},
                engine_version=ENGINE_VERSION,
                state="done",
                document=document_text(result),
                digest="0" * 64,
            )
        )


def made_result(handles: list[str]) -> ClassResult:
    """Everybody alike but for their numbers; every fifth has a score to ask about."""
    return ClassResult(
        "Harbour steps",
        tuple(made_athlete(handle, number) for number, handle in enumerate(handles)),
        (),
    )


def made_athlete(handle: str, number: int) -> AthleteResult:
    """One athlete with a rower file; the more calories the further down the roster."""
    flag = number % 5 == 4
    count = 55.0 + number
    recording = RecordingResult(
        f"{handle}.rower.fit", "rower", "fit", "aligned", START, 1500, handle, 0.99,
        (BlockPlacement("main", 10.0, 8.0, 12.0, 0.99),), (),
    )  # fmt: skip
    reasons = (
        Explanation("counted_rest", 60.0 + number, 0.8, "It ran on through the rests."),
        Explanation("inflated", None, 0.2, "Nothing simpler fits."),
    )
    score = ScoreResult(
        "main", "calories", 60.0 + number, count, count - 0.6, count + 0.8,
        "doubtful" if flag else "confirmed", flag, reasons if flag else (),
    )  # fmt: skip
    steps = tuple(
        made_step(round_number, kind, count / ROUNDS)
        for round_number in range(1, ROUNDS + 1)
        for kind in ("work", "rest")
    )
    return AthleteResult(handle, (recording,), steps, (score,), ())


def made_step(round_number: int, kind: str, calories: float) -> Interval:
    """One step of one round."""
    if kind == "rest":
        return Interval(
            "main", round_number, 2, "rest", 80.0, machine_active_s=0.0, machine_calories=0.0,
            energy=Energy(5.0, 4.0, 6.0, "machine"),
        )  # fmt: skip
    return Interval(
        "main", round_number, 1, "work", 130.0, attempted=True, effort_start_s=2.4,
        effort_end_s=126.3, machine_start_s=71.2, machine_end_s=126.3, machine_active_s=50.0,
        machine_calories=calories, machine_metres=180.0, mean_power_w=190.0,
        energy=Energy(25.0, 20.0, 31.0, "machine"), mean_hr=150.0, peak_hr=170.0,
    )  # fmt: skip
