"""What FIT files hold and how it is read, on files made byte by byte.

Numbers of messages, fields and base types are those of the FIT protocol's global profile.
"""

from __future__ import annotations

import struct
from datetime import timedelta

import numpy as np
import pytest

from ingest import FileReading, read_file
from ingest.checksum import crc16
from ingest.recording import Lap, Pause, Recording
from ingest.writers import FitOptions, write_fit
from tests.readers.crafting import (
    CALORIES,
    COMPRESSED,
    DISTANCE,
    FIT_START,
    HEART_RATE,
    POWER,
    SPEED,
    START,
    TIMESTAMP,
    definition,
    example,
    fit_file,
    heart_rates,
    row,
)


def reading(data: bytes) -> FileReading:
    (found,) = read_file(data, "a.fit")
    return found


def recording(body: bytes) -> Recording:
    found = reading(fit_file(body))
    assert found.recording is not None, found.problems
    return found.recording


def codes(found: FileReading | Recording) -> list[str]:
    return [problem.code for problem in found.problems]


def test_the_checksum_is_crc_16_arc() -> None:
    # check value 0xBB3D for "123456789": Catalogue of parametrised CRC algorithms (G. Cook),
    # CRC-16/ARC
    assert crc16(b"123456789") == 0xBB3D


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("compressed", [False, True])
def test_byte_order_and_compressed_timestamps_change_nothing(order: str, compressed: bool) -> None:
    options = FitOptions(byte_order=order, compressed_timestamps=compressed)  # type: ignore[arg-type]
    found = reading(write_fit(example(), options)).recording
    assert found is not None
    assert np.array_equal(found.time_s, example().time_s)
    assert found.power_w is not None
    assert np.array_equal(found.power_w, example().power_w)  # type: ignore[arg-type]


def test_a_compressed_timestamp_runs_on_from_the_last_whole_one_and_over_32_s() -> None:
    body = definition(20, [TIMESTAMP, HEART_RATE], local=0) + definition(20, [HEART_RATE], local=1)
    base = FIT_START & ~0x1F | 30
    body += row("<IB", base, 100)
    for offset, rate in ((31, 101), (2, 102), (2, 103), (1, 104)):
        body += bytes([0x80 | 1 << 5 | offset, rate])
    found = recording(body)
    # the third repeats its time and is dropped; the last has gone round once more
    assert found.time_s.tolist() == [0, 1, 4, 35]
    assert found.sample_count == 5


def test_small_timestamps_count_from_power_on_and_give_no_date() -> None:
    found = recording(heart_rates([90, 91, 92], first=16_441_242))
    assert found.start is None
    assert found.time_s.tolist() == [0, 1, 2]
    assert codes(found) == ["no_date"]


def test_the_invalid_value_of_a_base_type_is_missing() -> None:
    fields = [TIMESTAMP, HEART_RATE, POWER, SPEED, DISTANCE, CALORIES]
    body = definition(20, fields)
    body += row("<IBHHIH", FIT_START, 0xFF, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFF)
    body += row("<IBHHIH", FIT_START + 1, 120, 0, 2500, 1234, 7)
    found = recording(body)
    for column, value in (
        (found.heart_rate_bpm, 120.0),
        (found.power_w, 0.0),
        (found.speed_m_s, 2.5),
        (found.distance_m, 12.34),
        (found.calories, 7.0),
    ):
        assert column is not None
        assert np.isnan(column[0])
        assert column[1] == value


def test_a_heart_rate_of_zero_is_missing_and_counted() -> None:
    found = recording(heart_rates([100, 0, 0, 101]))
    assert found.heart_rate_bpm is not None
    assert np.isnan(found.heart_rate_bpm[1:3]).all()
    (problem,) = found.problems
    assert problem.code == "zero_heart_rate"
    assert problem.message.startswith("2 ")


def test_enhanced_speed_goes_before_speed() -> None:
    body = definition(20, [TIMESTAMP, SPEED, (73, 4, 0x86)])
    body += row("<IHI", FIT_START, 1000, 3210) + row("<IHI", FIT_START + 1, 1000, 0xFFFFFFFF)
    assert recording(body).speed_m_s.tolist() == [3.21, 1.0]  # type: ignore[union-attr]


