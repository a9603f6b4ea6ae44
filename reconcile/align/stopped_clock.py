"""Machine recordings whose clock stood still while the machine stood, spread out over the plan.

A machine that pauses by itself may write a file without a date whose clock stops with it: the
moving parts lie end to end, and how long people rested is lost. The order of the pulls, their
lengths and the plan say where each belongs. Between two stops the clock ran, so the pulls of such
a run keep their distances; from one run to the next time has gone on by an unknown pause. That is
a hidden Markov chain over how far each run lies behind the plan's clock, summed out on a grid
forwards and backwards (Rabiner 1989, equations 19 to 27).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats, Lap, Pause, Recording
from reconcile.align.device_clock import DeviceClock
from reconcile.align.edges import (
    EASY_STRAY,
    HARD_STRAY,
    SKIPPED_ROUND,
    Bout,
    MachineWindow,
    end_density,
    machine_windows,
    start_density,
)
from reconcile.align.grid import STEP_S, log_sum_exp
from reconcile.align.heart import heart_grid
from reconcile.align.place import (
    ANOTHER_TIME_NAMED,
    ANOTHER_TIME_UNNAMED,
    OF_CLASS,
    PINNED,
    SURE,
    Assignment,
    Placement,
    half_of_shortest_gap,
)
from reconcile.align.signals import Signals
from reconcile.classes import Pin
from reconcile.machine import Pull, speed_of
from reconcile.plan import FreeBlock, Plan, TimedBlock
from reconcile.pulling import LONGEST_SAMPLE_GAP_S, MOVING_SPEED_M_S, SHORTEST_BREAK_S
from reconcile.result import BlockPlacement, Status
from reconcile.timeline import PlannedStep

# Judgement, no source. A device waits some seconds before it pauses; one that shows a machine at
# rest for longer does not pause. Its last sample before a pause may be taken a little above rest.
LONGEST_WAIT_S = 15.0
LONGEST_WAIT_WITHOUT_SPEED_S = 30.0
STILL_SPEED_M_S = 1.0
# A device goes on just before the first pull is seen.
RESTART_BEFORE_PULL_S = 0.3
# How often a machine that stood for a moment had not been paused.
NOT_PAUSED = 0.15
# How often a window before the first or after the last pull of a file is empty.
OUTSIDE_FILE = 0.3
# Free of windows for so long before the first and after the last: pulls may lie there.
MARGIN_S = 60.0
LEAST_SPREAD_S = 5.0
FLOOR = 0.03
# Each pull ends only as near to its bell as people stop (seconds, one standard deviation).
LEAST_SD_S = 0.6
# When the clock stood is read from the samples around it, to so many seconds.
STOP_READ_WITHIN_S = 0.5
# A machine is usually switched on this long before its first pull, at least.
SHORTEST_LEAD_IN_S = 10.0
USUAL_LEAD_IN_S = 240.0


@dataclass(frozen=True)
class Run:
    """Pulls between two stops of the clock, on the device's clock from `restart_s` on."""

    restart_s: float
    bouts: tuple[Bout, ...]


@dataclass(frozen=True, eq=False)
class PlanWindows:
    """Where machine work is planned, on the plan's own clock, and how long that clock runs.

    windows: in the order of time, those of all owners of a shared machine.
    usual_s: usual time from one window to the next.
    """

    windows: tuple[MachineWindow, ...]
    usual_s: float


@dataclass(frozen=True, eq=False)
class Spread:
    """The runs of a recording over a plan.

    late_s: for each run, plan time less device time, never falling. log_evidence: how much better
    the plan explains the pulls than pulls at any time would. first_s, weights: for each run, the
    distribution of `late_s` on the grid from `first_s` on.
    """

    late_s: Floats
    log_evidence: float
    first_s: float
    weights: Floats

    def chance(self, run: int, low_s: float, high_s: float) -> float:
        """Probability that a run's `late_s` lies between two values."""
        at_s = self.first_s + np.arange(self.weights.shape[1]) * STEP_S
        return float(self.weights[run][(at_s >= low_s) & (at_s <= high_s)].sum())

    def sd_s(self, run: int, within_s: float) -> float:
        """Standard deviation of a run's `late_s` near its best value."""
        off = self.first_s + np.arange(self.weights.shape[1]) * STEP_S - self.late_s[run]
        near = np.where(np.abs(off) <= within_s, self.weights[run], 0.0)
        return float(np.sqrt(np.dot(near, off**2) / max(near.sum(), 1e-12)))


