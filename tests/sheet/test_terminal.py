"""The class sheet can be read in a terminal, a pipe, without colour and without Unicode."""

import dataclasses
import io
import re
from typing import Any, get_args

import pytest
from rich.cells import cell_len
from rich.console import Console

from api.sheet import words
from api.sheet.rows import class_sheet, mean_machine_time, rounds_done, total_energy
from api.sheet.terminal import print_sheet
from reconcile.result import ClassResult, Interval, Verdict
from tests.sheet.example import LEFT_OUT, RECORD, RESULT, rest, score, unknown, work


class AsciiStream(io.StringIO):
    """A stream that can show ASCII only."""

    encoding = "ascii"


def printed(
    width: int,
    result: ClassResult = RESULT,
    stream: io.StringIO | None = None,
    **console: Any,
) -> str:
    stream = stream if stream is not None else io.StringIO()
    print_sheet(
        Console(file=stream, width=width, highlight=False, **console), class_sheet(RECORD, result)
    )
    return stream.getvalue()


@pytest.mark.parametrize("width", [40, 60, 80, 100, 120, 200])
def test_no_line_is_wider_than_the_terminal_or_ends_in_blanks(width: int) -> None:
    for line in printed(width).splitlines():
        assert cell_len(line) <= width
        assert line == line.rstrip()


@pytest.mark.parametrize("width", [80, 100, 120])
def test_an_athlete_is_one_row_that_says_what_was_done(width: int) -> None:
    row = next(line for line in printed(width).splitlines() if line.startswith("a01 "))
    for part in ("prescribed", "rower", "3/3", "37.0", "37", "= confirmed", "66–102"):
        assert part in row


@pytest.mark.parametrize(("width", "expected"), [(82, "50 right"), (96, "50 s right")])
def test_the_time_left_for_the_machine_stands_in_the_row(width: int, expected: str) -> None:
    plain = dataclasses.replace(RESULT, athletes=(RESULT.athletes[0],))
    row = next(line for line in printed(width, plain).splitlines() if line.startswith("a01 "))
    assert row.endswith(f" {expected}")


@pytest.mark.parametrize("width", [40, 80, 120])
def test_every_fact_is_there_at_every_width(width: int) -> None:
    text = " ".join(printed(width).split())
    for part in (
        "≠ doubtful",
        "× impossible",
        "– unverifiable",
        "≈ plausible",
        "a02.watch.fit: unreadable",
        "no header at offset 0".capitalize(),
        "Could a round have been written down twice?",
        "62 in 100",
        "more than a body or the machine can do",
        "not a medical device",
    ):
        assert part in text


def test_questions_come_last_before_the_words_of_care() -> None:
    text = printed(100)
    order = [
        text.index(part)
        for part in ("Orchard", "Files to know about", "For next time", "Questions to ask")
    ]
    assert order == sorted(order)
    assert text.index(words.CARE[:20]) > text.rindex("Ask:")


def test_a_row_points_to_its_questions_by_number() -> None:
    text = printed(100)
    row = next(line for line in text.splitlines() if line.startswith("a02 "))
    assert "≠ doubtful ?1 ?3" in row
    assert "?1 a02: 52 cal logged, 37 cal recorded" in text
    assert "?3 a02.bike.csv: it fits a03 better than a02" in text


def test_a_file_without_a_name_on_it_is_offered_to_whom_it_fits() -> None:
    assert (
        "unassigned.rower.csv: nobody's name is on it, and it fits a04 best (97 in 100)"
        in printed(100)
    )


def test_without_colour_nothing_but_text_is_printed() -> None:
    assert "\x1b" not in printed(100, no_color=True)
    assert not set(printed(100)) & set("─│┌┐└┘━┃╭╮")


def test_styles_on_a_terminal_only_repeat_what_the_words_say() -> None:
    styled = printed(100, force_terminal=True, color_system="truecolor")
    assert set(re.findall(r"\x1b\[([\d;]*)m", styled)) == {"0", "1"}
    assert (
        re.sub(r"\x1b\[[\d;]*m| +(?=\x1b\[0m\n| *\n)", "", styled).split() == printed(100).split()
    )


def test_where_only_ascii_can_be_shown_the_sheet_is_ascii() -> None:
    text = printed(100, stream=AsciiStream())
    assert text.isascii()
    assert "# doubtful" in text
    assert "~ plausible" in text
    assert "x impossible" in text


def test_names_and_messages_cannot_steer_the_terminal_or_the_markup() -> None:
    text = printed(100)
    assert "[bold]a03[/b" in text
    assert "\x1b" not in text


def test_a_class_with_nothing_to_ask_says_so() -> None:
    quiet = ClassResult(RESULT.title, (RESULT.athletes[0],), ())
    assert "Questions to ask\nNone:" in printed(100, quiet)