def test_compressed_speed_and_distance_are_unpacked_and_the_distance_runs_on() -> None:
    # profile, record field 8: 12 bits of speed in 1/100 m/s, 12 bits of distance in 1/16 m
    body = definition(20, [TIMESTAMP, COMPRESSED])
    for second, (speed, distance) in enumerate([(250, 0), (300, 4000), (0xFFF, 100), (310, 200)]):
        packed = (speed | distance << 12).to_bytes(3, "little")
        body += row("<I3s", FIT_START + second, packed)
    body += row("<I3s", FIT_START + 4, b"\xff\xff\xff")
    found = recording(body)
    assert found.distance_m is not None
    assert found.distance_m[:4].tolist() == [0, 250, (4096 + 100) / 16, (4096 + 200) / 16]
    assert np.isnan(found.distance_m[4])
    assert found.speed_m_s is not None
    assert found.speed_m_s[:2].tolist() == [2.5, 3.0]


def test_samples_under_several_definitions_stay_in_order() -> None:
    body = definition(20, [TIMESTAMP, HEART_RATE], local=0)
    body += definition(20, [POWER, TIMESTAMP], local=1, big=True)
    for second in range(6):
        if second % 2:
            body += row(">HI", 200 + second, FIT_START + second, local=1)
        else:
            body += row("<IB", FIT_START + second, 100 + second)
    found = recording(body)
    assert np.array_equal(
        found.heart_rate_bpm,  # type: ignore[arg-type]
        [100, np.nan, 102, np.nan, 104, np.nan],
        equal_nan=True,
    )
    assert np.array_equal(
        found.power_w,  # type: ignore[arg-type]
        [np.nan, 201, np.nan, 203, np.nan, 205],
        equal_nan=True,
    )


def test_values_of_one_moment_in_two_samples_come_together() -> None:
    body = definition(20, [TIMESTAMP, HEART_RATE], local=0)
    body += definition(20, [TIMESTAMP, POWER], local=1)
    for second in range(3):
        body += row("<IB", FIT_START + second, 100 + second)
        body += row("<IH", FIT_START + second, 200 + second, local=1)
    found = recording(body)
    assert found.sample_count == 6
    assert found.time_s.tolist() == [0, 1, 2]
    assert found.heart_rate_bpm.tolist() == [100, 101, 102]  # type: ignore[union-attr]
    assert found.power_w.tolist() == [200, 201, 202]  # type: ignore[union-attr]
    assert codes(found) == ["duplicate_time"]


def test_time_that_runs_backward_costs_the_fewest_samples() -> None:
    body = definition(20, [TIMESTAMP, HEART_RATE])
    for second, rate in ((0, 90), (1, 91), (9000, 92), (2, 93), (3, 94), (4, 95)):
        body += row("<IB", FIT_START + second, rate)
    found = recording(body)
    assert found.time_s.tolist() == [0, 1, 2, 3, 4]
    assert found.heart_rate_bpm.tolist() == [90, 91, 93, 94, 95]  # type: ignore[union-attr]
    (problem,) = found.problems
    assert problem.code == "backward_time"
    assert "1 data points out of order" in problem.message


def test_a_clock_that_jumps_by_years_is_not_followed() -> None:
    body = heart_rates([90]) + definition(20, [TIMESTAMP, HEART_RATE])
    year = 365 * 86_400
    for second in range(3):
        body += row("<IB", FIT_START + year + second, 100)
    found = recording(body)
    assert found.start == START + timedelta(seconds=year)
    assert found.time_s.tolist() == [0, 1, 2]
    assert found.sample_count == 4
    assert codes(found) == ["clock_jump"]


def event(second: int, kind: int) -> bytes:
    return row("<IBB", FIT_START + second, 0, kind, local=3)


EVENTS = definition(21, [TIMESTAMP, (0, 1, 0x00), (1, 1, 0x00)], local=3)


@pytest.mark.parametrize("stop", [1, 4, 8, 9])
def test_a_pause_runs_from_a_stop_of_the_timer_to_its_next_start(stop: int) -> None:
    body = EVENTS + event(0, 0) + heart_rates([90, 91, 92]) + event(2, stop)
    body += event(62, 0) + heart_rates([93, 94], first=FIT_START + 62) + event(63, 4)
    assert recording(body).pauses == (Pause(2.0, 62.0),)


