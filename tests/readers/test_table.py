"""CSV in the spellings that people and devices export."""

from __future__ import annotations

import codecs
import itertools
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest import FileReading, read_file
from ingest.headings import heading_of
from ingest.recording import Lap, Recording
from ingest.writers import TableOptions, write_csv
from tests.readers.crafting import START, example


def reading(text: str | bytes) -> FileReading:
    data = text if isinstance(text, bytes) else text.encode()
    (found,) = read_file(data, "a.csv")
    return found


def table(text: str | bytes) -> Recording:
    found = reading(text)
    assert found.recording is not None, found.problems
    return found.recording


def codes(found: FileReading | Recording) -> list[str]:
    return [problem.code for problem in found.problems]


# heading → quantity, and the unit's factor (for a pace, the metres that it is for)
HEADINGS = {
    "Time": ("time", 1),
    "time_s": ("time", 1),
    "Elapsed Time (s)": ("time", 1),
    "elapsed [hh:mm:ss]": ("time", 1),
    "Timestamp": ("time", 1),
    "Time since start (s)": ("time", 1),
    "timestamp_ms": ("time", 0.001),
    "Date Time": ("time", 1),
    "Time (UTC)": ("time", 1),
    "unix_time": ("time", 1),
    "Zeit [s]": ("time", 1),
    "Uhrzeit": ("time", 1),
    "Temps écoulé": ("time", 1),
    "Tiempo (s)": ("time", 1),
    "Tijd": ("time", 1),
    "Duration (min)": ("time", 60),
    "Date": ("date", 1),
    "Datum": ("date", 1),
    "Fecha": ("date", 1),
    "Heart Rate (bpm)": ("heart_rate_bpm", 1),
    "heart_rate": ("heart_rate_bpm", 1),
    "HeartRate": ("heart_rate_bpm", 1),
    "HR": ("heart_rate_bpm", 1),
    "HR/bpm": ("heart_rate_bpm", 1),
    "hr [1/min]": ("heart_rate_bpm", 1),
    "bpm": ("heart_rate_bpm", 1),
    "beats/min": ("heart_rate_bpm", 1),
    "Pulse": ("heart_rate_bpm", 1),
    "Puls": ("heart_rate_bpm", 1),
    "Herzfrequenz (S/min)": ("heart_rate_bpm", 1),
    "Fréquence cardiaque (bpm)": ("heart_rate_bpm", 1),
    "Frecuencia cardíaca": ("heart_rate_bpm", 1),
    "Hartslag": ("heart_rate_bpm", 1),
    "Power": ("power_w", 1),
    "Power (W)": ("power_w", 1),
    "Power / W": ("power_w", 1),
    "power_w": ("power_w", 1),
    "Watts": ("power_w", 1),
    "Leistung (Watt)": ("power_w", 1),
    "Puissance": ("power_w", 1),
    "Potencia (W)": ("power_w", 1),
    "Vermogen": ("power_w", 1),
    "Power [kW]": ("power_w", 1000),
    "Cadence (rpm)": ("cadence_per_min", 1),
    "SPM": ("cadence_per_min", 1),
    "Stroke Rate (spm)": ("cadence_per_min", 1),
    "strokes/min": ("cadence_per_min", 1),
    "Strokes per minute": ("cadence_per_min", 1),
    "stroke_rate": ("cadence_per_min", 1),
    "Schlagzahl": ("cadence_per_min", 1),
    "Trittfrequenz (U/min)": ("cadence_per_min", 1),
    "Cadence (tr/min)": ("cadence_per_min", 1),
    "Cadencia": ("cadence_per_min", 1),
    "Speed (m/s)": ("speed_m_s", 1),
    "speed_m_s": ("speed_m_s", 1),
    "Speed, km/h": ("speed_m_s", 1 / 3.6),
    "speed_kmh": ("speed_m_s", 1 / 3.6),
    "Speed (mph)": ("speed_m_s", 0.44704),
    "Geschwindigkeit (km/h)": ("speed_m_s", 1 / 3.6),
    "Vitesse (m/s)": ("speed_m_s", 1),
    "Pace": ("pace", 500),
    "Pace (/500m)": ("pace", 500),
    "pace_s_per_500m": ("pace", 500),
    "500m split": ("pace", 500),
    "Pace (min/km)": ("pace", 1000),
    "Pace per 1000 m": ("pace", 1000),
    "Tempo (/km)": ("pace", 1000),
    "Pace (min/mile)": ("pace", 1609.344),
    "Distance (m)": ("distance_m", 1),
    "Distance (km)": ("distance_m", 1000),
    "dist_m": ("distance_m", 1),
    "metres": ("distance_m", 1),
    "Strecke (km)": ("distance_m", 1000),
    "Distancia (m)": ("distance_m", 1),
    "Distance (mi)": ("distance_m", 1609.344),
    "Calories": ("calories", 1),
    "Calories (kcal)": ("calories", 1),
    "kcal": ("calories", 1),
    "Total Calories": ("calories", 1),
    "Kalorien": ("calories", 1),
    "Energy (kJ)": ("calories", 1 / 4.184),
    "Lap": ("lap", 1),
    "lap_number": ("lap", 1),
    "Runde": ("lap", 1),
    "Interval": ("lap", 1),
}

