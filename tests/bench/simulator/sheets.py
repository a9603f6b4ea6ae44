"""What a class writes down: the plan, the class, the roster and the score sheet."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from numpy.random import Generator

from tests.bench.simulator.machine import STEP_S
from tests.bench.simulator.perform import Member, Performance, Track
from tests.bench.simulator.plans import Block, Session, session_text
from tests.bench.simulator.scores import Logged


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
