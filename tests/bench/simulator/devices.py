"""What devices make of a performance: watches, and the machines' own displays.

A device samples at the whole seconds of its own clock, which runs `offset_s` ahead of the truth.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ingest.recording import Device, Floats, Lap, Pause, Recording
from tests.bench.simulator.heart import correlated_noise
from tests.bench.simulator.machine import STEP_S, TICKS_A_SECOND, Machine, Pull
from tests.bench.simulator.movements import MOVEMENTS
from tests.bench.simulator.perform import Performance, Track
from tests.bench.simulator.rates import Rates

FIRST_YEAR = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Take:
    """A recording and the truth about its clock.

    first_s, last_s: its first and last sample on the performance's clock. stopped: stretches of
    that clock in which the device took no samples. tags: what is odd about it.
    """

    recording: Recording
    first_s: float
    last_s: float
    stopped: tuple[tuple[float, float], ...]
    tags: tuple[str, ...] = ()
    strung_together: bool = False

    def device_seconds(self, at_s: float) -> float:
        """Seconds from the first sample on the device's own clock at a moment of the truth."""
        elapsed = at_s - self.first_s
        if self.strung_together and elapsed > 0:
            elapsed -= sum(
                max(0.0, min(end, at_s) - max(start, self.first_s)) for start, end in self.stopped
            )
        return elapsed


@dataclass(frozen=True)
class Clock:
    """A device's clock: its error, and the performance's tick 0 in seconds of 1970."""

    origin_s: float
    offset_s: float

    def samples(self, start_s: float, end_s: float) -> Floats:
        """Moments on the performance's clock at which the device's seconds turn."""
        shift = self.origin_s + self.offset_s
        return np.arange(np.ceil(start_s + shift), np.floor(end_s + shift) + 1) - shift

    def date(self, at_s: float) -> datetime:
        """What the device calls this moment, a whole second."""
        return FIRST_YEAR + timedelta(seconds=round(at_s + self.origin_s + self.offset_s))


def clock_of(performance: Performance, offset_s: float) -> Clock:
    return Clock((performance.origin - FIRST_YEAR).total_seconds(), offset_s)


def either_way(rng: Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high) * rng.choice((-1, 1)))


def watch_clock(rng: Generator, rates: Rates) -> tuple[float, list[str]]:
    offset = rng.uniform(-2, 2)
    draw = rng.random()
    if draw < rates.clock_minutes:
        return offset + either_way(rng, 10, 120), ["clock out"]
    if draw < rates.clock_minutes + rates.clock_hours:
        return offset + 3600 * float(rng.choice((-3, -2, -1, 1, 2, 3))), ["clock out by hours"]
    return offset, []


def machine_clock(rng: Generator, rates: Rates) -> tuple[float, list[str]]:
    offset = rng.uniform(-2, 2)
    if rng.random() >= rates.machine_clock:
        return offset, []
    draw = rng.random()
    if draw < 0.45:
        return offset + either_way(rng, 5, 120), ["clock out"]
    if draw < 0.75:
        return offset + either_way(rng, 120, 3300), ["clock out by minutes"]
    hours = float(rng.choice((-6, -3, -2, -1, 1, 2, 3, 5)))
    return offset + 3600 * hours + either_way(rng, 0, 90), ["clock out by hours"]


def windows(
    rng: Generator, start_s: float, end_s: float, count: int, low_s: float, high_s: float
) -> list[tuple[float, float]]:
    spans = []
    for _ in range(count):
        length = rng.uniform(low_s, high_s)
        begin = rng.uniform(start_s, max(start_s + 1, end_s - length))
        spans.append((begin, begin + length))
    return spans


def within(at_s: Floats, spans: list[tuple[float, float]]) -> NDArray[np.bool_]:
    inside = np.zeros(at_s.size, dtype=bool)
    for start, end in spans:
        inside |= (at_s >= start) & (at_s < end)
    return inside


def gripping(track: Track) -> list[tuple[float, float]]:
    return [
        (bout.start * STEP_S, bout.end * STEP_S)
        for bout in track.doing.bouts
        if bout.machine in ("rower", "ski")
        or (bout.machine is None and MOVEMENTS[bout.movement].grip)
    ]


