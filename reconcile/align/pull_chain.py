"""Pulls in order over a plan, where the time between them may be lost.

A hidden Markov chain (Rabiner 1989, equations 19 to 27 for the sums forwards and backwards): the
state is how far the device's clock lies behind the plan's at each pull, on a grid. From one pull
to the next it stays as it is, or, where the clock may have stood, grows by a pause of any length.
Edges of pulls are compared with the plan by the same densities as in recordings whose clock went
on. Shares are judgement, no source, checked by simulation over many seeds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.edges import (
    SKIPPED_ROUND,
    Bout,
    WorkWindow,
    end_density,
    machine_windows,
    start_density,
)
from reconcile.align.grid import STEP_S, log_sum_exp
from reconcile.timeline import PlannedStep

# How often a hard pull follows no plan at all, how long one lasts (longer ones are ever rarer), and
# how much rarer any such pull is while the plan has other work.
HARD_STRAY = 0.02
USUAL_TRY_S = 20.0
STRAY_IN_WORK = 0.2
# How often an easy pull is done where hard work is planned, or the other way round.
OTHER_EFFORT = 0.3
# How much rarer hard pulls are in free blocks and those without machine work.
ELSEWHERE = 0.2
# How often somebody breaks a pull off and goes on in the same effort, and how long at most.
BROKEN_PULL = 0.10
LONGEST_BREAK_S = 15.0
# How often a window before the first or after the last pull of a file is empty.
OUTSIDE_FILE = 0.15
# A file of anything else holds any number of pulls up to this.
MOST_PULLS = 30
# Pulls may lie for so long before the first window and after the last.
MARGIN_S = 60.0
FLOOR = 0.03
# Steps of the grid either way within which a place is right, more and more nearly so.
REACHES = (10, 4, 1)
CUT_OFF_S = 2.0


@dataclass(frozen=True)
class RestHabit:
    """What somebody does in the rests.

    share: how common that is. easy_stray: how often an easy pull follows no plan. elsewhere: how
    much rarer easy pulls are in blocks without machine work.
    """

    share: float
    easy_stray: float
    elsewhere: float


# One in six pulls easily in the rests.
HABITS = (RestHabit(5 / 6, 0.05, ELSEWHERE), RestHabit(1 / 6, 0.75, 1.0))


@dataclass(frozen=True)
class PlannedPull:
    """A window of machine work, which share of its step's machine work it is, and if easy."""

    window: WorkWindow
    share: float
    easy: bool


@dataclass(frozen=True, eq=False)
class PullPlan:
    """Windows in the order of time on the plan's clock.

    first_s, last_s: the first and the last bell of all timed blocks. usual_s: from one window to
    the next, usually. with_machine_s: (block, 2) first and last bell of the blocks with machine
    work. shared: several people use the machine. other_work_s: (step, 2) where the one who uses it
    is at other work.
    """

    pulls: tuple[PlannedPull, ...]
    first_s: float
    last_s: float
    usual_s: float
    with_machine_s: Floats
    shared: bool
    other_work_s: Floats


@dataclass(frozen=True, eq=False)
class PullChain:
    """Pulls as the device shows them, and where its clock may have stood.

    paused: for each bout, the probability that the clock stood just before it (0: it went on).
    length_s: what the clock showed at the last sample.
    """

    bouts: tuple[Bout, ...]
    paused: Floats
    length_s: float


@dataclass(frozen=True, eq=False)
class Spread:
    """Pulls over a plan.

    late_s: for each bout, plan time less device time; it never falls. log_evidence: how much
    better the plan explains the pulls than anything else would. first_s, weights: for each bout,
    the distribution of `late_s` on the grid from `first_s` on.
    """

    late_s: Floats
    log_evidence: float
    first_s: float
    weights: Floats

    def chance(self, bout: int, low_s: float, high_s: float) -> float:
        """Probability that a bout's `late_s` lies between two values."""
        at_s = self.first_s + np.arange(self.weights.shape[1]) * STEP_S
        return float(self.weights[bout][(at_s >= low_s) & (at_s <= high_s)].sum())

    def sd_s(self, bout: int, within_s: float) -> float:
        """Root mean square of how far a bout may lie from its place, `within_s` of it."""
        off = self.first_s + np.arange(self.weights.shape[1]) * STEP_S - self.late_s[bout]
        near = np.where(np.abs(off) <= within_s, self.weights[bout], 0.0)
        return float(np.sqrt(np.dot(near, off**2) / max(near.sum(), 1e-12)))


