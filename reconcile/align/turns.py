"""Machines' files that hold the turns of several athletes: whose turns, and whose came first.

Where a class runs in waves or stations, one machine serves several people in turn. Of a file
without a name the pulls, which fill everybody's turns, tell which waves or stations these are; who
they were follows from who is left: those who logged this kind of machine, or none, and of whom no
machine's file came under a name. Where several are left of one wave, what they wrote down is
compared with what was counted.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.recording import Floats
from reconcile.align.assignment import Assignment, assign
from reconcile.align.grid import STEP_S, index_of
from reconcile.align.joint import JointEstimate, Place, Posterior
from reconcile.align.place import Shape, fit_under_bell
from reconcile.align.sheet_of_machine import Count, count_of, sheet_evidence
from reconcile.align.signals import Signals
from reconcile.align.sources import Findings
from reconcile.align.stopped_clock import place_stopped, pulls_between_stops
from reconcile.classes import ClassRecord, LoggedScore
from reconcile.machine import MachineTrack, machines_told
from reconcile.plan import TimedBlock
from reconcile.score.scored import scored_steps
from reconcile.shared_machine import machine_turns, split_by_turn
from reconcile.sheet import Steps, athlete_steps, equipment_of, logged_rows

# Log ratio by which the turns of all must explain the pulls better than those of any one athlete.
LEAST_BETTER = 4.0
# How sure it is that those who are left are those who had their turns. Judgement.
WHO_IS_LEFT = 0.9
# Where one's turns may be another's, places this likely and this far apart are compared with what
# was written down, which may say so much for one against another (nats): people miswrite.
LEAST_LIKELY, APART_S, MOST_PLACES = 1e-3, 15.0, 4
LINES_REACH = 6.0


@dataclass(frozen=True, eq=False)
class Way:
    """When somebody has their turns: how late their blocks begin, at which station; their steps."""

    delay_s: float
    station: int | None
    steps: Steps

    def at_once_with(self, other: Way) -> bool:
        """Whether two work at the same times, so that no machine serves both."""
        return (self.delay_s, self.station) == (other.delay_s, other.station)


@dataclass(frozen=True)
class Turns:
    """Those who used a machine in turns, and how probable that is."""

    owners: tuple[str, ...]
    probability: float


def in_turns(
    left: Sequence[str],
    ways: Mapping[str, Way],
    support: Callable[[tuple[str, ...]], float],
    read_off: Callable[[tuple[str, ...]], Callable[[str], float]],
) -> Turns | None:
    """Those who most probably used a nameless machine in turns; None where not plainly several.

    left: those who may have used this machine and of whom no machine's file came under a name.
    ways: everybody's. support: log evidence of the file under the ways of some of them together,
    the bell being known. read_off: given one of each way that had turns, log evidence that
    somebody's lines were read off the turns of their way.
    """
    alike: list[list[str]] = []
    for name in left:
        own = next((group for group in alike if ways[group[0]].at_once_with(ways[name])), None)
        if own is None:
            alike.append([name])
        else:
            own.append(name)
    if len(alike) < 2:
        return None
    names = tuple(group[0] for group in alike)
    together = support(names)
    while len(names) > 2:  # a way that had no turn on it explains it better by not being among them
        best = max((tuple(n for n in names if n != name) for name in names), key=support)
        if support(best) <= together:
            break
        names, together = best, support(best)
    of_one = max(support((name,)) for name in ways)
    if together <= of_one + LEAST_BETTER:
        return None
    owners, probability = [], WHO_IS_LEFT
    told = read_off(names) if any(len(group) > 1 for group in alike) else None
    for name in names:
        group = next(group for group in alike if group[0] == name)
        logs = np.array([told(one) if told and len(group) > 1 else 0.0 for one in group])
        share = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()
        owners.append(group[int(np.argmax(share))])
        probability *= float(share.max())
    return Turns(tuple(name for name in left if name in owners), probability)


def _lines_off_turns(
    track: MachineTrack,
    starts_s: Mapping[str, float],
    blocks: Sequence[TimedBlock],
    names: Sequence[str],
    ways: Mapping[str, Way],
    rows: Mapping[tuple[str, str], LoggedScore],
) -> Callable[[str], float]:
    """Log evidence, by athlete, that their lines were read off the turns of their way.

    starts_s: of each block on the track's clock for who is not late. names: one of each way that
    had turns. rows: what each athlete logged for each scored block.
    """
    counts: dict[str, dict[str, Count]] = {}
    for block in blocks:
        if block.score is None:
            continue
        begins_s = {name: starts_s[block.name] + ways[name].delay_s for name in names}
        turns = {
            name: machine_turns(ways[name].steps[block.name], begins_s[name]) for name in names
        }
        for name, own in split_by_turn(track, turns).items():
            on_block = own.shifted(-begins_s[name])
            count = count_of(on_block, scored_steps(block, ways[name].steps[block.name]))
            if count is not None:
                counts.setdefault(block.name, {})[name] = count

    def read_off(athlete: str) -> float:
        total = 0.0
        for block, of_block in counts.items():
            row = rows.get((athlete, block))
            way = ways[athlete]
            own = next((c for n, c in of_block.items() if ways[n].at_once_with(way)), None)
            if row is None or own is None:
                continue
            usual, usual_other = (
                _usual_of_all(rounds, len(own.usual))
                for rounds in (
                    [c.usual for c in of_block.values()],
                    [c.usual_other for c in of_block.values()],
                )
            )
            total += sheet_evidence(row.score, row.rounds, own, usual, usual_other)
        return total

    return read_off


def _usual_of_all(turns: Sequence[Floats], rounds: int) -> Floats:
    """(round,) What was counted in a turn on average: the same wherever the turns are looked for.

    Round by round it would be odd where they are looked for in the wrong place, and everything
    written down better than that.
    """
    counted = np.concatenate(turns)
    done = counted[np.isfinite(counted) & (counted > 0)]
    return np.full(rounds, done.mean() if len(done) else np.nan)


def told_by_lines(clock: Posterior, written: Callable[[float], float]) -> Floats:
    """What the owners' lines say of where a shared machine's file lies: log, as `clock`.

    Two who take turns, one resting while the other works, pull alike in each other's turns: only
    what each of them wrote down tells them apart. written: log evidence of all lines, if the first
    sample lies at a class time.
    """
    grid = (clock.first + np.arange(len(clock.weights))) * STEP_S
    free = clock.weights.copy()
    places: list[float] = []
    while len(places) < MOST_PLACES:
        near = np.convolve(free, np.ones(2 * index_of(APART_S / 2) + 1), mode="same")
        if near.max() < LEAST_LIKELY:
            break
        places.append(float(grid[np.argmax(free * (near > 0.5 * near.max()))]))
        free = free * (np.abs(grid - places[-1]) > APART_S)
    if len(places) < 2:
        return np.zeros(len(grid))
    said = np.array([written(place) for place in places])
    said = np.maximum(said - said.max(), -LINES_REACH)
    nearest = np.argmin(np.abs(grid[:, None] - np.array(places)), axis=1)
    return np.asarray(said[nearest])


def used_in_turns(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    together: Sequence[Assignment],
    joint: JointEstimate,
    findings: Findings,
) -> dict[int, Turns]:
    """Owners of nameless machines' files that hold several turns, by place in the list of files."""
    people = [a for a in record.athletes if a.start is None]
    ways = {a.athlete: Way(a.delay_s, a.station, timelines[a.athlete]) for a in people}
    first = next(iter(ways.values()), None)
    if first is None or all(way.at_once_with(first) for way in ways.values()):
        return {}
    machines = [a for a in together if a.signals.track is not None]
    named = {name for a in machines for name in (*a.owners, *a.signals.upload.athletes)}
    found = {}
    for number, file in enumerate(together):
        recording, track = file.signals.upload.recording, file.signals.track
        if file.owners or file.signals.upload.athletes or track is None:
            continue
        assert recording is not None
        told = machines_told(recording, file.signals.upload.source)
        left = [
            a.athlete
            for a in people
            if a.athlete not in named and equipment_of(record, a.athlete) in (*told, None)
        ]
        turns = _turns_of(record, timelines, file.signals, left, ways, joint, findings)
        if turns is not None:
            found[number] = turns
            named.update(turns.owners)
    return found


