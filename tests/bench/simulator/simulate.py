"""A whole class folder from a seed, and the truth about it."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.random import Generator

from tests.bench.simulator.bodies import Body, draw_body
from tests.bench.simulator.devices import Take, machine_take, phone_take, watch_take
from tests.bench.simulator.files import UNREADABLE, damage, gzipped, write_take, zipped
from tests.bench.simulator.machine import STEP_S, TICKS_A_SECOND
from tests.bench.simulator.movements import LOOSENERS
from tests.bench.simulator.perform import LEAD_S, Member, Performance, Track, perform
from tests.bench.simulator.plans import (
    ALL_FAMILIES,
    Block,
    Job,
    Session,
    Stretch,
    draw_session,
    session_text,
)
from tests.bench.simulator.rates import Difficulty, Rates, draw_difficulty, rates_for
from tests.bench.simulator.scores import Logged, Other, log_score, scored
from tests.bench.simulator.truth import (
    AthleteTruth,
    FileTruth,
    OwnMachine,
    ScoreTruth,
    Truth,
    covered_starts,
    held_whole,
    load_advice,
    own_machine,
    step_truth,
)

KG_PER_LB = 0.45359237
TOLERANCE_S = 600.0


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


@dataclass
class Sheet:
    """A row of scores.csv in the making."""

    athlete: str
    block: str
    option: str
    equipment: str
    logged: Logged | None
    load_kg: float | None
    notes: list[str] = field(default_factory=list)


def machine_word(session: Session) -> str | None:
    """The machine that the plan names, "machine" where athletes choose, None without one."""
    word = None
    for block in session.timed:
        for step in block.steps:
            for job in step.jobs:
                if job.on_machine:
                    if job.movement != "machine":
                        return job.movement
                    word = "machine"
    return word


def without_machine(block: Block, rng: Generator) -> Block:
    """The block with loosening up in place of the machine."""
    steps = []
    for step in block.steps:
        jobs = tuple(
            Job(str(rng.choice(LOOSENERS)), effort="easy") if job.on_machine else job
            for job in step.jobs
        )
        steps.append(Stretch(step.kind, step.seconds, jobs))
    return replace(block, steps=tuple(steps))


def prescribed_kg(job: Job, sex: str) -> float:
    assert job.load is not None
    value = job.load[0] if sex == "m" else job.load[1]
    return value * (KG_PER_LB if job.load_unit == "lb" else 1.0)


def draw_loads(rng: Generator, session: Session, body: Body, option: str) -> dict[str, float]:
    """The load that this athlete takes for each loaded movement of each block."""
    loads = {}
    for block in session.timed:
        for step in block.steps:
            for job in step.jobs:
                if job.load is None:
                    continue
                factor = rng.uniform(0.6, 0.85) if option == "lighter" else 1.0
                if rng.random() < 0.15:
                    factor *= rng.uniform(0.7, 1.15)
                kg = prescribed_kg(job, body.sex) * factor
                if factor != 1.0:
                    kg = max(4.0, 2.0 * round(kg / 2))
                loads[f"{block.name}/{job.movement}"] = round(kg, 1)
    return loads


def first_load(block: Block, loads: dict[str, float]) -> float | None:
    for step in block.steps:
        for job in step.jobs:
            if job.load is not None:
                return loads.get(f"{block.name}/{job.movement}")
    return None


def draw_skips(rng: Generator, session: Session) -> frozenset[tuple[str, int]]:
    """About six in a hundred leave one round of the main work out."""
    skipped = set()
    for block in session.timed:
        if block.measure is not None and block.rounds >= 3 and rng.random() < 0.06:
            skipped.add((block.name, int(rng.integers(1, block.rounds + 1))))
    return frozenset(skipped)


def draw_members(
    rng: Generator, session: Session, grouping: str, bodies: dict[str, Body]
) -> list[Member]:
    """Give everybody an option, a machine, a wave or a station."""
    word = machine_word(session)
    names = list(bodies)
    stations = 0
    if session.family == "stations":
        stations = sum(step.kind == "work" for step in session.timed[-1].steps)
    sharing = grouping in ("stations", "waves, shared")
    work_s = session.timed[-1].steps[0].seconds
    later_s = work_s if grouping == "waves, shared" else 30 * int(rng.integers(2, 16))
    kinds: dict[int, str] = {}
    members = []
    for index, name in enumerate(names):
        body = bodies[name]
        option = str(rng.choice(("prescribed", "lighter", "home"), p=(0.62, 0.33, 0.05)))
        machine_id = None
        delay_s = 0
        if grouping == "stations":
            machine_id = index // stations
        elif grouping == "waves, shared":
            machine_id = index // 2
            delay_s = later_s * (index % 2)
        elif grouping == "waves":
            delay_s = later_s * (index % 2)
        kind: str | None = None
        if word is not None:
            chosen = str(rng.choice(("rower", "ski", "bike"), p=(0.5, 0.25, 0.25)))
            kind = chosen if word == "machine" else word
            if machine_id is not None:
                kind = kinds.setdefault(machine_id, kind)
        if option == "home":
            kind = None
        members.append(
            Member(
                name, body, option, kind, machine_id if sharing and kind else None, delay_s,
                index % stations + 1 if stations else None,
                tuple(draw_loads(rng, session, body, option).items()),
                draw_skips(rng, session),
            )
        )  # fmt: skip
    return members


def draw_first_block(rng: Generator, stated: datetime) -> datetime:
    """When the first block really began: the statement's error is about N(30, 110) s."""
    while True:
        error = rng.normal(30, 110)
        if abs(error) <= TOLERANCE_S:
            return stated + timedelta(seconds=round(error, 1))


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