# quantities that only look like ones we know
OTHERS = [
    "",
    "Max HR",
    "HR zone",
    "Heart rate (%)",
    "Target power",
    "Power balance",
    "watts/kg",
    "Cal/h",
    "cal/hr",
    "Calories per hour",
    "Lap time",
    "Time zone",
    "Drag factor",
    "Temperature",
    "Stroke count",
    "Distance per stroke",
    "Speed (furlongs)",
    "Position_lat",
    "x" * 500,
    "(" * 70,
]


@pytest.mark.parametrize(("heading", "meaning"), HEADINGS.items(), ids=list(HEADINGS))
def test_a_heading_is_known_by_its_quantity_and_unit(
    heading: str, meaning: tuple[str, float]
) -> None:
    found = heading_of(heading)
    assert found is not None
    quantity, factor = meaning
    assert found.quantity == quantity
    assert found.factor == pytest.approx(factor)


@pytest.mark.parametrize("heading", HEADINGS)
@pytest.mark.parametrize("change", [str.upper, str.lower, lambda text: f"  {text}  "])
def test_capitals_and_blanks_do_not_matter(heading: str, change: object) -> None:
    assert callable(change)
    found = heading_of(change(heading))
    assert found is not None
    plain = heading_of(heading)
    assert plain is not None
    # `HeartRate` is two words, `HEARTRATE` one
    assert (found.quantity, found.factor) == (plain.quantity, plain.factor)


@pytest.mark.parametrize("heading", OTHERS)
def test_a_heading_with_a_word_that_is_not_known_is_none_of_ours(heading: str) -> None:
    assert heading_of(heading) is None


@given(st.text(max_size=100))
def test_any_text_can_be_asked_as_a_heading(text: str) -> None:
    found = heading_of(text)
    assert found is None or found.factor > 0


DELIMITERS = [",", ";", "\t", "|"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


@pytest.mark.parametrize("delimiter", DELIMITERS)
@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_delimiter_encoding_and_line_ends_do_not_matter(
    delimiter: str, encoding: str, line_end: str
) -> None:
    rows = [["Zeit (s)", "Herzfrequenz", "Länge"], ["0", "100", "é"], ["1", "101", ""]]
    text = line_end.join(delimiter.join(row) for row in rows) + line_end
    found = table(text.encode(encoding))
    assert found.time_s.tolist() == [0, 1]
    assert found.heart_rate_bpm.tolist() == [100, 101]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("cell", "delimiter", "value"),
    [
        ("12", ",", 12),
        ("12.5", ",", 12.5),
        (" 12.5 ", ",", 12.5),
        ('"12.5"', ",", 12.5),
        ('"12,5"', ",", 12.5),
        ('"1,234"', ",", 1234),
        ('"1,234.5"', ",", 1234.5),
        ("12,5", ";", 12.5),
        ("1.234,5", ";", 1234.5),
        ("1 234,5", ";", 1234.5),
        ("12,5", "\t", 12.5),
        ("+12", ",", 12),
        ("1.25e1", ",", 12.5),
        ("1'234", ",", 1234),
    ],
)
def test_numbers_in_the_spellings_of_several_countries(
    cell: str, delimiter: str, value: float
) -> None:
    text = f"time{delimiter}power\n0{delimiter}{cell}\n1{delimiter}{cell}\n"
    assert table(text).power_w.tolist() == [value, value]  # type: ignore[union-attr]