def _turns_of(
    record: ClassRecord,
    timelines: Mapping[str, Steps],
    item: Signals,
    left: Sequence[str],
    ways: Mapping[str, Way],
    joint: JointEstimate,
    findings: Findings,
) -> Turns | None:
    """Those of the ones who are left that used a nameless machine in turns."""
    blocks = record.plan.timed_blocks
    rows = logged_rows(record, [a for a in record.athletes if a.athlete in left])
    bells_s = [start * STEP_S for start in joint.starts]
    may_have_stood = pulls_between_stops(item) is not None

    def placed(names: tuple[str, ...]) -> tuple[float, float, MachineTrack | None]:
        tried = assign(record, item, names, timelines)
        if may_have_stood:
            spread, placement = place_stopped(record.plan, tried, bells_s, {}, Shape())
            return placement.joint_support, placement.start_s, spread.signals.track
        fit = fit_under_bell(tried, record.plan, joint.starts, record.start, findings)
        return *fit, item.track

    def read_off(names: tuple[str, ...]) -> Callable[[str], float]:
        _, first_s, track = placed(names)
        assert track is not None
        starts_s = {
            block.name: bell_s - first_s for block, bell_s in zip(blocks, bells_s, strict=True)
        }
        return _lines_off_turns(track, starts_s, blocks, names, ways, rows)

    return in_turns(left, ways, lambda names: placed(names)[0], read_off)


