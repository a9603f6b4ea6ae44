"""What earlier classes taught: learnt where it is sure, used in later classes, safe to read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from api.command.main import app
from api.demo.folder import write_demo_folder
from api.folder.history import read_history
from ingest.reading import read_file
from ingest.recording import Recording
from ingest.writers.fit import FitOptions, write_fit
from reconcile.advice import sensor_advice
from reconcile.align.heart_of_machine import answered_best
from reconcile.align.owners import device_evidence
from reconcile.align.ownership import Claims, assign_owners, name_prior
from reconcile.classes import ClassRecord, Upload
from reconcile.document import document_text
from reconcile.energy.heart import EARLIER_DAY_SD
from reconcile.energy.own_line import joined
from reconcile.engine import reconcile_class
from reconcile.history import (
    MOST_ATHLETES,
    MOST_PROBLEMS,
    SCHEMA,
    History,
    history_of,
)
from reconcile.learning import learn
from reconcile.learnt import (
    MOST_DEVICES,
    MOST_DROPS,
    MOST_LINES,
    MOST_POWERS,
    MOST_SIGHTINGS,
    AthleteHistory,
    LearntDrop,
    LearntLine,
    LearntPower,
    SeenDevice,
    tidy,
)
from reconcile.machine import Machine
from reconcile.result import AthleteResult, ClassResult, Energy, RecordingResult, ScoreResult
from tests.reconcile.made import GROUP, MARKS, made_class

EVERYBODY = [person.athlete for person in GROUP]
WEEK = timedelta(weeks=1)
FIRST = datetime(2026, 10, 17, 7, 15, tzinfo=UTC)


@pytest.fixture(scope="module")
def first() -> tuple[ClassRecord, ClassResult]:
    """The first class, with nothing known before."""
    record = made_class(0)
    return record, reconcile_class(record)


@pytest.fixture(scope="module")
def known() -> History:
    """What four classes taught."""
    history = History()
    for week in range(4):
        record = made_class(week, history=history.as_document())
        history = learn(history, record, reconcile_class(record))
    return history


@pytest.fixture(scope="module")
def watch_only(first: tuple[ClassRecord, ClassResult]) -> tuple[ClassResult, ClassResult]:
    """The next class, b01 and b03 with a watch alone: nothing known before, and known."""
    document = learn(History(), *first).as_document()
    record = made_class(1, without_machine=["b01", "b03"])
    return reconcile_class(record), reconcile_class(replace(record, history=document))


def athlete_of(result: ClassResult, name: str) -> AthleteResult:
    return next(athlete for athlete in result.athletes if athlete.athlete == name)


def work_energies(result: ClassResult, name: str) -> list[Energy]:
    """What the work steps of the main block cost."""
    steps = athlete_of(result, name).intervals
    costs = [step.energy for step in steps if step.block == "ferry" and step.kind == "work"]
    return [cost for cost in costs if cost is not None]


class TestLearning:
    def test_a_class_teaches_the_own_line_the_power_the_drop_and_the_watch(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        history = learn(History(), *first)
        assert list(history.athletes) == EVERYBODY
        for person in GROUP:
            taught = history.of(person.athlete)
            (line,), (power,), (drop,) = taught.own_lines, taught.powers, taught.drops
            assert line.at == power.at == drop.at == FIRST
            assert line.machine == power.machine == "rower"
            # The six scored rounds, not the three easy ones of the warm-up, at 1.45 times `watts`.
            assert power.steps == drop.rests == 6
            assert power.mean_w == pytest.approx(1.45 * person.watts, rel=0.12)
            assert power.mean_w < power.best_w < 1.25 * power.mean_w
            assert power.planned_s == 75
            assert 20 < drop.drop_bpm < 80
            assert drop.peak_bpm < person.highest_bpm + 5
            assert taught.devices == (SeenDevice(MARKS[person.athlete], (FIRST,)),)

    def test_it_changes_nothing_of_what_it_is_given(
        self, first: tuple[ClassRecord, ClassResult], known: History
    ) -> None:
        before = known.as_json()
        learn(known, *first)
        assert known.as_json() == before

    def test_the_same_class_teaches_the_same_bytes_and_nothing_twice(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        once = learn(History(), *first)
        assert learn(once, *first) == once
        assert learn(once, *first).as_json() == learn(History(), *first).as_json()

    def test_a_class_checked_again_with_another_finding_replaces_what_it_taught(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        record, result = first
        doubted = replace(
            result,
            athletes=tuple(
                replace(
                    a, scores=tuple(replace(s, verdict="doubtful", flag=True) for s in a.scores)
                )
                for a in result.athletes
            ),
        )
        taught = learn(learn(History(), *first), record, doubted).of("b01")
        assert taught == AthleteHistory(devices=taught.devices)
        assert taught.devices  # whose watch it is has nothing to do with the score

    @pytest.mark.parametrize(
        "change",
        [
            {"probability": 0.6},
            {"status": "ambiguous"},
            {"belongs_to": None},
            {"status": "unmatched"},
        ],
    )
    def test_nothing_is_learnt_from_files_that_are_not_surely_theirs(
        self, first: tuple[ClassRecord, ClassResult], change: dict[str, Any]
    ) -> None:
        record, result = first

        def changed(entry: RecordingResult) -> RecordingResult:
            return replace(entry, **change)

        unsure = replace(
            result,
            athletes=tuple(
                replace(a, recordings=tuple(map(changed, a.recordings))) for a in result.athletes
            ),
        )
        assert learn(History(), record, unsure) == History()

    def test_one_unsure_file_keeps_all_of_an_athlete_s_work_out_and_nobody_else_s(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        record, result = first
        one, *others = result.athletes
        machine = tuple(
            replace(entry, probability=0.5) if entry.source == "rower" else entry
            for entry in one.recordings
        )
        taught = learn(
            History(),
            record,
            replace(result, athletes=(replace(one, recordings=machine), *others)),
        )
        assert taught.of("b01") == AthleteHistory(devices=taught.of("b01").devices)
        assert taught.of("b02").powers

    def test_a_score_that_is_not_logged_teaches_no_power(self) -> None:
        record = made_class(0)
        unlogged = replace(record, scores=tuple(replace(s, score=None) for s in record.scores))
        taught = learn(History(), unlogged, reconcile_class(unlogged)).of("b01")
        assert taught.powers == ()
        assert taught.own_lines

    def test_a_doubtful_sensor_teaches_nothing_of_the_heart(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        record, result = first
        doubted = replace(
            result, athletes=tuple(replace(a, advice=(sensor_advice(),)) for a in result.athletes)
        )
        taught = learn(History(), record, doubted).of("b01")
        assert taught.own_lines == ()
        assert taught.drops == ()
        assert taught.powers

    def test_years_of_classes_keep_it_small(self, first: tuple[ClassRecord, ClassResult]) -> None:
        record, result = first
        history = History()
        for week in range(40):
            later = replace(record, start=record.start + week * WEEK)
            history = learn(history, later, result)
        taught = history.of("b01")
        assert len(taught.own_lines) == MOST_LINES
        assert len(taught.powers) == MOST_POWERS
        assert len(taught.drops) == MOST_DROPS
        assert len(taught.devices[0].seen) == MOST_SIGHTINGS
        assert taught.last == FIRST + 39 * WEEK

    def test_the_order_in_which_classes_are_learnt_is_that_of_their_starts(
        self, first: tuple[ClassRecord, ClassResult]
    ) -> None:
        record, result = first
        later = replace(record, start=record.start + WEEK)
        forwards = learn(learn(History(), record, result), later, result)
        backwards = learn(learn(History(), later, result), record, result)
        assert forwards.as_json() == backwards.as_json()


class TestUse:
    def test_the_own_line_of_one_class_is_used_in_the_next_named_and_makes_it_surer(
        self, watch_only: tuple[ClassResult, ClassResult]
    ) -> None:
        without, with_it = (work_energies(result, "b01") for result in watch_only)
        assert len(without) == len(with_it) == 6
        for before, after in zip(without, with_it, strict=True):
            assert "own-calibration" not in before.method
            assert "own-calibration" in after.method.split("+")
            assert after.high / after.low < before.high / before.low

    def test_it_brings_the_energy_nearer_to_what_the_machine_said_of_the_same_work(
        self, first: tuple[ClassRecord, ClassResult], watch_only: tuple[ClassResult, ClassResult]
    ) -> None:
        # b03 pulls little for so fast a heart, so that the population's equations say too much.
        machine = np.mean([energy.kcal for energy in work_energies(first[1], "b03")])
        without, with_it = (
            np.mean([energy.kcal for energy in work_energies(result, "b03")])
            for result in watch_only
        )
        assert without > 1.3 * machine
        assert abs(with_it - machine) < 0.5 * abs(without - machine)

    def test_who_has_a_machine_s_file_today_is_calibrated_today(
        self, watch_only: tuple[ClassResult, ClassResult]
    ) -> None:
        for name in ("b02", "b04", "b05"):
            without, with_it = (athlete_of(result, name).own_line for result in watch_only)
            assert without == with_it

    def test_more_classes_make_the_own_line_surer(self, known: History) -> None:
        lines = [learnt.line for learnt in known.of("b01").own_lines]
        assert len(lines) == 4
        at = np.array([130.0, 160.0])
        spreads = [joined(lines[:days], EARLIER_DAY_SD).at(at)[1] for days in (1, 2, 3, 4)]
        assert (np.diff(spreads, axis=0) < 0).all()

    def test_far_above_the_own_record_is_a_question_and_never_impossible(
        self, known: History
    ) -> None:
        def judged(logged: float, history: Mapping[str, Any]) -> ScoreResult:
            record = made_class(6, without_machine=["b03"], logged={"b03": logged}, history=history)
            (score,) = athlete_of(reconcile_class(record), "b03").scores
            return score

        def verdict(logged: float, history: Mapping[str, Any]) -> str:
            return judged(logged, history).verdict

        def too_high(score: ScoreResult) -> float:
            codes = ("inflated", "unexplained")
            return sum(e.probability for e in score.explanations if e.code in codes)

        document = known.as_document()
        usual = 54.0
        # 230 is within what the best of her sex and mass could do in the time.
        without, with_it = judged(230.0, {}), judged(230.0, document)
        assert with_it.verdict == "doubtful"
        assert too_high(with_it) > 2 * too_high(without)
        assert verdict(usual, {}) == verdict(usual, document) == "plausible"
        assert verdict(1.3 * usual, document) == "plausible"
        # What is impossible is so by the published bound, known or not.
        assert verdict(400.0, {}) == verdict(400.0, document) == "impossible"

    def test_a_watch_without_a_name_finds_its_owner_by_its_mark(self, known: History) -> None:
        # No machine's file, so that no heart can be laid beside a machine's work.
        def nameless(history: Mapping[str, Any]) -> RecordingResult:
            record = made_class(
                5, without_machine=EVERYBODY, nameless_watch=["b02"], history=history
            )
            (entry,) = reconcile_class(record).unassigned
            return entry

        assert nameless({}).probability < 0.75
        found = nameless(known.as_document())
        assert found.belongs_to == "b02"
        assert found.probability > 0.8
        # The same watch with another's mark is evidence for that other.
        swapped = {**MARKS, "b02": MARKS["b04"], "b04": MARKS["b02"]}
        record = made_class(
            5,
            without_machine=EVERYBODY,
            nameless_watch=["b02"],
            without_watch=["b04"],
            marks=swapped,
            history=known.as_document(),
        )
        (entry,) = reconcile_class(record).unassigned
        assert entry.belongs_to == "b04"

    def test_a_mark_does_not_outweigh_a_heart_that_clearly_answers_a_machine(
        self, known: History
    ) -> None:
        lent = {**MARKS, "b02": MARKS["b04"]}  # b02 wears b04's watch today; b04 wears none
        record = made_class(
            7,
            nameless_watch=["b02"],
            without_watch=["b04"],
            marks=lent,
            history=known.as_document(),
        )
        (entry,) = reconcile_class(record).unassigned
        assert entry.belongs_to == "b02"

    @pytest.mark.parametrize(
        "nothing",
        [
            History().as_document(),
            {"schema": SCHEMA, "athletes": {}, "colour": "grey"},
            {"schema": SCHEMA},
            {"schema": 2, "athletes": {"b01": {}}},
            {"athletes": 7},
        ],
    )
    def test_a_history_that_says_nothing_changes_nothing(
        self, first: tuple[ClassRecord, ClassResult], nothing: Mapping[str, Any]
    ) -> None:
        record, result = first
        again = reconcile_class(replace(record, history=nothing))
        assert document_text(again) == document_text(result)

    def test_strangers_and_the_class_itself_and_later_ones_change_nothing(
        self, first: tuple[ClassRecord, ClassResult], known: History
    ) -> None:
        record, result = first
        # All that `known` holds was taught by this class and by later ones.
        again = reconcile_class(replace(record, history=known.as_document()))
        assert document_text(again) == document_text(result)
        long_ago = FIRST - WEEK
        stranger = AthleteHistory(
            own_lines=(replace(known.of("b01").own_lines[0], at=long_ago),),
            devices=(SeenDevice("f" * 32, (long_ago,)),),
        )
        strangers = history_of({"z99": stranger}).as_document()
        assert document_text(reconcile_class(replace(record, history=strangers))) == document_text(
            result
        )


class TestDeviceEvidence:
    @pytest.mark.parametrize("people", range(2, 41))
    @pytest.mark.parametrize("classes", [1, 3, MOST_SIGHTINGS])
    def test_it_is_capped_below_the_name_on_a_file_and_below_a_clear_heart(
        self, people: int, classes: int
    ) -> None:
        names = [f"a{n:02d}" for n in range(people)]
        told = device_evidence({"a01": classes}, names, worn=True)
        assert told[1] == told.max() > 0 > told[0]
        apart = told[1] - told[0]
        assert apart <= 3.7
        prior = name_prior(["a00"], names)
        assert apart < prior[0] - prior[1]
        clear = answered_best(np.array([40.0, *np.zeros(max(people, 5) - 1)]), 1000)
        assert apart < clear[0] - clear[1]

    def test_more_classes_say_more_and_an_unknown_device_says_nothing(self) -> None:
        names = ["a01", "a02", "a03", "a04", "a05"]
        said = [device_evidence({"a01": n}, names, worn=True)[0] for n in range(6)]
        assert said[0] == 0
        assert said == sorted(said)
        assert device_evidence({}, names, worn=True).tolist() == [0.0] * 5

    def test_a_machine_that_everybody_uses_says_next_to_nothing(self) -> None:
        names = ["a01", "a02", "a03", "a04"]
        even = device_evidence(dict.fromkeys(names, 2), names, worn=False)
        assert even == pytest.approx(np.zeros(4))
        once = device_evidence({"a01": 1}, names, worn=False)
        worn = device_evidence({"a01": 1}, names, worn=True)
        assert 0 < once[0] < worn[0]

    def test_the_watch_of_somebody_who_is_not_here_speaks_for_none_who_is(self) -> None:
        said = device_evidence({"z99": 5}, ["a01", "a02", "a03"], worn=True)
        assert (said < 0).all()
        assert len(set(said.tolist())) == 1

    def test_two_marked_watches_under_each_other_s_names_are_one_mistake(self) -> None:
        names = [f"a{n:02d}" for n in range(8)]
        files = ["a00.watch.fit", "a01.watch.fit"]

        def owners_by(alone: np.ndarray) -> list[str | None]:
            claims = Claims(
                alone,
                np.zeros((1, 2, 2)),
                np.zeros(len(names), dtype=np.intp),
                np.array([0, 1]),
                np.array([True, True]),
            )
            return [found.owner for found in assign_owners(files, names, claims)]

        alone = np.array([name_prior([name], names) for name in names[:2]])
        alone[0, :-1] += device_evidence({"a01": 6}, names, worn=True)
        assert owners_by(alone) == ["a00", "a01"]
        alone[1, :-1] += device_evidence({"a00": 6}, names, worn=True)
        assert owners_by(alone) == ["a01", "a00"]


class TestQuestions:
    """What is asked of one athlete's history."""

    def test_power_counts_only_where_machine_and_time_are_alike(self) -> None:
        alike = LearntPower(FIRST, "rower", 60.0, 5, 100.0, 200.0)
        powers = [
            alike,
            replace(alike, at=FIRST + WEEK, planned_s=80.0, mean_w=101.0),
            replace(alike, planned_s=30.0),
            replace(alike, planned_s=150.0),
            replace(alike, machine="ski", mean_w=104.0),
        ]
        taught = tidy(powers=powers)
        assert taught.earlier_power_w("rower", 60.0) == (100.0, 101.0)
        assert taught.earlier_power_w("ski", 60.0) == (104.0,)
        assert taught.earlier_power_w("bike", 60.0) == taught.earlier_power_w(None, 60.0) == ()

    def test_usual_drops_are_the_last_five_from_as_high(self) -> None:
        drops = [
            LearntDrop(FIRST + n * WEEK, 5, 130.0 if n % 4 == 0 else 170.0, 30.0 + n)
            for n in range(10)
        ]
        assert tidy(drops=drops).drops_from(172.0) == (33.0, 35.0, 36.0, 37.0, 39.0)
        assert tidy(drops=drops).drops_from(100.0) == ()

    def test_only_earlier_classes_count(self, known: History) -> None:
        assert known.before(FIRST) == History()
        assert len(known.before(FIRST + WEEK).of("b01").powers) == 1
        assert known.before(FIRST + 2 * WEEK).sightings(MARKS["b01"]) == {"b01": 2}
        assert known.before(FIRST + 52 * WEEK) == known

    def test_marks_can_be_keyed_anew_and_left_out(self, known: History) -> None:
        keyed = known.remarked(lambda mark: None if mark == MARKS["b02"] else mark[::-1])
        assert keyed.sightings(MARKS["b01"][::-1]) == {"b01": 4}
        assert keyed.of("b02").devices == ()
        assert keyed.of("b02").powers == known.of("b02").powers
        assert keyed.remarked(lambda mark: mark[::-1]).of("b01") == known.of("b01")


