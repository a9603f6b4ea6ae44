"""Whose file it is: wrong names found, files without an owner given to theirs, right names kept.

Six people row the same plan, each in an own way; what they logged is read off their own display.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from ingest.recording import Recording
from reconcile.align.explain import WRITTEN_DOWN, explain
from reconcile.classes import Athlete, LoggedScore, Pin
from reconcile.engine import workings
from reconcile.result import ClassResult
from tests.reconcile.classroom import (
    Habits,
    beating,
    class_of,
    of_athlete,
    of_file,
    rowed,
    session,
    start_on,
    work_of,
)
from tests.reconcile.flywheel import BELL, Wheel, spun

PLAN = """title: Ferry steps
blocks:
  - name: main
    rounds: 5
    steps:
      - {work: 80s, tasks: [{movement: machine, most: calories}]}
      - {rest: 70s}
    score: {measure: calories, take: total}
"""
HELD = session(PLAN, main=0.0)
LAST_S = 5 * 150.0 + 60
GROUP = {
    "b01": Habits(late_s=1.0, watts=160, fade=0.01),
    "b02": Habits(late_s=9.0, watts=250, fade=0.06),
    "b03": Habits(late_s=18.0, watts=205, fade=0.0),
    "b04": Habits(late_s=2.0, watts=140, fade=0.08, skips=frozenset({("main", 3)})),
    "b05": Habits(late_s=27.0, watts=230, fade=0.04),
    "b06": Habits(late_s=5.0, watts=185, fade=0.02, over_s=-12.0),
}
WHEELS = {name: HELD.wheel(habits, -60, LAST_S) for name, habits in GROUP.items()}


def machine_of(name: str) -> Recording:
    return rowed(WHEELS[name], seed=int(name[1:]))


def watch_of(name: str) -> Recording:
    work = [(start, end, watts / 260) for start, end, watts in WHEELS[name].pulls]
    number = int(name[1:])
    return beating(work, -90, LAST_S, seed=number, rest_bpm=72 + 4 * number, reach_bpm=110)


def logged_of(name: str, wheel: Wheel) -> LoggedScore:
    rounds = tuple(
        float(np.floor(wheel.grown(wheel.calories, 150.0 * n, 150.0 * n + 81))) for n in range(5)
    )
    return LoggedScore(name, "main", equipment="rower", score=sum(rounds), rounds=rounds)


SCORES = [logged_of(name, wheel) for name, wheel in WHEELS.items()]
ATHLETES = [Athlete(name) for name in GROUP]


def uploaded(
    names: Mapping[str, str] | None = None, *, without: tuple[str, ...] = (), watches: bool = True
) -> dict[str, Recording]:
    """Everybody's rower and watch; `names` says under which name somebody's rower was uploaded."""
    files: dict[str, Recording] = {}
    for name in GROUP:
        if name not in without:
            files[f"{(names or {}).get(name, name)}.rower.fit"] = machine_of(name)
        if watches:
            files[f"{name}.watch.fit"] = watch_of(name)
    return files


def told(files: Mapping[str, Recording], *, pins: tuple[Pin, ...] = ()) -> ClassResult:
    made = class_of(HELD, files, athletes=ATHLETES, scores=SCORES, pins=pins)
    return made.reconciled()


def test_who_uploaded_their_own_files_keeps_them() -> None:
    files = uploaded()
    result = told(files)
    for file in files:
        entry = of_file(result, file)
        assert entry.belongs_to == file.split(".", maxsplit=1)[0]
        assert entry.probability > 0.5


def test_two_machines_that_were_swapped_are_swapped_back() -> None:
    result = told(uploaded({"b01": "b02", "b02": "b01"}))
    assert of_file(result, "b02.rower.fit").belongs_to == "b01"
    assert of_file(result, "b01.rower.fit").belongs_to == "b02"


def test_what_belongs_to_somebody_else_is_measured_and_judged_for_them() -> None:
    result = told(uploaded({"b01": "b02", "b02": "b01"}))
    right = told(uploaded())
    for name in ("b01", "b02"):
        powers = [step.mean_power_w for step in work_of(result, name, "main")]
        assert powers == [step.mean_power_w for step in work_of(right, name, "main")]
        (score,) = of_athlete(result, name).scores
        assert not score.flag


def test_a_file_stays_listed_under_whoever_uploaded_it() -> None:
    result = told(uploaded({"b01": "b02", "b02": "b01"}))
    assert "b02.rower.fit" in [one.file for one in of_athlete(result, "b02").recordings]


@pytest.mark.parametrize("name", ["b01", "b03", "b05"])
def test_a_machine_without_an_owner_is_given_to_its_own(name: str) -> None:
    files = uploaded(without=(name,))
    files["unassigned.rower.1.fit"] = machine_of(name)
    entry = of_file(told(files), "unassigned.rower.1.fit")
    assert entry.belongs_to == name
    assert entry.status == "aligned"


@pytest.mark.parametrize("name", ["b03", "b04", "b05"])
def test_a_watch_without_an_owner_is_given_to_the_heart_that_answers_its_machine(name: str) -> None:
    files = uploaded()
    files["unassigned.watch.1.fit"] = files.pop(f"{name}.watch.fit")
    entry = of_file(told(files), "unassigned.watch.1.fit")
    assert entry.belongs_to in (name, None)
    assert entry.belongs_to == name or entry.probability < 0.9


@pytest.mark.parametrize("name", ["b01", "b04"])
def test_of_two_a_heart_without_a_name_is_whose_lines_say_that_they_rested_when_it_did(
    name: str,
) -> None:
    # b04 wrote 0 for the third round. No machine recorded, and neither of the two has a watch here.
    files = {
        f"{other}.watch.fit": watch_of(other) for other in GROUP if other not in ("b01", "b04")
    }
    files["unassigned.watch.1.fit"] = watch_of(name)
    entry = of_file(told(files), "unassigned.watch.1.fit")
    assert entry.belongs_to == name
    assert entry.probability > 0.7


def test_a_machines_file_under_the_name_of_who_used_none_goes_to_who_did() -> None:
    # b02 did the plan without a machine; b06's own file came under b02's name.
    plan = PLAN.replace("title: Ferry steps", "title: Ferry steps\noptions: [prescribed, home]")
    without = "most: calories, instead: {home: {movement: rope jump, most: reps}}"
    held = session(plan.replace("most: calories", without), main=0.0)
    scores = [s for s in SCORES if s.athlete != "b02"]
    scores.append(LoggedScore("b02", "main", option="home", equipment="none", score=410.0))
    files = uploaded({"b06": "b02"}, without=("b02",))
    made = class_of(held, files, athletes=ATHLETES, scores=scores)
    entry = of_file(made.reconciled(), "b02.rower.fit")
    assert entry.status == "aligned"
    assert entry.belongs_to == "b06"


ALONE_S = 26.3 * 3600.0  # b07 did the same plan on the evening after


def with_somebody_alone(files: Mapping[str, Recording]) -> ClassResult:
    """The class, and b07 at home."""
    athletes = [*ATHLETES, Athlete("b07", start=BELL + timedelta(seconds=ALONE_S - 40.0))]
    return class_of(HELD, files, athletes=athletes, scores=SCORES).reconciled()


def later(recording: Recording) -> Recording:
    assert recording.start is not None
    return replace(recording, start=recording.start + timedelta(seconds=ALONE_S))


def test_a_file_of_the_class_under_the_name_of_who_trained_alone_comes_back_to_the_class() -> None:
    files = uploaded({"b03": "b07"})
    entry = of_file(with_somebody_alone(files), "b07.rower.fit")
    assert entry.status == "aligned"
    assert entry.belongs_to == "b03"


@pytest.mark.parametrize("file", ["b03.rower.fit", "unassigned.rower.1.fit"])
def test_a_file_of_who_trained_alone_is_theirs_under_another_name_and_under_none(file: str) -> None:
    files = uploaded(without=("b03",))
    files[file] = later(machine_of("b03"))
    entry = of_file(with_somebody_alone(files), file)
    assert entry.status == "aligned"
    assert entry.belongs_to == "b07"


def test_a_file_of_another_day_is_nobodys_who_trained_alone_either() -> None:
    files = uploaded(without=("b03",))
    other = machine_of("b03")
    assert other.start is not None
    files["b03.rower.fit"] = replace(other, start=other.start + timedelta(days=3))
    entry = of_file(with_somebody_alone(files), "b03.rower.fit")
    assert entry.status == "unmatched"
    assert entry.belongs_to == "b03"


def test_what_kind_of_machine_a_file_is_of_is_no_evidence_where_only_its_name_says_so() -> None:
    # b02's phone on the rower, under the name of b06, who logged a bike.
    scores = [replace(s, equipment="bike") if s.athlete == "b06" else s for s in SCORES]
    files = uploaded(without=("b06",))
    files["b06.unknown.fit"] = rowed(WHEELS["b02"], ("power",), seed=9)
    made = class_of(HELD, files, athletes=ATHLETES, scores=scores)
    assert of_file(made.reconciled(), "b06.unknown.fit").belongs_to == "b02"


def test_one_strap_seen_twice_tells_whose_machine_it_is() -> None:
    # b02's machine under b06's name, with b02's heart in it as b02's watch shows it too.
    watch, machine = watch_of("b02"), machine_of("b02")
    assert watch.heart_rate_bpm is not None
    heart = np.interp(machine.time_s - 60, watch.time_s - 90, watch.heart_rate_bpm)
    files = uploaded(without=("b02", "b06"))
    files["b06.rower.fit"] = replace(machine, heart_rate_bpm=np.round(heart))
    assert of_file(told(files), "b06.rower.fit").belongs_to == "b02"


def test_without_scores_and_hearts_a_name_is_all_there_is_and_stays() -> None:
    files = uploaded(watches=False)
    result = class_of(HELD, files, athletes=ATHLETES).reconciled()
    for file in files:
        assert of_file(result, file).belongs_to == file.split(".", maxsplit=1)[0]


def test_a_pinned_owner_is_obeyed_against_all_evidence() -> None:
    pins = (Pin("b03.rower.fit", owner="b05"),)
    result = told(uploaded(), pins=pins)
    assert of_file(result, "b03.rower.fit").belongs_to == "b05"


def test_a_pin_sets_right_what_was_swapped() -> None:
    pins = (Pin("b02.rower.fit", owner="b01"), Pin("b01.rower.fit", owner="b02"))
    result = told(uploaded({"b01": "b02", "b02": "b01"}), pins=pins)
    right = told(uploaded())
    for name in ("b01", "b02"):
        (score,), (expected,) = of_athlete(result, name).scores, of_athlete(right, name).scores
        assert score.recorded == pytest.approx(expected.recorded, abs=0.3)


def test_a_strangers_session_on_an_unassigned_machine_is_nobodys() -> None:
    stranger = spun([(40.0 + 37 * n, 40.0 + 37 * n + 21, 150.0) for n in range(19)], -60, LAST_S)
    files = uploaded()
    files["unassigned.rower.1.fit"] = rowed(stranger, clock_s=3 * 86400.0)
    entry = of_file(told(files), "unassigned.rower.1.fit")
    assert entry.status == "unmatched"
    assert entry.blocks == ()


def test_an_undated_heart_that_fits_poorly_and_is_not_the_own_watchs_is_of_another_day() -> None:
    # Two rounds of anything fit somewhere; the watch that was worn shows another heart there.
    work = [(150.0 * n + 2.0, 150.0 * n + 80.0, 0.25) for n in range(2)]
    other_day = beating(work, -60, 360, seed=12, rest_bpm=100, reach_bpm=80)
    files = uploaded()
    files["b02.watch.2.csv"] = replace(other_day, start=None)
    entry = of_file(told(files), "b02.watch.2.csv")
    assert entry.status == "unmatched"
    assert of_file(told(files), "b02.watch.fit").belongs_to == "b02"


def test_a_machine_used_in_turns_belongs_to_all_of_them() -> None:
    held = session(PLAN.replace("80s", "60s").replace("70s", "90s"), main=0.0)
    first, second = Habits(watts=180), Habits(watts=240, late_s=2.0)
    pulls = sorted([*held.pulls(first), *held.pulls(second, delay_s=75.0)])
    athletes = [Athlete("b01"), Athlete("b02", delay_s=75.0)]
    files = {"b01+b02.rower.fit": rowed(spun(pulls, -60, LAST_S + 80))}
    result = class_of(held, files, athletes=athletes).reconciled()
    entry = of_file(result, "b01+b02.rower.fit")
    assert entry.belongs_to == ("b01", "b02")
    assert entry.file in [one.file for one in of_athlete(result, "b01").recordings]
    assert abs(entry.blocks[0].start_s - 60.0) < 2.0
    for name, watts in (("b01", 180), ("b02", 240)):
        steps = work_of(result, name, "main")
        assert len(steps) == 5
        for number, step in enumerate(steps):
            assert step.mean_power_w == pytest.approx(watts * (1 - 0.03 * number), rel=0.05)
            assert step.machine_active_s == pytest.approx(58, abs=3)


def in_two_waves(*more: Athlete, equipment: Mapping[str, str] | None = None) -> ClassResult:
    """Two on one rower in turns, its file without a name; b03's own, and whoever else was there."""
    held = session(PLAN.replace("80s", "60s").replace("70s", "90s"), main=0.0)
    first, second = Habits(watts=180), Habits(watts=240, late_s=2.0)
    pulls = sorted([*held.pulls(first), *held.pulls(second, delay_s=75.0)])
    athletes = [Athlete("b01"), Athlete("b02", delay_s=75.0), Athlete("b03"), *more]
    files = {
        "unassigned.rower.1.fit": rowed(spun(pulls, -60, LAST_S + 80)),
        "b03.rower.fit": rowed(held.wheel(Habits(late_s=3.0, watts=200), -60, LAST_S), seed=3),
    }
    used = {"b01": "rower", "b02": "rower", "b03": "rower", **(equipment or {})}
    scores = [LoggedScore(name, "main", equipment=machine) for name, machine in used.items()]  # type: ignore[arg-type]
    return class_of(held, files, athletes=athletes, scores=scores).reconciled()


