"""Machine recordings whose clock stood still while the machine stood, spread out over the plan.

A machine that pauses by itself may write a file without a date whose clock stops with it: the
moving parts lie end to end, and how long people rested is lost. The order of the pulls, their
lengths and the plan say where each belongs; the pauses are put back, and everything after works on
time that goes on, up to the result, which speaks in the device's own time again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ingest.recording import Floats, Lap, Pause, Recording
from reconcile.align.assignment import Assignment
from reconcile.align.device_clock import DeviceClock
from reconcile.align.edges import Bout, bridged
from reconcile.align.heart import heart_grid
from reconcile.align.place import (
    ANOTHER_TIME_NAMED,
    ANOTHER_TIME_UNNAMED,
    OF_CLASS,
    Placement,
    Shape,
    half_of_shortest_gap,
)
from reconcile.align.pull_chain import PullChain, PullPlan, Spread, pull_plan, spread_over
from reconcile.align.signals import EASY_SHARE, LEAST_BOUT_S, Signals
from reconcile.align.sources import PINNED
from reconcile.classes import Pin
from reconcile.machine import MachineTrack, Pull, speed_of
from reconcile.plan import FreeBlock, Plan
from reconcile.pulling import (
    MOVING_SPEED_M_S,
    SHORTEST_BREAK_S,
    Coasting,
    coasting,
    longest_step_s,
)
from reconcile.result import BlockPlacement

# Judgement, no source. A device waits some seconds before it pauses; one that shows a machine at
# rest for longer does not pause. Without a speed, coasting cannot be told from rest.
LONGEST_WAIT_S = 15.0
LONGEST_COAST_S = 30.0
COAST_SD_S = 1.5
# A device goes on just before the first pull is seen.
RESTART_BEFORE_PULL_S = 0.3
# How often a machine that came to rest had been paused; how exactly rests show a device's wait, in
# seconds and in steps between samples; which share of waits is anything.
PAUSED_SHARE = 0.7
WAIT_SD_S = 0.3
WAIT_SD_STEPS = 0.35
ODD_WAIT = 0.1
# Rests that are all alike speak for a clock that stood, but the plan may make them so as well.
MOST_FROM_WAITS = 8.0
# How sure a start must be to be called aligned. Doubt is here about which pull lies in which round;
# starts are right more often than it says.
SURE_OF_START = 0.75
# Pauses together shorter than this change nothing.
LEAST_SPREAD_S = 5.0
# Each pull ends only as near to its bell as people stop (one standard deviation, at least).
LEAST_SD_S = 0.6
# When the clock stood is read from the samples around it, to so many seconds.
STOP_READ_WITHIN_S = 1.1
# A file that begins with the first pull shows less than this before it, in steps between samples.
LEAST_LEAD_IN_STEPS = 1.2
LEAST_SHARE = 0.02
LEAST_PIECE_S = 12.0
PULLED_SPEED_S = 4.0
# How long before its first pull a machine is switched on, usually and at least.
USUAL_LEAD_IN_S = 240.0
SHORTEST_LEAD_IN_S = 10.0


@dataclass(frozen=True, eq=False)
class StoppedPulls:
    """The pulls of a recording whose clock may have stood, on the device's clock.

    restart_s: for each bout, what the clock showed when it may have gone on again just before;
    NaN where the machine was not at rest.
    """

    chain: PullChain
    restart_s: Floats


def pulls_between_stops(signals: Signals) -> StoppedPulls | None:
    """Pulls and the possible stops of the clock between; None where the clock surely went on.

    It went on where the file has a date or gaps, or shows the machine at rest for long.
    """
    recording, track = signals.upload.recording, signals.track
    if recording is None or recording.start is not None or track is None or recording.pauses:
        return None
    time_s, pulls = track.time_s, track.pulls
    if len(pulls) < 2 or float(np.max(np.diff(time_s))) > longest_step_s(time_s):
        return None
    speed = speed_of(recording)
    free = None if speed is None else coasting(time_s, speed)
    if free is not None and free.slope is None:
        free = None
    rests_s = np.array(
        [rest_before(time_s, speed, free, first, second) for first, second in pairwise(pulls)]
    )
    longest_s = LONGEST_WAIT_S + (LONGEST_COAST_S if free is None else 0.0)
    if np.isnan(rests_s).all() or np.nanmax(rests_s) > longest_s:
        return None
    step_s = float(np.median(np.diff(time_s)))
    sd_s = np.hypot(WAIT_SD_S, WAIT_SD_STEPS * step_s)
    shares = paused_shares(rests_s, float(sd_s) + (COAST_SD_S if free is None else 0.0))
    stops = [
        (_restart(time_s, pull), share)
        for pull, share in zip(pulls[1:], shares, strict=True)
        if share > LEAST_SHARE
    ]
    if pulls[0].start_s - time_s[0] >= LEAST_LEAD_IN_STEPS * step_s:
        stops.insert(0, (_restart(time_s, pulls[0]), 0.0))
    bouts = _bouts(signals.bouts, track, [restart for restart, _ in stops])
    if len(bouts) < 2:
        return None
    restart_s, paused = np.full(len(bouts), np.nan), np.zeros(len(bouts))
    for number, bout in enumerate(bouts):
        after = bouts[number - 1].start_s if number else -np.inf
        here = [stop for stop in stops if after < stop[0] <= bout.start_s]
        if here:
            restart_s[number] = here[-1][0]
            paused[number] = 1 - np.prod([1 - share for _, share in here])
    return StoppedPulls(PullChain(bouts, paused, signals.length_s), restart_s)


def rest_before(
    time_s: Floats, speed: Floats | None, free: Coasting | None, first: Pull, second: Pull
) -> float:
    """Seconds that the wheel was at rest between two pulls, less than 0 where it was still moving.

    The coasting before is taken off by its law. Without one, the seconds without pulling. NaN where
    there is no break.
    """
    gap_s = second.start_s - first.end_s
    if gap_s < SHORTEST_BREAK_S:
        return np.nan
    if speed is None or free is None or free.slope is None:
        return gap_s
    last = speed[(time_s <= first.end_s) & (time_s > first.end_s - PULLED_SPEED_S)]
    last = last[last > MOVING_SPEED_M_S]
    if len(last) == 0:
        return gap_s
    coasted = free.run_down(MOVING_SPEED_M_S) - free.run_down(float(np.median(last)))
    return gap_s - float(coasted) / free.slope


def paused_shares(rests_s: Floats, sd_s: float) -> Floats:
    """Probability that a clock stood at the end of each rest (NaN: no rest, 0).

    A device pauses after one wait, always the same: the rests at whose end the clock stood are
    equally long on it, the others shorter, or longer by a moment.
    """
    known = rests_s[np.isfinite(rests_s)]
    alike = (np.abs(known[:, None] - known) <= 2 * sd_s).sum(axis=1)
    wait_s = float(np.median(known[alike == alike.max()]))
    as_wait = np.exp(-0.5 * ((rests_s - wait_s) / sd_s) ** 2) / (sd_s * np.sqrt(2 * np.pi))
    anything = 1 / (max(wait_s, 0.0) + LONGEST_WAIT_S)
    stood = (1 - ODD_WAIT) * as_wait + ODD_WAIT * anything
    share = PAUSED_SHARE * stood / (PAUSED_SHARE * stood + (1 - PAUSED_SHARE) * anything)
    return np.asarray(np.nan_to_num(share))


def _restart(time_s: Floats, pull: Pull) -> float:
    """What the clock shows when it goes on: after the last sample at rest, before the pull."""
    rested_s = float(time_s[max(int(np.searchsorted(time_s, pull.start_s)) - 1, 0)])
    return max(pull.start_s - RESTART_BEFORE_PULL_S, (rested_s + pull.start_s) / 2)


def _bouts(
    found: Sequence[Bout], track: MachineTrack, restarts_s: Sequence[float]
) -> tuple[Bout, ...]:
    """Pulls, short breaks bridged but no stop, cut where long stretches differ in effort.

    found: bouts as cut by effort alone; a pull that they cut into short pieces stays whole.
    """
    edges = [-np.inf, *restarts_s, np.inf]
    pulls = [
        pull
        for low, high in pairwise(edges)
        for pull in bridged(tuple(p for p in track.pulls if low <= p.start_s < high))
        if pull.end_s - pull.start_s >= LEAST_BOUT_S
    ]
    cuts = sorted({bout.start_s for bout in found} | {bout.end_s for bout in found})
    pieces: list[tuple[float, float]] = []
    for pull in pulls:
        inside = [c for c in cuts if pull.start_s + LEAST_BOUT_S < c < pull.end_s - LEAST_BOUT_S]
        parts = list(pairwise([pull.start_s, *inside, pull.end_s]))
        whole = min(high - low for low, high in parts) < LEAST_PIECE_S
        pieces += [(pull.start_s, pull.end_s)] if whole else parts
    power = track.pulled_power_w
    if power is None or not track.pulling.any():
        return tuple(Bout(low, high, False) for low, high in pieces)
    level = EASY_SHARE * float(np.percentile(power[track.pulling], 80))
    time_s = track.time_s
    return tuple(
        Bout(low, high, float(np.median(power[(time_s >= low) & (time_s <= high)])) < level)
        for low, high in pieces
    )


def stood_still(plan: Plan, assignment: Assignment, starts_s: Sequence[float]) -> bool:
    """Whether a recording's clock stood in the rests, judged by which of the two fits the plan.

    starts_s: about when the class began each timed block; the lengths of free blocks do not matter.
    """
    pulls = pulls_between_stops(assignment.signals)
    pulls_planned = _planned(plan, assignment, starts_s)
    if pulls is None or pulls_planned is None:
        return False
    stood = spread_over(pulls_planned, pulls.chain)
    went_on = spread_over(
        pulls_planned, replace(pulls.chain, paused=np.zeros(len(pulls.chain.bouts)))
    )
    if stood is None or went_on is None:
        return False
    longer_s = float(stood.late_s[-1] - stood.late_s[0])
    shares = pulls.chain.paused[pulls.chain.paused > 0]
    alike = float(np.sum(np.log((1 - PAUSED_SHARE) / (1 - shares))))
    better = stood.log_evidence + min(alike, MOST_FROM_WAITS) - went_on.log_evidence
    return longer_s >= LEAST_SPREAD_S and better > 0


def _planned(plan: Plan, assignment: Assignment, starts_s: Sequence[float]) -> PullPlan | None:
    names = [block.name for block in plan.timed_blocks]
    by_name = dict(zip(names, starts_s, strict=True))
    return pull_plan(assignment.turns, by_name, assignment.signals.machine)


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
    plan: Plan,
    assignment: Assignment,
    starts_s: Sequence[float],
    pins: Mapping[str, Pin],
    shape: Shape,
) -> tuple[Assignment, Placement]:
    """A recording whose clock stood still, spread out over the class's bells.

    starts_s: the class's start of each timed block. What comes back is on time that goes on;
    `on_device_clock` is the way back.
    """
    signals = assignment.signals
    pulls = pulls_between_stops(signals)
    planned = _planned(plan, assignment, starts_s)
    assert pulls is not None
    if planned is None:
        return assignment, _nowhere(assignment, 0.0, -np.inf)
    own_s = {
        block.name: start + assignment.delay_s
        for block, start in zip(plan.timed_blocks, starts_s, strict=True)
    }
    pinned = [
        (own_s[name], pin.start_s)
        for name, pin in pins.items()
        if name in own_s and pin.start_s is not None
    ]
    spread = spread_over(
        planned, pulls.chain, lambda bout, late_s: _fits_pins(pulls, bout, late_s, pinned)
    )
    if spread is None:
        return assignment, _nowhere(assignment, 0.0, -np.inf)
    paused_s = np.diff(spread.late_s, prepend=spread.late_s[0])
    paused_s[0] = _lead_in(pulls, float(spread.late_s[0]), pinned)
    stood = np.flatnonzero(paused_s > 0)
    clock = DeviceClock(pulls.restart_s[stood], paused_s[stood])
    first_s = float(spread.late_s[0] - paused_s[0])
    moved = spread_out(signals, clock, pulls.chain.bouts)
    blocks: list[BlockPlacement] = []
    sds: dict[str, float] = {}
    for block in plan.timed_blocks:
        start = own_s[block.name] - first_s
        if start > moved.length_s or start + block.duration_s < 0:
            continue
        half = half_of_shortest_gap(assignment.steps[block.name], block)
        chance, sd = _doubt(spread, pulls, own_s[block.name], half)
        low = start - 2 * sd
        if not pinned and paused_s[0] > 0 and start < pulls.restart_s[0] + paused_s[0]:
            low -= USUAL_LEAD_IN_S - SHORTEST_LEAD_IN_S
        sds[block.name] = sd
        blocks.append(BlockPlacement(block.name, start, low, start + 2 * sd, chance))
    match = (
        1.0
        if pinned
        else _match(spread.log_evidence + shape.amounts, named=bool(signals.upload.athletes))
    )
    if match < 0.5 or not blocks:
        return assignment, _nowhere(assignment, match, spread.log_evidence)
    scored = {block.name for block in plan.timed_blocks if block.score is not None}
    telling = [b.probability for b in blocks if b.block in scored]
    probability = max(telling or [b.probability for b in blocks])
    return replace(assignment, signals=moved), Placement(
        signals.upload.file,
        "aligned" if probability >= SURE_OF_START else "ambiguous",
        probability,
        match,
        first_s,
        tuple(blocks),
        sds,
        spread.log_evidence,
    )


def _nowhere(assignment: Assignment, match: float, log_evidence: float) -> Placement:
    """No place in the class: the pulls are of something else."""
    file = assignment.signals.upload.file
    return Placement(file, "unmatched", match, match, 0.0, (), {}, log_evidence)


def _lead_in(pulls: StoppedPulls, late_s: float, pinned: Sequence[tuple[float, float]]) -> float:
    """How long the clock stood before the first pull, 0 where the file begins with it.

    Nothing in the file tells; a block that a coach saw begin at some time before it does.
    """
    restart_s = float(pulls.restart_s[0])
    if not np.isfinite(restart_s):
        return 0.0
    told = [device - (plan - late_s) for plan, device in pinned if device < restart_s]
    return max(told[0], 0.0) if told else USUAL_LEAD_IN_S


def _fits_pins(
    pulls: StoppedPulls, bout: int, late_s: Floats, pinned: Sequence[tuple[float, float]]
) -> Floats:
    """Log evidence of what a coach fixed by hand: pairs of a block's start on plan and device.

    While the clock ran on around a bout, a start must be shown where it is pinned, and on the
    right side of the stops before and after.
    """
    known_s = pulls.restart_s[: bout + 1][np.isfinite(pulls.restart_s[: bout + 1])]
    coming_s = pulls.restart_s[bout + 1 :][np.isfinite(pulls.restart_s[bout + 1 :])]
    low = known_s[-1] if len(known_s) else -np.inf
    high = coming_s[0] if len(coming_s) else np.inf
    total = np.zeros(len(late_s))
    for plan_s, device_s in pinned:
        off = np.abs(np.clip(plan_s - late_s, low, high) - np.clip(device_s, low, high))
        total -= PINNED * np.clip(off - 1.0, 0.0, 1.0)
    return total


def _match(log_evidence: float, *, named: bool) -> float:
    """Probability that the pulls are of this class; a file without a date has no other evidence."""
    other = ANOTHER_TIME_NAMED if named else ANOTHER_TIME_UNNAMED
    return float(1 / (1 + other / OF_CLASS * np.exp(-np.clip(log_evidence, -50.0, 50.0))))


def _doubt(
    spread: Spread, pulls: StoppedPulls, plan_s: float, half_s: float
) -> tuple[float, float]:
    """How probable a block's start is, within `half_s`, and its standard deviation.

    A start in a pause is where it is if the pull before lies before it and the next pull after it;
    as pulls keep their order, one of the two always holds.
    """
    bouts = pulls.chain.bouts
    ended_s = pulls.restart_s + spread.late_s
    later = np.flatnonzero(ended_s >= plan_s)
    after = int(later[0]) if len(later) else len(bouts)
    chance = 1.0
    if after < len(bouts) and (
        after == 0 or plan_s >= pulls.restart_s[after] + spread.late_s[after - 1]
    ):
        middle_s = [(bout.start_s + bout.end_s) / 2 for bout in bouts]
        if after > 0:
            chance = spread.chance(after - 1, -np.inf, plan_s - middle_s[after - 1])
        chance += spread.chance(after, plan_s - middle_s[after], np.inf) - 1
        nearest = after
    else:
        nearest = max(after - 1, 0)
        best = float(spread.late_s[nearest])
        chance = spread.chance(nearest, best - half_s, best + half_s)
    return float(np.clip(chance, 0.0, 1.0)), max(spread.sd_s(nearest, half_s), LEAST_SD_S)


def spread_out(signals: Signals, clock: DeviceClock, bouts: Sequence[Bout]) -> Signals:
    """The same signals on time that goes on; counts, powers and pulls stay what they are.

    bouts: the signals' own, none of which the clock stood in.
    """
    recording, track = signals.upload.recording, signals.track
    assert recording is not None
    assert track is not None
    moved = _spread_recording(recording, clock)
    heart = signals.heart
    if moved.heart_rate_bpm is not None:
        heart = heart_grid(moved.time_s, moved.heart_rate_bpm)
    return replace(
        signals,
        upload=replace(signals.upload, recording=moved),
        heart=heart,
        track=replace(
            track,
            time_s=clock.running(track.time_s),
            pulls=tuple(
                Pull(*clock.span(pull.start_s, pull.end_s), pull.mean_power_w)
                for pull in track.pulls
            ),
        ),
        bouts=tuple(Bout(*clock.span(bout.start_s, bout.end_s), bout.easy) for bout in bouts),
        length_s=float(moved.time_s[-1]),
        device_clock=clock,
    )


def _spread_recording(recording: Recording, clock: DeviceClock) -> Recording:
    beats = recording.beat_time_s
    ended_s = clock.running(clock.restart_s)
    return replace(
        recording,
        time_s=clock.running(recording.time_s),
        beat_time_s=None if beats is None else clock.running(beats),
        laps=tuple(
            Lap(*clock.span(lap.start_s, lap.end_s), lap.workout_step) for lap in recording.laps
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