def test_a_table_with_decimal_commas_has_points_for_thousands() -> None:
    found = table("time;distance (m);power\n0;999,5;200\n1;1.004,25;201\n")
    assert found.distance_m.tolist() == [999.5, 1004.25]  # type: ignore[union-attr]
    assert found.power_w.tolist() == [200, 201]  # type: ignore[union-attr]


@pytest.mark.parametrize("missing", ["", "-", "--", "NA", "n/a", "NaN", "null", "None", "—"])
def test_a_missing_value_is_missing_and_no_problem(missing: str) -> None:
    found = table(f"time_s,hr\n0,100\n1,{missing}\n2,102\n")
    assert found.heart_rate_bpm is not None
    assert np.isnan(found.heart_rate_bpm[1])
    assert codes(found) == ["no_date"]


ELAPSED = [
    (["0", "1", "2.5"], [0, 1, 2.5]),
    (["10", "11", "12"], [0, 1, 2]),
    (["0:00", "0:01", "1:01.5"], [0, 1, 61.5]),
    (["59:59", "60:00", "61:05"], [0, 1, 66]),
    (["0:00:00", "0:00:01", "1:00:01"], [0, 1, 3601]),
    (["00:00:00.0", "00:00:00.5", "00:00:01.0"], [0, 0.5, 1]),
    (["23:59:59", "00:00:01", "00:00:02"], [0, 2, 3]),
    (["0:00,0", "0:00,5", "0:01,0"], [0, 0.5, 1]),
]


@pytest.mark.parametrize(("cells", "seconds"), ELAPSED)
def test_elapsed_times_are_seconds_or_clock_times(cells: list[str], seconds: list[float]) -> None:
    text = "time;hr\n" + "".join(f"{cell};100\n" for cell in cells)
    found = table(text)
    assert found.time_s.tolist() == seconds
    assert found.start is None
    assert "no_date" in codes(found)


@pytest.mark.parametrize(
    ("heading", "cells", "seconds"),
    [
        ("time (ms)", ["0", "500", "1500"], [0, 0.5, 1.5]),
        ("elapsed (min)", ["0", "0.5", "1"], [0, 30, 60]),
        ("duration (h)", ["0", "0.5", "1"], [0, 1800, 3600]),
    ],
)
def test_elapsed_times_in_other_units(heading: str, cells: list[str], seconds: list[float]) -> None:
    text = f"{heading},hr\n" + "".join(f"{cell},100\n" for cell in cells)
    assert table(text).time_s.tolist() == seconds


# 2026-03-09 17:30:00 UTC
MOMENTS = [
    "2026-03-09T17:30:00Z",
    "2026-03-09T18:30:00+01:00",
    "2026-03-09 18:30:00+01:00",
    "2026-03-09T18:30:00.000+0100",
    "20260309T173000Z",
    "2026-03-09T12:30:00-05:00",
    "2026/03/09 17:30:00Z",
    "09.03.2026 18:30:00 +01:00",
    "9.3.2026 17:30 UTC",
    # RFC 5322, section 3.3, and as spreadsheets write a month by name
    "Mon, 09 Mar 2026 17:30:00 +0000",
    "Mon, 9 Mar 2026 18:30 +0100",
    "9-Mar-2026 17:30:00Z",
    "March 9, 2026 5:30:00 PM UTC",
]


@pytest.mark.parametrize("moment", MOMENTS)
def test_moments_with_an_offset_are_that_moment(moment: str) -> None:
    found = table(f"timestamp;hr\n{moment};100\n{moment};101\n")
    assert found.start == START
    assert "no_timezone" not in codes(found)


@pytest.mark.parametrize(
    "moment",
    [
        "2026-03-09T17:30:00",
        "2026-03-09 17:30:00.000",
        "2026-03-09 17:30",
        "2026/3/9 17:30:00",
        "09.03.2026 17:30:00",
        "09.03.26 17:30:00",
        "09 Mar 2026 17:30:00",
        "9. March 2026, 17:30",
        "Mar 9 2026 05:30:00 pm",
    ],
)
def test_moments_without_an_offset_are_taken_as_utc_and_it_is_said(moment: str) -> None:
    found = table(f"time;hr\n{moment};100\n")
    assert found.start == START
    assert codes(found) == ["no_timezone"]