def test_laps_have_their_length_and_workout_step() -> None:
    fields = [TIMESTAMP, (2, 4, 0x86), (7, 4, 0x86), (71, 2, 0x84)]
    body = heart_rates([90] * 40) + definition(19, fields, local=2)
    body += row("<IIIH", FIT_START + 21, FIT_START, 20_500, 0, local=2)
    body += row("<IIIH", FIT_START + 39, FIT_START + 21, 0xFFFFFFFF, 0xFFFF, local=2)
    assert recording(body).laps == (Lap(0.0, 20.5, 0), Lap(21.0, 39.0))


def test_beats_end_with_the_sample_before_their_message() -> None:
    body = definition(78, [(0, 10, 0x84)], local=1)
    body += heart_rates([60, 61, 62])
    body += row("<5H", 900, 1000, 0xFFFF, 0xFFFF, 0xFFFF, local=1)
    body += heart_rates([63], first=FIT_START + 3)
    body += row("<5H", 1100, 0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF, local=1)
    found = recording(body)
    assert found.beat_interval_s.tolist() == [0.9, 1.0, 1.1]  # type: ignore[union-attr]
    assert found.beat_time_s.tolist() == [1.0, 2.0, 3.0]  # type: ignore[union-attr]


def test_heart_rates_in_messages_of_their_own_fill_samples_without_one() -> None:
    body = definition(20, [TIMESTAMP, POWER], local=0)
    body += b"".join(row("<IH", FIT_START + second, 150) for second in range(8))
    # a reference: at FIT_START + 0.5 s the strap's own clock stood at 1000 s
    reference = [TIMESTAMP, (0, 2, 0x84), (6, 1, 0x02), (9, 4, 0x86)]
    body += definition(132, reference, local=1)
    body += row("<IHBI", FIT_START, 16_384, 100, 1000 * 1024, local=1)
    # then two beats, 1.5 and 3 s later, as the lowest twelve bits, two in three bytes
    later = [(1000 * 1024 + step) & 0xFFF for step in (1536, 3072)]
    packed = (later[0] | later[1] << 12).to_bytes(3, "little")
    body += definition(132, [(6, 2, 0x02), (10, 3, 0x0D)], local=2)
    body += row("<2B3s", 110, 120, packed, local=2)
    found = recording(body)
    rates = found.heart_rate_bpm
    assert rates is not None
    # beats at 0.5, 2.0 and 3.5 s; the last stands for samples up to 5 s away
    assert rates.tolist() == [100, 100, 110, 120, 120, 120, 120, 120]


def test_a_stored_heart_rate_overrides_none_that_was_sampled() -> None:
    body = heart_rates([150, 151])
    body += definition(132, [TIMESTAMP, (6, 1, 0x02), (9, 4, 0x86)], local=1)
    body += row("<IBI", FIT_START, 99, 1024, local=1)
    assert recording(body).heart_rate_bpm.tolist() == [150, 151]  # type: ignore[union-attr]


def described(base_type: int, native: int, number: int = 0) -> bytes:
    """Field description of a developer's field that stands for a field of `record`."""
    fields = [(0, 1, 0x02), (1, 1, 0x02), (2, 1, 0x02), (14, 2, 0x84), (15, 1, 0x02)]
    body = definition(206, fields, local=5)
    return body + row("<BBBHB", 0, number, base_type, 20, native, local=5)


def test_a_developers_field_that_stands_for_power_is_power() -> None:
    body = described(0x84, native=7)
    body += definition(20, [TIMESTAMP, HEART_RATE], developer=[(0, 2, 0)])
    body += row("<IBH", FIT_START, 100, 210) + row("<IBH", FIT_START + 1, 101, 0xFFFF)
    found = recording(body)
    assert found.power_w is not None
    assert found.power_w[0] == 210
    assert np.isnan(found.power_w[1])