def test_a_nameless_machine_used_in_turns_is_of_those_who_are_left() -> None:
    result = in_two_waves()
    entry = of_file(result, "unassigned.rower.1.fit")
    assert entry.belongs_to == ("b01", "b02")
    assert entry.status == "aligned"
    for name, watts in (("b01", 180), ("b02", 240)):
        powers = [step.mean_power_w for step in work_of(result, name, "main")]
        assert powers == [pytest.approx(watts * (1 - 0.03 * n), rel=0.05) for n in range(5)]


def test_who_had_no_turn_on_a_nameless_machine_is_not_among_its_owners() -> None:
    result = in_two_waves(Athlete("b04", delay_s=300.0), equipment={"b04": "rower"})
    assert of_file(result, "unassigned.rower.1.fit").belongs_to == ("b01", "b02")


def test_where_it_may_be_either_of_two_a_nameless_machine_is_not_given_to_both() -> None:
    result = in_two_waves(Athlete("b04", delay_s=75.0), equipment={"b04": "rower"})
    entry = of_file(result, "unassigned.rower.1.fit")
    assert entry.status == "aligned"
    assert entry.belongs_to in (("b01", "b02"), ("b01", "b04"))
    assert entry.probability <= 0.5


def test_where_all_work_at_once_nobody_is_said_to_take_turns() -> None:
    # Who pulls in the rests too does not share with somebody at home.
    plan = PLAN.replace("blocks:", "options: [prescribed, home]\nblocks:").replace(
        "most: calories", "most: calories, instead: {home: {movement: rope jump, most: reps}}"
    )
    held = session(plan, main=0.0)
    pulls = held.pulls(Habits(watts=180))
    easy = [(end + 5.0, end + 60.0, 120.0) for _, end, _ in pulls]
    files = {
        "unassigned.rower.1.fit": rowed(spun(sorted([*pulls, *easy]), -60, LAST_S + 80)),
        "b02.rower.fit": rowed(held.wheel(Habits(late_s=3.0, watts=240), -60, LAST_S), seed=3),
    }
    scores = [
        LoggedScore("b01", "main", equipment="rower"),
        LoggedScore("b02", "main", equipment="rower"),
        LoggedScore("b03", "main", option="home"),
    ]
    athletes = [Athlete("b01"), Athlete("b02"), Athlete("b03")]
    result = class_of(held, files, athletes=athletes, scores=scores).reconciled()
    assert of_file(result, "unassigned.rower.1.fit").belongs_to == "b01"


