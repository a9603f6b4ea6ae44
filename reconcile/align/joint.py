"""One estimate of where the timed blocks lie, for everybody who hears the same bell.

Unknown are the true start T_b of each timed block on the class clock (seconds from the stated
start) and, for each recording, the class time x_r of its first sample. A block's start on the
recording is s = T_b + delay − x_r. Evidence from the samples bears on s, the device's clock on
x_r, the stated start and the lengths of free blocks on T. For given T the recordings are
independent and each x_r is summed out exactly on its grid, so T is found by moving one block, or
one block and all after it, at a time, each over its whole range; several starting points and the
explicit moves by whole blocks keep it from settling a round off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.align.grid import (
    NOTHING,
    STEP_S,
    LogRatio,
    blurred,
    log_sum_exp,
    log_summed,
    normal_weights,
)
from reconcile.filters import convolve_full

Bools = NDArray[np.bool_]

# A recording may mislead about the bell (another round, an odd heart): no single one may move the
# class by more than this share of doubt allows.
MISLEADING = 0.01
SWEEPS = 4
# A recording overlaps a block from half a minute on (grid steps); where it overlaps none it is not
# of the class, which is judged apart.
LEAST_OVERLAP = 60
NOT_OF_CLASS = 30.0
# A way in which a device may be late is not looked at where it is less likely than this.
UNLIKELY_WAY = 1e-3
# What everybody does alike (a second late at every bell) is in no recording's own doubt: the bell
# is never known better than this.
COMMON_DOUBT_SD_S = 0.4
# Hearts may all answer a block's work sooner or later than is usual, however many they are. It is
# part of what one heart's delay is in doubt by, and kept beside it: a little too much rather than
# too little. Judgement.
HEARTS_COMMON_SD_S = 2.5
COMMON_DOUBT, HEARTS_DOUBT = normal_weights(COMMON_DOUBT_SD_S), normal_weights(HEARTS_COMMON_SD_S)


@dataclass(frozen=True, eq=False)
class RecordingEvidence:
    """What one recording has to say.

    delay: its athlete's delay in grid steps. blocks: evidence per timed block. hearts: as much of
    it as heart rate alone says.
    first: grid index of the first candidate of x. clock: log prior of x on its grid (per step;
    what is missing to 1 is the chance that the recording is of another time altogether).
    length: grid steps from the first sample to the last. reach: the most that the samples may say
    for one place against another (nats), sensors being what they are. ways: where the device may
    have been late in one way or another all along, the log share and the evidence in each way;
    `blocks` then mixes them block by block.
    """

    delay: int
    blocks: tuple[LogRatio, ...]
    hearts: tuple[LogRatio, ...]
    first: int
    clock: Floats
    length: int
    reach: float = 20.0
    ways: tuple[tuple[float, RecordingEvidence], ...] = ()

    @property
    def each_way(self) -> tuple[tuple[float, RecordingEvidence], ...]:
        """The ways, or the one that there is."""
        return self.ways or ((0.0, self),)

    @property
    def last(self) -> int:
        """Grid index of the last candidate of x."""
        return self.first + len(self.clock) - 1

    def given_start(self, block: int, start: int) -> Floats:
        """Evidence of one block over the grid of x, if the class starts it at index `start`."""
        low = start + self.delay - self.last
        return self.blocks[block].on(low, len(self.clock))[::-1]


@dataclass(frozen=True, eq=False)
class StartPrior:
    """Log prior of a block's start, over grid indices from `first` on."""

    first: int
    values: Floats


