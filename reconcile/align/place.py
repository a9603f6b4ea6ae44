"""Every recording of a class placed: its status, where each block begins, how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import reduce

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment
from reconcile.align.clocks import MACHINE, WATCH, shown_log_prior
from reconcile.align.edges import lap_marks
from reconcile.align.grid import (
    NOTHING,
    STEP_S,
    LogRatio,
    grid_s,
    index_of,
    log_sum_exp,
    log_summed,
)
from reconcile.align.joint import (
    ClassPrior,
    JointEstimate,
    Place,
    Posterior,
    RecordingEvidence,
    StartPrior,
    estimate,
)
from reconcile.align.lag import lags_of
from reconcile.align.signals import Signals
from reconcile.align.sources import (
    HEART_RATE,
    PINNED,
    Findings,
    evidence_by_source,
    heart_says,
)
from reconcile.classes import Pin
from reconcile.plan import Plan, TimedBlock
from reconcile.result import BlockPlacement, Status
from reconcile.timeline import PlannedStep

# Judgement, no source: how often a file is of the class, of another time (within ten days), or of
# something else at the same hour; how often a session of another time has the same shape, however
# well it fits; where the first sample usually lies.
OF_CLASS = 0.93
ANOTHER_TIME_NAMED = 0.06
ANOTHER_TIME_UNNAMED = 0.15
SAME_SHAPE = 0.003
# A file without a date says nothing of its time: what fits poorly is more often of another time
# than the share of such files alone would say.
UNDATED_FACTOR = 400.0
SPREAD_OF_OTHERS_S = 10 * 86400.0
OF_SOMETHING_ELSE = 0.01
USUAL_SPREAD_S = 3600.0
# From which probability a place is taken as known. Pulls are surer than they say: of 33 simulated
# machines' files between the two all were right, of 104 watches nine were not.
SURE, SURE_BY_MACHINE = 0.98, 0.9
CREDIBLE_RIVAL = 0.02
UNDATED_S = 86400.0
# The most that one recording's samples may say for one place against another, nats: hearts and
# wrist sensors mislead more often than machines. Judgement.
HEART_REACH = 9.0
MACHINE_REACH = 25.0
LAP_REACH = 12.0


@dataclass(frozen=True, eq=False)
class Placement:
    """One recording under the class's bell.

    start_s: class time of the recording's first sample (seconds from the stated start).
    match: probability that the recording is of this class. blocks: best first for each block.
    start_sd_s: standard deviation of each listed block's start. posteriors: each timed block's
    distribution of where it begins, kept for showing. told: what the athlete's other recordings,
    or the lines of those who used a machine in turns, say of each class time (grid) of the first
    sample.
    """

    file: str
    status: Status
    probability: float
    match: float
    start_s: float
    blocks: tuple[BlockPlacement, ...]
    block_sd_s: Mapping[str, float]
    joint_support: float
    posteriors: Mapping[str, Posterior] = field(default_factory=dict)
    told: LogRatio = NOTHING

    def moved(self, by_s: float) -> Placement:
        """The same placement on a class clock whose zero lies `by_s` earlier."""
        return replace(self, start_s=self.start_s + by_s)

    def as_nobodys(self) -> Placement:
        """A recording that lies well enough in the class, but is of nobody who took part."""
        return replace(self, status="unmatched", blocks=(), block_sd_s={})


@dataclass(frozen=True)
class Shape:
    """What a recording has of its class wherever it lies in it: log ratios against another workout.

    length: of `as_long_as_others`. amounts: of `as_much_as_planned`.
    """

    length: float = 0.0
    amounts: float = 0.0


def reach_of(signals: Signals, *, pinned: bool) -> float:
    """The most that a recording's samples may say for one place against another, nats."""
    reach = MACHINE_REACH if signals.track is not None else HEART_REACH
    recording = signals.upload.recording
    if recording is not None and len(lap_marks(recording.laps, signals.length_s)):
        reach += LAP_REACH
    return reach + PINNED if pinned else reach


