"""How well machine work and lap marks fit a block that starts at each possible time.

People stop pulling at the bell, a second or so either way, and where the machine comes first they
start at it. Each edge of a pull is compared with the bells under a mixture of habits; the null is
an edge anywhere in the round. Densities are judgement, checked by simulation over many seeds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from scipy.special import ndtr

from ingest.recording import Floats, Lap
from reconcile.align.grid import NOTHING, STEP_S, LogRatio, blurred, grid_s, normal_weights
from reconcile.machine import Pull
from reconcile.plan import Task
from reconcile.timeline import PlannedStep

SKIPPED_ROUND = 0.06
EASY_ROUND = 0.12
# However many rounds are missing at the end, it takes one decision to leave.
LEFT_EARLY = 0.01
PULL_IN_REST = 0.12
LEAST_ACTIVE_S = 4.0
# Breaks inside an interval (a foot slips, a breath) are shorter than any planned rest.
BRIDGED_BREAK_S = 6.0
# How far around a block edges are compared with it, and how finely its clock is cut.
MARGIN_S = 40.0
CLOCK_STEP_S = STEP_S / 2
# Evidence so far below the best, nats, is as good as none; its exponential is still a number.
LEAST_LOG = -600.0
# Where in a step the first of two machine tasks is over and the last not yet begun. Judgement.
FIRST_OF_TWO = 0.4
# How often a pull follows no plan at all: easy pulling in a rest, or a try between blocks.
EASY_STRAY = 0.5
HARD_STRAY = 0.08
# A single lap press may be anything. Presses come so long after a bell: how far one person's mean
# lies from that of all, and one press from that person's. Judgement, seconds.
FEWEST_MARKS = 2
PRESSED_LATE_S, PRESSED_OWN_SD_S, PRESSED_SD_S = 0.7, 0.9, 0.8


@dataclass(frozen=True)
class Bout:
    """A stretch of machine work, seconds on the recording's clock; easy if far below hard work."""

    start_s: float
    end_s: float
    easy: bool = False


Stretch = TypeVar("Stretch", Bout, Pull)


def bridged(stretches: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """Stretches of work joined over breaks shorter than any planned rest."""
    joined: list[Stretch] = []
    for stretch in stretches:
        if joined and stretch.start_s - joined[-1].end_s < BRIDGED_BREAK_S:
            joined[-1] = replace(joined[-1], end_s=stretch.end_s)
        else:
            joined.append(stretch)
    return tuple(joined)


@dataclass(frozen=True)
class WorkWindow:
    """A stretch of a block in which work of one kind is planned, seconds on the block's clock.

    starts_at_bell, ends_at_bell: whether the pull's edges should lie on the window's edges.
    easy: whether easy pulling is all that is asked for, or all that can be told from hard work.
    left_out: how probably nothing was done in it.
    """

    start_s: float
    end_s: float
    starts_at_bell: bool
    ends_at_bell: bool
    easy: bool = False
    left_out: float = SKIPPED_ROUND

    def later(self, by_s: float) -> WorkWindow:
        """The same window on a clock whose zero lies `by_s` earlier."""
        return replace(self, start_s=self.start_s + by_s, end_s=self.end_s + by_s)


def machine_windows(
    steps: Sequence[PlannedStep], machine: str | None, *, parted: bool = False
) -> list[WorkWindow]:
    """Windows of planned work on a machine (any, where None), see `work_windows`."""
    return work_windows(
        steps,
        lambda task: task.on_machine and (machine is None or task.movement in ("machine", machine)),
        parted=parted,
    )


def work_windows(
    steps: Sequence[PlannedStep], counts: Callable[[Task], bool], *, parted: bool = False
) -> list[WorkWindow]:
    """Windows in which tasks that count are planned; back-to-back steps of them make one window.

    parted: where other tasks lie between two that count, two windows, one from the bell on and one
    to the bell.
    """
    windows: list[WorkWindow] = []
    for step in steps:
        places = [index for index, task in enumerate(step.tasks) if counts(task)]
        if step.kind != "work" or not places:
            continue
        starts = places[0] == 0
        ends = places[-1] == len(step.tasks) - 1 and (
            step.tasks[places[-1]].amount is None or step.tasks[places[-1]].most
        )
        easy = all(step.tasks[index].effort == "easy" for index in places)
        if parted and starts and ends and len(places) < len(step.tasks):
            between_s = step.start_s + FIRST_OF_TWO * step.duration_s
            windows += [
                WorkWindow(step.start_s, between_s, True, False, easy),
                WorkWindow(between_s, step.end_s, False, True, easy),
            ]
            continue
        previous = windows[-1] if windows else None
        if (
            previous is not None
            and starts
            and previous.ends_at_bell
            and previous.end_s == step.start_s
        ):
            windows[-1] = WorkWindow(
                previous.start_s, step.end_s, previous.starts_at_bell, ends, previous.easy and easy
            )
        else:
            windows.append(WorkWindow(step.start_s, step.end_s, starts, ends, easy))
    return windows


def _normal(x: Floats, mean: float, sd: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))