def test_a_developers_field_that_nobody_described_is_stepped_over() -> None:
    body = definition(20, [TIMESTAMP, HEART_RATE], developer=[(9, 4, 3)])
    body += row("<IB4s", FIT_START, 100, b"abcd") + row("<IB4s", FIT_START + 1, 101, b"abcd")
    found = recording(body)
    assert found.heart_rate_bpm.tolist() == [100, 101]  # type: ignore[union-attr]
    assert not found.problems


@pytest.mark.parametrize("number", [3, 7, 99, 250])
def test_a_field_whose_size_is_no_multiple_of_its_type_costs_that_field_only(number: int) -> None:
    body = definition(20, [TIMESTAMP, (number, 3, 0x84), (4, 1, 0x02)])
    body += row("<I3sB", FIT_START, b"\1\2\3", 80) + row("<I3sB", FIT_START + 1, b"\1\2\3", 81)
    found = recording(body)
    assert found.cadence_per_min.tolist() == [80, 81]  # type: ignore[union-attr]
    assert found.heart_rate_bpm is None
    assert found.power_w is None


def test_a_field_of_no_size_costs_nothing() -> None:
    body = definition(20, [TIMESTAMP, (7, 0, 0x84), HEART_RATE]) + row("<IB", FIT_START, 99)
    assert recording(body).heart_rate_bpm.tolist() == [99]  # type: ignore[union-attr]


def test_chained_files_are_one_recording() -> None:
    second = heart_rates([93, 94], first=FIT_START + 3)
    found = reading(fit_file(heart_rates([90, 91, 92])) + fit_file(second, header_size=12))
    assert found.recording is not None
    assert found.recording.time_s.tolist() == [0, 1, 2, 3, 4]
    assert not found.problems


def test_a_broken_file_in_a_chain_costs_that_file_only() -> None:
    broken = fit_file(heart_rates([93]) + b"\x07" * 9)
    found = reading(
        fit_file(heart_rates([90, 91, 92]))
        + broken
        + fit_file(heart_rates([94], first=FIT_START + 9))
    )
    assert found.recording is not None
    assert found.recording.sample_count == 5
    assert "damaged" in codes(found)


def sport(sport_number: int, sub_sport: int) -> bytes:
    body = definition(18, [TIMESTAMP, (5, 1, 0x00), (6, 1, 0x00), (11, 2, 0x84)], local=4)
    return body + row("<IBBH", FIT_START + 9, sport_number, sub_sport, 321, local=4)


@pytest.mark.parametrize(
    ("sports", "measured", "located", "device"),
    [
        ((15, 14), True, False, "rower"),
        ((4, 14), True, False, "rower"),
        ((15, 0), True, False, "rower"),
        ((15, 0), True, True, "watch"),  # on the water
        ((4, 25), True, False, "ski"),
        ((2, 6), True, False, "bike"),
        ((2, 6), True, True, "bike"),  # a made-up road
        ((2, 5), True, False, "bike"),
        ((2, 0), True, False, "bike"),
        ((2, 0), True, True, "watch"),
        ((4, 14), False, False, "watch"),  # a watch set to rowing
        ((10, 20), False, False, "watch"),
        ((1, 0), True, True, "watch"),
    ],
)
def test_the_kind_of_device_follows_from_sport_and_what_was_measured(
    sports: tuple[int, int], measured: bool, located: bool, device: str
) -> None:
    fields = [TIMESTAMP, HEART_RATE, POWER, (0, 4, 0x85)]
    position = 500_000_000 if located else 0x7FFFFFFF
    power = 180 if measured else 0xFFFF
    body = definition(20, fields) + row("<IBHi", FIT_START, 120, power, position) + sport(*sports)
    assert recording(body).device == device


def test_without_a_sport_and_a_heart_rate_the_device_is_unknown() -> None:
    body = definition(20, [TIMESTAMP, POWER]) + row("<IH", FIT_START, 120)
    assert recording(body).device == "unknown"


def test_the_sessions_total_is_the_devices_own() -> None:
    assert recording(heart_rates([90]) + sport(10, 20)).total_calories == 321


