"""The tables of a class's pages as rows of plain values, to be written as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.orm import Session

from api.people.subject import Subject
from api.problems import NotHere
from api.results.pages import labels_of
from api.results.reading import class_result, record_without_signals
from api.results.record import read_inputs
from api.results.service import seen_result
from api.results.tables import safe_cell
from api.sheet.rows import (
    Row,
    all_recordings,
    block_table,
    logged_score,
    shown_blocks,
    total_energy,
    uploaders,
)
from api.sheet.words import LOADS
from reconcile.classes import ClassRecord
from reconcile.compliance import Compliance, Figure
from reconcile.plan import TimedBlock
from reconcile.result import ClassResult, Energy, ScoreResult

Values = dict[str, Any]


@dataclass(frozen=True)
class ClassTold:
    """A class as far as the person may see it: its sheets, its result, what people are called."""

    record: ClassRecord
    result: ClassResult
    names: Mapping[str, str]


def class_told(session: Session, subject: Subject, class_id: str) -> ClassTold:
    """Gather a class; raises NotHere, and NotReady where there is no result yet."""
    result = class_result(seen_result(session, subject, class_id).document)
    inputs = read_inputs(session, class_id)
    if inputs is None:
        raise NotHere
    names = labels_of({person.handle: person.name for _, person in inputs.people})
    record = record_without_signals(inputs)
    return ClassTold(record if subject.coaches else own_part(record, subject), result, names)


def own_part(record: ClassRecord, subject: Subject) -> ClassRecord:
    """A class's sheets as an athlete may see them: nobody else's; a visitor sees no score."""
    own = subject.handle
    return replace(
        record,
        athletes=tuple(athlete for athlete in record.athletes if athlete.athlete == own),
        scores=tuple(s for s in record.scores if s.athlete == own and not subject.visiting),
        uploads=tuple(
            replace(upload, athletes=tuple(name for name in upload.athletes if name == own))
            for upload in record.uploads
        ),
    )


def table_text(rows: Sequence[Values]) -> str:
    """Rows as CSV (RFC 4180): a column for each name that any row has, blank where it has none.

    Numbers have a dot; text that a spreadsheet would run is quoted away.
    """
    columns = list(dict.fromkeys(name for row in rows for name in row))
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([safe_cell(row.get(name)) for name in columns] for row in rows)
    return stream.getvalue()


def who(told: ClassTold, handle: str) -> Values:
    """The first columns of every row about somebody."""
    return {"athlete": handle, "name": told.names.get(handle, handle)}


def block_rows(told: ClassTold) -> Iterable[tuple[TimedBlock, Row]]:
    """Every athlete in every block that the class sheet shows."""
    for block in shown_blocks(told.record.plan):
        for row in block_table(told.record, told.result, block, ()).rows:
            yield block, row


def sheet_rows(told: ClassTold) -> list[Values]:
    """The class sheet: one row an athlete and block."""
    return [
        who(told, row.athlete)
        | {"block": block.name, "option": row.option, "equipment": row.equipment}
        | row_values(row)
        for block, row in block_rows(told)
    ]


def row_values(row: Row) -> Values:
    """What a row of a class sheet says, each value a column."""
    least, most = row.rounds_done or (None, None)
    return {
        "rounds_planned": row.rounds_planned,
        "rounds_begun_low": least,
        "rounds_begun_high": most,
        **score_values(row.score),
        **energy_values(row.energy),
        "machine_time_s": rounded(row.machine_time_s),
        "time_for_machine": LOADS.get(row.load or ""),
    }


def score_values(score: ScoreResult | None) -> Values:
    """A score's columns."""
    names = ("measure", "logged", "recorded", "low", "high", "verdict", "flag")
    columns = ("measure", "logged", "recorded", "recorded_low", "recorded_high", "verdict", "ask")
    return {
        column: getattr(score, name) if score else None
        for column, name in zip(columns, names, strict=True)
    }


def energy_values(energy: Energy | None) -> Values:
    """An energy's columns, kcal with its 95 % range."""
    names = ("kcal", "low", "high")
    found: Values = {
        f"energy_{name}": rounded(getattr(energy, name)) if energy else None for name in names
    }
    return found | {"energy_method": energy.method if energy else None}


def score_rows(told: ClassTold) -> list[Values]:
    """What was logged, round by round."""
    rows = []
    for block, row in block_rows(told):
        logged = logged_score(told.record, row.athlete, block)
        rounds = (logged.rounds or ()) if logged else ()
        rows.append(
            who(told, row.athlete)
            | {
                "block": block.name,
                "option": row.option,
                "equipment": row.equipment,
                "measure": block.score.measure if block.score else None,
                "score": logged.score if logged else None,
                "load_kg": logged.load_kg if logged else None,
                **{f"round_{number}": value for number, value in enumerate(rounds, start=1)},
                "notes": logged.notes if logged else None,
            }
        )
    return rows


def done_rows(told: ClassTold) -> list[Values]:
    """What was planned against what was done; shares are of 1."""
    return [
        who(told, handle) | {"block": block.name, **done_values(done)}
        for block in shown_blocks(told.record.plan)
        for handle, done in block_table(told.record, told.result, block, ()).done
    ]


def done_values(done: Compliance | None) -> Values:
    """Planned and done, each figure with its 95 % range, and the effort of each round."""
    found: Values = {"rounds_planned": done.rounds_planned if done else None}
    for name in (
        "rounds_attempted", "work_share", "late_start_s", "early_stop_s", "rest_kept",
    ):  # fmt: skip
        figure: Figure | None = getattr(done, name) if done else None
        found[name] = rounded(figure.value, 4) if figure else None
        found[f"{name}_low"] = rounded(figure.low, 4) if figure else None
        found[f"{name}_high"] = rounded(figure.high, 4) if figure else None
    for effort in done.rounds if done else ():
        found[f"round_{effort.round}_power_w"] = rounded(effort.mean_power_w)
        found[f"round_{effort.round}_hr"] = rounded(effort.mean_hr)
    return found


def energy_rows(told: ClassTold) -> list[Values]:
    """Energy of each round, rests included, with its 95 % range."""
    return [
        who(told, row.athlete)
        | {"block": block.name, "round": number}
        | energy_values(total_energy([s for s in row.intervals if s.round == number]))
        for block, row in block_rows(told)
        for number in range(1, block.rounds + 1)
    ]


def file_rows(told: ClassTold) -> list[Values]:
    """Every file: by whom, whose by its content, how it fits."""
    rows: list[Values] = []
    for found in all_recordings(told.result):
        owner = found.belongs_to
        owners = owner if isinstance(owner, tuple) else () if owner is None else (owner,)
        rows.append(
            {
                "file": found.file,
                "handed_in_by": " ".join(uploaders(told.record, found.file.partition("/")[0])),
                "belongs_to": " ".join(owners),
                "probability": found.probability,
                "status": found.status,
                "source": found.source,
                "format": found.format,
                "first_sample": found.first_sample.isoformat() if found.first_sample else None,
                "samples": found.samples,
                "problems": " ".join(dict.fromkeys(problem.code for problem in found.problems)),
            }
        )
    return rows


def rounded(value: float | None, digits: int = 2) -> float | None:
    """A value as the result document has its like."""
    return None if value is None else round(value, digits)


TABLES: dict[str, Callable[[ClassTold], list[Values]]] = {
    "sheet": sheet_rows,
    "scores": score_rows,
    "done": done_rows,
    "energy": energy_rows,
    "files": file_rows,
}