def file_truth(draft: Draft, name: str, form: str, broken: str | None, take: Take) -> FileTruth:
    """What is true of a file, from its draft and the take as the file tells it."""
    performance = draft.performance
    status = "aligned"
    starts_of: dict[str, dict[str, float]] = {}
    whole_of: dict[str, tuple[str, ...]] = {}
    if broken in UNREADABLE:
        status = "unreadable"
    elif draft.other_day or draft.kind == "stranger":
        status = "unmatched"
    else:
        for owner in draft.owners:
            track = performance.tracks[owner]
            bells = covered_starts(performance, track, take.first_s, take.last_s)
            starts_of[owner] = {
                block: round(float(take.device_seconds(at)), 3) for block, at in bells.items()
            }
            whole_of[owner] = held_whole(
                performance, track, take.first_s, take.last_s, machine=draft.kind != "watch"
            )
    first = draft.uploaded_by[0] if draft.uploaded_by else ""
    first = first if first in draft.owners else (draft.owners[0] if draft.owners else "")
    return FileTruth(
        file=name,
        status=status,
        kind=draft.kind,
        format=form,
        damage=broken,
        first_sample=take.recording.start,
        samples=take.recording.time_s.size,
        uploaded_by=draft.uploaded_by,
        owners=draft.owners,
        wrong_name=draft.wrong_name,
        other_day=draft.other_day,
        at_home=draft.at_home,
        start_s=starts_of.get(first, {}),
        starts_of=starts_of,
        whole_of=whole_of,
        tags=take.tags + (("strung together",) if take.strung_together else ()),
    )


def write_files(rng: Generator, folder: Path, drafts: list[Draft], rates: Rates) -> list[FileTruth]:
    """Write every draft under its uploader's name."""
    folder.mkdir(parents=True, exist_ok=True)
    taken: dict[str, int] = {}
    loose = 0
    truths = []
    for draft in drafts:
        file = write_take(rng, draft.take, draft.kind)
        broken = None
        if rng.random() < rates.broken:
            file, broken = damage(rng, file)
        source = draft.source
        if source != "unknown" and rng.random() < rates.unknown_source:
            source = "unknown"
        if draft.uploaded_by:
            stem = "+".join(draft.uploaded_by) + f".{source}"
            count = taken.get(stem, 0) + 1
            taken[stem] = count
            stem += f".{count}" if count > 1 else ""
        else:
            loose += 1
            stem = f"unassigned.{source}.{loose}"
        name, data = f"{stem}.{file.ending}", file.data
        draw = rng.random()
        told = name
        if draw < rates.gzipped:
            name, data = f"{name}.gz", gzipped(data)
            told = name
        elif draw < rates.gzipped + 0.012 and broken is None:
            member = f"export-{int(rng.integers(1000))}.{file.ending}"
            name, data = f"{stem}.zip", zipped(member, data)
            told = f"{name}/{member}"
        (folder / name).write_bytes(data)
        truths.append(file_truth(draft, told, file.format, broken, file.take))
    return truths


