"""What one recording's place rests on: its signal, the answer fitted to it, and who says what.

Everything is worked out anew from a placed recording, so that what is shown is what was used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment, assign
from reconcile.align.clocks import ahead_s
from reconcile.align.grid import NOTHING, LogRatio, grid_s, index_of
from reconcile.align.heart import (
    ANSWER_S,
    HEART_STEP_S,
    RESPONSES,
    WHITENING,
    WHITENING_LAG,
    block_demand,
    responses_to,
)
from reconcile.align.joint import Posterior
from reconcile.align.lag import LONGEST_LAG_S
from reconcile.align.place import Placement, half_of_shortest_gap, reach_of
from reconcile.align.sources import Findings, evidence_by_source
from reconcile.align.whole_class import Placed
from reconcile.classes import ClassRecord
from reconcile.plan import TimedBlock
from reconcile.result import Status
from reconcile.sheet import athlete_steps
from reconcile.timeline import PlannedStep

# Rivals this likely are shown, wherever they lie; the places a round away always are.
SHOWN_RIVAL = 0.01
MOST_RIVALS = 3
# Below this a distribution is rounding and no more.
UNLIKELY = 1e-9
# A place is as likely as the likeliest point so near to it.
NEAR_S = 2.0
# Heart rate (2 s apart) that a fit needs.
LEAST_SAMPLES = 30
# The name of what is not in the samples: the device's clock, the class's bell as everybody's
# recordings tell it, the stated start, and where this recording's other blocks lie.
CLOCK_AND_CLASS = "clock and class"
# The name of what the same athlete's other recordings say.
OWN_OTHER_FILES = "own other files"
# The name of what its owners' lines say of a machine that they used in turns.
WRITTEN_DOWN = "what was written down"


@dataclass(frozen=True)
class Candidate:
    """A place where a block may begin on a recording.

    start_s: seconds from the first sample. probability: that the block begins near it, within half
    of the shortest time between two work starts. says: by source, the log of how much better it
    explains this place than the likeliest one, as far as it was counted.
    """

    start_s: float
    probability: float
    says: dict[str, float]


@dataclass(frozen=True, eq=False)
class FittedAnswer:
    """Heart rate as the model has it, for one block at its likeliest place.

    time_s, bpm: the curve. delay_s: how late the heart answers. rise_s, fall_s: time constants.
    """

    time_s: Floats
    bpm: Floats
    delay_s: float
    rise_s: float
    fall_s: float


@dataclass(frozen=True, eq=False)
class ExplainedBlock:
    """What tells where one timed block begins on a recording.

    start_s: candidate starts, an even grid. log_ratio: what the samples say of each, against no
    such block. candidates: the likeliest first. clock_start_s: where the device's clock alone would
    have it, the class's bell being known; None without a date.
    """

    block: str
    steps: tuple[PlannedStep, ...]
    start_s: Floats
    log_ratio: Floats
    candidates: tuple[Candidate, ...]
    clock_start_s: float | None
    fitted: FittedAnswer | None


@dataclass(frozen=True, eq=False)
class ExplainedRecording:
    """One recording's evidence, on its own clock (seconds from the first sample).

    match: probability that it is of this class. ownership: that it is of its owners. odds: of each
    owner, likeliest first, None being nobody of this class; empty where nothing was weighed against
    the name on it. spread_out: the device's clock stood still in pauses, which are put back here.
    """

    file: str
    status: Status
    match: float
    owners: tuple[str, ...]
    ownership: float
    odds: tuple[tuple[str | None, float], ...]
    spread_out: bool
    time_s: Floats
    heart_rate_bpm: Floats | None
    power_w: Floats | None
    pulls: tuple[tuple[float, float], ...]
    blocks: tuple[ExplainedBlock, ...]


def explain(record: ClassRecord, placed: Mapping[str, Placed], file: str) -> ExplainedRecording:
    """What a recording's place and owner rest on; placed: every recording of the class by file."""
    item = placed[file]
    signals, placement = item.signals, item.placement
    recording = signals.upload.recording
    assert recording is not None
    timelines = {a.athlete: athlete_steps(record, a) for a in record.athletes}
    assignment = assign(record, signals, item.owners or signals.upload.athletes, timelines)
    bells_s = _bells(record, placed, assignment, item)
    track = signals.track
    return ExplainedRecording(
        placement.file,
        placement.status,
        placement.match,
        item.owners,
        item.ownership,
        item.odds,
        signals.device_clock is not None,
        recording.time_s,
        recording.heart_rate_bpm,
        None if track is None else track.pulled_power_w,
        () if track is None else tuple((pull.start_s, pull.end_s) for pull in track.pulls),
        tuple(
            explained
            for block in record.plan.timed_blocks
            if (explained := _block(record, item, assignment, block, bells_s)) is not None
        ),
    )