@pytest.mark.parametrize("wrote_it_down", ["b02", "b04"])
def test_of_two_in_one_wave_whose_turns_they_were_is_told_by_what_was_written_down(
    wrote_it_down: str,
) -> None:
    held = session(PLAN.replace("80s", "60s").replace("70s", "90s"), main=0.0)
    first, second = Habits(watts=180), Habits(watts=240, late_s=2.0)
    pulls = sorted([*held.pulls(first), *held.pulls(second, delay_s=75.0)])
    wheel = spun(pulls, -60, LAST_S + 80)
    late = {"b01": 0.0, "b02": 75.0, "b04": 75.0}
    rounds = {
        name: tuple(
            float(np.floor(wheel.grown(wheel.calories, at + 150 * n, at + 150 * n + 61)))
            for n in range(5)
        )
        for name, at in late.items()
    }
    (other,) = {"b02", "b04"} - {wrote_it_down}
    rounds[other] = tuple(value + 9.0 for value in rounds["b01"])
    scores = [
        LoggedScore(name, "main", equipment="rower", score=sum(values), rounds=values)
        for name, values in rounds.items()
    ]
    athletes = [Athlete(name, delay_s=delay_s) for name, delay_s in late.items()]
    files = {"unassigned.rower.1.fit": rowed(wheel)}
    result = class_of(held, files, athletes=athletes, scores=scores).reconciled()
    entry = of_file(result, "unassigned.rower.1.fit")
    assert entry.belongs_to == ("b01", wrote_it_down)
    assert 0.6 < entry.probability < 0.98