def pull_plan(
    timelines: Sequence[tuple[float, Mapping[str, Sequence[PlannedStep]]]],
    starts_s: Mapping[str, float],
    machine: str | None,
) -> PullPlan | None:
    """Planned machine work of all who used a machine; None where none is planned.

    timelines: the delay and the steps of each. starts_s: the class's start of each timed block.
    """
    pulls: list[PlannedPull] = []
    edges_s: list[tuple[float, float]] = []
    other_work_s: list[tuple[float, float]] = []
    with_machine_s: list[tuple[float, float]] = []
    steps_with_work = 0
    for block, start_s in starts_s.items():
        first_s = start_s + min(delay for delay, _ in timelines)
        last_s = start_s + max(delay + timeline[block][-1].end_s for delay, timeline in timelines)
        edges_s.append((first_s, last_s))
        in_block = len(pulls)
        for delay_s, timeline in timelines:
            steps = timeline[block]
            with_work = [step for step in steps if _places(step, machine)]
            steps_with_work += len(with_work)
            pulls += _planned(steps, machine, start_s + delay_s)
            other_work_s += [
                (start_s + delay_s + step.start_s, start_s + delay_s + step.end_s)
                for step in steps
                if step.kind == "work" and step not in with_work and len(timelines) == 1
            ]
        if len(pulls) > in_block:
            with_machine_s.append((first_s, last_s))
    if not pulls:
        return None
    return PullPlan(
        tuple(sorted(pulls, key=lambda pull: pull.window.start_s)),
        min(first for first, _ in edges_s),
        max(last for _, last in edges_s),
        sum(last - first for first, last in with_machine_s) / steps_with_work,
        np.array(with_machine_s),
        len(timelines) > 1,
        np.array(other_work_s).reshape(-1, 2),
    )


def _places(step: PlannedStep, machine: str | None) -> list[int]:
    if step.kind != "work":
        return []
    wanted = ("machine", machine)
    return [
        index
        for index, task in enumerate(step.tasks)
        if task.on_machine and (machine is None or task.movement in wanted)
    ]


def _planned(
    steps: Sequence[PlannedStep], machine: str | None, start_s: float
) -> list[PlannedPull]:
    """Windows of one timeline; a step that returns to the machine after other tasks has two."""
    pulls: list[PlannedPull] = []
    by_start = {step.start_s: step for step in steps}
    for window in machine_windows(steps, machine):
        step = by_start[window.start_s]
        places = _places(step, machine)
        easy = all(step.tasks[place].effort == "easy" for place in places)
        moved = WorkWindow(
            window.start_s + start_s,
            window.end_s + start_s,
            window.starts_at_bell,
            window.ends_at_bell,
        )
        if places[-1] - places[0] >= len(places):
            pulls.append(PlannedPull(replace(moved, ends_at_bell=False), 0.5, easy))
            pulls.append(PlannedPull(replace(moved, starts_at_bell=False), 0.5, easy))
        else:
            pulls.append(PlannedPull(moved, 1.0, easy))
    return pulls


def core(window: WorkWindow) -> tuple[float, float]:
    """The part of a window in which whoever does it at all is on the machine."""
    length = window.end_s - window.start_s
    if window.starts_at_bell == window.ends_at_bell:
        return window.start_s + length / 4, window.end_s - length / 4
    if window.starts_at_bell:
        return window.start_s + min(2.0, length / 8), window.start_s + min(8.0, length / 2)
    return window.end_s - min(8.0, length / 2), window.end_s - min(2.0, length / 8)