def _uniform(x: Floats, low: float, high: float) -> Floats:
    return np.where((x >= low) & (x <= high), 1.0 / max(high - low, 1e-9), 0.0)


@dataclass(frozen=True)
class Spread:
    """How far times lie from their mean: anywhere within half_s of it alike, blurred by sd_s."""

    sd_s: float
    half_s: float = 0.0

    def density(self, off_s: Floats) -> Floats:
        """Density (1/s) of lying so far from the mean."""
        if self.half_s == 0.0:
            return _normal(off_s, 0.0, self.sd_s)
        below = ndtr((off_s + self.half_s) / self.sd_s) - ndtr((off_s - self.half_s) / self.sd_s)
        return np.asarray(below / (2 * self.half_s))

    def weights(self) -> Floats:
        """The same on the grid of times, three standard deviations beyond; sums to 1."""
        reach = int(np.ceil((self.half_s + 3 * self.sd_s) / STEP_S))
        density = self.density(grid_s(-reach, reach))
        return np.asarray(density / density.sum())


@dataclass(frozen=True)
class BellHabit:
    """How near to the bells somebody works.

    share: how common that is. mean_s: how late all who do so are. own: how far one person's mean
    lies from that, in all rounds alike. bell: how far one bell lies from that person's mean.
    """

    share: float
    mean_s: float
    own: Spread
    bell: Spread


# People work from 2 s before a bell to 3 s after, each in their own way or each bell in another,
# taken as equally likely all over that range: so the earliest and the latest of several stops tell
# more than their mean. One in ten stops 5 to 20 s early. They begin up to a few seconds late, one
# in ten much later. Judgement, no source.
STOPS = (
    BellHabit(0.50, 0.5, own=Spread(0.5, half_s=2.0), bell=Spread(0.6)),
    BellHabit(0.40, 0.5, own=Spread(0.4), bell=Spread(0.35, half_s=2.4)),
    BellHabit(0.10, -12.0, own=Spread(4.0), bell=Spread(4.0)),
)
STARTS = (
    BellHabit(0.90, 2.0, own=Spread(1.1), bell=Spread(0.6)),
    BellHabit(0.10, 10.0, own=Spread(5.0), bell=Spread(1.5)),
)
# A fixed amount after other tasks begins and ends in mid-window, much alike in all rounds: where,
# and how far one person is from that, in shares of the window, and from round to round in seconds.
AMOUNT_START, AMOUNT_END = (0.35, 0.2), (0.72, 0.18)
AMOUNT_ROUND_SD_S = 6.0


def end_density(
    late_s: Floats, window_s: float, *, at_bell: bool, habit: BellHabit | None = None
) -> Floats:
    """Density (1/s) of a pull's end, seconds after its window's end.

    habit: of somebody who has it, about their own mean; without one, of everybody.
    """
    if not at_bell:
        return 0.9 * _uniform(late_s, -window_s, 1.0) + 0.1 * _uniform(late_s, -window_s, 20.0)
    if habit is None:
        near = 0.60 * _normal(late_s, 0.3, 1.1) + 0.22 * _normal(late_s, 0.3, 2.4)
    else:
        near = 0.82 * habit.bell.density(late_s - habit.mean_s)
    return near + 0.12 * _uniform(late_s, -22.0, -2.0) + 0.06 * _uniform(late_s, -window_s, 30.0)


def start_density(
    late_s: Floats, window_s: float, *, at_bell: bool, habit: BellHabit | None = None
) -> Floats:
    """Density (1/s) of a pull's start, seconds after its window's start; `habit` as for ends."""
    if not at_bell:
        x = np.clip(late_s / window_s, 0, 1)
        return np.where(
            (late_s >= 0) & (late_s <= window_s), 0.97 / window_s * 6 * x * (1 - x), 0.0
        ) + (0.03 * _uniform(late_s, -5.0, window_s))
    if habit is None:
        near = 0.57 * _normal(late_s, 2.3, 1.5) + 0.25 * np.where(
            late_s >= 0, np.exp(-np.maximum(late_s, 0) / 6.0) / 6.0, 0.0
        )
    else:
        near = 0.82 * habit.bell.density(late_s - habit.mean_s)
    return near + 0.10 * _uniform(late_s, 0.0, 30.0) + 0.08 * _uniform(late_s, -10.0, window_s)


