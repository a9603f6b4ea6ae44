"""What a machine counted in its pulls, held against the amounts that a plan fixes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from reconcile.align.amounts import MOST_AGAINST, as_much_as_planned
from reconcile.align.assignment import Assignment, assign
from reconcile.align.signals import prepare
from reconcile.classes import Athlete, ClassRecord, Upload
from reconcile.engine import reconcile_class
from reconcile.plan import Measure
from reconcile.plan_text import read_plan
from reconcile.sheet import athlete_steps
from tests.reconcile.flywheel import spun
from tests.reconcile.test_stopped_clock import stopped

STATED = datetime(2026, 5, 19, 6, 15, tzinfo=UTC)
PLAN = """\
title: Lock and weir
blocks:
  - name: weir
    rounds: 5
    steps:
      - work: 3m30s
        tasks:
          - {movement: crate carry, metres: 40}
          - {movement: rower, AMOUNT}
      - {rest: 90s}
    score: {measure: seconds, take: total}
"""


def pulls_of(amount: float, measure: Measure) -> list[tuple[float, float, float]]:
    """Five pulls that go so far, each begun at another time after the bell and as hard."""
    found = []
    for number, (late_s, watts) in enumerate(
        zip((52.0, 58.0, 50.0, 61.0, 55.0), (200.0, 170.0, 185.0, 160.0, 210.0), strict=True)
    ):
        alone = spun([(0.0, 400.0, watts)], 0, 400)
        column = alone.metres if measure == "metres" else alone.calories
        end_s = float(np.interp(amount, column, alone.time_s)) + 0.8
        found.append((300.0 * number + late_s, 300.0 * number + late_s + end_s, watts))
    return found


def class_with(done: float, amount: str, measure: Measure = "metres") -> ClassRecord:
    """One file, undated, whose clock stood between pulls that went so far."""
    recording = stopped(pulls_of(done, measure), lead_s=0.0).recording
    upload = Upload("d01.rower.csv", ("d01",), "rower", recording)
    plan = read_plan(PLAN.replace("AMOUNT", amount))
    return ClassRecord(plan, STATED, 600.0, (Athlete("d01"),), (), (upload,))


def assigned(done: float, amount: str, measure: Measure = "metres") -> Assignment:
    record = class_with(done, amount, measure)
    signals = prepare(record.uploads[0], None)
    assert signals is not None
    timelines = {a.athlete: athlete_steps(record, a) for a in record.athletes}
    return assign(record, signals, ("d01",), timelines)


@pytest.mark.parametrize(
    ("done", "measure", "amount", "least", "most"),
    [
        (450.0, "metres", "metres: 450", 5.0, 6.0),
        (14.0, "calories", "calories: 14", 5.0, 6.0),
        (450.0, "metres", "metres: 300", MOST_AGAINST, -1.0),
        (14.0, "calories", "calories: 20", MOST_AGAINST, -1.0),
        (450.0, "metres", "calories: 90", MOST_AGAINST, -1.0),
        (450.0, "metres", "most: metres", 0.0, 0.0),
    ],
)
def test_pulls_that_end_at_the_planned_amount_speak_for_the_class(
    done: float, measure: Measure, amount: str, least: float, most: float
) -> None:
    assert least <= as_much_as_planned(assigned(done, amount, measure)) <= most


def test_what_is_of_no_machine_says_nothing() -> None:
    item = assigned(450.0, "metres: 450")
    worn = replace(item, signals=replace(item.signals, track=None))
    assert as_much_as_planned(worn) == 0.0


def test_a_file_without_a_date_is_known_by_its_distances() -> None:
    # No pull begins or ends at a bell, and the clock stood: but for the distances, anything.
    known = reconcile_class(class_with(450.0, "metres: 450")).athletes[0].recordings[0]
    assert known.status in ("aligned", "ambiguous")
    other = reconcile_class(class_with(450.0, "metres: 300")).athletes[0].recordings[0]
    assert other.status == "unmatched"