CHATTER = ("felt good today", "slept badly", "new shoes", "tough one", "shoulder a bit stiff",
           "liked the last round", "")  # fmt: skip


def notes_for(
    rng: Generator, member: Member, block: Block, load: float | None, *, load_column: bool
) -> list[str]:
    """The athlete's own words, often none."""
    notes = []
    missed = [number for name, number in member.skipped if name == block.name]
    if missed and rng.random() < 0.4:
        words = ("skipped round {}", "sat out round {}", "missed round {}")
        notes.append(str(rng.choice(words)).format(missed[0]))
    if load is not None and not load_column and rng.random() < 0.5:
        notes.append(f"used {load:g} kg")
    if rng.random() < 0.15:
        notes.append(str(rng.choice(CHATTER)))
    return [note for note in notes if note]


def blank_some(rng: Generator, value: object, chance: float) -> object:
    return "" if rng.random() < chance else value


def roster_row(rng: Generator, member: Member, start: datetime | None) -> dict[str, object]:
    """What the coach knows of an athlete, some of it blank, some of it a little out."""
    body = member.body
    highest = body.heart.highest + rng.normal(0, 3)
    return {
        "athlete": member.name,
        "sex": blank_some(rng, body.sex, 0.05),
        "birth_year": blank_some(rng, body.birth_year, 0.12),
        "mass_kg": blank_some(rng, f"{body.mass_kg:g}", 0.1),
        "resting_hr": blank_some(rng, round(body.heart.resting + rng.normal(0, 2.5)), 0.45),
        "max_hr": blank_some(rng, round(highest), 0.55),
        "vo2max": blank_some(rng, f"{body.vo2max + rng.normal(0, 2.5):.1f}", 0.7),
        "delay": f"{member.delay_s}s" if member.delay_s else "",
        "station": member.station or "",
        "start": "" if start is None else start.isoformat(),
    }


def write_table(path: Path, rows: list[dict[str, object]], keep: tuple[str, ...]) -> None:
    """Write rows, leaving out columns that are blank throughout unless they are in `keep`."""
    names = [n for n in rows[0] if n in keep or any(row[n] not in ("", None) for row in rows)]
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, names, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def number_text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def athlete_truth(
    track: Track, session: Session, *, at_home: bool
) -> tuple[AthleteTruth, OwnMachine | None]:
    machine = track.doing.machine
    own = None if machine is None else own_machine(machine, track.member.name)
    steps = tuple(step_truth(track, slot, own) for slot in track.slots)
    advice = {}
    for block in session.timed:
        right = load_advice(block, steps, track.member.option)
        if right is not None and own is not None:
            advice[block.name] = right
    habits = track.member.body.habits
    return AthleteTruth(
        athlete=track.member.name,
        at_home=at_home,
        equipment=track.member.machine_kind or "none",
        option=track.member.option,
        steps=steps,
        scores=(),
        load_advice=advice,
        habits={
            "stops_early": habits.stops_early,
            "rows_in_rests": habits.rows_in_rests,
            "skipped": sorted(track.member.skipped),
        },
    ), own


def draw_grouping(rng: Generator, session: Session) -> str:
    if session.family == "stations":
        return "stations"
    if session.family == "work equals rest" and rng.random() < 0.35:
        return "waves, shared"
    return "waves" if rng.random() < 0.1 else "together"


def draw_people(rng: Generator) -> int:
    draw = rng.random()
    if draw < 0.1:
        return 30
    if draw < 0.22:
        return int(rng.integers(1, 7))
    return int(rng.integers(10, 15))