@pytest.mark.parametrize("out_s", [60.0, -60.0])
def test_whose_turn_came_first_is_told_by_what_each_wrote_down(out_s: float) -> None:
    # One rests while the other works, and the clock is out by just one turn.
    held = session(PLAN.replace("80s", "60s").replace("70s", "60s"), main=0.0)
    late, watts = {"b01": 0.0, "b02": 60.0}, {"b01": 150.0, "b02": 250.0}
    pulls = sorted(
        pull
        for name, at in late.items()
        for pull in held.pulls(Habits(watts=watts[name], fade=0.0), delay_s=at)
    )
    wheel = spun(pulls, -45, 5 * 120.0 + 90)
    rounds = {
        name: tuple(
            float(np.floor(wheel.grown(wheel.calories, at + 120 * n, at + 120 * n + 60.5)))
            for n in range(5)
        )
        for name, at in late.items()
    }
    scores = [
        LoggedScore(name, "main", equipment="rower", score=sum(values), rounds=values)
        for name, values in rounds.items()
    ]
    athletes = [Athlete(name, delay_s=delay_s) for name, delay_s in late.items()]
    files = {"b01+b02.rower.fit": rowed(wheel, clock_s=out_s)}
    told, untold = (
        class_of(held, files, athletes=athletes, scores=rows, starts_s={"main": 0.0})
        for rows in (scores, [])
    )
    assert abs(start_on(told.reconciled(), "b01+b02.rower.fit", "main") - 45.0) < 3.0
    assert abs(start_on(untold.reconciled(), "b01+b02.rower.fit", "main") - 45.0) > 30.0
    shown = explain(told.record(), workings(told.record()).placed, "b01+b02.rower.fit")
    assert WRITTEN_DOWN in shown.blocks[0].candidates[0].says