@dataclass(frozen=True, eq=False)
class ClassPrior:
    """Beliefs about the bell before any recording is looked at.

    starts: per block, the range of start and its own log prior (the stated start for the first
    block, a clock page's record for any). gaps: per pair of neighbours, the log prior of the time
    between their starts; `gaps[b].first` is the shortest gap considered. durations: of the blocks,
    in grid steps.
    """

    starts: tuple[StartPrior, ...]
    gaps: tuple[StartPrior, ...]
    durations: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Posterior:
    """A distribution over grid indices `first`, `first` + 1, …; sums to 1."""

    first: int
    weights: Floats

    def mean_s(self) -> float:
        """Mean, seconds."""
        return float(np.dot(self.weights, np.arange(len(self.weights))) + self.first) * STEP_S

    def likeliest_s(self) -> float:
        """The likeliest point, seconds."""
        return (self.first + int(np.argmax(self.weights))) * STEP_S

    def sd_s(self) -> float:
        """Standard deviation, seconds."""
        index = np.arange(len(self.weights))
        mean = float(np.dot(self.weights, index))
        return float(np.sqrt(np.dot(self.weights, (index - mean) ** 2))) * STEP_S


@dataclass(frozen=True, eq=False)
class Said:
    """What is said of a bell over its candidate times (log): by hearts, and by all the rest."""

    hearts: Floats
    rest: Floats

    def plus(self, other: Said) -> Said:
        """Both together."""
        return Said(self.hearts + other.hearts, self.rest + other.rest)

    def minus(self, other: Said) -> Said:
        """Without what the other says."""
        return Said(self.hearts - other.hearts, self.rest - other.rest)

    def weighed(self) -> Floats:
        """All together, with the doubt that hearts share."""
        share = np.exp(self.hearts - np.max(self.hearts))
        return np.asarray(self.rest + np.log(np.maximum(blurred(share, HEARTS_DOUBT), 1e-300)))


@dataclass(frozen=True, eq=False)
class Bell:
    """What is said of one block's start given the other blocks: grid indices from `first` on.

    said_by: what of it each recording says.
    """

    first: int
    said: Said
    said_by: Mapping[RecordingEvidence, Said] = field(default_factory=dict)

    @property
    def posterior(self) -> Posterior:
        """Its distribution."""
        return normalised(self.first, self.said.weighed())


@dataclass(frozen=True, eq=False)
class Place:
    """Where one recording lies.

    clock: distribution of the class time of its first sample. blocks: distribution of each block's
    start on it (grid of s). support: log of how much better the recording is explained by the class
    than by anything else, its clock prior included. ways: for each way in which the device may have
    been late, how probable it is, and `clock` if it is so.
    """

    clock: Posterior
    blocks: tuple[Posterior, ...]
    support: float
    ways: tuple[tuple[float, Posterior], ...]


@dataclass(frozen=True, eq=False)
class JointEstimate:
    """The bell and every recording's place under it.

    starts: best grid index of each block's start. bells: what is said of each, given the other
    blocks at their best. places: of each recording.
    """

    starts: tuple[int, ...]
    bells: tuple[Bell, ...]
    places: tuple[Place, ...]


def normalised(first: int, log_weights: Floats) -> Posterior:
    """A posterior from log weights."""
    weights = np.exp(log_weights - np.max(log_weights))
    return Posterior(first, weights / weights.sum())