def simulate_class(
    seed: int, folder: Path, difficulty: Literal["easy", "medium", "hard"] | None = None
) -> Truth:
    """Write a class folder and return the truth about it; the same seed gives the same bytes."""
    rng = np.random.default_rng(seed)
    level: Difficulty = difficulty or draw_difficulty(rng)
    rates = rates_for(level)
    session = draw_session(rng)
    grouping = draw_grouping(rng, session)
    if grouping in ("stations", "waves, shared"):
        kept = session.timed[-1].name
        blocks = tuple(b if b.name == kept else without_machine(b, rng) for b in session.blocks)
        session = replace(session, blocks=blocks)
    people = draw_people(rng)
    zone = timezone(timedelta(hours=int(rng.choice((-5, 0, 1, 2, 10)))))
    stated = datetime(2026, 1, 5, 6, tzinfo=zone) + timedelta(
        days=int(rng.integers(300)), minutes=int(rng.integers(14 * 60))
    )
    names = [f"a{number:02d}" for number in range(1, people + 1)]
    bodies = {name: draw_body(rng, stated.year) for name in names}
    members = draw_members(rng, session, grouping, bodies)
    if grouping in ("stations", "waves, shared"):
        home: list[Member] = []
    else:
        away = 0.2 if people >= 4 else 0.0
        home = [m for m in members[-2:] if rng.random() < away]
    present = [member for member in members if member not in home]
    performance = perform(rng, session, present, draw_first_block(rng, stated))
    alone: dict[str, tuple[Performance, datetime]] = {}
    for member in home:
        own_start = stated + timedelta(days=int(rng.integers(-1, 2)),
                                       minutes=int(rng.integers(-600, 600)))  # fmt: skip
        solo = replace(member, delay_s=0, option="home" if rng.random() < 0.4 else member.option)
        if solo.option == "home":
            solo = replace(solo, machine_kind=None)
        done = perform(rng, session, [solo], draw_first_block(rng, own_start))
        alone[member.name] = (done, own_start)

    drafts: list[Draft] = []
    for name in names:
        where, at_home = (alone[name][0], True) if name in alone else (performance, False)
        if rng.random() < 0.82:
            drafts += watch_drafts(rng, where, where.tracks[name], rates, at_home=at_home)
    for where in [performance, *(done for done, _ in alone.values())]:
        drafts += machine_drafts(rng, where, rates, at_home=where is not performance)
    watch_totals = {
        draft.owners[0]: draft.take.recording.total_calories
        for draft in drafts
        if draft.kind == "watch"
    }
    for index, draft in enumerate(list(drafts)):
        if len(draft.owners) == 1 and rng.random() < rates.other_day:
            name = draft.owners[0]
            other = other_day_draft(rng, session, bodies[name], name, stated, draft.kind, rates)
            if other is not None and rng.random() < 0.5:
                drafts[index] = other
            elif other is not None:
                drafts.append(other)
    if rng.random() < rates.stranger and machine_word(session) is not None:
        stranger = stranger_draft(rng, session, stated, rates)
        drafts += [] if stranger is None else [stranger]
    rename_some(rng, drafts, [member.name for member in present], rates)

    folder.mkdir(parents=True, exist_ok=True)
    files = write_files(rng, folder / "recordings", drafts, rates)

    truths: dict[str, AthleteTruth] = {}
    owns: dict[str, OwnMachine | None] = {}
    tracks: dict[str, Track] = {}
    for name in names:
        where = alone[name][0] if name in alone else performance
        tracks[name] = where.tracks[name]
        truths[name], owns[name] = athlete_truth(tracks[name], session, at_home=name in alone)
    sheets: list[Sheet] = []
    scores: dict[str, list[ScoreTruth]] = {name: [] for name in names}
    for block in session.timed:
        if block.measure is None:
            continue
        others: list[Other] = []
        for name in names:
            track = tracks[name]
            item = scored(track, block, truths[name].steps, owns[name])
            truth, logged = log_score(rng, item, rates, watch_totals.get(name), others)
            scores[name].append(truth)
            load = first_load(block, dict(track.member.loads_kg))
            load_column = bool(rng.random() < 0.85)
            if truth.code == "rounding" and logged is not None and item.own is not None:
                others.append(Other(truth.measure, logged))
            if logged is None and rng.random() < 0.6:
                continue
            sheets.append(
                Sheet(
                    name, block.name, track.member.option, track.member.machine_kind or "none",
                    logged, load if load_column else None,
                    notes_for(rng, track.member, block, load, load_column=load_column),
                )
            )  # fmt: skip
    write_class(rng, folder, session, stated, performance, alone, tracks, sheets)

    scored_blocks = [block.name for block in session.timed if block.measure is not None]
    return Truth(
        seed=seed,
        difficulty=level,
        family=session.family,
        grouping=grouping,
        people=people,
        has_machine_file=any(
            file.kind in ("machine", "phone") and file.status == "aligned" for file in files
        ),
        first_block_s=(
            performance.origin + timedelta(seconds=LEAD_S) - stated
        ).total_seconds(),
        block_start_s={
            block: round(start * STEP_S - LEAD_S, 1)
            for block, start in performance.block_start.items()
        },
        files=tuple(files),
        athletes=tuple(replace(truths[name], scores=tuple(scores[name])) for name in names),
        first_scored_block=scored_blocks[0] if scored_blocks else None,
    )  # fmt: skip


