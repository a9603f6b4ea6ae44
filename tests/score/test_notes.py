"""What notes plainly say, and what they do not."""

import pytest

from reconcile.classes import LoggedScore
from reconcile.score.notes import filled_in, read_notes, rounds_left_out


@pytest.mark.parametrize(
    ("notes", "kind", "field", "value", "words"),
    [
        ("used 20 kg today", "load", "load_kg", 20.0, "20 kg"),
        ("24kg instead of 30 kg", "load", "load_kg", 24.0, "24kg"),
        ("took the 35 lb bell", "load", "load_kg", 15.88, "35 lb"),
        ("12,5 kg dumbbells", "load", "load_kg", 12.5, "12,5 kg"),
        ("stepped onto a 30 cm box", "height", "height_cm", 30.0, "30 cm"),
        ("20 in box", "height", "height_cm", 50.8, "20 in"),
        ("skipped round 3", "rounds_left_out", "rounds", (3,), "skipped round 3"),
        ("Missed rounds 2 and 4", "rounds_left_out", "rounds", (2, 4), None),
        ("sat out the last round", "rounds_left_out", "rounds", (5,), "sat out the last round"),
        ("missed the last two rounds", "rounds_left_out", "rounds", (4, 5), None),
        ("left out the 2nd round", "rounds_left_out", "rounds", (2,), "left out the 2nd round"),
        ("skipped the fourth round", "rounds_left_out", "rounds", (4,), "skipped the fourth round"),
        ("only did 4 rounds", "rounds_done", "count", 4, "only did 4 rounds"),
        ("managed three rounds", "rounds_done", "count", 3, "managed three rounds"),
        ("swapped to the bike", "machine", "machine", "bike", "swapped to the bike"),
        ("did it on the rower", "machine", "machine", "rower", "did it on the rower"),
        ("used ski", "machine", "machine", "ski", "used ski"),
        ("knee push-ups instead of push-ups", "movement", "movement", "knee push-ups", None),
        ("step-ups rather than box jumps", "movement", "instead_of", "box jumps", None),
    ],
)  # fmt: skip
def test_plain_statements_are_read_with_their_words(
    notes: str, kind: str, field: str, value: object, words: str | None
) -> None:
    said = [each for each in read_notes(notes, rounds=5) if each.kind == kind]
    assert len(said) == 1
    assert getattr(said[0], field) == value
    assert said[0].words in notes
    if words is not None:
        assert said[0].words == words
    assert 0.5 < said[0].reliability < 1


@pytest.mark.parametrize(
    "notes",
    [
        "",
        "felt great, new best",
        "did not skip round 3",
        "nearly skipped the last round",
        "instead of 30 kg",
        "slept 5 in total",
        "all 5 rounds done",
        "did 5 rounds",
        "the bike was taken",
    ],
)
def test_nothing_is_read_into_what_was_not_said(notes: str) -> None:
    assert read_notes(notes, rounds=5) == ()


def test_what_was_filled_in_is_never_overwritten() -> None:
    row = LoggedScore("a01", equipment="rower", load_kg=30.0, notes="used 20 kg, on the bike")
    assert filled_in(row, 5) == row


def test_blank_fields_are_filled_from_the_notes() -> None:
    row = LoggedScore("a01", notes="used 20 kg, on the bike")
    filled = filled_in(row, 5)
    assert (filled.equipment, filled.load_kg) == ("bike", 20.0)


def test_two_machines_in_the_notes_leave_the_machine_blank() -> None:
    row = LoggedScore("a01", notes="on the rower, then swapped to the bike")
    assert filled_in(row, 5).equipment is None


def test_rounds_beyond_the_plan_are_not_left_out() -> None:
    assert rounds_left_out("skipped rounds 4 and 9", rounds=5) == (4,)