def watch_heart_rate(
    rng: Generator, track: Track, at_s: Floats, rates: Rates, *, strap: bool
) -> tuple[Floats, list[str]]:
    """What a strap or a wrist reads at these moments, beats per minute, NaN where it shows none."""
    truth = track.heart_rate
    grid = np.arange(1, truth.size + 1, dtype=float)
    tags: list[str] = []
    if strap:
        rate = np.interp(at_s, grid, truth) + rng.normal(0, 0.4, at_s.size)
    else:
        width = rng.uniform(2, 5)
        smooth = np.interp(
            at_s[:, None] - rng.uniform(0, 2.5) - np.linspace(0, width, 6)[None, :], grid, truth
        )
        rate = smooth.mean(axis=1) + correlated_noise(rng, at_s.size, rng.uniform(0.3, 1.5), 6)
        if rng.random() < rates.lagging:
            tags.append("lagging")
            lag = rng.uniform(10, 20)
            late = np.interp(at_s - lag, grid, truth)
            if rng.random() < 0.65:
                rate = late
            else:
                spans = windows(rng, at_s[0], at_s[-1], 2, 300, 1200)
                rate = np.where(within(at_s, spans), late, rate)
        if rng.random() < rates.cadence_lock:
            index = np.minimum((at_s * TICKS_A_SECOND).astype(int), track.demand.cadence.size - 1)
            cadence = track.demand.cadence[index]
            moving = np.flatnonzero(cadence > 0)
            if moving.size:
                tags.append("cadence lock")
                begin = at_s[int(rng.choice(moving))]
                factor = next((f for f in (1, 2, 3, 4) if cadence[moving[0]] * f > 75), 1)
                locked = cadence * factor + rng.normal(0, 1, at_s.size)
                lock = [(begin, begin + rng.uniform(60, 300))]
                rate = np.where(within(at_s, lock) & (cadence > 0), locked, rate)
        if rng.random() < rates.grip_noise:
            tags.append("grip noise")
            held = within(at_s, gripping(track))
            low = rng.uniform(0.72, 0.92)
            noise = correlated_noise(rng, at_s.size, rng.uniform(4, 9), 5)
            rate = np.where(held, rate * low + noise, rate)
    rate = np.rint(np.clip(rate, 35, 225))
    if rng.random() < rates.drop_out:
        tags.append("drop-out")
        for span in windows(rng, at_s[0], at_s[-1], int(rng.integers(1, 5)), 10, 90):
            gone = within(at_s, [span])
            mode = rng.random()
            if not gone.any():
                continue
            stuck = rate[int(np.flatnonzero(gone)[0])]
            rate = np.where(gone, np.nan if mode < 0.4 else 0.0 if mode < 0.6 else stuck, rate)
    return rate, tags


def beats(
    track: Track, start_s: float, end_s: float, stopped: list[tuple[float, float]]
) -> tuple[Floats, Floats]:
    """When each beat ended, on the performance's clock, and how long it took, seconds."""
    grid = np.arange(np.ceil(start_s), np.floor(end_s))
    rate = np.interp(grid, np.arange(1, track.heart_rate.size + 1), track.heart_rate)
    counted = np.concatenate(([0.0], np.cumsum(rate[:-1] / 60)))
    at_s = np.interp(np.arange(0.0, counted[-1]), counted, grid)
    ended, took = at_s[1:], np.diff(at_s)
    kept = ~within(ended, stopped)
    return ended[kept], took[kept]


def rests_of(track: Track) -> list[tuple[float, float]]:
    return [(s.start * STEP_S, s.end * STEP_S) for s in track.slots if s.kind == "rest"]


def watch_span(rng: Generator, track: Track, rates: Rates) -> tuple[float, float, list[str]]:
    """When the watch was started and stopped, on the performance's clock."""
    tags: list[str] = []
    first = min(track.block_start.values()) * STEP_S
    start = first - rng.uniform(20, 650)
    last = track.slots[-1].end * STEP_S
    end = last + rng.uniform(10, 420)
    if rng.random() < rates.late_start:
        tags.append("late start")
        block = next(
            (slot.block for slot in track.slots if slot.jobs and slot.rounds > 1
             and slot.block != "warm-up"),
            track.slots[-1].block,
        )  # fmt: skip
        mine = [slot for slot in track.slots if slot.block == block]
        second = [slot.end for slot in mine if slot.round <= min(2, mine[-1].rounds)]
        latest = second[-1] if mine[-1].rounds > 2 else (mine[0].start + second[-1]) // 2
        start = rng.uniform(first, latest * STEP_S)
    if rng.random() < rates.early_stop:
        tags.append("early stop")
        mine = [slot for slot in track.slots if slot.block == track.slots[-1].block]
        halfway = (mine[0].start + mine[-1].end) / 2 * STEP_S
        end = rng.uniform(min(max(halfway, start + 240), last), last)
    return start, end, tags


