"""Recordings made by real devices: the manifest's facts, and a second decoder sample by sample.

The manifest's counts, means and maxima are over the values as they stand in the files, 0 included;
its numbers come from decoders other than ours. For FIT, fitdecode reads each file once more here.
"""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import fitdecode
import numpy as np
import pytest
from ruamel.yaml import YAML

from ingest import read_file
from ingest.fitdecoder import BEATS, STORED_HEART_RATE
from ingest.readers import fit
from ingest.recording import Floats, Recording

REPOSITORY = Path(__file__).resolve().parents[2]
MANIFEST = REPOSITORY.parent / "shared" / "recordings" / "manifest.yaml"

CHANNELS = {
    "heart_rate": "heart_rate_bpm",
    "power": "power_w",
    "cadence": "cadence_per_min",
    "distance": "distance_m",
    "calories": "calories",
}

SILENCE = {
    ("distance", "no-heart-rate.tcx"),
    ("distance", "paddle.tcx"),
    ("distance", "run.tcx"),
    ("power", "run-developer-fields.fit"),
}


def entries() -> list[dict[str, Any]]:
    """The manifest's recordings; none where it is not here, and then the tests skip."""
    if not MANIFEST.is_file():
        return []
    loaded = YAML(typ="safe", pure=True).load(MANIFEST)
    return [entry for entry in loaded["recordings"] if isinstance(entry, dict)]


ENTRIES = entries()
every_file = pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["file"])
every_fit_file = pytest.mark.parametrize(
    "entry",
    [entry for entry in ENTRIES if entry["file"].endswith(".fit")],
    ids=lambda entry: entry["file"],
)


def read(folder: Path, entry: dict[str, Any]) -> Recording:
    data = (folder / entry["file"]).read_bytes()
    (found,) = read_file(data, entry["file"])
    assert found.recording is not None, found.problems
    return found.recording


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def test_the_manifest_is_here(recordings: Path) -> None:
    assert len(ENTRIES) >= 21
    listed = {entry["file"] for entry in ENTRIES}
    assert listed == {path.name for path in recordings.iterdir()} - {"manifest.yaml"}


@every_file
def test_every_file_is_read_with_the_count_times_and_laps_of_the_manifest(
    recordings: Path, entry: dict[str, Any]
) -> None:
    facts, found = entry["facts"], read(recordings, entry)
    assert found.sample_count == facts.get("records", facts.get("points"))
    assert len(found.laps) == facts["laps"]
    if "seconds_since_power_on" in facts:
        first, last = facts["seconds_since_power_on"]
        assert found.start is None
        assert found.time_s[-1] == last - first
    else:
        assert found.start == moment(facts["first_sample"])
        length = moment(facts["last_sample"]) - moment(facts["first_sample"])
        assert found.time_s[-1] == pytest.approx(length.total_seconds(), abs=1e-3)


def as_they_stand(folder: Path, entry: dict[str, Any]) -> dict[str, Floats]:
    """Columns before any clean-up: of a FIT file all records, of others what was kept."""
    if entry["file"].endswith(".fit"):
        parts = fit.decode((folder / entry["file"]).read_bytes(), entry["file"]).parts
        columns = [fit.channels_of(part) for part in parts]
        return {name: np.concatenate([one[name] for one in columns]) for name in columns[0]}
    found = read(folder, entry)
    assert len(found.time_s) == found.sample_count
    return {
        name: np.full(len(found.time_s), np.nan) if column is None else column
        for name in CHANNELS.values()
        for column in [getattr(found, name)]
    }


@every_file
def test_every_channel_has_the_count_mean_and_maximum_of_the_manifest(
    recordings: Path, entry: dict[str, Any]
) -> None:
    columns = as_they_stand(recordings, entry)
    for name, channel in CHANNELS.items():
        values = columns[channel][np.isfinite(columns[channel])]
        facts = entry["facts"].get(name)
        if facts is None:
            # the manifest keeps silent on distances in TCX and on developers' fields
            assert not len(values) or (name, entry["file"]) in SILENCE, name
            continue
        assert len(values) == facts["count"], name
        assert values.mean() == pytest.approx(facts["mean"], abs=6e-4), name
        assert values.max() == pytest.approx(facts["max"], abs=6e-3), name


@every_file
def test_what_clean_up_takes_away_is_counted_in_a_problem(
    recordings: Path, entry: dict[str, Any]
) -> None:
    found = read(recordings, entry)
    codes = {problem.code for problem in found.problems}
    dropped = found.sample_count - len(found.time_s)
    assert bool(dropped) == bool(codes & {"duplicate_time", "backward_time"})
    rates = as_they_stand(recordings, entry)["heart_rate_bpm"]
    assert bool((rates == 0).any()) == ("zero_heart_rate" in codes)


@every_fit_file
def test_beats_and_stored_heart_rates_are_all_there(
    recordings: Path, entry: dict[str, Any]
) -> None:
    facts = entry["facts"]
    parts = fit.decode((recordings / entry["file"]).read_bytes(), entry["file"]).parts
    counts = {
        number: sum(len(one.rows) for part in parts for one in part.layouts[number])
        for number in (BEATS, STORED_HEART_RATE)
    }
    assert counts[BEATS] == facts.get("beat_interval_messages", 0)
    assert counts[STORED_HEART_RATE] == facts.get("heart_rate_messages", 0)