class PlanFit:
    """How well pulls fit a plan at each time: what every pull is compared with."""

    def __init__(self, plan: PullPlan, habit: RestHabit) -> None:
        windows = [pull.window for pull in plan.pulls]
        self.first_s, self.last_s = plan.first_s - MARGIN_S, plan.last_s + MARGIN_S
        self.clock = np.arange(self.first_s, self.last_s, STEP_S / 2)
        all_easy = all(pull.easy for pull in plan.pulls)
        self.stray = (habit.easy_stray if all_easy else HARD_STRAY, habit.easy_stray)
        # Hard and easy are told by comparison: within one person's work, where both are planned.
        telling = not (plan.shared or all_easy)
        # By a pull's effort: hard, easy.
        starts, ends = np.zeros((2, 2, len(self.clock)))
        self.passed = np.zeros(len(self.clock))
        for pull, window in zip(plan.pulls, windows, strict=True):
            length = window.end_s - window.start_s
            end = end_density(self.clock - window.end_s, length, at_bell=window.ends_at_bell)
            start = start_density(
                self.clock - window.start_s, length, at_bell=window.starts_at_bell
            )
            for effort, easy in enumerate((False, True)):
                fits = 1.0 if not telling or pull.easy == easy else OTHER_EFFORT**0.5
                starts[effort] += fits * start
                ends[effort] += fits * end
            low, high = core(window)
            self.passed += pull.share * np.clip((self.clock - low) / (high - low), 0.0, 1.0)
        working = np.zeros(len(self.clock), dtype=bool)
        for low, high in plan.other_work_s:
            working |= (self.clock > low) & (self.clock < high)
        with_machine = np.zeros(len(self.clock), dtype=bool)
        for low, high in plan.with_machine_s:
            with_machine |= (self.clock > low - plan.usual_s / 2) & (self.clock < high)
        self.next_pull = [
            np.where(with_machine, 1.0, elsewhere) / plan.usual_s
            for elsewhere in (habit.elsewhere if all_easy else ELSEWHERE, habit.elsewhere)
        ]
        self.stray_log = np.where(working, np.log(STRAY_IN_WORK), 0.0)
        self.start_log = np.log((1 - FLOOR) * plan.usual_s * starts + FLOOR)
        self.end_log = np.log((1 - FLOOR) * plan.usual_s * ends + FLOOR)

    def steps_before(self, time_s: Floats) -> Floats:
        """How many steps of machine work have gone by at a time, a fraction inside one."""
        return np.interp(time_s, self.clock, self.passed)

    def density(self, bout: Bout, late_s: Floats) -> Floats:
        """Density (1/s) of where a bout begins after a pause, until a window is passed."""
        return np.interp(bout.start_s + late_s, self.clock, self.next_pull[int(bout.easy)])

    def bout(self, bout: Bout, late_s: Floats, *, has_end: bool) -> Floats:
        """(begun before, goes on after, late) log evidence of one bout.

        An edge that is only a break in a pull says nothing. A window that a bout fills is one
        less that was skipped.
        """
        effort = int(bout.easy)
        start = np.interp(bout.start_s + late_s, self.clock, self.start_log[effort])
        end = np.zeros(len(late_s))
        if has_end:
            end = np.interp(bout.end_s + late_s, self.clock, self.end_log[effort])
        stray = self.stray[effort]
        middle = (bout.start_s + bout.end_s) / 2 + late_s
        astray = np.log(stray) + np.interp(middle, self.clock, self.stray_log)
        if not bout.easy:
            astray -= max(bout.end_s - bout.start_s - USUAL_TRY_S, 0.0) / USUAL_TRY_S
        filled = self.steps_before(bout.end_s + late_s) - self.steps_before(bout.start_s + late_s)
        nothing = np.zeros(len(late_s))
        planned = np.stack([[start + end, start], [end, nothing]])
        return np.asarray(
            np.logaddexp(np.log1p(-stray) + planned, astray) - np.log(SKIPPED_ROUND) * filled
        )


def spread_over(
    plan: PullPlan,
    chain: PullChain,
    further: Callable[[int, Floats], Floats] | None = None,
) -> Spread | None:
    """Pulls in order over the plan, whatever the habit; None where they are longer than it.

    further: more log evidence of a bout, by its number and values of plan less device time.
    """
    late_s = np.arange(
        plan.first_s - MARGIN_S - chain.bouts[0].start_s,
        plan.last_s + MARGIN_S - chain.bouts[-1].end_s,
        STEP_S,
        dtype=float,
    )
    if len(late_s) < 2:
        return None
    more = np.zeros((len(chain.bouts), len(late_s)))
    if further is not None:
        more = np.stack([further(k, late_s) for k in range(len(chain.bouts))])
    found = [_with_habit(PlanFit(plan, habit), chain, late_s, more) for habit in HABITS]
    logs = np.array([np.log(habit.share) for habit in HABITS]) + [log for log, _ in found]
    total = log_sum_exp(logs)
    weights = np.sum(
        [np.exp(log - total) * part for log, (_, part) in zip(logs, found, strict=True)], axis=0
    )
    return Spread(
        late_s[_places_in_order(weights, chain.paused[1:])],
        total + float(np.log(MOST_PULLS)),
        float(late_s[0]),
        weights,
    )