def _bells(
    record: ClassRecord, placed: Mapping[str, Placed], assignment: Assignment, own: Placed
) -> dict[str, float]:
    """When the blocks of this recording's athlete began on the class clock, as told by the surest.

    Somebody who trained alone heard no bell but their own.
    """
    people = {a.athlete: a for a in record.athletes}
    alone = any(people[name].start is not None for name in own.owners if name in people)
    surest: dict[str, tuple[float, float]] = {}
    for item in [own] if alone else placed.values():
        owner = people.get(item.owners[0]) if item.owners else None
        if item.placement.status != "aligned" or (not alone and owner and owner.start):
            continue
        late_s = owner.delay_s if owner is not None else 0.0
        for block in item.placement.blocks:
            found = (
                item.placement.block_sd_s.get(block.block, np.inf),
                item.placement.start_s + block.start_s - late_s + assignment.delay_s,
            )
            surest[block.block] = min(surest.get(block.block, found), found)
    return {block: start_s for block, (_, start_s) in surest.items()}


def _block(
    record: ClassRecord,
    item: Placed,
    assignment: Assignment,
    block: TimedBlock,
    bells_s: Mapping[str, float],
) -> ExplainedBlock | None:
    """One block's evidence; None where the recording has no part of the block."""
    steps, recording = assignment.steps[block.name], item.signals.upload.recording
    half_s = half_of_shortest_gap(steps, block)
    posterior = item.placement.posteriors.get(block.name)
    places = [(b.start_s, b.probability) for b in item.placement.blocks if b.block == block.name]
    if not places and posterior is not None and item.placement.status == "unmatched":
        places = [_likeliest(posterior, half_s, [])]
    if not places:
        return None
    if posterior is not None:
        places = _with_rivals(posterior, places, half_s)
    pins = {
        p.block: p for p in record.pins if p.file == item.placement.file and p.start_s is not None
    }
    sources = evidence_by_source(assignment, block, pins.get(block.name), Findings())
    whole = NOTHING
    for ratio in sources.values():
        whole = whole.plus(ratio)
    first = index_of(min(start for start, _ in places) - half_s)
    last = index_of(max(start for start, _ in places) + half_s)
    clock_start_s = None
    if recording is not None and recording.start is not None and block.name in bells_s:
        out_s = ahead_s(recording, record.start, item.placement.start_s)
        clock_start_s = bells_s[block.name] - item.placement.start_s - out_s
    return ExplainedBlock(
        block.name,
        steps,
        grid_s(first, last),
        whole.on(first, last - first + 1),
        _weighed(
            places,
            sources,
            whole,
            item.placement,
            WRITTEN_DOWN if len(item.owners) > 1 else OWN_OTHER_FILES,
            posterior,
            reach_of(item.signals, pinned=bool(pins)),
        ),
        clock_start_s,
        fitted_answer(item.signals.heart, places[0][0], steps),
    )


def _likeliest(
    posterior: Posterior, half_s: float, taken_s: Sequence[float], near_s: float | None = None
) -> tuple[float, float]:
    """(start, probability) of the likeliest window of ± half_s clear of the places taken.

    near_s: look only around here, and stay here where nowhere is likelier.
    """
    at_s = grid_s(posterior.first, posterior.first + len(posterior.weights) - 1)
    free = np.ones(len(at_s), dtype=bool)
    if near_s is not None:
        free = np.abs(at_s - near_s) <= half_s / 2
    for taken in taken_s:
        free &= np.abs(at_s - taken) > half_s
    weights = np.where(free, posterior.weights, 0.0)
    peak_s = float(at_s[int(np.argmax(weights))])
    if near_s is not None:
        edges_s = at_s[np.flatnonzero(free)[[0, -1]]] if free.any() else np.zeros(2)
        if weights.sum() < UNLIKELY or peak_s in edges_s:  # no peak of its own: a tail of another
            return near_s, float(weights.sum())
    return peak_s, float(weights[np.abs(at_s - peak_s) <= half_s].sum())