def recording_evidence(
    assignment: Assignment,
    plan: Plan,
    prior: ClassPrior,
    stated_start: datetime,
    pins: Mapping[str, Pin],
    findings: Findings,
) -> RecordingEvidence:
    """Evidence of one recording on the grid of where its first sample may lie in the class."""
    signals = assignment.signals
    recording = signals.upload.recording
    assert recording is not None
    told = [
        evidence_by_source(assignment, block, pins.get(block.name), findings)
        for block in plan.timed_blocks
    ]
    hearts = tuple(sources.get(HEART_RATE, NOTHING) for sources in told)
    blocks = tuple(
        heart if sources.keys() <= {HEART_RATE} else reduce(LogRatio.plus, sources.values())
        for sources, heart in zip(told, hearts, strict=True)
    )
    last_block = plan.timed_blocks[-1]
    last_start = prior.starts[-1]
    first = prior.starts[0].first - index_of(signals.length_s) + index_of(assignment.delay_s)
    last = (
        last_start.first
        + len(last_start.values)
        + index_of(last_block.duration_s + assignment.delay_s)
    )
    x_s = grid_s(first, last)
    if recording.start is None:
        clock = np.full(len(x_s), np.log(STEP_S / UNDATED_S))
    else:
        habits = MACHINE if signals.track is not None else WATCH
        clock = shown_log_prior(recording, stated_start, x_s, habits) + np.log(STEP_S)
    evidence = RecordingEvidence(
        index_of(assignment.delay_s),
        blocks,
        hearts,
        first,
        clock,
        index_of(signals.length_s),
        reach_of(signals, pinned=bool(pins)),
    )
    return replace(evidence, ways=_ways(assignment, plan, told, evidence, findings))


def _ways(
    assignment: Assignment,
    plan: Plan,
    told: Sequence[Mapping[str, LogRatio]],
    evidence: RecordingEvidence,
    findings: Findings,
) -> tuple[tuple[float, RecordingEvidence], ...]:
    """The evidence of one recording in each way in which its device may be late all along.

    told: what each source says of each block; a heart says it in one way or another.
    """
    lags = lags_of(strap=assignment.signals.by_strap)
    if len(lags) < 2 or not any(HEART_RATE in sources for sources in told):
        return ()
    ways: list[list[LogRatio]] = [[] for _ in lags]
    for block, sources in zip(plan.timed_blocks, told, strict=True):
        rest = [ratio for name, ratio in sources.items() if name != HEART_RATE]
        if HEART_RATE not in sources:
            hearts: tuple[LogRatio, ...] = (NOTHING,) * len(lags)
        else:
            hearts = heart_says(assignment, block, findings).by_lag
        for way, heart in zip(ways, hearts, strict=True):
            way.append(reduce(LogRatio.plus, rest, heart))
    return tuple(
        (float(np.log(lag.share)), replace(evidence, blocks=tuple(way)))
        for lag, way in zip(lags, ways, strict=True)
    )


def fit_under_bell(
    assignment: Assignment,
    plan: Plan,
    bells: Sequence[int],
    stated_start: datetime,
    findings: Findings,
) -> tuple[float, float]:
    """How well a recording fits its timeline (log), and the class time of its first sample, s.

    The bell is taken as known. bells: grid index of each timed block's start.
    """
    prior = ClassPrior(
        tuple(StartPrior(start, np.zeros(1)) for start in bells),
        (),
        tuple(index_of(block.duration_s) for block in plan.timed_blocks),
    )
    evidence = recording_evidence(assignment, plan, prior, stated_start, {}, findings)
    each = []
    for share, way in evidence.each_way:
        weights = share + evidence.clock
        for number, start in enumerate(bells):
            weights = weights + way.given_start(number, start)
        each.append(weights)
    weights = log_summed(each)
    return log_sum_exp(weights), (evidence.first + int(np.argmax(weights))) * STEP_S