def pull_evidence(
    pulls: Sequence[Bout],
    covered_s: tuple[float, float],
    windows: Sequence[WorkWindow],
    block_s: float,
) -> LogRatio:
    """Evidence of pulls for each start of a block. `covered_s`: first and last sample.

    Whether a pull follows the plan is judged by the densities of all people; given that, what a
    person does at every bell alike is summed out, starts and ends apart: rounds do not average it.
    """
    if not windows or not pulls:
        return NOTHING
    first = int(np.floor((covered_s[0] - block_s) / STEP_S))
    last = int(np.ceil(covered_s[1] / STEP_S))
    starts = grid_s(first, last)
    clock = np.arange(-MARGIN_S, block_s + MARGIN_S, CLOCK_STEP_S)
    start_habits, end_habits = _habits(windows)
    of_starts = np.zeros((1 + len(start_habits), len(clock)))
    of_ends = np.zeros((1 + len(end_habits), len(clock)))
    midway = not any(window.starts_at_bell or window.ends_at_bell for window in windows)
    for window in windows:
        length = window.end_s - window.start_s
        for row, habit in enumerate((None, *start_habits)):
            near = window.starts_at_bell or (midway and habit is not None)
            of_starts[row] += start_density(
                clock - window.start_s, length, at_bell=near, habit=habit
            )
        for row, habit in enumerate((None, *end_habits)):
            near = window.ends_at_bell or (midway and habit is not None)
            of_ends[row] += end_density(clock - window.end_s, length, at_bell=near, habit=habit)
    usual = block_s / len(windows)
    of_starts = np.log(0.97 * usual * of_starts + 0.03)
    of_ends = np.log(0.97 * usual * of_ends + 0.03)

    total = _presence(pulls, covered_s, windows, starts, block_s)
    began = np.zeros((len(of_starts), len(starts)))
    ended = np.zeros((len(of_ends), len(starts)))
    for pull in pulls:
        start = _slid(of_starts, pull.start_s - starts[0], len(starts))
        end = np.zeros((len(of_ends), len(starts)))
        if abs(pull.end_s - covered_s[1]) >= 2.0:  # else cut off by the file's end: no edge
            end = _slid(of_ends, pull.end_s - starts[0], len(starts))
        stray = EASY_STRAY if pull.easy else HARD_STRAY
        planned, astray = np.log1p(-stray) + start[0] + end[0], np.log(stray)
        either = np.logaddexp(planned, astray)
        share = np.exp(planned - either)
        # Jensen's bound of the sum over planned and stray, at the shares that everybody's densities
        # give: exact for these, so that only what is planned asks for a habit.
        total += either - share * (start[0] + end[0])
        began += share * start
        ended += share * end
    total += _habits_summed_out(began, start_habits) + _habits_summed_out(ended, end_habits)
    return LogRatio(first, total)


def _habits(
    windows: Sequence[WorkWindow],
) -> tuple[tuple[BellHabit, ...], tuple[BellHabit, ...]]:
    """What people may be used to at the starts and at the ends of windows, where it tells."""
    starts = STARTS if any(window.starts_at_bell for window in windows) else ()
    ends = STOPS if any(window.ends_at_bell for window in windows) else ()
    if starts or ends:
        return starts, ends
    length = float(np.median([window.end_s - window.start_s for window in windows]))
    (start, start_sd), (end, end_sd) = AMOUNT_START, AMOUNT_END
    round_to_round = Spread(AMOUNT_ROUND_SD_S)
    return (
        (BellHabit(1.0, start * length, Spread(start_sd * length), round_to_round),),
        (BellHabit(1.0, (end - 1) * length, Spread(end_sd * length), round_to_round),),
    )


