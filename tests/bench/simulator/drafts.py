"""The recordings that a class leaves behind, before they are files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator

from tests.bench.simulator.bodies import Body, draw_body
from tests.bench.simulator.devices import Take, machine_take, phone_take, watch_take
from tests.bench.simulator.machine import STEP_S, TICKS_A_SECOND
from tests.bench.simulator.members import draw_loads, machine_word
from tests.bench.simulator.perform import Member, Performance, Track, perform
from tests.bench.simulator.plans import ALL_FAMILIES, Block, Job, Session, Stretch, draw_session
from tests.bench.simulator.rates import Rates


@dataclass
class Draft:
    """A recording on its way to becoming a file."""

    kind: str
    source: str
    take: Take
    performance: Performance
    owners: tuple[str, ...]
    uploaded_by: tuple[str, ...]
    other_day: bool = False
    at_home: bool = False
    wrong_name: bool = False


def total_energy(track: Track, take: Take) -> float:
    """What was spent while the watch ran."""
    start, end = round(take.first_s * TICKS_A_SECOND), round(take.last_s * TICKS_A_SECOND)
    return float(track.demand.cost[max(start, 0) : end].sum()) * STEP_S / 60


def watch_drafts(
    rng: Generator, performance: Performance, track: Track, rates: Rates, *, at_home: bool = False
) -> list[Draft]:
    """One watch recording, in two pieces where it was restarted."""
    name = track.member.name
    take = watch_take(rng, performance, track, rates, calories=0.0)
    calories = total_energy(track, take) * float(np.exp(rng.normal(0, 0.22)))
    take = replace(take, recording=replace(take.recording, total_calories=round(calories)))
    takes = [take]
    if rng.random() < rates.split and take.recording.time_s.size > 900 and not take.stopped:
        takes = split_take(rng, take)
    return [
        Draft("watch", "watch", each, performance, (name,), (name,), at_home=at_home)
        for each in takes
    ]


def split_take(rng: Generator, take: Take) -> list[Take]:
    """Stop the watch about the middle and start it again some seconds later."""
    recording = take.recording
    assert recording.start is not None
    at = recording.time_s[-1] * rng.uniform(0.4, 0.6)
    again = at + rng.uniform(5, 40)
    pieces = []
    for keep in (recording.time_s <= at, recording.time_s >= again):
        time_s = recording.time_s[keep]
        piece = replace(
            recording,
            start=recording.start + timedelta(seconds=float(time_s[0])),
            sample_count=time_s.size,
            time_s=time_s - time_s[0],
            heart_rate_bpm=None
            if recording.heart_rate_bpm is None
            else recording.heart_rate_bpm[keep],
            cadence_per_min=None
            if recording.cadence_per_min is None
            else recording.cadence_per_min[keep],
            laps=(),
            beat_time_s=None,
            beat_interval_s=None,
        )
        pieces.append(
            replace(
                take,
                recording=piece,
                first_s=take.first_s + float(time_s[0]),
                last_s=take.first_s + float(time_s[-1]),
                tags=(*take.tags, "split"),
            )
        )
    return pieces


def machine_drafts(
    rng: Generator, performance: Performance, rates: Rates, *, at_home: bool = False
) -> list[Draft]:
    """The machines' own recordings; one of them for all who shared it."""
    drafts = []
    for machine in performance.machines.values():
        users = [
            track
            for track in performance.tracks.values()
            if track.doing.machine is machine
            and sum(len(pulls) for pulls in track.doing.pulls.values()) >= 2
        ]
        if not users or rng.random() >= 0.73:
            continue
        names = tuple(track.member.name for track in users)
        take = machine_take(rng, performance, machine, users, rates)
        draft = Draft("machine", machine.kind, take, performance, names, names, at_home=at_home)
        drafts.append(draft)
        if rng.random() < rates.second_recorder and len(users) == 1:
            heard = phone_take(rng, take, machine, performance)
            drafts.append(replace(draft, kind="phone", source="unknown", take=heard))
    return drafts


def other_session(rng: Generator, family: str) -> Session:
    """A session of another family, so that its recording does not fit this one."""
    others = [name for name in ALL_FAMILIES if name not in (family, "no machine", "stations")]
    if rng.random() < 0.25:
        steady = Stretch("work", int(rng.integers(20, 45)) * 60, (Job("machine", effort="steady"),))
        return Session("Steady", "steady", (Block("steady", 1, (steady,)),))
    return draw_session(rng, str(rng.choice(others)))


def other_day_draft(
    rng: Generator, session: Session, body: Body, name: str, stated: datetime, kind: str,
    rates: Rates,
) -> Draft | None:  # fmt: skip
    """A recording of the same athlete from another day, on another plan."""
    other = other_session(rng, session.family)
    days = int(rng.choice((-21, -14, -9, -7, -5, -3, -2, -1, 1, 2, 4)))
    begin = stated + timedelta(days=days, minutes=int(rng.integers(-90, 90)))
    word = machine_word(other)
    machine = str(rng.choice(("rower", "ski", "bike"))) if word == "machine" else word
    member = Member(name, body, "prescribed", machine,
                    loads_kg=tuple(draw_loads(rng, other, body, "prescribed").items()))  # fmt: skip
    performance = perform(rng, other, [member], begin)
    if kind == "watch":
        drafts = watch_drafts(rng, performance, performance.tracks[name], replace(rates, split=0))
    else:
        drafts = [
            draft
            for _ in range(6)
            for draft in machine_drafts(rng, performance, replace(rates, second_recorder=0))
        ]
    if not drafts:
        return None
    return replace(drafts[0], other_day=True, owners=(name,), uploaded_by=(name,))


def stranger_draft(
    rng: Generator, session: Session, stated: datetime, rates: Rates
) -> Draft | None:
    """A machine recording of somebody who was not in the class."""
    begin = stated + timedelta(minutes=int(rng.integers(-100, 60)))
    body = draw_body(rng, stated.year)
    drafted = other_day_draft(rng, session, body, "stranger", stated, "machine", rates)
    if drafted is None:
        return None
    recording = drafted.take.recording
    moved = replace(recording, start=begin if recording.start is not None else None)
    take = replace(drafted.take, recording=moved)
    return replace(drafted, kind="stranger", take=take, owners=(), uploaded_by=())


def rename_some(rng: Generator, drafts: list[Draft], names: list[str], rates: Rates) -> None:
    """Put some files under another athlete's name, often two swapped; leave some without."""
    for draft in drafts:
        if len(draft.owners) > 1 and rng.random() < rates.no_owner:
            draft.uploaded_by = ()
    plain = [d for d in drafts if len(d.owners) == 1 and not d.other_day and not d.at_home]
    for draft in plain:
        if draft.wrong_name or not draft.uploaded_by:
            continue
        if rng.random() < rates.wrong_name and len(names) > 1:
            partners = [
                d for d in plain
                if d.kind == draft.kind and d.owners != draft.owners and not d.wrong_name
                and d.uploaded_by == d.owners
            ]  # fmt: skip
            if partners and rng.random() < 0.5:
                partner = partners[int(rng.integers(len(partners)))]
                draft.uploaded_by, partner.uploaded_by = partner.owners, draft.owners
                draft.wrong_name = partner.wrong_name = True
            else:
                others = [name for name in names if (name,) != draft.owners]
                draft.uploaded_by = (str(rng.choice(others)),)
                draft.wrong_name = True
        elif rng.random() < rates.no_owner:
            draft.uploaded_by = ()