@pytest.mark.parametrize(
    "number", ["1773077400", "1773077400.0", "1773077400000", "1773077400000000"]
)
def test_large_numbers_count_from_1970(number: str) -> None:
    found = table(f"time,hr\n{number},100\n")
    assert found.start == START
    assert not found.problems


def test_date_and_time_of_day_in_two_columns_belong_together() -> None:
    found = table("Date,Time,HR\n2026-03-09,17:30:00,100\n2026-03-09,17:30:05,101\n")
    assert found.start == START
    assert found.time_s.tolist() == [0, 5]


def test_a_day_with_a_named_month_and_a_time_of_day_belong_together() -> None:
    found = table("Date,Time,HR\n9 Mar 2026,17:30:00,100\n9 Mar 2026,17:30:05,101\n")
    assert found.start == START
    assert found.time_s.tolist() == [0, 5]


def test_a_word_that_is_no_month_makes_no_date() -> None:
    found = table("date,seconds,hr\nMay be 9 2026,0,100\nabc 9 2026,5,101\n")
    assert found.start is None
    assert found.time_s.tolist() == [0, 5]


def test_time_of_day_may_be_am_or_pm() -> None:
    found = table("time,hr\n3/19/2026 12:00:01 AM,100\n3/19/2026 12:00:01 PM,101\n")
    assert found.start == datetime(2026, 3, 19, 0, 0, 1, tzinfo=UTC)
    assert found.time_s.tolist() == [0, 43200]


def test_day_and_month_are_told_by_the_one_that_can_be_no_month() -> None:
    assert table("time,hr\n19/03/2026 17:30:00,100\n").start == START + timedelta(days=10)
    assert table("time,hr\n03/19/2026 17:30:00,100\n").start == START + timedelta(days=10)


def test_a_date_that_may_be_either_is_not_guessed_at() -> None:
    for text in (
        "time,hr\n09/03/2026 17:30:00,100\n09/03/2026 17:30:02,101\n",
        "date,time,hr\n09/03/2026,17:30:00,100\n09/03/2026,17:30:02,101\n",
    ):
        found = table(text)
        assert found.start is None
        assert found.time_s.tolist() == [0, 2]
        assert "ambiguous_date" in codes(found)


def test_a_date_beats_an_elapsed_time_which_gives_it_fractions() -> None:
    rows = "".join(
        f"{index / 2:.1f},2026-03-09T17:30:{index // 2:02}Z,{100 + index}\n" for index in range(8)
    )
    found = table("elapsed,timestamp,hr\n" + rows)
    assert found.start == START
    assert found.time_s.tolist() == [index / 2 for index in range(8)]
    assert not found.problems


def test_a_date_goes_on_through_a_pause_in_which_the_elapsed_time_stands() -> None:
    found = table(
        "elapsed,timestamp,hr\n0,2026-03-09T17:30:00Z,100\n1,2026-03-09T17:30:01Z,101\n"
        "2,2026-03-09T17:31:02Z,102\n"
    )
    assert found.time_s.tolist() == [0, 1, 62]


@pytest.mark.parametrize(
    ("heading", "cell", "speed"),
    [
        ("pace", "2:05", 4.0),
        ("pace", "02:05.0", 4.0),
        ("pace", "125", 4.0),
        ("Pace (/500m)", "0:02:05", 4.0),
        ("Pace (min/500m)", "2.5", 500 / 150),
        ("Pace (/km)", "4:10", 4.0),
        ("Pace (min/km)", "4:10", 4.0),
        ("Pace per 1000 m", "4:10", 4.0),
        ("pace", "0:00", 0.0),
        ("pace", "--:--", None),
        ("pace", "", None),
    ],
)
def test_pace_is_per_500_m_unless_the_heading_says_otherwise(
    heading: str, cell: str, speed: float | None
) -> None:
    found = table(f"time,hr,{heading}\n0,100,{cell}\n1,100,{cell}\n")
    if speed is None:
        assert found.speed_m_s is None
    else:
        assert found.speed_m_s.tolist() == pytest.approx([speed, speed])  # type: ignore[union-attr]
    assert codes(found) == ["no_date"]


def test_speed_goes_before_pace_and_a_plain_column_before_an_average() -> None:
    found = table("time,Avg Watts,Watts,pace,speed (m/s)\n0,1,200,2:00,3\n1,2,210,2:00,3\n")
    assert found.power_w.tolist() == [200, 210]  # type: ignore[union-attr]
    assert found.speed_m_s.tolist() == [3, 3]  # type: ignore[union-attr]