class _Search:
    """Holds what every move needs: the evidence and the prior."""

    def __init__(self, prior: ClassPrior, recordings: Sequence[RecordingEvidence]) -> None:
        self.prior = prior
        self.recordings = recordings
        self.blocks = range(len(prior.starts))
        self._bells: dict[tuple[int, frozenset[tuple[int, int]]], Bell] = {}

    def weights(self, recording: RecordingEvidence, starts: dict[int, int]) -> Floats:
        """Log weight over x of one recording, given the starts of some blocks."""
        evidence = np.zeros(len(recording.clock))
        for block, start in starts.items():
            evidence += recording.given_start(block, start)
        return recording.clock + limited(evidence, recording.reach)

    def overlaps(self, recording: RecordingEvidence, starts: Mapping[int, int]) -> Bools:
        """For each x, whether the recording then covers part of any timed block."""
        x = np.arange(recording.first, recording.last + 1)
        covered = np.zeros(len(x), dtype=bool)
        for block, start in starts.items():
            begins = start + recording.delay - x
            covered |= (begins < recording.length - LEAST_OVERLAP) & (
                begins + self.prior.durations[block] > LEAST_OVERLAP
            )
        return covered

    def message(
        self, recording: RecordingEvidence, weights: Floats, ratio: LogRatio, first: int, count: int
    ) -> Floats:
        """Log Σ_x exp(weights + ratio(T + delay − x)) for `count` values of T from `first`."""
        top = float(np.max(weights))
        mass = np.exp(weights - top)
        kept = np.flatnonzero(mass > 1e-9)
        low, high = int(kept[0]), int(kept[-1]) + 1
        mass = mass[low:high]
        peak, lift = ratio.lift
        summed = convolve_full(mass, lift) if len(mass) > 1 else mass[0] * lift
        offset = recording.first + low + ratio.first - recording.delay
        at = np.arange(first, first + count) - offset
        inside = (at >= 0) & (at < len(summed))
        values = np.where(inside, summed[np.clip(at, 0, len(summed) - 1)], 0.0)
        base = float(np.sum(mass)) * np.exp(-peak)
        # FFT noise is relative to the largest term; below that a value is as good as the floor.
        floor = max(1e-12 * float(np.max(summed, initial=0.0)), 0.0)
        return np.asarray(top + peak + np.log(np.maximum(values + base, floor + 1e-300)))

    def said_by(
        self,
        recording: RecordingEvidence,
        weights: Floats,
        ratios: tuple[LogRatio, LogRatio],
        first: int,
        count: int,
    ) -> Said:
        """What one recording says of `count` bells from `first`, given log weights over its x.

        ratios: its evidence, and as much of it as is the heart's.
        """
        evidence, of_heart = ratios
        heart, whole = np.zeros(count), np.zeros(count)
        if len(of_heart.values) > 1:
            heart = self.bounded(self.message(recording, weights, of_heart, first, count))
        if evidence is of_heart:
            return Said(heart, whole)
        if len(evidence.values) > 1:
            whole = self.bounded(self.message(recording, weights, evidence, first, count))
        return Said(heart, whole - heart)

    def bounded(self, message: Floats) -> Floats:
        """A message that cannot say more than its share of doubt allows."""
        share = np.exp(message - np.max(message))
        share /= share.sum()
        return np.asarray(np.log((1 - MISLEADING) * share + MISLEADING / len(share)))

    def chain_prior(self, block: int, starts: dict[int, int], first: int, count: int) -> Floats:
        """Log prior of a block's start given the neighbours that are placed."""
        at = np.arange(first, first + count)
        own = self.prior.starts[block]
        total = _look_up(own, at)
        if block - 1 in starts:
            total = total + _look_up(self.prior.gaps[block - 1], at - starts[block - 1])
        if block + 1 in starts:
            total = total + _look_up(self.prior.gaps[block], starts[block + 1] - at)
        return total

    def single_move(self, block: int, starts: dict[int, int]) -> Bell:
        """What is said of one block's start, the placed ones held, the others ignored."""
        others = {b: s for b, s in starts.items() if b != block}
        key = block, frozenset(others.items())
        if key not in self._bells:
            self._bells[key] = self._bell(block, others)
        return self._bells[key]

    def _bell(self, block: int, others: dict[int, int]) -> Bell:
        own = self.prior.starts[block]
        count = len(own.values)
        said_by = {
            recording: self.said_by(
                recording,
                self.weights(recording, others),
                (recording.blocks[block], recording.hearts[block]),
                own.first,
                count,
            )
            for recording in self.recordings
            if len(recording.blocks[block].values) > 1
        }
        prior = Said(np.zeros(count), self.chain_prior(block, others, own.first, count))
        return Bell(own.first, reduce(Said.plus, said_by.values(), prior), said_by)

    def tail_move(self, block: int, starts: dict[int, int]) -> int:
        """Best shift (grid steps) of a block together with all after it, the others held."""
        low = max(self.prior.starts[b].first - starts[b] for b in self.blocks if b >= block)
        high = min(
            self.prior.starts[b].first + len(self.prior.starts[b].values) - 1 - starts[b]
            for b in self.blocks
            if b >= block
        )
        count = high - low + 1
        shifts = np.arange(low, high + 1)
        total = np.zeros(count)
        for b in self.blocks:
            if b >= block:
                total += _look_up(self.prior.starts[b], starts[b] + shifts)
        if block > 0:
            total += _look_up(
                self.prior.gaps[block - 1], starts[block] - starts[block - 1] + shifts
            )
        said = Said(np.zeros(count), total)
        held = {b: s for b, s in starts.items() if b < block}
        for recording in self.recordings:
            tails = self._tail(recording, block, starts)
            if len(tails[0].values) > 1:
                weights = self.weights(recording, held)
                said = said.plus(
                    self.said_by(recording, weights, tails, starts[block] + low, count)
                )
        return int(shifts[int(np.argmax(said.weighed()))])

    def _tail(
        self, recording: RecordingEvidence, block: int, starts: Mapping[int, int]
    ) -> tuple[LogRatio, LogRatio]:
        """Evidence of a block and all after it, at their distances, and the heart's part of it."""

        def together(ratios: Sequence[LogRatio]) -> LogRatio:
            moved = (
                LogRatio(ratios[b].first - (starts[b] - starts[block]), ratios[b].values)
                for b in self.blocks
                if b >= block and len(ratios[b].values) > 1
            )
            return reduce(LogRatio.plus, moved, NOTHING)

        of_heart = together(recording.hearts)
        if all(recording.blocks[b] is recording.hearts[b] for b in self.blocks if b >= block):
            return of_heart, of_heart
        return together(recording.blocks), of_heart


