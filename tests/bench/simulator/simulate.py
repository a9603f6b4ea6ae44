"""A whole class folder from a seed, and the truth about it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.random import Generator

from tests.bench.simulator.bodies import draw_body
from tests.bench.simulator.devices import Take
from tests.bench.simulator.drafts import (
    Draft,
    machine_drafts,
    other_day_draft,
    rename_some,
    stranger_draft,
    watch_drafts,
)
from tests.bench.simulator.files import UNREADABLE, damage, gzipped, write_take, zipped
from tests.bench.simulator.machine import STEP_S
from tests.bench.simulator.members import (
    draw_first_block,
    draw_grouping,
    draw_members,
    draw_people,
    first_load,
    machine_word,
    without_machine,
)
from tests.bench.simulator.perform import LEAD_S, Member, Performance, Track, perform
from tests.bench.simulator.plans import Session, draw_session
from tests.bench.simulator.rates import Difficulty, Rates, draw_difficulty, rates_for
from tests.bench.simulator.scores import Other, log_score, scored
from tests.bench.simulator.sheets import Sheet, notes_for, write_class
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


def write_truth(truth: Truth, path: Path) -> None:
    """Write the truth as JSON, outside the class folder."""
    path.write_text(json.dumps(truth.as_json(), indent=1, default=str))