moments = st.integers(0, 500).map(lambda weeks: FIRST + weeks * WEEK)
KINDS: tuple[Machine, ...] = ("rower", "ski", "bike")
machines = st.sampled_from(KINDS)
watts = st.integers(10, 9000).map(lambda tenths: tenths / 10)


@st.composite
def lines(draw: st.DrawFn) -> LearntLine:
    low, high = draw(st.integers(50, 120)), draw(st.integers(125, 200))
    sds = [draw(st.integers(5, 300)) / 100 for _ in range(2)]
    shared = round(draw(st.integers(-90, 90)) / 100 * sds[0] * sds[1], 6)
    return LearntLine(
        draw(moments),
        draw(machines),
        draw(st.integers(2, 40)),
        (float(low), float(high)),
        (draw(st.integers(20, 120)) / 10, draw(st.integers(60, 250)) / 10),
        ((round(sds[0] ** 2, 6), shared), (shared, round(sds[1] ** 2, 6))),
    )


@st.composite
def powers(draw: st.DrawFn) -> LearntPower:
    mean_w, best_w = sorted([draw(watts), draw(watts)])
    planned_s = draw(st.integers(10, 3000)) / 10
    return LearntPower(
        draw(moments), draw(machines), planned_s, draw(st.integers(1, 60)), mean_w, best_w
    )