def write_class(
    rng: Generator,
    folder: Path,
    session: Session,
    stated: datetime,
    performance: Performance,
    alone: dict[str, tuple[Performance, datetime]],
    tracks: dict[str, Track],
    sheets: list[Sheet],
) -> None:
    """Write the plan, the class, the roster and the score sheet."""
    (folder / "plan.yaml").write_text(session_text(session))
    lines = ["plan: plan.yaml", f"start: {stated.isoformat()}"]
    if rng.random() < 0.5:
        lines.append("start_tolerance: 10m")
    if rng.random() < 0.05:
        block, start = next(iter(performance.block_start.items()))
        at = performance.origin + timedelta(seconds=start * STEP_S + rng.uniform(-2, 2))
        moment = at.astimezone(stated.tzinfo).replace(microsecond=0)
        lines.append(f"starts: {{{block}: {moment.isoformat()}}}")
    (folder / "class.yaml").write_text("\n".join(lines) + "\n")
    roster = [
        roster_row(rng, track.member, alone[name][1] if name in alone else None)
        for name, track in tracks.items()
    ]
    write_table(
        folder / "roster.csv", roster,
        ("athlete", "sex", "birth_year", "mass_kg", "resting_hr", "max_hr", "vo2max"),
    )  # fmt: skip
    one_block = len({sheet.block for sheet in sheets}) == 1
    rows: list[dict[str, object]] = [
        {
            "athlete": sheet.athlete,
            "block": "" if one_block and rng.random() < 0.5 else sheet.block,
            "option": blank_some(rng, sheet.option, 0.1 if sheet.option == "prescribed" else 0.0),
            "equipment": blank_some(rng, sheet.equipment, 0.1),
            "score": number_text(None if sheet.logged is None else sheet.logged.score),
            "rounds": ""
            if sheet.logged is None or sheet.logged.rounds is None
            else ";".join(number_text(value) for value in sheet.logged.rounds),
            "load_kg": number_text(sheet.load_kg),
            "notes": "; ".join(sheet.notes),
        }
        for sheet in sheets
    ]
    columns = ("athlete", "block", "option", "equipment", "score", "rounds", "load_kg", "notes")
    if not rows:
        (folder / "scores.csv").write_text(",".join(columns) + "\n")
    else:
        write_table(folder / "scores.csv", rows, columns)


def write_truth(truth: Truth, path: Path) -> None:
    """Write the truth as JSON, outside the class folder."""
    path.write_text(json.dumps(truth.as_json(), indent=1, default=str))


def start_of(truth: Truth, stated: datetime) -> datetime:
    """When the class's first timed block really began."""
    return (stated + timedelta(seconds=truth.first_block_s)).astimezone(UTC)