def told_by_turns(
    record: ClassRecord,
    item: Signals,
    owned: tuple[str, ...],
    bells_s: Sequence[float],
    place: Place,
) -> Floats:
    """What its owners wrote down says of where a machine used in turns lies: log, as its clock."""
    people = [a for a in record.athletes if a.athlete in owned]
    ways = {a.athlete: Way(a.delay_s, a.station, athlete_steps(record, a)) for a in people}
    rows = logged_rows(record, people)
    blocks, track = record.plan.timed_blocks, item.track
    alike = any(ways[a].at_once_with(ways[b]) for a in ways for b in ways if a != b)
    if track is None or alike or not rows:
        return np.zeros(len(place.clock.weights))

    def written(first_s: float) -> float:
        starts_s = {
            block.name: bell_s - first_s for block, bell_s in zip(blocks, bells_s, strict=True)
        }
        read_off = _lines_off_turns(track, starts_s, blocks, list(ways), ways, rows)
        return sum(read_off(name) for name in ways)

    return told_by_lines(place.clock, written)


def own_turns(
    record: ClassRecord,
    item: Signals,
    owned: tuple[str, ...],
    bells_s: Sequence[float],
    place: Place,
) -> dict[str, Signals]:
    """Of a placed machine that several used in turns, each one's own part, heart left out."""
    assert item.track is not None
    first_s = place.clock.likeliest_s()
    turns: dict[str, list[tuple[float, float]]] = {}
    for athlete in (a for a in record.athletes if a.athlete in owned):
        steps = athlete_steps(record, athlete)
        turns[athlete.athlete] = [
            turn
            for block, bell_s in zip(record.plan.timed_blocks, bells_s, strict=True)
            for turn in machine_turns(steps[block.name], bell_s + athlete.delay_s - first_s)
        ]
    return {
        name: replace(item, track=track, heart=np.zeros(0))
        for name, track in split_by_turn(item.track, turns).items()
    }