drops = st.builds(
    LearntDrop,
    moments,
    st.integers(1, 60),
    st.integers(90, 210).map(float),
    st.integers(-20, 90).map(float),
)
devices = st.builds(
    SeenDevice,
    st.binary(min_size=8, max_size=32).map(bytes.hex),
    st.lists(moments, max_size=12).map(tuple),
)
histories = st.dictionaries(
    st.text(st.characters(categories=["L", "N", "P"]), min_size=1, max_size=12),
    st.builds(
        tidy,
        st.lists(lines(), max_size=8),
        st.lists(powers(), max_size=20),
        st.lists(drops, max_size=20),
        st.lists(devices, max_size=10),
    ),
    max_size=5,
).map(history_of)

anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)


class TestDocument:
    @given(histories)
    @settings(max_examples=60)
    def test_what_is_written_reads_back_the_same_to_the_byte(self, history: History) -> None:
        again, problems = History.read(json.loads(history.as_json()))
        assert problems == ()
        assert again == history
        assert again.as_json() == history.as_json()

    def test_it_says_its_schema_and_goes_through_the_folder_s_reader(self, known: History) -> None:
        document, mistakes = read_history(known.as_json())
        assert mistakes == ()
        assert document["schema"] == SCHEMA
        assert History.read(document) == (known, ())

    def test_keys_that_are_not_known_are_passed_over(self, known: History) -> None:
        document = known.as_document()
        document["later"] = [1]
        document["athletes"]["b01"]["later"] = {"a": 1}
        document["athletes"]["b01"]["powers"][0]["later"] = None
        assert History.read(document) == (known, ())

    @given(st.dictionaries(st.text(max_size=8), anything))
    def test_no_document_at_all_stops_it(self, document: dict[str, Any]) -> None:
        History.read(document)
        for kind in ("own_lines", "powers", "hr_drops_60s", "devices"):
            for value in document.values():
                History.read({"schema": 1, "athletes": {"a01": {kind: value}}})
                History.read({"schema": 1, "athletes": {"a01": {kind: [value, document]}}})
        History.read({**document, "schema": 1})
        History.read({"schema": 1, "athletes": document})

    @pytest.mark.parametrize(
        ("kind", "change"),
        [
            ("own_lines", {"covariance": [[1, 2], [2, 1]]}),
            ("own_lines", {"covariance": [[1, 0.1], [0.2, 1]]}),
            ("own_lines", {"covariance": [[-1, 0], [0, 1]]}),
            ("own_lines", {"covariance": [[1e308, 0], [0, 1e308]]}),
            ("own_lines", {"covariance": "ab"}),
            ("own_lines", {"covariance": [1, 1]}),
            ("own_lines", {"heart_rate": [150, 120]}),
            ("own_lines", {"heart_rate": [120]}),
            ("own_lines", {"heart_rate": "ab"}),
            ("own_lines", {"kcal_per_min": [float("nan"), 9]}),
            ("own_lines", {"kcal_per_min": [True, 9]}),
            ("own_lines", {"kcal_per_min": [-3, 9]}),
            ("own_lines", {"stretches": 2.5}),
            ("own_lines", {"machine": "sled"}),
            ("own_lines", {"machine": ["rower"]}),
            ("powers", {"class": "2026-10-17T07:15:00"}),
            ("powers", {"class": "yesterday"}),
            ("powers", {"class": 20261017}),
            ("powers", {"class": "0001-01-01T00:00:00+14:00"}),
            ("powers", {"class": "9" * 10_000}),
            ("powers", {"mean_w": float("inf")}),
            ("powers", {"mean_w": 10**400}),
            ("powers", {"mean_w": "200"}),
            ("powers", {"mean_w": None}),
            ("powers", {"best_w": 1}),
            ("powers", {"planned_s": 0}),
            ("powers", {"steps": -1}),
            ("hr_drops_60s", {"drop_bpm": 1e9}),
            ("hr_drops_60s", {"peak_bpm": False}),
            ("hr_drops_60s", {"rests": {}}),
            ("devices", {"mark": "3881204417"}),
            ("devices", {"mark": "G" * 32}),
            ("devices", {"mark": 7}),
            ("devices", {"classes": "2026-10-17T07:15:00Z"}),
            ("devices", {"classes": [None]}),
        ],
    )
    def test_an_entry_of_the_wrong_kind_is_left_out_and_told_with_its_place(
        self, known: History, kind: str, change: dict[str, Any]
    ) -> None:
        document = known.as_document()
        entries = document["athletes"]["b01"][kind]
        entries[0] = {**entries[0], **change}
        read, (problem,) = History.read(document)
        assert problem.code == "bad_history"
        assert f"`{kind}` of `b01`, entry 1" in problem.message
        del entries[0]
        assert (read, ()) == History.read(document)

    @pytest.mark.parametrize(
        "document",
        [
            {"schema": "1", "athletes": {}},
            {"schema": True, "athletes": {}},
            {"schema": 1, "athletes": []},
            {"schema": 1, "athletes": {"b01": []}},
            {"schema": 1, "athletes": {"b01": {"powers": {}}}},
            {"schema": 1, "athletes": {"b\n01": {}}},
            {"schema": 1, "athletes": {"": {}}},
            {"schema": 1, "athletes": {"x" * 1000: {}}},
            {"schema": 1, "athletes": {"b01": {"powers": [[]]}}},
        ],
    )
    def test_what_is_no_history_is_one_problem(self, document: dict[str, Any]) -> None:
        read, problems = History.read(document)
        assert read == History()
        assert [problem.code for problem in problems] == ["bad_history"]

    def test_a_flood_of_mistakes_is_told_by_its_number(self) -> None:
        document = {"schema": 1, "athletes": {"b01": {"powers": [{}] * 100_000}}}
        read, problems = History.read(document)
        assert read == History()
        assert len(problems) == MOST_PROBLEMS + 1
        assert f"{100_000 - MOST_PROBLEMS} more" in problems[-1].message

    def test_a_huge_history_is_cut_to_the_newest(self) -> None:
        seen = [
            SeenDevice(f"{n:032x}", tuple(FIRST + week * WEEK for week in range(n, n + 20)))
            for n in range(30)
        ]
        taught = tidy(devices=seen)
        assert [device.mark for device in taught.devices] == [
            f"{n:032x}" for n in range(30 - MOST_DEVICES, 30)
        ]
        many = {f"a{n:05d}": replace(taught, devices=(seen[n % 30],)) for n in range(1500)}
        assert len(history_of(many).athletes) == MOST_ATHLETES

    @pytest.mark.parametrize(
        "text",
        [
            '{"schema": 1, "athletes": {"b01": {"powers": [{"mean_w": NaN}]}}}',
            '{"schema": 1, "athletes": {"b01": {"powers": [{"mean_w": 1e999}]}}}',
            '{"schema": 1, "athletes": {"b01": {"powers": [{"mean_w": ' + "9" * 9000 + "}]}}}",
            '{"schema": 1, "athletes": ' + '{"a": ' * 50_000 + "1" + "}" * 50_000 + "}",
            '{"schema": 1, "athletes": {"\\ud800": {}}}',
            '{"schema": 9}',
        ],
    )
    def test_a_hostile_file_only_gives_mistakes_and_the_class_goes_on(
        self, first: tuple[ClassRecord, ClassResult], text: str
    ) -> None:
        record, result = first
        document, mistakes = read_history(text)
        assert [mistake.code for mistake in mistakes] == ["bad_history"]
        assert all(str(mistake).startswith("history.json: ") for mistake in mistakes)
        again = reconcile_class(replace(record, history=document))
        assert document_text(again) == document_text(result)