def test_an_average_alone_stands_for_its_sample() -> None:
    assert table("time,average power\n0,1\n1,2\n").power_w.tolist() == [1, 2]  # type: ignore[union-attr]


def test_a_count_since_the_last_sample_is_added_up() -> None:
    found = table("time,hr,distance since last sample (m)\n0,100,0\n1,100,4\n2,100,5\n")
    assert found.distance_m.tolist() == [0, 4, 9]  # type: ignore[union-attr]


@pytest.mark.parametrize(("unit", "factor"), [("m/s", 1.0), ("km/h", 3.6), ("mph", 1 / 0.44704)])
def test_a_speed_without_a_unit_has_the_one_that_fits_the_distance(
    unit: str, factor: float
) -> None:
    rows = "".join(f"{second},{4 * factor:.4f},{4 * second}\n" for second in range(10))
    found = table("time,speed,distance\n" + rows)
    assert found.speed_m_s.tolist() == pytest.approx([4.0] * 10, abs=1e-3)  # type: ignore[union-attr]
    (problem,) = [one for one in found.problems if one.code == "unit_assumed"]
    assert unit in problem.message


@pytest.mark.parametrize(("unit", "factor"), [("m/s", 1.0), ("km/h", 3.6), ("mph", 1 / 0.44704)])
def test_a_pause_says_nothing_of_the_unit_of_a_speed(unit: str, factor: float) -> None:
    clock = [*range(20), *range(1800, 1820)]  # paused: no metre was covered in between
    rows = "".join(f"{at},{4 * factor:.4f},{4 * n}\n" for n, at in enumerate(clock))
    found = table("time,speed,distance\n" + rows)
    assert found.speed_m_s.tolist() == pytest.approx([4.0] * 40, abs=1e-3)  # type: ignore[union-attr]
    assert unit in " ".join(one.message for one in found.problems)


@pytest.mark.parametrize("name", ["Date/time", "Datum/Uhrzeit", "Date/Time (UTC)", "DATE / TIME"])
def test_two_words_may_be_parted_by_a_slash(name: str) -> None:
    found = table(f"{name},hr\n2026-03-09T18:00:00Z,90\n2026-03-09T18:00:01Z,91\n")
    assert found.start is not None
    assert [problem.code for problem in found.problems] == []


def test_a_column_of_moments_is_the_time_whatever_it_is_called() -> None:
    found = table("Observed,hr\n2026-03-09T18:00:00Z,90\n2026-03-09T18:00:01Z,91\n")
    assert found.time_s.tolist() == [0, 1]
    (problem,) = found.problems
    assert problem.code == "time_assumed"
    assert "Observed" in problem.message


@pytest.mark.parametrize("moment", ["20260309T1730{:02}Z", "9 Mar 2026 17:30:{:02}"])
def test_a_column_of_moments_is_known_in_whatever_way_they_are_written(moment: str) -> None:
    found = table("stamp;hr\n" + "".join(f"{moment.format(at)};100\n" for at in (0, 5, 9)))
    assert found.start == START
    assert found.time_s.tolist() == [0, 5, 9]


def test_a_column_of_moments_gives_seconds_that_have_passed_their_date() -> None:
    rows = "".join(f"2026-03-09 17:30:{at:02}Z,{at}.0,100\n" for at in (0, 5, 9))
    found = table("stamp,elapsed,hr\n" + rows)
    assert found.start == START
    assert found.time_s.tolist() == [0, 5, 9]


@pytest.mark.parametrize("name", ["recorded_at", "Recorded at", "measured at (UTC)"])
def test_a_time_s_own_phrase_is_known_though_its_words_alone_say_nothing(name: str) -> None:
    assert table(f"{name},hr\n2026-03-09T17:30:00Z,100\n").start == START


def test_a_named_time_goes_before_a_column_of_moments() -> None:
    rows = "2026-03-08T09:00:00Z,0,90\n2026-03-08T09:00:00Z,2,91\n"
    found = table("Exported at moment,seconds,hr\n" + rows)
    assert found.time_s.tolist() == [0, 2]
    assert found.start is None