def runs_between_stops(signals: Signals) -> tuple[Run, ...] | None:
    """Runs of pulls between possible stops of the clock; None where the clock surely went on.

    It went on where the file has a date or gaps, or shows the machine at rest for long.
    """
    recording, track = signals.upload.recording, signals.track
    if recording is None or recording.start is not None or track is None or recording.pauses:
        return None
    time_s, pulls = track.time_s, track.pulls
    if len(pulls) < 2 or float(np.max(np.diff(time_s))) > LONGEST_SAMPLE_GAP_S:
        return None
    speed = speed_of(recording)
    inside = (time_s > pulls[0].start_s) & (time_s < pulls[-1].end_s)
    if speed is None:
        resting, longest = ~track.pulling, LONGEST_WAIT_WITHOUT_SPEED_S
        slow = resting
    else:
        known = np.nan_to_num(speed)
        resting, longest = (known <= MOVING_SPEED_M_S) & ~track.pulling, LONGEST_WAIT_S
        slow = (known <= STILL_SPEED_M_S) & ~track.pulling
    if _longest_run_s(time_s, resting & inside) > longest:
        return None
    rested_before = pulls[0].start_s - float(time_s[0]) >= SHORTEST_BREAK_S
    restarts = [_restart(time_s, pulls[0].start_s) if rested_before else -np.inf]
    restarts += [
        _restart(time_s, after.start_s)
        for before, after in zip(pulls[:-1], pulls[1:], strict=True)
        if after.start_s - before.end_s >= SHORTEST_BREAK_S
        and slow[(time_s > before.end_s) & (time_s < after.start_s)].any()
    ]
    return _runs(_cut_at(signals.bouts, restarts, pulls), restarts)