def place(
    plan: Plan,
    prior: ClassPrior,
    stated_start: datetime,
    assignments: Sequence[Assignment],
    pins: Mapping[str, Mapping[str, Pin]],
    findings: Findings,
) -> tuple[JointEstimate, list[RecordingEvidence]]:
    """The bell and the place of every recording of one group that hears the same bell.

    With them the evidence of each, from which `summed_up` makes a placement.
    """
    evidence = [
        recording_evidence(
            assignment,
            plan,
            prior,
            stated_start,
            pins.get(assignment.signals.upload.file, {}),
            findings,
        )
        for assignment in assignments
    ]
    return estimate(prior, evidence), evidence


def summed_up(
    plan: Plan,
    assignment: Assignment,
    evidence: RecordingEvidence,
    bells: Sequence[int],
    place: Place,
    shape: Shape,
) -> Placement:
    """A recording's placement in words and ranges.

    bells: grid index of each timed block's start.
    """
    signals = assignment.signals
    recording = signals.upload.recording
    match = _match(
        plan,
        evidence,
        bells,
        signals.length_s,
        named=bool(signals.upload.athletes),
        dated=recording is not None and recording.start is not None,
        shape=shape,
    )
    x_s = _mode_mean(place.clock)
    blocks: list[BlockPlacement] = []
    sds: dict[str, float] = {}
    probabilities: list[float] = []
    for block, posterior in zip(plan.timed_blocks, place.blocks, strict=True):
        half = half_of_shortest_gap(assignment.steps[block.name], block)
        sharpest = _around_mode(posterior, half)
        modes = [sharpest, *_rivals(posterior, sharpest, half)]
        modes.sort(key=lambda mode: -mode.probability)
        best = modes[0]
        if best.start_s > signals.length_s or best.start_s + block.duration_s < 0:
            continue
        sds[block.name] = best.sd_s
        probabilities.append(best.probability)
        blocks += [
            BlockPlacement(block.name, mode.start_s, mode.low_s, mode.high_s, mode.probability)
            for mode in modes
        ]
    status: Status
    if match < 0.5 or not blocks:
        status, probability = "unmatched", match
        blocks = []
    else:
        scored = {block.name for block in plan.timed_blocks if block.score is not None}
        telling = [b.probability for b in blocks if b.block in scored] or probabilities
        probability = max(telling)
        sure = SURE if signals.track is None else SURE_BY_MACHINE
        status = "aligned" if probability >= sure else "ambiguous"
        if status == "aligned":
            seen: set[str] = set()
            blocks = [b for b in blocks if not (b.block in seen or seen.add(b.block))]  # type: ignore[func-returns-value]
    return Placement(
        signals.upload.file,
        status,
        probability,
        match,
        x_s,
        tuple(blocks),
        sds,
        place.support,
        {b.name: p for b, p in zip(plan.timed_blocks, place.blocks, strict=True)},
    )


def half_of_shortest_gap(steps: Sequence[PlannedStep], block: TimedBlock) -> float:
    """Half of the shortest time between two work starts of a block; half its length if only one."""
    starts = sorted(step.start_s for step in steps if step.kind == "work")
    if len(starts) < 2:
        return block.duration_s / 2
    return float(np.min(np.diff(starts))) / 2