def test_every_verdict_has_a_sign_of_its_own_shape() -> None:
    signs = [meaning.sign for meaning in words.VERDICTS.values()]
    plain = [meaning.plain_sign for meaning in words.VERDICTS.values()]
    assert len(set(signs)) == len(signs) == len(set(plain)) == 5
    assert set(words.VERDICTS) == set(get_args(Verdict))


# The codes of the class-folder contract.
CODES = (
    "rounding",
    "counted_coasting",
    "counted_rest",
    "missing_round",
    "extra_round",
    "arithmetic_slip",
    "digits_swapped",
    "wrong_measure",
    "watch_calories",
    "other_athlete",
    "inflated",
    "understated",
    "unexplained",
)


@pytest.mark.parametrize("code", CODES)
def test_every_explanation_is_put_as_a_question(code: str) -> None:
    assert words.EXPLANATIONS[code].question.endswith("?")


@pytest.mark.parametrize("blame", ["cheat", "lie", "wrongly", "fault", "false", "accus", "fraud"])
def test_no_text_blames(blame: str) -> None:
    texts = [words.CARE, words.CARE_AT_LENGTH]
    texts += [meaning.meaning for meaning in words.VERDICTS.values()]
    for phrase in words.EXPLANATIONS.values():
        texts += [phrase.clause, phrase.question]
    assert not any(re.search(rf"\b{blame}", text.lower()) for text in texts)


@pytest.mark.parametrize(
    ("probability", "expected"),
    [
        (1.0, "over 99 in 100"),
        (0.995, "over 99 in 100"),
        (0.714, "71 in 100"),
        (0.0, "under 1 in 100"),
    ],
)
def test_a_probability_is_never_a_certainty(probability: float, expected: object) -> None:
    assert words.in_hundred(probability) == expected


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(125.0, "2:05"), (59.6, "1:00"), (-3.0, "−0:03"), (-0.2, "0:00"), (3661.0, "61:01")],
)
def test_seconds_read_as_a_clock(seconds: float, expected: object) -> None:
    assert words.clock(seconds) == expected


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ((work(1), rest(1), work(2), rest(2)), (2, 2)),
        ((work(1), LEFT_OUT, unknown(3)), (1, 2)),
        ((LEFT_OUT,), (0, 0)),
        ((unknown(1), rest(1), unknown(2)), None),
        ((), None),
    ],
)
def test_rounds_are_counted_and_unknown_ones_leave_a_range(
    steps: tuple[Interval, ...], expected: object
) -> None:
    assert rounds_done(steps) == expected


def test_energy_adds_up_with_its_range_and_is_unknown_where_a_step_is() -> None:
    whole = total_energy((work(1), rest(1)))
    assert whole is not None
    assert (whole.kcal, whole.low, whole.high) == (28.0, 22.0, 34.0)
    assert whole.method == "machine+heart-rate+activity-table"
    assert total_energy((work(1), unknown(2))) is None
    assert total_energy(()) is None


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ((work(1), work(2, machine_active_s=30.0)), 40.0),
        ((work(1), work(2, machine_active_s=0.0), LEFT_OUT), 25.0),
        ((work(1, machine_active_s=None),), None),
        ((LEFT_OUT,), None),
    ],
)
def test_machine_time_is_the_mean_over_begun_rounds(
    steps: tuple[Interval, ...], expected: object
) -> None:
    assert mean_machine_time(steps) == expected


def test_a_score_in_seconds_reads_as_a_clock() -> None:
    athlete = dataclasses.replace(
        RESULT.athletes[0],
        scores=(score(measure="seconds", logged=125.0, recorded=124.4, low=123.0, high=126.0),),
    )
    row = next(
        line
        for line in printed(100, ClassResult("t", (athlete,), ())).splitlines()
        if line.startswith("a01 ")
    )
    assert "2:04" in row
    assert "2:05" in row


def test_a_score_in_another_measure_than_the_blocks_has_its_unit() -> None:
    athlete = dataclasses.replace(
        RESULT.athletes[0], scores=(score(measure="reps", logged=257.0, recorded=None),)
    )
    text = printed(100, ClassResult("t", (athlete,), ()))
    assert "257 reps" in text


def test_questions_are_numbered_without_a_gap_and_as_the_rows_say() -> None:
    several = dataclasses.replace(RESULT, unassigned=(RESULT.unassigned[0],) * 3)
    sheet = class_sheet(RECORD, several)
    assert [question.number for question in sheet.questions] == [1, 2, 3, 4, 5, 6]
    rows = {row.athlete: row.questions for row in sheet.tables[0].rows}
    assert rows["a04"] == (2, 4, 5, 6)


@pytest.mark.parametrize(
    ("value", "measure", "expected"),
    [
        (55.63, "calories", "55.6 cal"),
        (57.0, "calories", "57 cal"),
        (812.6, "metres", "813 m"),
        (41.0, "reps", "41 reps"),
        (112.4, "seconds", "1:52"),
    ],
)
def test_a_score_is_shown_as_its_display_shows_it(
    value: float, measure: str, expected: str
) -> None:
    assert words.amount(value, measure) == expected