def test_no_serial_number_gets_into_a_history(first: tuple[ClassRecord, ClassResult]) -> None:
    record, result = first
    serial = 3_881_204_417

    def from_a_file(upload: Upload) -> Upload:
        if upload.source != "watch":
            return upload
        assert upload.recording is not None
        data = write_fit(upload.recording, FitOptions(serial_number=serial))
        (reading,) = read_file(data, upload.file)
        assert isinstance(reading.recording, Recording)
        assert reading.recording.device_mark is not None
        return replace(upload, recording=reading.recording)

    read = replace(record, uploads=tuple(map(from_a_file, record.uploads)))
    text = learn(History(), read, result).as_json()
    assert '"mark"' in text
    for spelled in (f"{serial}", f"{serial:x}", f"{serial:X}"):
        assert spelled not in text


def test_check_writes_the_history_for_the_next_class(tmp_path: Path) -> None:
    folder = tmp_path / "class"
    write_demo_folder(folder)
    written, document = tmp_path / "next.json", tmp_path / "class.json"
    arguments = ["check", str(folder), "--history", str(written), "--json", str(document)]
    ran = CliRunner().invoke(app, arguments)
    assert ran.exit_code == 0, ran.output
    text, result = written.read_text("utf-8"), document.read_text("utf-8")
    history, problems = History.read(json.loads(text))
    assert problems == ()
    assert history.of("a01").own_lines
    assert history.of("a08") == AthleteHistory()  # whose only file is unreadable
    # Kept with the class that taught it, it changes neither its result nor what is known.
    (folder / "history.json").write_text(text, encoding="utf-8")
    ran = CliRunner().invoke(app, arguments)
    assert ran.exit_code == 0, ran.output
    assert written.read_text("utf-8") == text
    assert document.read_text("utf-8") == result


def test_a_history_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "class"
    write_demo_folder(folder)
    nowhere = tmp_path / "nowhere" / "next.json"
    ran = CliRunner().invoke(app, ["check", str(folder), "--history", str(nowhere)])
    assert ran.exit_code == 1
    assert "cannot be written" in " ".join(ran.output.split())