def _match(
    plan: Plan,
    evidence: RecordingEvidence,
    bells: Sequence[int],
    length_s: float,
    *,
    named: bool,
    dated: bool,
    shape: Shape,
) -> float:
    """Probability that the recording is of this class, not of another time or of something else."""
    x = np.arange(evidence.first, evidence.last + 1) * STEP_S
    log_weights = evidence.clock.copy()
    overlaps = np.zeros(len(x), dtype=bool)
    for number, block in enumerate(plan.timed_blocks):
        log_weights = log_weights + evidence.given_start(number, bells[number])
        start_s = (bells[number] + evidence.delay) * STEP_S - x
        overlaps |= (start_s < length_s - 30.0) & (start_s + block.duration_s > 30.0)
    # Densities (1/s) of the time that the clock shows, if the recording is of the class and if not.
    per_second = 1 / (STEP_S * USUAL_SPREAD_S)
    shown = np.exp(evidence.clock)
    top = max(float(np.max(log_weights)), 0.0)
    matched = (
        OF_CLASS
        * per_second
        * np.exp(log_weights - top)[overlaps].sum()
        * np.exp(shape.length + shape.amounts)
    )
    samples_say = log_weights - evidence.clock
    # A session of the same shape at another time began as long after the first sample as this one
    # may have.
    fits = (
        float(np.sum(np.exp(samples_say - np.max(samples_say))))
        * np.exp(min(float(np.max(samples_say)) - top, 50.0))
        * STEP_S
        / USUAL_SPREAD_S
    )
    of_another = (ANOTHER_TIME_NAMED if named else ANOTHER_TIME_UNNAMED) / SPREAD_OF_OTHERS_S
    if not dated:
        of_another *= UNDATED_FACTOR
    other = of_another * (np.exp(-top) + SAME_SHAPE * fits * np.exp(shape.amounts))
    other += OF_SOMETHING_ELSE * per_second * shown[overlaps].sum() * np.exp(-top)
    return float(matched / (matched + other))


@dataclass(frozen=True)
class _Mode:
    start_s: float
    low_s: float
    high_s: float
    sd_s: float
    probability: float


def _around_mode(posterior: Posterior, half_s: float, exclude: Floats | None = None) -> _Mode:
    """The heaviest window of ± half_s: its mean, 95 % range and mass."""
    weights = posterior.weights if exclude is None else posterior.weights * exclude
    half = max(int(half_s / STEP_S), 1)
    smooth = np.convolve(weights, np.ones(min(5, 2 * half + 1)), mode="same")
    peak = int(np.argmax(smooth))
    low, high = max(peak - half, 0), min(peak + half + 1, len(weights))
    window = weights[low:high]
    mass = float(window.sum())
    index = np.arange(low, high)
    cumulative = np.cumsum(window) / mass
    grid = np.asarray((posterior.first + index) * STEP_S, dtype=np.float64)
    mean = float(np.dot(window, grid) / mass)
    sd = float(np.sqrt(np.dot(window, (grid - mean) ** 2) / mass + STEP_S**2 / 12))
    # Half a step is added: a point of the grid stands for its neighbourhood.
    low_s, high_s = _shortest_range(cumulative, grid)
    start = float(np.interp(0.5, cumulative - np.diff(cumulative, prepend=0.0) / 2, grid))
    return _Mode(start, low_s - STEP_S / 2, high_s + STEP_S / 2, sd, min(mass, 1.0))


def _shortest_range(cumulative: Floats, grid: Floats) -> tuple[float, float]:
    """The shortest range that holds 95 %.

    Where a clock is probably right and perhaps out by anything, equal tails would reach far into
    what is only perhaps.
    """
    below = np.linspace(0.0, 0.05, 51)
    low_s = np.interp(below, cumulative, grid)
    high_s = np.interp(below + 0.95, cumulative, grid)
    shortest = int(np.argmin(high_s - low_s))
    return float(low_s[shortest]), float(high_s[shortest])


def _mode_mean(posterior: Posterior) -> float:
    return _around_mode(posterior, 20.0).start_s


def _rivals(posterior: Posterior, best: _Mode, half_s: float) -> list[_Mode]:
    """Other credible places of the block."""
    grid = (posterior.first + np.arange(len(posterior.weights))) * STEP_S
    free = (np.abs(grid - best.start_s) > half_s).astype(float)
    rivals: list[_Mode] = []
    while len(rivals) < 3 and float((posterior.weights * free).sum()) > CREDIBLE_RIVAL:
        rival = _around_mode(posterior, half_s, free)
        if rival.probability < CREDIBLE_RIVAL:
            break
        rivals.append(rival)
        free = free * (np.abs(grid - rival.start_s) > half_s)
    return rivals
