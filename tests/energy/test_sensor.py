"""What gives a heart-rate sensor away, and what must not."""

from pathlib import Path

import numpy as np
import pytest

from ingest import read_file
from ingest.recording import Floats
from reconcile.energy import sensor
from reconcile.energy.sensor import doubt

CLOCK = np.arange(0.0, 600.0)


def heart(rng: np.random.Generator) -> Floats:
    """An unsuspicious heart over four rounds of work and rest, in whole numbers."""
    level, rate = 95.0, []
    noise = 0.0
    for second in CLOCK - 6.0:
        aim = 165.0 if 0 <= second % 150 < 90 else 105.0
        level += (aim - level) / 35.0
        noise += -noise / 15 + rng.normal(0, 0.5)
        rate.append(level + noise)
    return np.round(rate)


def codes(time_s: Floats, bpm: Floats, cadence: Floats | None = None) -> set[str]:
    return {problem.code for problem in doubt(time_s, bpm, cadence).problems}


def test_a_plain_heart_is_trusted_throughout(rng: np.random.Generator) -> None:
    found = doubt(CLOCK, heart(rng), np.full(len(CLOCK), 28.0))
    assert found.problems == ()
    assert found.trust.min() == 1.0


def test_a_frozen_value_is_worth_nothing(rng: np.random.Generator) -> None:
    bpm = heart(rng)
    bpm[200:260] = bpm[200]
    found = doubt(CLOCK, bpm)
    assert found.trust[205:255].max() == 0.0
    assert found.trust[100] == 1.0
    assert [problem.code for problem in found.problems] == ["heart_rate_frozen"]
    assert "between 3:" in found.problems[0].message


def test_a_shorter_freeze_gives_itself_away_by_the_step_at_its_end(
    rng: np.random.Generator,
) -> None:
    bpm = heart(rng)
    bpm[152:182] = bpm[152]
    assert abs(bpm[182] - bpm[181]) >= sensor.FROZEN_STEP_BPM
    assert doubt(CLOCK, bpm).trust[155:180].max() == 0.0


def test_what_drops_out_is_worth_nothing_whether_missing_or_zero(rng: np.random.Generator) -> None:
    bpm = heart(rng)
    bpm[100:130], bpm[300:340] = np.nan, 0.0
    found = doubt(CLOCK, bpm)
    assert found.trust[100:130].max() == 0.0
    assert found.trust[300:340].max() == 0.0
    assert "heart_rate_dropped" in codes(CLOCK, bpm)


def test_a_leap_of_more_than_20_a_second_lowers_trust_about_it(rng: np.random.Generator) -> None:
    bpm = heart(rng)
    for at in range(100, 500, 40):
        bpm[at : at + 3] += 45
    found = doubt(CLOCK, bpm)
    assert found.trust[101] < 0.5
    assert "heart_rate_jumped" in codes(CLOCK, bpm)


def test_a_rough_trace_is_worth_half(rng: np.random.Generator) -> None:
    bpm = heart(rng)
    bpm[200:300] += rng.normal(0, 7, 100).round()
    found = doubt(CLOCK, bpm)
    assert found.trust[210:290].mean() <= 0.6
    assert "heart_rate_rough" in codes(CLOCK, bpm)


def test_a_heart_that_follows_the_cadence_is_locked_to_it(rng: np.random.Generator) -> None:
    bpm, cadence = heart(rng), np.full(len(CLOCK), np.nan)
    cadence[200:280] = 150 + 10 * np.sin(CLOCK[200:280] / 9)
    bpm[200:280] = np.round(cadence[200:280])
    found = doubt(CLOCK, bpm, cadence)
    assert found.trust[205:275].max() == 0.0
    assert "heart_rate_locked" in codes(CLOCK, bpm, cadence)


def test_a_heart_locked_to_twice_the_stroke_rate_is_found(rng: np.random.Generator) -> None:
    bpm, cadence = heart(rng), np.full(len(CLOCK), np.nan)
    cadence[200:280] = 34.0
    bpm[200:280] = 68.0 + rng.integers(0, 2, 80)
    assert doubt(CLOCK, bpm, cadence).trust[205:275].max() == 0.0


def test_a_runner_whose_heart_meets_the_cadence_by_chance_is_believed() -> None:
    bpm = np.round(176 + 2 * np.sin(CLOCK / 15))
    found = doubt(CLOCK, bpm, np.full(len(CLOCK), 176.0))
    assert found.trust.min() == 1.0


def test_a_late_sensor_is_late_by_about_as_much(rng: np.random.Generator) -> None:
    start_s = np.arange(150.0, 600.0, 150.0)
    end_s = start_s + 90
    plain = heart(rng)
    late = np.concatenate([np.full(17, plain[0]), plain[:-17]])
    trust = np.ones(len(CLOCK))
    soon_s = sensor.late(CLOCK, plain, trust, start_s, end_s)
    late_s = sensor.late(CLOCK, late, trust, start_s, end_s)
    assert soon_s is not None
    assert late_s is not None
    assert soon_s < sensor.LATE_BY_S <= late_s
    assert late_s - soon_s == pytest.approx(17, abs=3)


def test_without_repeated_work_lateness_is_not_judged(rng: np.random.Generator) -> None:
    trust = np.ones(len(CLOCK))
    one = np.array([150.0]), np.array([240.0])
    assert sensor.late(CLOCK, heart(rng), trust, *one) is None


@pytest.mark.parametrize(
    "file",
    ["indoor-bike-intervals.fit", "indoor-trainer.fit", "run-compressed-fields.fit", "yoga.fit"],
)
def test_real_recordings_of_steady_hearts_are_not_doubted(recordings: Path, file: str) -> None:
    for reading in read_file((recordings / file).read_bytes(), file):
        recording = reading.recording
        assert recording is not None
        assert recording.heart_rate_bpm is not None
        found = doubt(recording.time_s, recording.heart_rate_bpm, recording.cadence_per_min)
        assert found.trust.mean() > 0.97


def test_a_real_strap_that_fell_out_is_doubted_where_it_did(recordings: Path) -> None:
    file = "strength-80min.fit"
    (reading,) = read_file((recordings / file).read_bytes(), file)
    assert reading.recording is not None
    assert reading.recording.heart_rate_bpm is not None
    found = doubt(reading.recording.time_s, reading.recording.heart_rate_bpm)
    missing = ~np.isfinite(reading.recording.heart_rate_bpm)
    assert found.trust[missing].max() == 0.0
    assert [problem.code for problem in found.problems] == ["heart_rate_dropped"]