def keep_changes(rng: Generator, columns: list[Floats | None], count: int) -> NDArray[np.bool_]:
    """Smart recording: a sample when something changed, at the latest after eight seconds."""
    changed = np.zeros(count, dtype=bool)
    for column in columns:
        if column is not None:
            known = np.nan_to_num(column, nan=-1.0)
            changed[1:] |= np.abs(np.diff(known)) >= 1
    keep = np.zeros(count, dtype=bool)
    keep[0] = True
    since = 0
    chance = rng.random(count)
    for index in range(1, count):
        since += 1
        if (changed[index] and chance[index] < 0.75) or since >= 8:
            keep[index] = True
            since = 0
    keep[-1] = True
    return keep


def lap_presses(rng: Generator, track: Track, start_s: float, end_s: float) -> list[float]:
    """Presses of the lap button near the bells, on the performance's clock."""
    both = rng.random() < 0.7
    bells: set[int] = set()
    for slot in track.slots:
        if slot.kind == "work":
            bells.add(slot.start)
            if both:
                bells.add(slot.end)
    presses = [bell * STEP_S + rng.uniform(-0.5, 1.8) for bell in sorted(bells)]
    return [at for at in presses if start_s + 5 < at < end_s - 5 and rng.random() < 0.97]


def watch_take(
    rng: Generator, performance: Performance, track: Track, rates: Rates, *, calories: float
) -> Take:
    """Draw one watch and record this member's session with it."""
    offset, tags = watch_clock(rng, rates)
    clock = clock_of(performance, offset)
    start, end, more = watch_span(rng, track, rates)
    tags += more
    length_s = performance.length * STEP_S
    at_s = clock.samples(max(start, 5.0), min(end, length_s - 5))
    strap = bool(rng.random() < 0.2)
    tags.append("strap" if strap else "optical")
    rate, more = watch_heart_rate(rng, track, at_s, rates, strap=strap)
    tags += more
    cadence: Floats | None = None
    if rng.random() < 0.4:
        index = (at_s * TICKS_A_SECOND).astype(int)
        cadence = np.rint(track.demand.cadence[index] * rng.uniform(0.97, 1.03))
        cadence = np.where(cadence > 0, cadence + rng.integers(-2, 3, at_s.size), 0.0)

    stopped: list[tuple[float, float]] = []
    if rng.random() < rates.watch_pauses:
        tags.append("pauses in rests")
        for begin, finish in rests_of(track):
            if finish - begin >= 25 and rng.random() < 0.8:
                stopped.append((begin + rng.uniform(1, 6), finish - rng.uniform(0, 8)))
        stopped = [span for span in stopped if span[0] > at_s[0] + 3 and span[1] < at_s[-1] - 3]
    keep = ~within(at_s, stopped)
    if rng.random() < rates.smart_sampling:
        tags.append("smart sampling")
        keep &= keep_changes(rng, [rate], at_s.size)
    laps: tuple[Lap, ...] = ()
    first = float(at_s[keep][0])
    if rng.random() < 0.15:
        tags.append("laps")
        edges = [first, *lap_presses(rng, track, first, float(at_s[-1])), float(at_s[-1])]
        edges = [edge for edge in edges if not within(np.array([edge]), stopped)[0]]
        laps = tuple(
            Lap(round(a - first, 1), round(b - first, 1))
            for a, b in itertools.pairwise(edges)
            if b > a
        )
    beat_time_s, beat_interval_s = None, None
    if strap and rng.random() < 0.4:
        tags.append("beat intervals")
        ended, beat_interval_s = beats(track, first, float(at_s[-1]), stopped)
        beat_time_s = ended - first
    at_s = at_s[keep]
    recording = Recording(
        format="fit",
        device="watch",
        start=clock.date(first),
        sample_count=at_s.size,
        time_s=np.rint(at_s - first),
        heart_rate_bpm=rate[keep],
        cadence_per_min=None if cadence is None else cadence[keep],
        total_calories=float(round(calories)),
        beat_time_s=beat_time_s,
        beat_interval_s=beat_interval_s,
        laps=laps,
        pauses=tuple(Pause(a - first, b - first) for a, b in stopped),
    )
    return Take(recording, first, float(at_s[-1]), tuple(stopped), tuple(tags))