def _with_rivals(
    posterior: Posterior, places: Sequence[tuple[float, float]], half_s: float
) -> list[tuple[float, float]]:
    """The places with every credible rival, and in any case those a round away, likeliest first."""
    found = list(places)
    while len(found) <= MOST_RIVALS:
        rival = _likeliest(posterior, half_s, [start for start, _ in found])
        if rival[1] < SHOWN_RIVAL:
            break
        found.append(rival)
    for away_s in (-2 * half_s, 2 * half_s):
        taken = [start for start, _ in found]
        near_s = places[0][0] + away_s
        if all(abs(near_s - start) > half_s for start in taken):
            found.append(_likeliest(posterior, half_s, taken, near_s))
    return [found[0], *sorted(found[1:], key=lambda place: -place[1])]


def _weighed(
    places: Sequence[tuple[float, float]],
    sources: Mapping[str, LogRatio],
    whole: LogRatio,
    placement: Placement,
    told_by: str,
    posterior: Posterior | None,
    reach: float,
) -> tuple[Candidate, ...]:
    """The places with what each source says of them, against the first of them.

    told_by: the name of what `Placement.told` holds.
    """
    at = np.array([index_of(start) for start, _ in places])
    together = whole.at(at)
    counted = np.logaddexp(together, max(float(np.max(whole.values)), 0.0) - reach)
    spoken, counted = together - together[0], counted - counted[0]
    # What is beyond the reach of samples was not counted: every source is cut by the same share.
    share = np.divide(counted, spoken, out=np.ones(len(at)), where=np.abs(spoken) > 1e-9)
    says = {
        name: (ratio.at(at) - ratio.at(at[:1])) * np.clip(share, 0.0, 1.0)
        for name, ratio in sources.items()
    }
    if posterior is not None:
        near = np.abs(
            posterior.first + np.arange(len(posterior.weights)) - at[:, None]
        ) <= index_of(NEAR_S)
        peaks = np.log(np.max(np.where(near, posterior.weights, 0.0), axis=1) + UNLIKELY**2)
        told = placement.told.at(index_of(placement.start_s) + at[0] - at)
        told = told - told[0]
        if placement.told.values.any():
            says[told_by] = told
        says[CLOCK_AND_CLASS] = peaks - peaks[0] - counted - told
    return tuple(
        Candidate(start, probability, {name: float(each[number]) for name, each in says.items()})
        for number, (start, probability) in enumerate(places)
    )


def fitted_answer(
    heart: Floats, start_s: float, steps: Sequence[PlannedStep]
) -> FittedAnswer | None:
    """The answer of the model in `reconcile.align.heart` that fits a block at this start best.

    heart: heart rate every 2 s. None where the heart rate covers too little of the block.
    """
    demand = block_demand(steps)
    first = round(start_s / HEART_STEP_S)
    low, high = max(first, 0), min(first + demand.shape[1], len(heart))
    if high - low < LEAST_SAMPLES or np.isfinite(heart[low:high]).sum() < LEAST_SAMPLES:
        return None
    time_s = np.arange(low, high) * HEART_STEP_S
    trend = np.stack([np.ones(high - low), np.linspace(-1, 1, high - low)])
    target = _whitened(heart[low:high])
    good = np.isfinite(target)
    best: tuple[float, FittedAnswer] | None = None
    for answers, (rise_s, fall_s) in zip(responses_to(demand), RESPONSES, strict=True):
        for late in range(int((ANSWER_S + LONGEST_LAG_S) / HEART_STEP_S) + 1):
            delayed = np.pad(answers, ((0, 0), (late, 0)))[:, low - first : high - first]
            design = np.concatenate([trend, delayed])
            white = _whitened(design)[:, good]
            heights = np.linalg.lstsq(white.T, target[good], rcond=None)[0]
            rss = float(np.sum((target[good] - heights @ white) ** 2))
            if best is None or rss < best[0]:
                curve = FittedAnswer(time_s, heights @ design, late * HEART_STEP_S, rise_s, fall_s)
                best = rss, curve
    return None if best is None else best[1]


def _whitened(values: Floats) -> Floats:
    return values[..., WHITENING_LAG:] - WHITENING * values[..., :-WHITENING_LAG]