def limited(evidence: Floats, reach: float) -> Floats:
    """Evidence of which the best says at most `reach` more than the worst."""
    least = np.max(evidence) - reach
    return np.asarray(least + np.log(1.0 + np.exp(evidence - least)))


def _look_up(prior: StartPrior, at: np.ndarray) -> Floats:
    index = at - prior.first
    inside = (index >= 0) & (index < len(prior.values))
    return np.where(inside, prior.values[np.clip(index, 0, len(prior.values) - 1)], -1e4)


def _first_guess(search: _Search) -> dict[int, int]:
    """Blocks placed one after the other, the one that the evidence fixes best first."""
    starts: dict[int, int] = {}
    ranges = _marginal_priors(search.prior)
    while len(starts) < len(search.prior.starts):
        best: tuple[float, int, int] | None = None
        for block in search.blocks:
            if block in starts:
                continue
            posterior = search.single_move(block, starts).posterior
            weights = posterior.weights * np.exp(ranges[block] - np.max(ranges[block]))
            weights = weights / weights.sum()
            certainty = float(np.max(np.convolve(weights, np.ones(9), mode="same")))
            if best is None or certainty > best[0]:
                best = (certainty, block, posterior.first + int(np.argmax(weights)))
        assert best is not None
        starts[best[1]] = best[2]
    return starts


def _marginal_priors(prior: ClassPrior) -> list[Floats]:
    """Each block's log prior with the chain of gaps before it summed out."""
    out = [prior.starts[0].values]
    for block in range(1, len(prior.starts)):
        own, gap, before = prior.starts[block], prior.gaps[block - 1], prior.starts[block - 1]
        mass = np.exp(out[-1] - np.max(out[-1]))
        spread = np.maximum(convolve_full(mass, np.exp(gap.values)), 1e-12)
        index = np.arange(len(own.values)) + own.first - before.first - gap.first
        inside = (index >= 0) & (index < len(spread))
        chained = np.where(inside, spread[np.clip(index, 0, len(spread) - 1)], 1e-12)
        out.append(own.values + np.log(chained))
    return out