def _with_habit(
    fit: PlanFit, chain: PullChain, late_s: Floats, more: Floats
) -> tuple[float, Floats]:
    """Log evidence and (bout, late) marginals under one habit."""
    bouts = chain.bouts
    evidence = more[:, None, None] + np.stack(
        [
            fit.bout(bout, late_s, has_end=abs(bout.end_s - chain.length_s) >= CUT_OFF_S)
            for bout in bouts
        ]
    )
    between, outside = np.log(SKIPPED_ROUND), np.log(OUTSIDE_FILE)
    before = fit.steps_before(bouts[0].start_s + late_s)
    after = fit.passed[-1] - fit.steps_before(bouts[-1].end_s + late_s)
    evidence[0] += between * fit.passed[-1] + (outside - between) * before
    evidence[-1] += (outside - between) * after
    may_break = np.array(
        [
            second.start_s - first.end_s <= LONGEST_BREAK_S and first.easy == second.easy
            for first, second in pairwise(bouts)
        ]
    )
    return summed_out(
        evidence,
        chain.paused[1:],
        np.where(may_break, BROKEN_PULL, 0.0),
        np.stack([fit.density(bout, late_s) for bout in bouts]),
    )


def summed_out(
    evidence: Floats,
    paused: Floats,
    breaks: Floats,
    next_pull: Floats,
) -> tuple[float, Floats]:
    """The chain summed out forwards and backwards: log evidence and (bout, late) marginals.

    evidence: (bout, begun before, goes on after, late). next_pull: (bout, late) density of where a
    pull begins after a pause. Whether a pull goes on after a break is the second part of the
    state; a pause in so short a break is left out of account. Every bout's sums are scaled to a
    largest value of 1, and the scales gathered.
    """
    top = evidence.max(axis=(1, 2, 3))
    weight = np.exp(evidence - top[:, None, None, None])
    stay, pause = (1 - paused) * (1 - breaks), paused * (1 - breaks)
    # forward[k, g]: all up to bout k, which goes on after (g = 1) or not.
    forward = np.empty((len(evidence), 2, evidence.shape[-1]))
    forward[0] = weight[0, 0] * next_pull[0] / np.sum(next_pull[0])
    scale = float(np.sum(top))
    for k in range(1, len(evidence)):  # a pull, not a sample
        fresh, going = forward[k - 1]
        after_pause = next_pull[k] * STEP_S * _sum_before(fresh)
        fresh = stay[k - 1] * fresh + pause[k - 1] * after_pause
        forward[k] = weight[k, 0] * fresh + weight[k, 1] * (breaks[k - 1] * going)
        largest = float(np.max(forward[k]))
        forward[k] /= largest
        scale += float(np.log(largest))
    backward = np.zeros_like(forward)
    backward[-1, 0] = 1.0
    for k in range(len(evidence) - 2, -1, -1):
        fresh, going = (weight[k + 1] * backward[k + 1]).sum(axis=1)
        before_pause = _sum_before((next_pull[k + 1] * STEP_S * fresh)[::-1])[::-1]
        backward[k, 0] = stay[k] * fresh + pause[k] * before_pause
        backward[k, 1] = breaks[k] * going
        backward[k] /= np.max(backward[k])
    marginal = (forward * backward).sum(axis=1)
    marginal /= marginal.sum(axis=1, keepdims=True)
    return scale + float(np.log(np.sum(forward[-1, 0]))), marginal


def _sum_before(values: Floats) -> Floats:
    """Σ of all values before each."""
    return np.concatenate([[0.0], np.cumsum(values[:-1])])


def _places_in_order(marginal: Floats, paused: Floats) -> NDArray[np.intp]:
    """Places of all pulls that never fall and are right for as many as can be expected.

    Right is within a few seconds, and the better the nearer. Pulls without a possible stop between
    share their place.
    """
    worth = np.sum([_mass_near(marginal, reach) for reach in REACHES], axis=0)
    heads = np.concatenate([[0], np.flatnonzero(paused > 0) + 1])
    together = np.add.reduceat(worth, heads, axis=0)
    best = np.empty_like(together)
    best[0] = together[0]
    for k in range(1, len(together)):
        best[k] = together[k] + np.maximum.accumulate(best[k - 1])
    places = [int(np.argmax(best[-1]))]
    for k in range(len(together) - 2, -1, -1):
        places.insert(0, int(np.argmax(best[k][: places[0] + 1])))
    counts = np.diff(np.append(heads, len(marginal)))
    return np.repeat(np.array(places), counts)


def _mass_near(mass: Floats, reach: int) -> Floats:
    """Sums of mass over `reach` points either way."""
    count = mass.shape[1]
    summed = np.concatenate([np.zeros((len(mass), 1)), np.cumsum(mass, axis=1)], axis=1)
    at = np.arange(count)
    return np.asarray(
        summed[:, np.minimum(at + reach + 1, count)] - summed[:, np.maximum(at - reach, 0)]
    )
