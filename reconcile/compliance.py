"""What was planned against what was done: figures with ranges, no grades.

Every figure is worked out from measured intervals. Those that depend on where the bells lie carry
a 95 % range from the doubt of that place, and from that of the edges that only heart rate tells;
counts of rounds carry one from rounds of which nothing tells whether they were attempted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from reconcile.result import Interval

# Normal quantile of a 95 % range.
Z_95 = 1.96
# The mean of one athlete's edges as heart rate tells them, one standard deviation: in simulated
# classes some 2 s for starts and 3 s for ends, with long tails.
HEART_TOLD_SD_S = 3.0


@dataclass(frozen=True)
class Figure:
    """A figure with its 95 % range."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class RoundEffort:
    """One round's effort: mean machine power (W) and mean heart rate (per minute) of its work."""

    round: int
    mean_power_w: float | None
    mean_hr: float | None


@dataclass(frozen=True)
class Compliance:
    """One athlete's block, or a class's, planned against done; None is "not known".

    rounds_planned, rounds_attempted. work_share: effort inside the work windows over planned work.
    late_start_s, early_stop_s: mean seconds from a bell to the first effort, and from the last
    effort to the bell (0 where work went on to the bell), over attempted steps. rest_kept: share
    of planned rest without machine work. rounds: effort by round.
    """

    rounds_planned: int
    rounds_attempted: Figure
    work_share: Figure | None
    late_start_s: Figure | None
    early_stop_s: Figure | None
    rest_kept: Figure | None
    rounds: tuple[RoundEffort, ...]


def block_compliance(intervals: Sequence[Interval], placement_sd_s: float = 1.0) -> Compliance:
    """Planned against done for one athlete in one block.

    intervals: the block's, rests included. placement_sd_s: one standard deviation of where the
    bells lie on the recordings; all steps err together.
    """
    work = [interval for interval in intervals if interval.kind == "work"]
    rests = [interval for interval in intervals if interval.kind == "rest"]
    numbers = sorted({interval.round for interval in work})
    begun = [_attempted(work, number) for number in numbers]
    sure = sum(attempted is True for attempted in begun)
    possible = sum(attempted is not False for attempted in begun)
    started = [interval for interval in work if interval.effort_start_s is not None]
    stopped = [interval for interval in work if interval.effort_end_s is not None]
    timed = [interval for interval in started if interval.effort_end_s is not None]
    return Compliance(
        rounds_planned=len(numbers),
        rounds_attempted=Figure((sure + possible) / 2, float(sure), float(possible)),
        work_share=_shifted(timed, _work_share, placement_sd_s),
        late_start_s=_shifted(started, _late_start, placement_sd_s),
        early_stop_s=_shifted(stopped, _early_stop, placement_sd_s),
        rest_kept=_rest_kept(rests, placement_sd_s),
        rounds=tuple(_round_effort(work, number) for number in numbers),
    )


def class_compliance(athletes: Iterable[Compliance]) -> Compliance | None:
    """The mean of a block's figures over the athletes; None without any.

    A range is that of the mean: each athlete's doubt and the difference between athletes.
    """
    each = list(athletes)
    if not each:
        return None
    numbers = sorted({effort.round for one in each for effort in one.rounds})
    planned = max(one.rounds_planned for one in each)
    attempted = _mean_figure([one.rounds_attempted for one in each], most=planned)
    assert attempted is not None
    return Compliance(
        rounds_planned=planned,
        rounds_attempted=attempted,
        work_share=_mean_figure([one.work_share for one in each], most=1.0),
        late_start_s=_mean_figure([one.late_start_s for one in each]),
        early_stop_s=_mean_figure([one.early_stop_s for one in each]),
        rest_kept=_mean_figure([one.rest_kept for one in each], most=1.0),
        rounds=tuple(_mean_effort(each, number) for number in numbers),
    )


def _attempted(work: Sequence[Interval], number: int) -> bool | None:
    seen = [interval.attempted for interval in work if interval.round == number]
    if any(each is True for each in seen):
        return True
    return False if seen and all(each is False for each in seen) else None