def _longest_run_s(time_s: Floats, chosen: NDArray[np.bool_]) -> float:
    edges = np.diff(np.concatenate([[0], chosen.astype(int), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return float(np.max(time_s[ends] - time_s[starts], initial=0.0))


def _restart(time_s: Floats, pull_start_s: float) -> float:
    """What the clock shows when it goes on: after the last sample at rest, before the pull."""
    rested_s = float(time_s[np.searchsorted(time_s, pull_start_s) - 1])
    return max(pull_start_s - RESTART_BEFORE_PULL_S, (rested_s + pull_start_s) / 2)


def _cut_at(
    bouts: Sequence[Bout], restarts: Sequence[float], pulls: Sequence[Pull]
) -> tuple[Bout, ...]:
    """Bouts cut where the clock may have stood inside them: a break there was a rest."""
    cut: list[Bout] = []
    for bout in bouts:
        rest = bout
        for restart in restarts:
            if rest.start_s < restart < rest.end_s:
                before = max(pull.end_s for pull in pulls if pull.end_s <= restart)
                after = min(pull.start_s for pull in pulls if pull.start_s >= restart)
                if before > rest.start_s:
                    cut.append(replace(rest, end_s=before))
                rest = replace(rest, start_s=after)
        cut.append(rest)
    return tuple(cut)


def _runs(bouts: Sequence[Bout], restarts: Sequence[float]) -> tuple[Run, ...] | None:
    """Bouts gathered by the restart that they follow; a restart without a bout is left out."""
    edges = [*restarts, np.inf]
    gathered = [
        Run(low, tuple(bout for bout in bouts if low <= bout.start_s < high))
        for low, high in zip(edges[:-1], edges[1:], strict=True)
    ]
    runs = tuple(run for run in gathered if run.bouts)
    return runs if len(runs) > 1 else None


def plan_windows(
    assignment: Assignment, blocks: Sequence[TimedBlock], starts_s: Sequence[float]
) -> PlanWindows | None:
    """Windows of machine work of all owners; None where none is planned.

    starts_s: the class's start of each block; the owners' delays are added.
    """
    windows = [
        replace(
            window, start_s=window.start_s + start_s + delay, end_s=window.end_s + start_s + delay
        )
        for block, start_s in zip(blocks, starts_s, strict=True)
        for delay, steps in assignment.turns
        for window in task_windows(steps[block.name], assignment.signals.machine)
    ]
    if not windows:
        return None
    with_work = [
        block
        for block in blocks
        if any(
            machine_windows(steps[block.name], assignment.signals.machine)
            for _, steps in assignment.turns
        )
    ]
    usual_s = sum(block.duration_s for block in with_work) / len(windows)
    return PlanWindows(tuple(sorted(windows, key=lambda window: window.start_s)), usual_s)


def task_windows(steps: Sequence[PlannedStep], machine: str | None) -> list[MachineWindow]:
    """Windows of machine work; a step that returns to the machine after other tasks has two."""
    parted = [step.start_s for step in steps if _returns_to_machine(step, machine)]
    windows: list[MachineWindow] = []
    for window in machine_windows(steps, machine):
        if window.start_s in parted:
            windows.append(replace(window, ends_at_bell=False))
            windows.append(replace(window, starts_at_bell=False))
        else:
            windows.append(window)
    return windows


def _returns_to_machine(step: PlannedStep, machine: str | None) -> bool:
    places = [
        index
        for index, task in enumerate(step.tasks)
        if task.on_machine and (machine is None or task.movement in ("machine", machine))
    ]
    return step.kind == "work" and bool(places) and places[-1] - places[0] >= len(places)


class PlanFit:
    """How well pulls fit a plan at each time: what every run is compared with."""

    def __init__(self, plan: PlanWindows) -> None:
        self.first_s = plan.windows[0].start_s - MARGIN_S
        self.last_s = max(window.end_s for window in plan.windows) + MARGIN_S
        self.usual_s = plan.usual_s
        clock = np.arange(self.first_s, self.last_s, STEP_S / 2)
        starts, ends, self.passed = np.zeros((3, len(clock)))
        for window in plan.windows:
            length = window.end_s - window.start_s
            ends += end_density(clock - window.end_s, length, at_bell=window.ends_at_bell)
            starts += start_density(clock - window.start_s, length, at_bell=window.starts_at_bell)
            low, high = _core(window)
            self.passed += np.clip((clock - low) / (high - low), 0.0, 1.0)
        self.clock = clock
        self.start_log = np.log((1 - FLOOR) * plan.usual_s * starts + FLOOR)
        self.end_log = np.log((1 - FLOOR) * plan.usual_s * ends + FLOOR)

    def windows_before(self, time_s: Floats) -> Floats:
        """How many windows' cores have gone by at a time, a fraction inside one."""
        return np.interp(time_s, self.clock, self.passed)

    def bout(self, bout: Bout, late_s: Floats, *, has_end: bool) -> Floats:
        """Log evidence of one bout: its edges, and the windows that it fills."""
        starts, ends = bout.start_s + late_s, bout.end_s + late_s
        planned = np.interp(starts, self.clock, self.start_log)
        if has_end:
            planned = planned + np.interp(ends, self.clock, self.end_log)
        stray = EASY_STRAY if bout.easy else HARD_STRAY
        filled = self.windows_before(ends) - self.windows_before(starts)
        return np.asarray(
            np.logaddexp(np.log1p(-stray) + planned, np.log(stray))
            - np.log(SKIPPED_ROUND) * filled
        )


def _core(window: MachineWindow) -> tuple[float, float]:
    """The part of a window in which whoever does it at all is on the machine."""
    length = window.end_s - window.start_s
    if window.starts_at_bell == window.ends_at_bell:
        return window.start_s + length / 4, window.end_s - length / 4
    if window.starts_at_bell:
        return window.start_s + min(2.0, length / 8), window.start_s + min(8.0, length / 2)
    return window.end_s - min(8.0, length / 2), window.end_s - min(2.0, length / 8)


def spread_over(
    plan: PlanWindows,
    runs: Sequence[Run],
    length_s: float,
    begins: Sequence[tuple[float, float]] = (),
) -> Spread | None:
    """Runs in order over the plan; None where they are longer than it.

    length_s: time of the last sample. begins: what is fixed by hand, pairs of a block's start on
    the plan's clock and on the device's.
    """
    fit = PlanFit(plan)
    low = fit.first_s - runs[0].bouts[0].start_s
    high = fit.last_s - runs[-1].bouts[-1].end_s
    if high <= low:
        return None
    late_s = np.arange(low, high, STEP_S)
    evidence = np.stack(
        [
            np.sum(
                [fit.bout(b, late_s, has_end=abs(b.end_s - length_s) >= 2.0) for b in run.bouts],
                axis=0,
            )
            for run in runs
        ]
    )
    between, outside = np.log(SKIPPED_ROUND), np.log(OUTSIDE_FILE)
    before = fit.windows_before(runs[0].bouts[0].start_s + late_s)
    after = fit.passed[-1] - fit.windows_before(runs[-1].bouts[-1].end_s + late_s)
    evidence[0] += between * fit.passed[-1] + (outside - between) * before
    evidence[-1] += (outside - between) * after
    edges = [*(run.restart_s for run in runs), np.inf]
    for plan_s, device_s in begins:
        for number in range(len(runs)):
            low_s, high_s = edges[number], edges[number + 1]
            shown = np.clip(plan_s - late_s, low_s, high_s)
            off = np.abs(shown - np.clip(device_s, low_s, high_s))
            evidence[number] -= PINNED * np.clip(off - 1.0, 0.0, 1.0)
    return _chain(evidence, low, plan.usual_s)


def _chain(evidence: Floats, first_s: float, usual_s: float) -> Spread:
    """The hidden Markov chain summed out: filter, evidence, best path and marginals."""
    stay, pause = np.log(NOT_PAUSED), np.log((1 - NOT_PAUSED) * STEP_S / usual_s)
    nothing = np.full(1, -np.inf)
    forward = np.empty_like(evidence)
    forward[0] = evidence[0] - np.log(evidence.shape[1])
    for run in range(1, len(evidence)):  # a run, not a sample
        earlier = np.concatenate([nothing, np.logaddexp.accumulate(forward[run - 1])[:-1]])
        forward[run] = evidence[run] + np.logaddexp(stay + forward[run - 1], pause + earlier)
    backward = np.zeros_like(evidence)
    for run in range(len(evidence) - 2, -1, -1):
        coming = evidence[run + 1] + backward[run + 1]
        later = np.concatenate([np.logaddexp.accumulate(coming[::-1])[::-1][1:], nothing])
        backward[run] = np.logaddexp(stay + coming, pause + later)
    best = [int(np.argmax(forward[-1]))]
    for run in range(len(evidence) - 2, -1, -1):
        here = forward[run][: best[0] + 1] + pause
        here[-1] += stay - pause
        best.insert(0, int(np.argmax(here)))
    total = log_sum_exp(forward[-1])
    weights = np.exp(forward + backward - total)
    return Spread(first_s + np.array(best) * STEP_S, total, first_s, weights)


def stood_still(plan: Plan, assignment: Assignment, starts_s: Sequence[float]) -> bool:
    """Whether a recording's clock stood in the rests, judged by which of the two fits the plan.

    starts_s: about when the class began each timed block; the lengths of free blocks do not matter.
    """
    runs = runs_between_stops(assignment.signals)
    windows = plan_windows(assignment, plan.timed_blocks, starts_s)
    if runs is None or windows is None:
        return False
    length_s = assignment.signals.length_s
    stood = spread_over(windows, runs, length_s)
    together = Run(runs[0].restart_s, tuple(bout for run in runs for bout in run.bouts))
    went_on = spread_over(windows, (together,), length_s)
    if stood is None or went_on is None:
        return False
    longer_s = float(stood.late_s[-1] - stood.late_s[0])
    return longer_s >= LEAST_SPREAD_S and stood.log_evidence > went_on.log_evidence


def usual_starts(plan: Plan) -> list[float]:
    """Starts of the timed blocks where every free block takes the middle of its range, seconds."""
    starts, clock_s = [], 0.0
    for block in plan.blocks:
        if isinstance(block, FreeBlock):
            clock_s += (block.low_s + block.high_s) / 2
        else:
            starts.append(clock_s)
            clock_s += block.duration_s
    return starts


def place_stopped(
    plan: Plan, assignment: Assignment, starts_s: Sequence[float], pins: Mapping[str, Pin]
) -> tuple[Assignment, Placement]:
    """A recording whose clock stood still, spread out over the class's bells.

    starts_s: the class's start of each timed block. Everything that comes back is on time that
    goes on; `on_device_clock` is the way back.
    """
    signals = assignment.signals
    runs = runs_between_stops(signals)
    windows = plan_windows(assignment, plan.timed_blocks, starts_s)
    assert runs is not None
    assert windows is not None
    own_s = {
        block.name: start + assignment.delay_s
        for block, start in zip(plan.timed_blocks, starts_s, strict=True)
    }
    begins = [
        (own_s[name], pin.start_s)
        for name, pin in pins.items()
        if name in own_s and pin.start_s is not None
    ]
    spread = spread_over(windows, runs, signals.length_s, begins)
    assert spread is not None
    lead_in_s = USUAL_LEAD_IN_S if np.isfinite(runs[0].restart_s) else 0.0
    restart_s = np.array([run.restart_s for run in runs])
    paused_s = np.concatenate([[lead_in_s], np.diff(spread.late_s)])
    clock = DeviceClock(restart_s[paused_s > 0], paused_s[paused_s > 0])
    first_s = float(spread.late_s[0]) - lead_in_s
    moved = replace(assignment, signals=spread_out(signals, clock, runs))
    blocks: list[BlockPlacement] = []
    sds: dict[str, float] = {}
    for block in plan.timed_blocks:
        start = own_s[block.name] - first_s
        half = half_of_shortest_gap(assignment.steps[block.name], block)
        if start > moved.signals.length_s or start + block.duration_s < 0:
            continue
        probability, sd = _doubt(spread, runs, own_s[block.name], float(clock.device(start)), half)
        sds[block.name] = sd
        low = start - 2 * sd
        if lead_in_s and start < restart_s[0] + lead_in_s:
            low -= USUAL_LEAD_IN_S - SHORTEST_LEAD_IN_S
        blocks.append(BlockPlacement(block.name, start, low, start + 2 * sd, probability))
    match = 1.0 if begins else _match(spread.log_evidence, named=bool(signals.upload.athletes))
    scored = {block.name for block in plan.timed_blocks if block.score is not None}
    telling = [b.probability for b in blocks if b.block in scored]
    probability = max(telling or [b.probability for b in blocks], default=0.0)
    status: Status = "aligned" if probability >= SURE else "ambiguous"
    if match < 0.5 or not blocks:
        return assignment, Placement(
            signals.upload.file, "unmatched", match, match, first_s, (), {}, spread.log_evidence
        )
    return moved, Placement(
        signals.upload.file,
        status,
        probability,
        match,
        first_s,
        tuple(blocks),
        sds,
        spread.log_evidence,
    )


def _match(log_evidence: float, *, named: bool) -> float:
    """Probability that the pulls are of this class; a file without a date has no other evidence."""
    other = ANOTHER_TIME_NAMED if named else ANOTHER_TIME_UNNAMED
    return float(1 / (1 + other / OF_CLASS * np.exp(-np.clip(log_evidence, -50.0, 50.0))))


def _doubt(
    spread: Spread, runs: Sequence[Run], plan_s: float, device_s: float, half_s: float
) -> tuple[float, float]:
    """How probable a block's start is within `half_s` on the device's clock, and its deviation.

    A start in a pause is where it is if the run before ends early enough and the next begins late
    enough; as runs keep their order, one of the two always holds.
    """
    restart_s = np.array([-np.inf, *(run.restart_s for run in runs[1:]), np.inf])
    holding = int(np.searchsorted(restart_s[1:-1], device_s, side="left"))
    in_pause = holding + 1 < len(runs) and device_s == restart_s[holding + 1]
    chances = []
    for run in (holding, holding + 1) if in_pause else (holding,):
        low = restart_s[run] if restart_s[run] > device_s - half_s else -np.inf
        high = restart_s[run + 1] if restart_s[run + 1] < device_s + half_s else np.inf
        # The start shown by this run alone is plan_s - late_s, held between the run's own ends.
        latest = np.inf if low > -np.inf else plan_s - (device_s - half_s)
        earliest = -np.inf if high < np.inf else plan_s - (device_s + half_s)
        chances.append(spread.chance(run, float(earliest), float(latest)))
    nearest = holding + 1 if in_pause else holding
    return (
        float(np.clip(sum(chances) - (len(chances) - 1), 0.0, 1.0)),
        max(spread.sd_s(nearest, half_s), LEAST_SD_S),
    )


def spread_out(signals: Signals, clock: DeviceClock, runs: Sequence[Run]) -> Signals:
    """The same signals on time that goes on; counts, powers and pulls stay what they are."""
    recording, track = signals.upload.recording, signals.track
    assert recording is not None
    assert track is not None
    moved = _spread_recording(recording, clock)
    heart = signals.heart
    if moved.heart_rate_bpm is not None:
        heart = heart_grid(moved.time_s, moved.heart_rate_bpm)
    pulls = tuple(
        replace(
            pull,
            start_s=float(clock.running(pull.start_s)),
            end_s=float(clock.running(pull.end_s)),
        )
        for pull in track.pulls
    )
    bouts = tuple(
        replace(
            bout,
            start_s=float(clock.running(bout.start_s)),
            end_s=float(clock.running(bout.end_s)),
        )
        for run in runs
        for bout in run.bouts
    )
    return replace(
        signals,
        upload=replace(signals.upload, recording=moved),
        heart=heart,
        track=replace(track, time_s=clock.running(track.time_s), pulls=pulls),
        bouts=bouts,
        length_s=float(moved.time_s[-1]),
        device_clock=clock,
    )


def _spread_recording(recording: Recording, clock: DeviceClock) -> Recording:
    ended_s = clock.running(clock.restart_s)
    beats = recording.beat_time_s
    return replace(
        recording,
        time_s=clock.running(recording.time_s),
        beat_time_s=None if beats is None else clock.running(beats),
        laps=tuple(
            Lap(float(clock.running(lap.start_s)), float(clock.running(lap.end_s)), lap.workout_step)
            for lap in recording.laps
        ),
        pauses=tuple(
            Pause(float(end - length), float(end))
            for end, length in zip(ended_s, clock.paused_s, strict=True)
        ),
    )


def on_device_clock(
    blocks: Sequence[BlockPlacement], clock: DeviceClock
) -> tuple[BlockPlacement, ...]:
    """Starts of blocks as the device's own clock shows them; in a pause, where it stood."""
    return tuple(
        replace(
            block,
            start_s=float(clock.device(block.start_s)),
            low_s=float(clock.device(block.low_s)) - STOP_READ_WITHIN_S,
            high_s=float(clock.device(block.high_s)) + STOP_READ_WITHIN_S,
        )
        for block in blocks
    )
