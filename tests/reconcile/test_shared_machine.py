"""One machine, several athletes in turns: each pull and its count go to whoever's turn it was."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.machine import MachineTrack, machine_track
from reconcile.shared_machine import split_by_turn
from tests.reconcile.flywheel import Channel, Wheel, sampled, spun

# Two athletes a minute apart: 40 s of work, then the other's turn.
TURNS = {
    "a03": [(120.0 * n, 120.0 * n + 40) for n in range(4)],
    "a07": [(120.0 * n + 60, 120.0 * n + 100) for n in range(4)],
}
PULLS = sorted(
    (start + late, end + 0.8, watts)
    for name, late, watts in (("a03", 1.2, 230.0), ("a07", 2.0, 150.0))
    for start, end in TURNS[name]
)
WHEEL = spun(PULLS, -10, 480)


def track_of(wheel: Wheel) -> MachineTrack:
    track = machine_track(sampled(wheel), wheel.machine, "a03+a07.rower.fit")
    assert track is not None
    return track.shifted(float(wheel.time_s[0]))


def counted(track: MachineTrack, start_s: float, end_s: float) -> float:
    return float(np.diff(track.calories_at(np.array([start_s, end_s])))[0])


def test_every_pull_goes_to_whose_turn_it_was() -> None:
    own = split_by_turn(track_of(WHEEL), TURNS)
    for name, watts in (("a03", 230.0), ("a07", 150.0)):
        assert len(own[name].pulls) == 4
        assert all(p.mean_power_w == pytest.approx(watts, abs=3) for p in own[name].pulls)
        for pull, (start, end) in zip(own[name].pulls, TURNS[name], strict=True):
            assert start <= pull.start_s < pull.end_s < end + 2


@pytest.mark.parametrize("gap_s", [1.5, 2.5])
@pytest.mark.parametrize("channels", [("power",), ("speed",), ("power", "count", "distance")])
def test_a_pull_into_which_the_next_one_takes_over_is_cut_where_nobody_pulled(
    gap_s: float, channels: tuple[Channel, ...]
) -> None:
    # Turn on turn without a rest between them: the wheel never stands still.
    turns = {
        "a03": [(160.0 * n, 160.0 * n + 80) for n in range(3)],
        "a07": [(160.0 * n + 80, 160.0 * n + 160) for n in range(3)],
    }
    pulls = [(80.0 * n + gap_s, 80.0 * n + 80.3, 170.0 + 60 * (n % 2)) for n in range(6)]
    wheel = spun(pulls, -10, 490)
    found = machine_track(sampled(wheel, channels), "rower", "a03+a07.rower.fit")
    assert found is not None
    own = split_by_turn(found.shifted(-10.0), turns)
    for first, name in enumerate(turns):
        assert len(own[name].pulls) == 3
        for pull, (start, end, watts) in zip(own[name].pulls, pulls[first::2], strict=True):
            assert pull.start_s == pytest.approx(start, abs=2.0)
            assert pull.end_s == pytest.approx(end, abs=2.0)
            assert pull.mean_power_w == pytest.approx(watts, rel=0.08)


def test_a_turns_count_holds_its_own_coasting_and_nothing_of_the_others() -> None:
    whole = track_of(WHEEL)
    own = split_by_turn(whole, TURNS)
    for n in range(4):
        # Up to the moment in which the next takes the seat.
        ends = (120.0 * n + 59, 120.0 * n + 119)
        assert counted(own["a03"], 120.0 * n, ends[0]) == pytest.approx(
            WHEEL.grown(WHEEL.calories, 120.0 * n, ends[0]), abs=0.6
        )
        assert counted(own["a07"], 120.0 * n, ends[0]) == pytest.approx(0, abs=0.6)
        assert counted(own["a07"], 120.0 * n + 60, ends[1]) == pytest.approx(
            WHEEL.grown(WHEEL.calories, 120.0 * n + 60, ends[1]), abs=0.6
        )


def test_the_shares_of_all_make_the_whole() -> None:
    whole = track_of(WHEEL)
    own = split_by_turn(whole, TURNS)
    shares = sum(counted(track, -10, 480) for track in own.values())
    assert shares == pytest.approx(counted(whole, -10, 480), abs=0.1)


def test_a_pull_in_nobodys_turn_is_nobodys() -> None:
    between = spun([(45.0, 57.0, 200.0), (62.0, 99.0, 150.0)], -10, 120)
    own = split_by_turn(track_of(between), {"a03": [(0.0, 40.0)], "a07": [(60.0, 100.0)]})
    assert own["a03"].pulls == ()
    assert [round(pull.start_s) for pull in own["a07"].pulls] == [62]
    # Its calories are not a03's; what the wheel still turns with when a07 pulls may be.
    assert counted(own["a03"], -10, 57) == pytest.approx(0, abs=0.05)
    assert counted(own["a07"], -10, 57) == pytest.approx(0, abs=0.05)


def test_who_takes_the_seat_two_seconds_early_keeps_the_pull() -> None:
    early = spun([(58.0, 99.0, 150.0)], -10, 120)
    own = split_by_turn(track_of(early), {"a03": [(0.0, 40.0)], "a07": [(60.0, 100.0)]})
    assert len(own["a07"].pulls) == 1
    assert own["a03"].pulls == ()


@given(
    late=st.lists(st.floats(0.0, 6.0), min_size=8, max_size=8),
    over=st.lists(st.floats(-6.0, 3.0), min_size=8, max_size=8),
)
def test_whatever_the_habits_every_pull_has_one_owner_and_no_calorie_two(
    late: list[float], over: list[float]
) -> None:
    turns = sorted((start, end) for spans in TURNS.values() for start, end in spans)
    pulls = [
        (start + a, end + b, 180.0) for (start, end), a, b in zip(turns, late, over, strict=True)
    ]
    whole = track_of(spun(pulls, -10, 480))
    own = split_by_turn(whole, TURNS)
    assert sum(len(track.pulls) for track in own.values()) == len(whole.pulls)
    shares = sum(counted(track, -10, 480) for track in own.values())
    assert shares <= counted(whole, -10, 480) + 0.1
    assert all(counted(track, -10, 480) >= 0 for track in own.values())