def _slid(tables: Floats, from_s: float, count: int) -> Floats:
    """(row, start) values of tables over the block's clock at one moment of a recording.

    The block's starts lie every step of the grid, the first `from_s` before that moment. Outside
    the tables the values are 0.
    """
    out = np.zeros((len(tables), count))
    place = (from_s + MARGIN_S) / CLOCK_STEP_S
    whole, share = int(np.floor(place)), place - np.floor(place)
    ratio = round(STEP_S / CLOCK_STEP_S)
    low = max(-((tables.shape[1] - 2 - whole) // ratio), 0)
    high = min(whole // ratio + 1, count)
    if low < high:
        at = whole - ratio * np.arange(low, high)
        out[:, low:high] = (1 - share) * tables[:, at] + share * tables[:, at + 1]
    return out


def _habits_summed_out(evidence: Floats, habits: Sequence[BellHabit]) -> Floats:
    """Evidence of edges as one, from rows of everybody's and of each habit in turn.

    Each habit's is blurred by how far one person's mean may lie from that of all who have it.
    """
    if not habits:
        everybodys: Floats = evidence[0]
        return everybodys
    parts = [
        np.log(habit.share) + _own_mean_summed_out(row, habit.own.weights())
        for row, habit in zip(evidence[1:], habits, strict=True)
    ]
    together: Floats = np.logaddexp.reduce(parts)
    return together


def _own_mean_summed_out(evidence: Floats, weights: Floats) -> Floats:
    """Log evidence of starts, where all edges alike lie off by what `weights` says."""
    top = float(np.max(evidence))
    share = np.exp(np.maximum(evidence - top, LEAST_LOG))
    return np.asarray(top + np.log(blurred(share, weights)))


def _presence(
    pulls: Sequence[Bout],
    covered_s: tuple[float, float],
    windows: Sequence[WorkWindow],
    starts: Floats,
    block_s: float,
) -> Floats:
    """Log penalties for windows without work and for hard work where none is planned."""
    active_until = _running_time(pulls)
    hard_until = _running_time([pull for pull in pulls if not pull.easy])
    low = np.array([window.start_s for window in windows])[:, None] + starts
    high = np.array([window.end_s for window in windows])[:, None] + starts
    asked_easy = np.array([window.easy for window in windows])[:, None]
    left_out = np.array([window.left_out for window in windows])[:, None]
    active_s, hard_s = active_until(high) - active_until(low), hard_until(high) - hard_until(low)
    covered = (low >= covered_s[0] - 2.0) & (high <= covered_s[1] + 2.0)
    done = np.where(asked_easy, active_s, hard_s) >= LEAST_ACTIVE_S
    missing = np.where(active_s < LEAST_ACTIVE_S, np.log(left_out), np.log(EASY_ROUND))
    # Of a round of which nothing is said that it was done costs nothing.
    cost: Floats = np.where(done, np.log((1 - left_out) / (1 - SKIPPED_ROUND)), missing)
    cost = np.where(covered, cost, 0.0)
    number = np.arange(len(windows))[:, None]
    last_done = np.max(np.where(covered & done, number, -1), axis=0)
    after_last = (number > last_done) & (last_done >= 0)
    total = np.where(after_last, 0.0, cost).sum(axis=0)
    total = total + np.maximum(np.where(after_last, cost, 0.0).sum(axis=0), np.log(LEFT_EARLY))
    whole = hard_until(starts + block_s) - hard_until(starts)
    stray = np.maximum(whole - hard_s.sum(axis=0), 0.0)
    rest_s = max(block_s - sum(window.end_s - window.start_s for window in windows), 1.0)
    typical = rest_s / max(len(windows), 1)
    return np.asarray(total + np.log(PULL_IN_REST) * np.minimum(stray / max(typical, 8.0), 4.0))


def _running_time(pulls: Sequence[Bout]) -> Callable[[Floats], Floats]:
    """Seconds of pulling up to a time, as a function of it."""
    knots = np.array([edge for pull in pulls for edge in (pull.start_s, pull.end_s)])
    grown = np.cumsum([part for pull in pulls for part in (0.0, pull.end_s - pull.start_s)])
    if len(knots) == 0:
        return np.zeros_like
    return lambda time_s: np.interp(time_s, knots, grown, left=0.0, right=grown[-1])


def lap_marks(laps: Sequence[Lap], length_s: float) -> Floats:
    """When laps were pressed, s; the ends of the recording, which every file has, are no marks."""
    marks = np.unique([lap.start_s for lap in laps] + [lap.end_s for lap in laps])
    marks = marks[(marks > 1.0) & (marks < length_s - 1.0)]
    return marks if len(marks) >= FEWEST_MARKS else marks[:0]


def lap_evidence(laps: Sequence[Lap], steps: Sequence[PlannedStep], length_s: float) -> LogRatio:
    """Evidence of lap presses near the bells; laps that mark something else cost little."""
    marks = lap_marks(laps, length_s)
    if len(marks) == 0 or not steps:
        return NOTHING
    block_s = steps[-1].end_s
    bells = np.unique([step.start_s for step in steps] + [block_s])
    clock = np.arange(-30.0, block_s + 30.0, STEP_S / 2)
    density = sum(_normal(clock - bell, PRESSED_LATE_S, PRESSED_SD_S) for bell in bells)
    log_ratio = np.log(0.9 * (block_s / len(bells)) * np.asarray(density) + 0.1)
    first, last = int(np.floor(-block_s / STEP_S)), int(np.ceil(length_s / STEP_S))
    starts = np.arange(first, last + 1) * STEP_S
    total = np.zeros(len(starts))
    for mark in marks:
        total += np.interp(mark - starts, clock, log_ratio, left=0.0, right=0.0)
    total = _own_mean_summed_out(np.minimum(total, 60.0), normal_weights(PRESSED_OWN_SD_S))
    # Laps may mark something else altogether (every kilometre, every 500 m).
    return LogRatio(first, np.logaddexp(np.log(0.5), np.log(0.5) + total))