def _climb(search: _Search, starts: dict[int, int]) -> dict[int, int]:
    """Moves until nothing improves."""
    for _ in range(SWEEPS):
        before = dict(starts)
        for block in search.blocks:
            shift = search.tail_move(block, starts)
            starts = {b: s + shift if b >= block else s for b, s in starts.items()}
            posterior = search.single_move(block, starts).posterior
            starts[block] = posterior.first + int(np.argmax(posterior.weights))
        if starts == before:
            break
    return starts


def estimate(prior: ClassPrior, recordings: Sequence[RecordingEvidence]) -> JointEstimate:
    """The bell and all placements, jointly."""
    search = _Search(prior, recordings)
    found = _climb(search, _first_guess(search))
    starts = tuple(found[b] for b in search.blocks)
    bells = tuple(search.single_move(block, found) for block in search.blocks)
    return JointEstimate(
        starts,
        bells,
        tuple(placed_under(prior, starts, bells, recording) for recording in recordings),
    )


def placed_under(
    prior: ClassPrior,
    starts: Sequence[int],
    bells: Sequence[Bell],
    recording: RecordingEvidence,
    told: Sequence[Floats] | None = None,
) -> Place:
    """One recording's place under the bell.

    told: what other recordings say of where its first sample lies (log, over the grid of x), in
    each way in which the device may have been late, which the bell does not know of; None where
    they say nothing.
    """
    search = _Search(prior, [])
    at = dict(enumerate(starts))
    inside = search.overlaps(recording, at)
    beyond = np.where(inside, 0.0, -NOT_OF_CLASS)
    extra = [beyond] * len(recording.each_way) if told is None else [beyond + t for t in told]
    each = [
        share + search.weights(way, at) + of_way
        for (share, way), of_way in zip(recording.each_way, extra, strict=True)
    ]
    everything = log_summed(each)
    support = log_sum_exp(everything)
    shares = [float(np.exp(log_sum_exp(row) - support)) for row in each]
    likely = [
        (share, way, of_way)
        for (share, way), of_way, likelihood in zip(recording.each_way, extra, shares, strict=True)
        if likelihood > UNLIKELY_WAY
    ]
    return Place(
        normalised(recording.first, everything),
        tuple(
            _placement(search, recording, block, at, bells[block], likely)
            for block in search.blocks
        ),
        support,
        tuple(
            (share, normalised(recording.first, row))
            for share, row in zip(shares, each, strict=True)
        ),
    )


def _placement(
    search: _Search,
    recording: RecordingEvidence,
    block: int,
    starts: dict[int, int],
    bell: Bell,
    ways: Sequence[tuple[float, RecordingEvidence, Floats]],
) -> Posterior:
    """Distribution of one block's start on one recording, its own evidence counted once.

    ways: in which the device may well have been late, with what else is known of where a placed
    recording then lies.
    """
    others = {b: s for b, s in starts.items() if b != block}
    own = bell.said_by.get(recording)
    others_say = bell.said if own is None else bell.said.minus(own)
    cavity = normalised(bell.first, others_say.weighed()).weights
    cavity = np.convolve(cavity, COMMON_DOUBT, mode="same")
    kept = np.flatnonzero(cavity > 1e-7 * np.max(cavity))
    low, high = int(kept[0]), int(kept[-1]) + 1
    first = bell.first + low + recording.delay - recording.last
    over_x = [share + search.weights(way, others) + of_way for share, way, of_way in ways]
    top = max(float(np.max(row)) for row in over_x)
    said = []
    for (_, way, _), row in zip(ways, over_x, strict=True):
        spread = np.maximum(convolve_full(cavity[low:high], np.exp(row - top)[::-1]), 0.0)
        spread = np.log(np.maximum(spread, 1e-13 * np.max(spread) + 1e-300))
        said.append(spread + limited(way.blocks[block].on(first, len(spread)), way.reach))
    return normalised(first, log_summed(said))