def test_no_position_no_maker_and_no_serial_number_is_kept() -> None:
    serial = 3_141_592_653
    body = definition(0, [(0, 1, 0x00), (1, 2, 0x84), (3, 4, 0x8C)], local=6)
    body += row("<BHI", 4, 32_123, serial, local=6)
    body += definition(20, [TIMESTAMP, HEART_RATE, (0, 4, 0x85), (1, 4, 0x85)])
    body += row("<IBii", FIT_START, 100, 555_111_222, 99_888_777)
    found = recording(body)
    for secret in (serial, 32_123, 555_111_222, 99_888_777):
        assert str(secret) not in repr(found)
    assert found.device_mark is not None


def test_the_mark_of_a_device_is_the_same_for_its_files_and_for_no_other() -> None:
    marks = set()
    for serial in (1, 2, 1):
        data = write_fit(example(), FitOptions(serial_number=serial))
        found = reading(data).recording
        assert found is not None
        marks.add(found.device_mark)
    assert len(marks) == 2
    assert recording(heart_rates([90])).device_mark is None


def test_a_message_that_makes_no_sense_is_left_out_and_counted() -> None:
    # an event whose value is text where the profile has a number with components
    body = heart_rates([90, 91])
    body += definition(21, [TIMESTAMP, (0, 1, 0x00), (2, 4, 0x07), (3, 8, 0x89)], local=3)
    body += row("<IB4sd", FIT_START, 42, b"abcd", 1e300, local=3)
    found = recording(body)
    assert found.heart_rate_bpm.tolist() == [90, 91]  # type: ignore[union-attr]


def test_an_unfinished_file_with_no_length_is_read_to_its_end() -> None:
    body = heart_rates([90, 91, 92])
    found = reading(fit_file(body, length=0)[:-2])
    assert found.recording is not None
    assert found.recording.heart_rate_bpm.tolist() == [90, 91, 92]  # type: ignore[union-attr]
    assert codes(found) == ["truncated"]


def test_a_wrong_checksum_costs_nothing_but_a_problem_that_says_where() -> None:
    body = heart_rates([90, 91, 92])
    data = fit_file(body, crc=0x1234)
    found = reading(data)
    assert found.recording is not None
    assert found.recording.sample_count == 3
    (problem,) = found.problems
    assert problem.code == "bad_crc"
    assert f"byte {len(data) - 2}" in problem.message


def test_a_flipped_bit_in_a_sample_is_told_by_the_checksum() -> None:
    data = bytearray(fit_file(heart_rates([90, 91, 92])))
    data[-3] ^= 1
    assert codes(reading(bytes(data))) == ["bad_crc"]


def test_a_cut_says_how_much_is_missing() -> None:
    data = fit_file(heart_rates(list(range(60, 160))))
    found = reading(data[:200])
    assert found.recording is not None
    (problem,) = found.problems
    assert problem.code == "truncated"
    assert "byte 200" in problem.message
    assert f"{len(data)} bytes" in problem.message
    # a definition of 12 bytes after a header of 14, then 6 bytes a record
    assert found.recording.sample_count == (200 - 26) // 6


def test_records_before_their_definition_end_the_file() -> None:
    found = reading(fit_file(heart_rates([90, 91]) + row("<IB", FIT_START + 2, 92, local=5)))
    assert found.recording is not None
    assert found.recording.sample_count == 2
    (problem,) = found.problems
    assert problem.code == "damaged"
    assert "byte 38" in problem.message


def test_a_record_without_a_time_is_a_data_point_that_is_left_out() -> None:
    body = heart_rates([90, 91]) + row("<IB", 0xFFFFFFFF, 92)
    found = recording(body)
    assert found.sample_count == 3
    assert found.time_s.tolist() == [0, 1]
    assert codes(found) == ["no_time"]


def test_strings_and_arrays_in_a_record_do_no_harm() -> None:
    body = definition(20, [TIMESTAMP, (3, 4, 0x07), (7, 4, 0x84), (4, 1, 0x02)])
    body += row("<I4sHHB", FIT_START, b"abcd", 210, 220, 80)
    found = recording(body)
    assert found.heart_rate_bpm is None
    assert found.power_w.tolist() == [210]  # type: ignore[union-attr]
    assert found.cadence_per_min.tolist() == [80]  # type: ignore[union-attr]


def test_struct_sizes_in_this_file_are_the_profiles() -> None:
    assert struct.calcsize("<IBHHIH") == 15
