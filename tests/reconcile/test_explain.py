"""What a recording's place rests on, told for a made class of which everything is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from reconcile.align.explain import (
    CLOCK_AND_CLASS,
    OWN_OTHER_FILES,
    SHOWN_RIVAL,
    ExplainedBlock,
    ExplainedRecording,
    explain,
    fitted_answer,
)
from reconcile.align.heart import heart_grid
from reconcile.align.place import HEART_REACH, MACHINE_REACH
from reconcile.engine import Workings, workings
from tests.reconcile.known_class import (
    AHEAD_S,
    BELL_S,
    LATE_S,
    RECORD,
    ROUND_S,
    STATED,
    STEPS,
    class_of,
    upload,
)

NOT_OF_SAMPLES = (CLOCK_AND_CLASS, OWN_OTHER_FILES)


@pytest.fixture(scope="module")
def worked() -> Workings:
    return workings(RECORD)


def told(worked: Workings, file: str) -> ExplainedRecording:
    return explain(RECORD, worked.placed, file)


def main_of(recording: ExplainedRecording) -> ExplainedBlock:
    (block,) = recording.blocks
    return block


@pytest.mark.parametrize(
    ("file", "first_s"),
    [("a01.rower.csv", -90.0), ("a01.watch.csv", -200.0), ("a02.watch.csv", -310.0)],
)
def test_the_likeliest_place_is_near_the_bell(worked: Workings, file: str, first_s: float) -> None:
    best = main_of(told(worked, file)).candidates[0]
    assert best.start_s == pytest.approx(BELL_S - first_s, abs=6.0)
    assert best.probability > 0.9
    assert set(best.says.values()) == {0.0}


@pytest.mark.parametrize("file", ["a01.rower.csv", "a01.watch.csv", "a02.watch.csv"])
def test_the_places_a_round_away_are_always_told_and_the_samples_like_them_less(
    worked: Workings, file: str
) -> None:
    best, *rivals = main_of(told(worked, file)).candidates
    away = sorted(rival.start_s - best.start_s for rival in rivals)
    assert away == pytest.approx([-ROUND_S, ROUND_S], abs=30.0)
    source = "machine" if "rower" in file else "heart rate"
    for rival in rivals:
        assert rival.probability < SHOWN_RIVAL
        assert rival.says[source] < -1.0


def test_no_source_counts_for_more_than_sensors_are_believed(worked: Workings) -> None:
    for file, reach in (("a01.rower.csv", MACHINE_REACH), ("a01.watch.csv", HEART_REACH)):
        for rival in main_of(told(worked, file)).candidates[1:]:
            samples = [v for name, v in rival.says.items() if name not in NOT_OF_SAMPLES]
            assert sum(samples) >= -reach - 0.01


def test_what_the_clock_alone_would_say_is_out_by_the_clocks_own_error(worked: Workings) -> None:
    for file, ahead_s in (("a02.watch.csv", AHEAD_S), ("a03.watch.csv", 0.0)):
        block = main_of(told(worked, file))
        assert block.clock_start_s is not None
        # A clock that is ahead shows the bell at a time when the recording was not yet so far.
        assert block.clock_start_s - block.candidates[0].start_s == pytest.approx(-ahead_s, abs=4.0)


def test_without_a_date_the_clock_says_nothing() -> None:
    whole = upload("a01.watch.csv", "watch", -200.0)
    assert whole.recording is not None
    undated = replace(whole, recording=replace(whole.recording, start=None))
    record = class_of(undated, upload("a02.watch.csv", "watch", -150.0))
    recording = explain(record, workings(record).placed, "a01.watch.csv")
    assert main_of(recording).clock_start_s is None


def test_the_fitted_answer_follows_the_heart_that_it_was_fitted_to(worked: Workings) -> None:
    recording = told(worked, "a01.watch.csv")
    fitted = main_of(recording).fitted
    assert fitted is not None
    assert recording.heart_rate_bpm is not None
    measured = np.interp(fitted.time_s, recording.time_s, recording.heart_rate_bpm)
    assert np.sqrt(np.mean((measured - fitted.bpm) ** 2)) < 4.0
    assert fitted.delay_s == pytest.approx(LATE_S, abs=4.0)
    assert (fitted.rise_s, fitted.fall_s) == (30.0, 55.0)


def test_the_answer_fits_worse_a_quarter_of_a_round_off(worked: Workings) -> None:
    recording = told(worked, "a01.watch.csv")
    assert recording.heart_rate_bpm is not None
    beats = recording.heart_rate_bpm
    heart = heart_grid(recording.time_s, beats)

    def apart(start_s: float) -> float:
        fitted = fitted_answer(heart, start_s, STEPS)
        assert fitted is not None
        measured = np.interp(fitted.time_s, recording.time_s, beats)
        return float(np.sqrt(np.mean((measured - fitted.bpm) ** 2)))

    place_s = main_of(recording).candidates[0].start_s
    assert apart(place_s + ROUND_S / 4) > 2 * apart(place_s)


def test_a_recording_without_heart_rate_has_no_fitted_answer(worked: Workings) -> None:
    assert main_of(told(worked, "a01.rower.csv")).fitted is None
    assert fitted_answer(np.zeros(0), 0.0, STEPS) is None


def test_a_file_of_something_else_keeps_the_place_that_it_would_have() -> None:
    stranger = upload("a04.watch.csv", "watch", -200.0)
    assert stranger.recording is not None
    walk = replace(
        stranger.recording,
        start=STATED + timedelta(days=3),
        heart_rate_bpm=100.0
        + 6.0 * np.sin(stranger.recording.time_s / 130.0)
        + np.random.default_rng(5).normal(0.0, 1.0, stranger.recording.time_s.size),
    )
    record = class_of(*RECORD.uploads, replace(stranger, recording=walk))
    recording = explain(record, workings(record).placed, "a04.watch.csv")
    assert recording.status == "unmatched"
    assert recording.match < 0.5
    assert main_of(recording).candidates


def test_every_recording_has_its_owners_odds_and_they_sum_to_one(worked: Workings) -> None:
    for file in worked.placed:
        recording = told(worked, file)
        assert sum(share for _, share in recording.odds) == pytest.approx(1.0)
        shares = [share for _, share in recording.odds]
        assert shares == sorted(shares, reverse=True)
        assert recording.odds[0][0] == recording.owners[0]
