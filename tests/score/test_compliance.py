"""Planned against done, by hand."""

import pytest

from reconcile.compliance import HEART_TOLD_SD_S, block_compliance, class_compliance
from reconcile.result import Interval


def work(number: int, start: float | None, end: float | None, **more: object) -> Interval:
    fields = {"attempted": True, "machine_start_s": start, "machine_end_s": end, **more}
    return Interval(
        "main",
        number,
        1,
        "work",
        60.0,
        effort_start_s=start,
        effort_end_s=end,
        **fields,  # type: ignore[arg-type]
    )


def rest(number: int, active: float | None) -> Interval:
    return Interval("main", number, 2, "rest", 60.0, machine_active_s=active)


def test_figures_of_two_rounds_by_hand() -> None:
    # Round 1: 3 s late, 2 s past the bell. Round 2: 1 s late, 9 s early, 12 s of rest rowed.
    done = block_compliance(
        [work(1, 3.0, 62.0), rest(1, 0.0), work(2, 1.0, 51.0), rest(2, 12.0)], placement_sd_s=0.5
    )
    assert done.rounds_planned == 2
    assert done.rounds_attempted.value == 2
    assert done.work_share is not None
    assert done.work_share.value == pytest.approx((57 + 50) / 120)
    assert done.late_start_s is not None
    assert done.late_start_s.value == pytest.approx(2.0)
    assert done.early_stop_s is not None
    assert done.early_stop_s.value == pytest.approx(4.5)
    assert done.rest_kept is not None
    assert done.rest_kept.value == pytest.approx(1 - 12 / 120)


def test_ranges_come_from_the_doubt_of_the_bells() -> None:
    intervals = [work(1, 3.0, 55.0)]
    sure = block_compliance(intervals, placement_sd_s=0.0).late_start_s
    unsure = block_compliance(intervals, placement_sd_s=1.0).late_start_s
    assert sure is not None
    assert unsure is not None
    assert (sure.low, sure.high) == (3.0, 3.0)
    assert unsure.low == pytest.approx(1.04)
    assert unsure.high == pytest.approx(4.96)


def test_an_edge_that_only_heart_rate_tells_is_less_sure() -> None:
    told = block_compliance([work(1, 3.0, 50.0, machine_start_s=None)], placement_sd_s=0.0)
    assert told.late_start_s is not None
    assert told.early_stop_s is not None
    assert told.late_start_s.high == pytest.approx(3.0 + 1.96 * HEART_TOLD_SD_S)
    assert told.late_start_s.low == 0.0
    assert (told.early_stop_s.low, told.early_stop_s.high) == (10.0, 10.0)


def test_a_start_counts_also_where_the_end_is_not_known() -> None:
    done = block_compliance([work(1, 2.0, None), work(2, 4.0, None)], 0.0)
    assert done.late_start_s is not None
    assert done.late_start_s.value == 3.0
    assert done.early_stop_s is None
    assert done.work_share is None


def test_a_round_of_which_nothing_tells_widens_the_count() -> None:
    done = block_compliance(
        [
            work(1, 1.0, 60.0),
            work(2, None, None, attempted=None),
            work(3, None, None, attempted=False),
        ]
    )
    assert (done.rounds_attempted.low, done.rounds_attempted.high) == (1, 2)


def test_power_of_a_round_is_weighted_by_time_pulled() -> None:
    done = block_compliance(
        [
            work(1, 1.0, 60.0, mean_power_w=200.0, machine_active_s=30.0, mean_hr=150.0),
            Interval("main", 1, 3, "work", 30.0, attempted=True, mean_power_w=260.0,
                     machine_active_s=10.0, mean_hr=165.0),
        ]
    )  # fmt: skip
    assert done.rounds[0].mean_power_w == pytest.approx(215.0)
    assert done.rounds[0].mean_hr == pytest.approx(155.0)


def test_nothing_measured_is_not_known() -> None:
    done = block_compliance([work(1, None, None, attempted=None), rest(1, None)])
    assert done.work_share is None
    assert done.late_start_s is None
    assert done.rest_kept is None
    assert done.rounds[0].mean_power_w is None


def test_a_class_is_the_mean_of_its_athletes() -> None:
    one = block_compliance([work(1, 2.0, 60.0)], 0.0)
    other = block_compliance([work(1, 4.0, 60.0)], 0.0)
    together = class_compliance([one, other])
    assert together is not None
    assert together.late_start_s is not None
    assert together.late_start_s.value == pytest.approx(3.0)
    # Two athletes, sd 1.414 between them: the mean's sd is 1, its 95 % range 3 ± 1.96.
    assert together.late_start_s.high == pytest.approx(4.96)
    assert class_compliance([]) is None


def test_the_range_of_a_mean_stays_within_what_is_possible() -> None:
    kept = [block_compliance([work(1, 0.0, 60.0), rest(1, active)], 0.0) for active in (0.0, 50.0)]
    together = class_compliance(kept)
    assert together is not None
    assert together.rest_kept is not None
    assert together.late_start_s is not None
    assert together.work_share is not None
    assert (together.rest_kept.low, together.rest_kept.high) == (0.0, 1.0)
    assert together.late_start_s.low == 0.0
    assert together.work_share.high == 1.0
    assert together.rounds_attempted.high == 1.0