def display_power(
    rng: Generator, machine: Machine, at_s: Floats, every: int, rates: Rates, tags: list[str]
) -> Floats:
    """The watts that the display shows at these moments, or their mean over `every` seconds."""
    index = np.minimum(np.rint(at_s * TICKS_A_SECOND).astype(int), machine.ticks - 1)
    power = machine.power_w.copy()
    if machine.kind != "bike" and rng.random() < 0.15:
        tags.append("a value a stroke")
        for pull in machine.pulls:
            stroke = max(1, round(600 / machine.cadence_per_min[pull.start]))
            held = power[pull.start : pull.end : stroke]
            power[pull.start : pull.end] = np.repeat(held, stroke)[: pull.end - pull.start]
    if rng.random() < rates.held_power:
        tags.append("held power")
        hold = round(rng.uniform(1, 3) * TICKS_A_SECOND)
        for pull in machine.pulls:
            stop = min(pull.end + hold, machine.ticks)
            gap = power[pull.end : stop]
            gap[gap == 0] = power[pull.end - 1]
    if every > 1 or rng.random() < 0.5:
        tags.append("mean power")
        total = np.concatenate(([0.0], np.cumsum(power)))
        span = TICKS_A_SECOND * every
        return np.asarray((total[index] - total[np.maximum(index - span, 0)]) / span)
    return np.asarray(power[index])


@dataclass
class MachineColumns:
    """Which columns a machine's file holds."""

    power: bool = True
    count: bool = True
    speed: bool = True
    distance: bool = True
    cadence: bool = True
    tags: list[str] = field(default_factory=list)


def draw_columns(rng: Generator, rates: Rates) -> MachineColumns:
    columns = MachineColumns()
    if rng.random() < rates.no_count:
        columns.count = False
        columns.tags.append("no count")
    if rng.random() < rates.no_power:
        columns.power = False
        columns.tags.append("no power")
    draw = rng.random()
    if draw < 0.25:
        columns.speed = False
    elif draw < 0.35 and (columns.power or columns.count):
        columns.distance = False
    columns.cadence = bool(rng.random() < 0.8)
    return columns


def auto_pauses(rng: Generator, machine: Machine, start_s: float) -> list[tuple[float, float]]:
    """Stretches in which the machine's timer stands still because nothing moves."""
    wait = rng.uniform(2, 8)
    still: list[tuple[float, float]] = []
    pulls = machine.pulls
    bounds = [(start_s, start_s)] + [(p.start * STEP_S, p.end * STEP_S) for p in pulls]
    for (_, before), (after, _) in itertools.pairwise(bounds):
        begin = round(before * TICKS_A_SECOND)
        end = round(after * TICKS_A_SECOND)
        rolling = np.flatnonzero(machine.speed_m_s[begin:end] > 0.6)
        quiet = before + (rolling[-1] + 1 if rolling.size else 0) * STEP_S
        if after - quiet > wait + 2:
            still.append((quiet + wait, after - rng.uniform(0, 0.5)))
    return still