def test_a_moment_that_never_changes_is_when_an_elapsed_time_began() -> None:
    rows = "".join(f"2026-03-08T09:00:00Z,{5 + second},90\n" for second in range(10))
    found = table("date,seconds,hr\n" + rows)
    assert found.start == datetime(2026, 3, 8, 9, 0, 5, tzinfo=UTC)
    assert found.time_s.tolist() == list(range(10))


@pytest.mark.parametrize("cell", ["{}", "0:00:{:02d}", "00:{:02d}"])
def test_a_day_beside_an_elapsed_time_does_not_make_it_a_time_of_day(cell: str) -> None:
    rows = "".join(f"2026-03-08,{cell.format(second)},90\n" for second in range(10, 20))
    found = table("date,time,hr\n" + rows)
    assert found.start is None
    assert found.time_s.tolist() == list(range(10))


def test_a_day_beside_a_time_of_day_that_passes_midnight_goes_on_into_the_next() -> None:
    found = table("date,time,hr\n2026-03-08,23:59:59,90\n2026-03-09,00:00:00,90\n")
    assert found.start == datetime(2026, 3, 8, 23, 59, 59, tzinfo=UTC)
    assert found.time_s.tolist() == [0, 1]


def test_units_may_stand_in_a_line_of_their_own() -> None:
    found = table("time,speed,distance\ns,km/h,km\n0,36,0\n1,36,0.01\n")
    assert found.speed_m_s.tolist() == [10, 10]  # type: ignore[union-attr]
    assert found.distance_m.tolist() == [0, 10]  # type: ignore[union-attr]
    assert found.sample_count == 2


def test_lines_before_the_header_and_remarks_are_passed_over() -> None:
    found = table(
        "# export of the rower\nSerial,12345\nDate,2026-03-09,Calories,300\n\n"
        "time,hr\n0,100\n# half way\n1,101\n\n"
    )
    assert found.heart_rate_bpm.tolist() == [100, 101]  # type: ignore[union-attr]


def test_a_summary_above_the_samples_is_not_taken_for_them() -> None:
    found = table("Time,Calories,Distance\n10:00,100,2500\n\ntime,hr\n0,100\n1,101\n2,102\n")
    assert found.heart_rate_bpm.tolist() == [100, 101, 102]  # type: ignore[union-attr]
    assert found.sample_count == 3


def test_a_remark_sign_before_the_header_does_not_hide_it() -> None:
    assert table("# time_s,hr\n0,100\n").heart_rate_bpm.tolist() == [100]  # type: ignore[union-attr]


def test_a_header_that_comes_again_is_no_sample() -> None:
    found = table("time,hr\n0,100\ntime,hr\n1,101\n")
    assert found.sample_count == 2
    assert "repeated_header" in codes(found)


def test_columns_that_are_not_known_are_listed() -> None:
    found = reading("time,hr,Drag factor,Mood\n0,100,120,good\n")
    (problem,) = [one for one in found.problems if one.code == "unknown_column"]
    assert "'Drag factor', 'Mood'" in problem.message
    assert "line 1" in problem.message


def test_a_cell_that_is_no_number_is_missing_counted_and_located() -> None:
    found = table("time,hr\n0,100\n1,ninety\n2,?!\n3,103\n")
    assert np.array_equal(found.heart_rate_bpm, [100, np.nan, np.nan, 103], equal_nan=True)  # type: ignore[arg-type]
    (problem,) = [one for one in found.problems if one.code == "bad_value"]
    assert problem.message.startswith("2 cells of 'hr'")
    assert "line 3" in problem.message


def test_a_last_row_that_lacks_cells_is_a_truncated_file() -> None:
    found = table("time,hr,power\n0,100,200\n1,101,201\n2,10")
    assert found.sample_count == 3
    assert found.time_s.tolist() == [0, 1, 2]
    # the last cell may have lost its end
    assert np.isnan(found.heart_rate_bpm[2])  # type: ignore[index]
    (problem,) = [one for one in found.problems if one.code == "truncated"]
    assert "line 4" in problem.message


def test_a_last_row_cut_in_its_time_is_no_sample() -> None:
    found = table("time,hr,power\n0,100,200\n10,101,201\n2")
    assert found.time_s.tolist() == [0, 10]
    assert "truncated" in codes(found)


def test_a_row_in_the_middle_that_lacks_cells_is_no_truncated_file() -> None:
    found = table("time,hr,power\n0,100,200\n1,101\n2,102,202\n")
    assert "short_row" in codes(found)
    assert "truncated" not in codes(found)
    assert np.isnan(found.power_w[1])  # type: ignore[index]


