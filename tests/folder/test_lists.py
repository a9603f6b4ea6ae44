"""class.yaml, roster, scores, pins and history: what each says, and what each may not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from api.folder.class_yaml import read_class_yaml
from api.folder.errors import ClassFolderError
from api.folder.history import read_history
from api.folder.pins import read_pins
from api.folder.roster import read_roster
from api.folder.scores import read_scores
from reconcile.classes import Athlete, LoggedScore, Pin
from reconcile.errors import Mistake
from reconcile.plan import Plan
from reconcile.plan_text import read_plan

ONE_HOUR_EAST = timezone(timedelta(hours=1))
Place = tuple[str, int | None, int | None]


def places(mistakes: tuple[Mistake, ...]) -> list[Place]:
    return [(mistake.code, mistake.line, mistake.column) for mistake in mistakes]


def plan_with(*measures: str) -> Plan:
    blocks = [
        f"  - {{name: part {number}, steps: [work: 1m], score: {{measure: {m}, take: total}}}}"
        for number, m in enumerate(measures, start=1)
    ]
    first = "  - {name: loosen up, steps: [work: 1m]}"
    return read_plan("\n".join(["title: T", "options: [full, Short]", "blocks:", first, *blocks]))


class TestClassYaml:
    def test_it_says_plan_start_and_how_far_that_may_be_out(self) -> None:
        about = read_class_yaml(
            "plan: p.yaml\nstart: 2026-02-03T07:15:00+01:00\nstart_tolerance: 4m30s\n"
            "starts: {loosen up: 2026-02-03T07:16:02+01:00}\n"
        )
        assert about.plan == "p.yaml"
        assert about.start == datetime(2026, 2, 3, 7, 15, tzinfo=ONE_HOUR_EAST)
        assert about.start_tolerance_s == 270
        assert about.starts == {"loosen up": datetime(2026, 2, 3, 6, 16, 2, tzinfo=UTC)}
        assert not about.mistakes

    def test_the_tolerance_is_ten_minutes_where_left_out(self) -> None:
        about = read_class_yaml("plan: p.yaml\nstart: 2026-02-03T07:15:00Z\n")
        assert about.start_tolerance_s == 600
        assert about.starts == {}

    @pytest.mark.parametrize(
        ("text", "place"),
        [
            ("start: 2026-02-03T07:15:00Z", ("missing_field", 1, 1)),
            ("plan: p.yaml", ("missing_field", 1, 1)),
            ("plan: p.yaml\nstart:", ("no_value", 2, 1)),
            ("plan: p.yaml\nstart: half past seven", ("not_a_time", 2, 8)),
            ("plan: p.yaml\nstart: 2026-02-03", ("not_a_time", 2, 8)),
            ("plan: p.yaml\nstart: 0026-02-03T07:15:00Z", ("not_a_time", 2, 8)),
            ("plan: p.yaml\nstart: 2026-02-30T07:15:00Z", ("not_a_time", 2, 8)),
            ("plan: [p.yaml]\nstart: 2026-02-03T07:15:00Z", ("not_a_value", 1, 7)),
            ("just words", ("not_a_mapping", 1, 1)),
            ("", ("empty", 1, 1)),
            ("plan: [", ("yaml_syntax", 1, 8)),
        ],
    )
    def test_a_class_without_a_usable_plan_or_start_is_refused(
        self, text: str, place: Place
    ) -> None:
        with pytest.raises(ClassFolderError) as caught:
            read_class_yaml(text)
        assert places(caught.value.mistakes)[0] == place

    @pytest.mark.parametrize(
        ("more", "place"),
        [
            ("start_tolerence: 5m", ("unknown_field", 3, 1)),
            ("start_tolerance: 5", ("not_a_duration", 3, 18)),
            ("starts: soon", ("not_a_mapping", 3, 9)),
            ("starts: {a: soon}", ("not_a_time", 3, 13)),
            ("starts: {a: 2026-02-03T07:16:02}", ("no_offset", 3, 13)),
        ],
    )
    def test_what_a_class_can_do_without_is_told_and_left_out(
        self, more: str, place: Place
    ) -> None:
        about = read_class_yaml(f"plan: p.yaml\nstart: 2026-02-03T07:15:00Z\n{more}")
        assert places(about.mistakes) == [place]
        assert about.start_tolerance_s == 600

    def test_a_time_without_an_offset_is_utc_and_says_so(self) -> None:
        about = read_class_yaml("plan: p.yaml\nstart: 2026-02-03T07:15:00\n")
        assert about.start == datetime(2026, 2, 3, 7, 15, tzinfo=UTC)
        assert places(about.mistakes) == [("no_offset", 2, 8)]


HEAD = "athlete,sex,birth_year,mass_kg,resting_hr,max_hr,vo2max,delay,station,start\n"


class TestRoster:
    def test_a_row_is_an_athlete_and_blank_is_not_said(self) -> None:
        athletes, mistakes = read_roster(
            HEAD + 'ivo,m,1987,"81,5",52,188,46.5,4m,2,2026-02-03T19:00:00+01:00\nuna,,,,,,,,,\n'
        )
        alone = datetime(2026, 2, 3, 18, tzinfo=UTC)
        assert athletes == (
            Athlete("ivo", "m", 1987, 81.5, 52, 188, 46.5, 240, 2, alone),
            Athlete("una"),
        )
        assert not mistakes

    @pytest.mark.parametrize(
        "text", ["", "\n", "name,sex\nivo,m\n", "athlete,sex\n", HEAD + ",m\n"]
    )
    def test_a_roster_that_names_nobody_is_refused(self, text: str) -> None:
        with pytest.raises(ClassFolderError) as caught:
            read_roster(text)
        assert caught.value.file == "roster.csv"

    @pytest.mark.parametrize(
        ("row", "place"),
        [
            ("ivo,x", ("not_a_choice", 2, 2)),
            ("ivo,,19o7", ("not_a_number", 2, 3)),
            ("ivo,,1987.5", ("not_whole", 2, 3)),
            ("ivo,,1787", ("out_of_range", 2, 3)),
            ("ivo,,,815", ("out_of_range", 2, 4)),
            ("ivo,,,,0", ("out_of_range", 2, 5)),
            ("ivo,,,,,900", ("out_of_range", 2, 6)),
            ("ivo,,,,,,-1", ("out_of_range", 2, 7)),
            ("ivo,,,,,,,4", ("not_a_duration", 2, 8)),
            ("ivo,,,,,,,20h", ("out_of_range", 2, 8)),
            ("ivo,,,,,,,,0", ("out_of_range", 2, 9)),
            ("ivo,,,,,,,,,later", ("not_a_time", 2, 10)),
            ("ivo,,,,,,,,,,more", ("extra_cells", 2, 11)),
        ],
    )
    def test_a_cell_that_cannot_be_is_told_and_counts_as_blank(
        self, row: str, place: Place
    ) -> None:
        athletes, mistakes = read_roster(HEAD + row + "\n")
        assert athletes == (Athlete("ivo"),)
        assert places(mistakes) == [place]

    def test_a_second_row_for_an_athlete_is_told_and_the_first_counts(self) -> None:
        athletes, mistakes = read_roster(HEAD + "ivo,m\nivo,f\n")
        assert athletes == (Athlete("ivo", "m"),)
        assert places(mistakes) == [("row_twice", 3, 1)]

    def test_a_name_that_could_steer_a_terminal_is_left_out(self) -> None:
        athletes, mistakes = read_roster(HEAD + "ivo,m\n\x1b[2J,f\n")
        assert [athlete.athlete for athlete in athletes] == ["ivo"]
        assert places(mistakes) == [("no_name", 3, 1)]


SHEET = "athlete,block,option,equipment,score,rounds,load_kg,notes\n"


FIVE = LoggedScore("ivo", "part 1", score=5)


class TestScores:
    def read(
        self, rows: str, plan: Plan | None = None
    ) -> tuple[tuple[LoggedScore, ...], list[Place]]:
        scores, mistakes = read_scores(SHEET + rows, plan or plan_with("calories"), ("ivo", "una"))
        return scores, places(mistakes)

    def test_a_row_is_what_was_logged_and_blank_is_not_said(self) -> None:
        scores, mistakes = self.read("ivo,part 1,full,ski,57,11;12,22.5,left hand\nuna,,,,,,,\n")
        assert scores == (
            LoggedScore("ivo", "part 1", "full", "ski", 57, (11, 12), 22.5, "left hand"),
            LoggedScore("una", "part 1"),
        )
        assert not mistakes

    def test_words_count_in_any_case_of_letters(self) -> None:
        scores, mistakes = self.read("IVO,Part 1,SHORT,Ski,5,,,\n")
        assert scores == (LoggedScore("ivo", "part 1", "Short", "ski", 5),)
        assert not mistakes

    def test_a_time_taken_may_be_a_clock_reading(self) -> None:
        scores, mistakes = self.read("ivo,,,,6:05,1:31;1:29.5,,\n", plan_with("seconds"))
        assert scores == (LoggedScore("ivo", "part 1", score=365, rounds=(91, 89.5)),)
        assert not mistakes

    def test_each_scored_block_has_a_row_of_its_own(self) -> None:
        plan = plan_with("calories", "reps")
        scores, mistakes = self.read("ivo,part 1,,,5,,,\nivo,part 2,,,6,,,\n", plan)
        assert [(score.block, score.score) for score in scores] == [("part 1", 5), ("part 2", 6)]
        assert not mistakes

    @pytest.mark.parametrize(
        ("row", "kept", "place"),
        [
            ("ivo,part 1,,,5o,,,", LoggedScore("ivo", "part 1"), ("not_a_number", 2, 5)),
            ("ivo,part 1,,,-5,,,", LoggedScore("ivo", "part 1"), ("out_of_range", 2, 5)),
            ("ivo,part 1,,,5,1;x,,", FIVE, ("not_a_number", 2, 6)),
            ("ivo,part 1,,,5,1;;2,,", FIVE, ("not_a_number", 2, 6)),
            ("ivo,part 1,half,,5,,,", FIVE, ("not_a_choice", 2, 3)),
            ("ivo,part 1,,boat,5,,,", FIVE, ("not_a_choice", 2, 4)),
            ("ivo,part 1,,,5,,heavy,", FIVE, ("not_a_number", 2, 7)),
            ("ivo,part 9,,,5,,,", FIVE, ("unknown_block", 2, 2)),
            ("ivo,loosen up,,,5,,,", None, ("unknown_block", 2, 2)),
            ("eve,part 1,,,5,,,", LoggedScore("eve", "part 1", score=5), ("not_on_roster", 2, 1)),
            (",part 1,,,5,,,", None, ("no_name", 2, 1)),
        ],
    )  # fmt: skip
    def test_a_row_that_cannot_be_is_told_and_kept_as_far_as_it_can(
        self, row: str, kept: LoggedScore | None, place: Place
    ) -> None:
        scores, mistakes = self.read(row + "\n")
        assert scores == ((kept,) if kept is not None else ())
        assert mistakes == [place]

    def test_a_blank_block_is_a_question_where_several_are_scored(self) -> None:
        scores, mistakes = self.read("ivo,,,,5,,,\n", plan_with("calories", "reps"))
        assert scores == ()
        assert mistakes == [("unknown_block", 2, 2)]

    def test_a_second_row_for_the_same_block_is_told_and_the_first_counts(self) -> None:
        scores, mistakes = self.read("ivo,,,,5,,,\nivo,part 1,,,6,,,\n")
        assert [score.score for score in scores] == [5]
        assert mistakes == [("row_twice", 3, 1)]

    def test_a_score_for_a_plan_without_one_is_told(self) -> None:
        scores, mistakes = self.read("ivo,part 1,,,5,,,\n", plan_with())
        assert scores == (LoggedScore("ivo", score=5),)
        assert mistakes == [("not_scored", 2, 2)]

    def test_a_sheet_without_athletes_gives_no_scores(self) -> None:
        scores, mistakes = read_scores("name,score\nivo,5\n", plan_with("reps"), ("ivo",))
        assert scores == ()
        assert [mistake.code for mistake in mistakes] == ["missing_heading"]

    def test_notes_keep_their_words_and_lose_their_controls(self) -> None:
        scores, _ = self.read('ivo,,,,5,,,"two\nlines\x1b[2J"\n')
        assert scores[0].notes == "two lines [2J"


class TestPins:
    def read(self, rows: str) -> tuple[tuple[Pin, ...], list[Place]]:
        pins, mistakes = read_pins(
            "file,block,start_s,owner\n" + rows,
            plan_with("reps"),
            ("ivo", "una"),
            ("ivo.watch.fit", "bag.zip/1.fit"),
        )
        return pins, places(mistakes)

    def test_a_pin_fixes_a_start_or_an_owner_or_both(self) -> None:
        pins, mistakes = self.read(
            "ivo.watch.fit,part 1,-12.5,\nbag.zip/1.fit,,,una\nivo.watch.fit,loosen up,9,ivo\n"
        )
        assert pins == (
            Pin("ivo.watch.fit", "part 1", -12.5),
            Pin("bag.zip/1.fit", owner="una"),
            Pin("ivo.watch.fit", "loosen up", 9, "ivo"),
        )
        assert not mistakes

    @pytest.mark.parametrize(
        ("row", "kept", "codes"),
        [
            ("eve.watch.fit,part 1,5,", None, ["unknown_file"]),
            ("ivo.watch.fit,part 1,,", None, ["half_a_pin"]),
            ("ivo.watch.fit,part 1,soon,una", Pin("ivo.watch.fit", owner="una"),
             ["not_a_number", "half_a_pin"]),
            ("ivo.watch.fit,part 7,5,", None, ["not_a_choice", "half_a_pin"]),
            ("ivo.watch.fit,,,eve", None, ["not_a_choice"]),
            (",part 1,5,", None, ["no_name"]),
        ],
    )  # fmt: skip
    def test_a_pin_that_cannot_be_followed_is_told(
        self, row: str, kept: Pin | None, codes: list[str]
    ) -> None:
        pins, mistakes = self.read(row + "\n")
        assert pins == ((kept,) if kept is not None else ())
        assert [code for code, _, _ in mistakes] == codes


class TestHistory:
    def test_an_object_is_taken_as_it_is(self) -> None:
        assert read_history('{"schema": 1, "athletes": {}}') == ({"schema": 1, "athletes": {}}, ())

    @pytest.mark.parametrize(
        "text", ["", "{", "[]", "5", '{"a": NaN}', '{"a": -Infinity}', "[" * 100_000, "{'a': 1}"]
    )
    def test_anything_else_is_told_and_the_class_does_without(self, text: str) -> None:
        history, mistakes = read_history(text)
        assert history == {}
        assert [mistake.code for mistake in mistakes] == ["bad_history"]
