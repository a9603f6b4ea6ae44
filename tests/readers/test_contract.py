"""What holds for every reader alike."""

from __future__ import annotations

import gzip
from dataclasses import fields, replace
from datetime import timedelta
from typing import get_args

import numpy as np
import pytest

from ingest import read_file
from ingest.errors import IngestError
from ingest.limits import HEAD_BYTES
from ingest.readers import READERS, Reader
from ingest.recording import Format, Recording
from tests.readers.crafting import START, example, sound, zipped

FORMATS: tuple[Format, ...] = get_args(Format)
COLUMNS = [
    "heart_rate_bpm",
    "power_w",
    "cadence_per_min",
    "speed_m_s",
    "distance_m",
    "calories",
]

every_format = pytest.mark.parametrize("kind", FORMATS)
every_reader = pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)


def reading(data: bytes, name: str) -> Recording:
    (found,) = read_file(data, name)
    assert found.recording is not None, found.problems
    return found.recording


def same(one: Recording, other: Recording, *, but: tuple[str, ...] = ()) -> bool:
    """Whether two recordings are equal, arrays value by value."""
    for field in fields(Recording):
        if field.name in but:
            continue
        left, right = getattr(one, field.name), getattr(other, field.name)
        if isinstance(left, np.ndarray) or isinstance(right, np.ndarray):
            if not np.array_equal(left, right, equal_nan=True):
                return False
        elif left != right:
            return False
    return True


def test_there_is_one_reader_a_format_and_no_ending_belongs_to_two() -> None:
    assert [reader.name for reader in READERS] == sorted(
        FORMATS, key=[reader.name for reader in READERS].index
    )
    endings = [ending for reader in READERS for ending in reader.endings]
    assert len(endings) == len(set(endings))


@every_format
def test_only_one_reader_takes_the_content_for_its_own(kind: Format) -> None:
    head = sound(kind)[:HEAD_BYTES]
    assert [reader.name for reader in READERS if reader.sniff(head)] == [kind]


@every_reader
def test_a_sniff_takes_any_head_and_gives_yes_or_no(reader: Reader) -> None:
    for head in (b"", b"\0", b"\xff\xfe", b"<", b"PK\x03\x04", b"\xef\xbb\xbf", b"\n" * 300):
        assert reader.sniff(head) is False


@every_format
def test_what_was_recorded_is_what_is_read(kind: Format) -> None:
    recording = reading(sound(kind), f"a.{kind}")
    made = example()
    assert recording.format == kind
    assert recording.sample_count == made.sample_count
    assert recording.start == START
    assert np.array_equal(recording.time_s, made.time_s)
    for column in ("heart_rate_bpm", "power_w", "cadence_per_min"):
        assert np.array_equal(getattr(recording, column), getattr(made, column)), column


@every_format
def test_columns_are_floats_of_one_length_over_increasing_time(kind: Format) -> None:
    recording = reading(sound(kind), f"a.{kind}")
    assert recording.time_s.dtype == np.float64
    assert (np.diff(recording.time_s) > 0).all()
    assert recording.start is not None
    assert recording.start.utcoffset() == timedelta(0)
    for name in COLUMNS:
        column = getattr(recording, name)
        assert column is None or (column.dtype, column.shape) == (
            np.dtype(np.float64),
            recording.time_s.shape,
        )


@every_format
def test_a_channel_that_was_not_recorded_is_none(kind: Format) -> None:
    recording = reading(sound(kind), f"a.{kind}")
    assert recording.speed_m_s is None
    assert recording.distance_m is None
    assert recording.calories is None


@every_format
def test_the_same_bytes_give_the_same_recording(kind: Format) -> None:
    assert same(reading(sound(kind), "a"), reading(sound(kind), "a"))


@every_format
def test_gzip_changes_nothing(kind: Format) -> None:
    packed = gzip.compress(sound(kind))
    assert same(reading(sound(kind), f"a.{kind}"), reading(packed, f"a.{kind}.gz"))
    # and is recognised without its ending
    assert same(reading(sound(kind), f"a.{kind}"), reading(packed, f"a.{kind}"))


@every_format
def test_a_zip_gives_its_members_by_name(kind: Format) -> None:
    packed = zipped({f"b/a.{kind}": sound(kind), f"c.{kind}": sound(kind)})
    first, second = read_file(packed, "all.zip")
    assert (first.name, second.name) == (f"all.zip/b/a.{kind}", f"all.zip/c.{kind}")
    assert first.recording is not None
    assert same(first.recording, reading(sound(kind), f"a.{kind}"))


@every_format
@pytest.mark.parametrize("other", FORMATS)
def test_content_decides_and_a_wrong_ending_is_a_problem(kind: Format, other: Format) -> None:
    right, wrong = reading(sound(kind), f"a.{kind}"), reading(sound(kind), f"a.{other}")
    assert same(right, wrong, but=("problems",))
    extra = [problem.code for problem in wrong.problems if problem not in right.problems]
    assert extra == ([] if kind == other else ["wrong_extension"])


@every_format
def test_an_ending_of_gz_on_plain_content_is_a_wrong_ending(kind: Format) -> None:
    recording = reading(sound(kind), f"a.{kind}.gz")
    assert [problem.code for problem in recording.problems] == ["wrong_extension"]


@every_format
def test_a_file_cut_anywhere_gives_what_came_before_the_cut(kind: Format) -> None:
    data = sound(kind)
    whole = reading(data, f"a.{kind}")
    for cut in range(0, len(data), max(1, len(data) // 120)):
        (found,) = read_file(data[:cut], f"a.{kind}")
        assert found.recording is not None or found.problems
        if found.recording is None:
            continue
        count = len(found.recording.time_s)
        assert np.array_equal(found.recording.time_s, whole.time_s[:count])
        assert whole.heart_rate_bpm is not None
        rates = found.recording.heart_rate_bpm
        # a CSV's last cell may have lost its end, and no mark says so
        sure = count - 1 if kind == "csv" else count
        assert rates is None or np.array_equal(rates[:sure], whole.heart_rate_bpm[:sure])


@pytest.mark.parametrize("kind", ["fit", "tcx", "gpx"])
def test_a_file_cut_in_its_samples_says_truncated(kind: Format) -> None:
    data = sound(kind)
    (found,) = read_file(data[: len(data) * 2 // 3], f"a.{kind}")
    assert found.recording is not None
    assert 0 < found.recording.sample_count < example().sample_count
    assert "truncated" in [problem.code for problem in found.problems]


@every_reader
def test_an_error_names_file_format_and_what_to_do(reader: Reader) -> None:
    head = sound(reader.name)[:40]
    with pytest.raises(IngestError) as caught:
        reader.read(head, "evening/a03.watch.x")
    error = caught.value
    assert error.file == "evening/a03.watch.x"
    assert error.format == reader.name
    assert error.code != IngestError.code
    assert error.remedy_text.endswith((".", ",power_w"))
    for part in (error.file, reader.name, error.what, error.remedy_text):
        assert part in error.message


@every_format
def test_a_reading_and_its_recording_carry_the_same_problems(kind: Format) -> None:
    (found,) = read_file(sound(kind), "a.txt.gz")
    assert found.recording is not None
    assert found.problems == found.recording.problems
    assert found.problems


def test_a_recording_is_frozen() -> None:
    recording = reading(sound("csv"), "a.csv")
    with pytest.raises(AttributeError):
        recording.format = "fit"  # type: ignore[misc]
    assert replace(recording, format="fit").format == "fit"