def machine_take(
    rng: Generator,
    performance: Performance,
    machine: Machine,
    tracks: list[Track],
    rates: Rates,
) -> Take:
    """Record a machine's session; `tracks` are those who used it."""
    offset, tags = machine_clock(rng, rates)
    clock = clock_of(performance, offset)
    pulls: list[Pull] = machine.pulls
    first_pull, last_pull = pulls[0].start * STEP_S, pulls[-1].end * STEP_S
    if rng.random() < rates.from_first_pull:
        tags.append("from first pull")
        start = first_pull + rng.uniform(0, 0.3)
    else:
        start = max(5.0, first_pull - rng.uniform(5, 500))
    end = min(last_pull + rng.uniform(6, 240), performance.length * STEP_S - 5)
    at_s = clock.samples(start, end)
    first = float(at_s[0])
    stopped: list[tuple[float, float]] = []
    if rng.random() < rates.auto_pause:
        tags.append("auto pause")
        stopped = [span for span in auto_pauses(rng, machine, first) if span[0] > first]
    at_s = at_s[~within(at_s, stopped)]
    every = 1
    if rng.random() < rates.coarse_sampling and at_s.size > 300:
        tags.append("coarse sampling")
        every = int(rng.integers(2, 4))
        at_s = at_s[::every]
    columns = draw_columns(rng, rates)
    tags += columns.tags
    index = np.minimum(np.rint(at_s * TICKS_A_SECOND).astype(int), machine.ticks)
    count, metres = machine.count(), machine.metres()
    count_now, metres_now = count[index] - count[index[0]], metres[index] - metres[index[0]]
    if rng.random() < rates.counter_resets and len(tracks) == 1:
        tags.append("counter resets")
        bells = [s.start for s in tracks[0].slots if s.kind == "work" and s.start > index[0]]
        since = np.searchsorted(np.array(bells), index, "right")
        marks = np.array([index[0], *bells])
        count_now = count[index] - count[marks[since]]
        metres_now = metres[index] - metres[marks[since]]
    heart: Floats | None = None
    if len(tracks) == 1 and rng.random() < 0.4:
        tags.append("paired strap")
        grid = np.arange(1, tracks[0].heart_rate.size + 1, dtype=float)
        heart = np.rint(np.interp(at_s, grid, tracks[0].heart_rate))
    ticks = np.minimum(index, machine.ticks - 1)
    device: Device = "rower"
    if machine.kind == "ski":
        device = "ski"
    elif machine.kind == "bike":
        device = "bike"
    recording = Recording(
        format="fit",
        device=device,
        start=clock.date(first),
        sample_count=at_s.size,
        time_s=np.rint(at_s - first),
        heart_rate_bpm=heart,
        power_w=np.rint(display_power(rng, machine, at_s, every, rates, tags))
        if columns.power
        else None,
        cadence_per_min=np.rint(machine.cadence_per_min[ticks]) if columns.cadence else None,
        speed_m_s=np.round(machine.speed_m_s[ticks], 3) if columns.speed else None,
        distance_m=np.round(metres_now, 1) if columns.distance else None,
        calories=np.floor(count_now) if columns.count else None,
        pauses=tuple(Pause(a - first, b - first) for a, b in stopped),
    )
    return Take(recording, first, float(at_s[-1]), tuple(stopped), tuple(tags))


def phone_take(rng: Generator, take: Take, machine: Machine, performance: Performance) -> Take:
    """The same machine, heard by a phone: another clock, no count, watts a little off."""
    clock = clock_of(performance, rng.uniform(-2, 2))
    at_s = clock.samples(take.first_s + rng.uniform(-20, 5), take.last_s + rng.uniform(-5, 20))
    at_s = at_s[(at_s > 5) & (at_s < performance.length * STEP_S - 5)]
    ticks = np.rint(at_s * TICKS_A_SECOND).astype(int)
    speed = machine.speed_m_s[ticks]
    power = np.where(machine.power_w[ticks] > 0, machine.power_w[ticks], 0.0)
    recording = replace(
        take.recording,
        device="unknown",
        start=clock.date(float(at_s[0])),
        sample_count=at_s.size,
        time_s=np.rint(at_s - at_s[0]),
        heart_rate_bpm=None,
        power_w=np.rint(power * rng.uniform(0.99, 1.01)),
        cadence_per_min=None,
        speed_m_s=np.round(speed, 2),
        distance_m=None,
        calories=None,
        pauses=(),
        laps=(),
    )
    return Take(recording, float(at_s[0]), float(at_s[-1]), (), ("phone",))


def string_together(take: Take) -> Take:
    """An export of elapsed seconds only, whose clock stood still while the timer did."""
    recording = take.recording
    at_s = take.first_s + recording.time_s
    joined = replace(take, strung_together=True)
    time_s = np.array([joined.device_seconds(float(moment)) for moment in at_s])
    # The timer goes on where it stood: the next sample comes a second later at the most.
    time_s = np.maximum.accumulate(np.round(time_s, 1))
    return replace(joined, recording=replace(recording, time_s=time_s, start=None, pauses=()))