def test_a_heading_that_no_row_has_cells_for_makes_no_truncated_file() -> None:
    found = table("time,hr,power,\n0,100,200\n1,101,201\n")
    assert codes(found) == ["no_date"]
    assert found.power_w.tolist() == [200, 201]  # type: ignore[union-attr]


def test_laps_are_runs_of_a_value_in_the_lap_column() -> None:
    rows = "".join(f"{second},100,{1 + second // 10}\n" for second in range(30))
    assert table("time,hr,lap\n" + rows).laps == (Lap(0, 10), Lap(10, 20), Lap(20, 29))


def test_a_time_that_starts_again_with_each_lap_runs_on() -> None:
    rows = "".join(
        f"{lap},{second},{100 + second}\n" for lap in (1, 2, 3) for second in range(0, 30, 2)
    )
    found = table("interval,time (s),hr\n" + rows)
    assert found.time_s.tolist() == list(range(0, 90, 2))
    assert "time_restarts" in codes(found)
    assert found.laps == (Lap(0, 30), Lap(30, 60), Lap(60, 88))


def test_the_kind_of_device_is_a_watch_where_there_is_a_heart_rate_alone() -> None:
    assert table("time,hr\n0,100\n").device == "watch"
    assert table("time,power,spm\n0,100,20\n").device == "unknown"
    assert table("time,power,cadence (rpm)\n0,100,80\n").device == "bike"
    for column, value in (("distance (m)", "0"), ("pace", "2:30"), ("speed (m/s)", "3.3")):
        written = f"time,power,cadence (rpm),{column}\n0,100,30,{value}\n"
        assert table(written).device == "unknown"


SPELLINGS = list(
    itertools.product([",", ";", "\t"], [False, True], ["\n", "\r\n"], ["iso", "elapsed", "clock"])
)


@pytest.mark.parametrize(("delimiter", "mark", "line_end", "time"), SPELLINGS)
def test_what_the_writer_writes_is_read_back(
    delimiter: str, mark: bool, line_end: str, time: str
) -> None:
    for comma in {False, delimiter != ","}:
        made = example()
        options = TableOptions(
            delimiter=delimiter,
            decimal_comma=comma,
            byte_order_mark=mark,
            line_end=line_end,  # type: ignore[arg-type]
            time=time,  # type: ignore[arg-type]
            utc_offset_minutes=60,
        )
        found = table(write_csv(made, options))
        assert np.array_equal(found.time_s, made.time_s)
        assert found.start == (made.start if time == "iso" else None)
        for column in ("heart_rate_bpm", "power_w", "cadence_per_min"):
            assert np.array_equal(getattr(found, column), getattr(made, column))


@given(
    st.lists(
        st.tuples(st.integers(0, 5000), st.integers(30, 220), st.integers(0, 2000)),
        min_size=1,
        max_size=40,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from(DELIMITERS),
    st.sampled_from([0, 60, -300, 345]),
)
def test_any_table_of_numbers_is_read_as_it_was_written(
    rows: list[tuple[int, int, int]], delimiter: str, offset: int
) -> None:
    zone = timezone(timedelta(minutes=offset))
    rows = sorted(rows)
    lines = [delimiter.join(["timestamp", "pulse", "watts"])]
    for second, rate, watts in rows:
        moment = (START + timedelta(seconds=second)).astimezone(zone).isoformat()
        lines.append(delimiter.join([moment, str(rate), str(watts)]))
    found = table("\n".join(lines))
    assert found.start == START + timedelta(seconds=rows[0][0])
    assert found.time_s.tolist() == [second - rows[0][0] for second, _, _ in rows]
    assert found.heart_rate_bpm.tolist() == [rate for _, rate, _ in rows]  # type: ignore[union-attr]
    assert found.power_w.tolist() == [watts for _, _, watts in rows]  # type: ignore[union-attr]


def test_zero_bytes_in_the_text_are_left_out_and_counted() -> None:
    found = table(b"time,hr\n0,100\n1,1\0\0\0" + b"01\n")
    assert found.heart_rate_bpm.tolist() == [100, 101]  # type: ignore[union-attr]
    assert "zero_bytes" in codes(found)


def test_a_mark_of_byte_order_alone_is_no_table() -> None:
    assert reading(codecs.BOM_UTF8).recording is None