def _shifted(
    timed: Sequence[Interval],
    figure: Callable[[Sequence[Interval], float, float], float],
    sd_s: float,
) -> Figure | None:
    """A figure as measured, and with everything earlier and later by what is in doubt."""
    if not timed:
        return None
    values = [figure(timed, z, sd_s) for z in (0.0, -Z_95, Z_95)]
    return Figure(values[0], min(values), max(values))


def _begun_s(interval: Interval, z: float, sd_s: float) -> float:
    assert interval.effort_start_s is not None
    return _moved(interval.effort_start_s, interval.machine_start_s, z, sd_s)


def _ended_s(interval: Interval, z: float, sd_s: float) -> float:
    assert interval.effort_end_s is not None
    return _moved(interval.effort_end_s, interval.machine_end_s, z, sd_s)


def _moved(edge_s: float, by_machine_s: float | None, z: float, sd_s: float) -> float:
    """An edge moved by z standard deviations; one that no machine tells is less sure."""
    told_by_heart = edge_s != by_machine_s
    return edge_s - z * (float(np.hypot(sd_s, HEART_TOLD_SD_S)) if told_by_heart else sd_s)


def _work_share(timed: Sequence[Interval], z: float, sd_s: float) -> float:
    planned = sum(interval.planned_s for interval in timed)
    done = 0.0
    for interval in timed:
        start = max(0.0, _begun_s(interval, z, sd_s))
        end = min(interval.planned_s, _ended_s(interval, z, sd_s))
        done += max(0.0, end - start)
    return done / planned


def _late_start(started: Sequence[Interval], z: float, sd_s: float) -> float:
    return float(np.mean([max(0.0, _begun_s(interval, z, sd_s)) for interval in started]))


def _early_stop(stopped: Sequence[Interval], z: float, sd_s: float) -> float:
    early = [max(0.0, interval.planned_s - _ended_s(interval, z, sd_s)) for interval in stopped]
    return float(np.mean(early))


def _rest_kept(rests: Sequence[Interval], sd_s: float) -> Figure | None:
    known = [interval for interval in rests if interval.machine_active_s is not None]
    planned = sum(interval.planned_s for interval in known)
    if not planned:
        return None
    worked = sum(interval.machine_active_s or 0.0 for interval in known)
    # Only a rest with work in it can have more or less of it when the bells move.
    moved = Z_95 * sd_s * sum((interval.machine_active_s or 0.0) > 0 for interval in known)
    kept = 1 - worked / planned
    return Figure(kept, max(0.0, kept - moved / planned), min(1.0, kept + moved / planned))


def _round_effort(work: Sequence[Interval], number: int) -> RoundEffort:
    mine = [interval for interval in work if interval.round == number]
    active = [
        (interval.mean_power_w, interval.machine_active_s)
        for interval in mine
        if interval.mean_power_w is not None and interval.machine_active_s
    ]
    seconds = sum(active_s for _, active_s in active)
    power = sum(power_w * active_s for power_w, active_s in active) / seconds if seconds else None
    hearts = [
        (interval.mean_hr, interval.planned_s) for interval in mine if interval.mean_hr is not None
    ]
    beats = sum(hr * s for hr, s in hearts) / sum(s for _, s in hearts) if hearts else None
    return RoundEffort(number, power, beats)


def _mean_figure(figures: Sequence[Figure | None], most: float = np.inf) -> Figure | None:
    """The mean of figures that lie between 0 and `most`, and so does its range."""
    known = [figure for figure in figures if figure is not None]
    if not known:
        return None
    values = np.array([figure.value for figure in known])
    own = np.array([(figure.high - figure.low) / (2 * Z_95) for figure in known])
    between = float(values.var(ddof=1)) if len(values) > 1 else 0.0
    sd = float(np.sqrt((own**2).sum() / len(known) ** 2 + between / len(known)))
    mean = float(values.mean())
    return Figure(mean, max(mean - Z_95 * sd, 0.0), min(mean + Z_95 * sd, most))


def _mean_effort(each: Sequence[Compliance], number: int) -> RoundEffort:
    efforts = [effort for one in each for effort in one.rounds if effort.round == number]
    powers = [effort.mean_power_w for effort in efforts if effort.mean_power_w is not None]
    beats = [effort.mean_hr for effort in efforts if effort.mean_hr is not None]
    return RoundEffort(
        number,
        float(np.mean(powers)) if powers else None,
        float(np.mean(beats)) if beats else None,
    )