def test_a_nameless_machine_of_one_in_a_class_of_waves_is_ones() -> None:
    held = session(PLAN, main=0.0)
    athletes = [Athlete("b01"), Athlete("b02", delay_s=75.0), Athlete("b03")]
    files = {
        "unassigned.rower.1.fit": rowed(held.wheel(GROUP["b01"], -60, LAST_S)),
        "b03.rower.fit": rowed(held.wheel(GROUP["b03"], -60, LAST_S), seed=3),
    }
    scores = [LoggedScore(a.athlete, "main", equipment="rower") for a in athletes]
    made = class_of(held, files, athletes=athletes, scores=scores)
    assert of_file(made.reconciled(), "unassigned.rower.1.fit").belongs_to == "b01"


def test_two_who_keep_one_rhythm_at_different_watts_are_not_taken_for_one() -> None:
    # Nothing but the names and the watts tells them apart: no hearts, no scores.
    files = {
        f"{name}.rower.fit": rowed(HELD.wheel(Habits(watts=watts), -60, LAST_S), ("power",))
        for name, watts in (("b01", 170.0), ("b02", 215.0))
    }
    result = class_of(HELD, files, athletes=ATHLETES[:2]).reconciled()
    for file in files:
        entry = of_file(result, file)
        assert entry.belongs_to == file[:3]
        assert entry.probability > 0.6


def test_a_machine_and_a_phone_on_it_count_once() -> None:
    files = {
        "b01.rower.fit": machine_of("b01"),
        "b01.unknown.fit": rowed(WHEELS["b01"], ("power", "speed"), seed=9),
    }
    twice = class_of(HELD, files, athletes=ATHLETES[:1], scores=SCORES[:1]).reconciled()
    once = class_of(
        HELD, {"b01.rower.fit": machine_of("b01")}, athletes=ATHLETES[:1], scores=SCORES[:1]
    ).reconciled()
    (both,), (one,) = of_athlete(twice, "b01").scores, of_athlete(once, "b01").scores
    assert both.recorded == pytest.approx(one.recorded, rel=0.02)
    counted = [step.machine_calories for step in work_of(twice, "b01", "main")]
    alone = [step.machine_calories for step in work_of(once, "b01", "main")]
    assert counted == [pytest.approx(value, abs=0.3) for value in alone]