def frames(path: Path, kind: str) -> Iterator[Any]:
    """Data messages of one kind as fitdecode reads them, as far as it does."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reader = fitdecode.FitReader(
            str(path),
            check_crc=fitdecode.CrcCheck.DISABLED,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        )
        try:
            for frame in reader:
                if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == kind:
                    yield frame
        except fitdecode.FitError:
            # the file that is cut off ends so
            return


def value_of(frame: Any, *names: str) -> float:
    """The first of a frame's fields that has a number."""
    for name in names:
        value = frame.get_value(name, fallback=None)
        if isinstance(value, tuple):
            value = value[0]
        if isinstance(value, int | float):
            return float(value)
    return float("nan")


@every_fit_file
def test_a_second_decoder_agrees_sample_by_sample(recordings: Path, entry: dict[str, Any]) -> None:
    found = read(recordings, entry)
    stored = entry["facts"]["heart_rate_messages"] if "decoder" not in entry["facts"] else 0
    fields = {
        "heart_rate_bpm": ("heart_rate",),
        "power_w": ("power",),
        "cadence_per_min": ("cadence",),
        "distance_m": ("distance",),
        "speed_m_s": ("enhanced_speed", "speed"),
        "calories": ("calories",),
    }
    by_time: dict[float, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    first: float | None = None
    count = 0
    for frame in frames(recordings / entry["file"], "record"):
        count += 1
        at = frame.get_value("timestamp", fallback=None)
        at = at.timestamp() if isinstance(at, datetime) else at
        if at is None:
            continue
        first = at if first is None else first
        for channel, names in fields.items():
            by_time[at - first][channel].append(value_of(frame, *names))
    assert count == found.sample_count
    assert set(found.time_s.tolist()) <= set(by_time)
    if found.sample_count == len(found.time_s):
        assert set(found.time_s.tolist()) == set(by_time)
    for channel in fields:
        ours = getattr(found, channel)
        ours = np.full(len(found.time_s), np.nan) if ours is None else ours
        for at, value in zip(found.time_s.tolist(), ours.tolist(), strict=True):
            theirs = by_time[at][channel]
            if np.isnan(value):
                # missing there too, or the 0 of a strap that lost contact
                assert all(np.isnan(one) or one == 0 for one in theirs), (channel, at)
            elif channel == "heart_rate_bpm" and stored and np.isnan(theirs).all():
                continue  # filled from messages of its own, see below
            elif channel == "power_w" and np.isnan(theirs).all():
                assert entry["file"] == "run-developer-fields.fit", (channel, at)
            else:
                assert any(abs(one - value) < 1e-6 for one in theirs), (channel, at, theirs)


@pytest.mark.parametrize("name", ["chained.fit", "pool-swim-heart-rate-messages.fit"])
def test_stored_heart_rates_fill_the_samples_where_the_file_has_them(
    recordings: Path, name: str
) -> None:
    entry = next(entry for entry in ENTRIES if entry["file"] == name)
    found = read(recordings, entry)
    assert found.heart_rate_bpm is not None
    assert np.isfinite(found.heart_rate_bpm).all()
    rates: list[float] = []
    for frame in frames(recordings / name, "hr"):
        values = frame.get_value("filtered_bpm", fallback=None)
        rates += values if isinstance(values, tuple) else [] if values is None else [values]
    # a nearest value is one that the strap sent
    filled = found.heart_rate_bpm
    sampled = as_they_stand(recordings, entry)["heart_rate_bpm"]
    assert set(filled.tolist()) <= set(rates) | set(sampled.tolist())
    # and, over the swim or the first leg, they average what the strap's messages do
    missing = np.isnan(sampled)[: len(filled)] if name == "chained.fit" else np.full(len(filled), 1)
    assert filled[missing.astype(bool)].mean() == pytest.approx(np.mean(rates), rel=0.05)


def test_the_power_of_a_developers_field_is_the_one_that_the_second_decoder_finds(
    recordings: Path,
) -> None:
    entry = next(entry for entry in ENTRIES if entry["file"] == "run-developer-fields.fit")
    found = read(recordings, entry)
    assert found.power_w is not None
    theirs = [
        value_of(frame, "Power", "power", "RP_Power")
        for frame in frames(recordings / entry["file"], "record")
    ]
    assert np.array_equal(found.power_w, theirs, equal_nan=True)


def test_laps_follow_one_another_and_name_their_workout_steps(recordings: Path) -> None:
    entry = next(entry for entry in ENTRIES if entry["file"] == "indoor-bike-intervals.fit")
    found = read(recordings, entry)
    for lap, following in zip(found.laps, found.laps[1:], strict=False):
        assert lap.end_s == pytest.approx(following.start_s, abs=2.0)
    steps = [
        frame.get_value("wkt_step_index", fallback=None)
        for frame in frames(recordings / entry["file"], "lap")
    ]
    assert [lap.workout_step for lap in found.laps] == steps


@pytest.mark.parametrize("name", ["run-developer-fields.fit", "indoor-bike-intervals.fit"])
def test_beats_and_heart_rate_tell_the_same(recordings: Path, name: str) -> None:
    entry = next(entry for entry in ENTRIES if entry["file"] == name)
    found = read(recordings, entry)
    assert found.beat_interval_s is not None
    assert found.beat_time_s is not None
    assert found.heart_rate_bpm is not None
    assert (np.diff(found.beat_time_s) >= 0).all()
    plausible = (found.beat_interval_s > 0.25) & (found.beat_interval_s < 2.0)
    rate = 60.0 / np.median(found.beat_interval_s[plausible])
    assert rate == pytest.approx(np.median(found.heart_rate_bpm), rel=0.05)


@every_file
def test_nothing_that_tells_where_or_by_whom_is_kept(
    recordings: Path, entry: dict[str, Any]
) -> None:
    names = set(vars(read(recordings, entry)))
    assert not {name for name in names if "position" in name or "serial" in name}
