"""The form in which an athlete logs a score: what is asked, what was typed, what that means."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from starlette.datastructures import FormData

from api.folder.sheets import read_number, read_seconds
from api.language import Language, deferred
from api.storage.model import Score
from reconcile.classes import Equipment, LoggedScore
from reconcile.plan import Plan, Quantity, Sex, Take, TimedBlock

EQUIPMENT: tuple[Equipment, ...] = ("rower", "ski", "bike", "none")
MOST = 1_000_000
MOST_LOAD_KG = 999
MOST_NOTES = 2000

NO_NUMBER = deferred("Write a number, such as 57 or 12.5.")
NO_TIME = deferred("Write minutes and seconds, such as 1:52.")
NO_LOAD = deferred("Write a mass, such as 32 or 27.5.")
TOO_MANY = deferred("That is more than can be logged.")


@dataclass(frozen=True)
class Typed:
    """What stands in one block's fields, as text; wrong: what is wrong, by the field's name."""

    score: str = ""
    rounds: tuple[str, ...] = ()
    option: str = ""
    equipment: str = ""
    load: str = ""
    notes: str = ""
    wrong: Mapping[str, str] = field(default_factory=dict)

    def fault(self, name: str) -> str:
        """What is wrong in a field; blank where nothing is."""
        return self.wrong.get(name, "")

    @property
    def blank(self) -> bool:
        """Whether nothing stands in any field."""
        return not any(
            (self.score, *self.rounds, self.option, self.equipment, self.load, self.notes)
        )


@dataclass(frozen=True)
class ScoreField:
    """One scored block's part of the form.

    number: of the timed block, from 1, as on the sheet. planned: the load that the plan says, one
    for each sex where they differ (kg). instead: options whose own measure counts.
    """

    number: int
    block: TimedBlock
    typed: Typed
    planned: tuple[float, ...]


def score_fields(plan: Plan, typed: Mapping[str, Typed], sex: Sex | None) -> list[ScoreField]:
    """The scored blocks of a plan with what stands in their fields."""
    return [
        ScoreField(number, block, typed.get(block.name, Typed()), planned_load(block, sex))
        for number, block in enumerate(plan.timed_blocks, start=1)
        if block.score is not None
    ]


def planned_load(block: TimedBlock, sex: Sex | None) -> tuple[float, ...]:
    """The load of the block's first loaded task, kg: this sex's, or men's and women's."""
    load: Quantity | None = next(
        (task.load for step in block.steps for task in step.tasks if task.load is not None), None
    )
    if load is None:
        return ()
    if sex is not None:
        return (load.in_metric(sex),)
    return tuple(dict.fromkeys((load.in_metric("m"), load.in_metric("f"))))


def typed_before(language: Language, plan: Plan, rows: Sequence[Score]) -> dict[str, Typed]:
    """The fields filled with what is logged already."""
    found = {}
    for block in plan.timed_blocks:
        if block.score is None:
            continue
        row = next((row for row in rows if row.block in (block.name, None)), None)
        if row is None:
            continue
        seconds = block.score.measure == "seconds"
        found[block.name] = Typed(
            score=shown(row.score, seconds),
            rounds=tuple(shown(value, seconds) for value in row.rounds or ()),
            option=row.option or "",
            equipment=row.equipment or "",
            load=shown(language.mass_number(row.load_kg)),
            notes=row.notes,
        )
    return found


def shown(value: float | None, seconds: bool = False) -> str:
    """A number as a field holds it: plain, or minutes and seconds."""
    if value is None:
        return ""
    if seconds and value >= 60:
        minutes, rest = divmod(value, 60)
        return f"{int(minutes)}:{rest:05.2f}".removesuffix(".00")
    return f"{value:.6f}".rstrip("0").rstrip(".")


def typed_now(form: FormData, plan: Plan) -> dict[str, Typed]:
    """What was sent for each scored block."""

    def text(name: str) -> str:
        return str(form.get(name) or "").strip()

    return {
        block.name: Typed(
            score=text(f"score.{block.name}"),
            rounds=tuple(str(value).strip() for value in form.getlist(f"round.{block.name}")),
            option=text(f"option.{block.name}"),
            equipment=text(f"equipment.{block.name}"),
            load=text(f"load.{block.name}"),
            notes=text(f"notes.{block.name}")[:MOST_NOTES],
        )
        for block in plan.timed_blocks
        if block.score is not None
    }


def faults_of(block: TimedBlock, typed: Typed) -> dict[str, str]:
    """What is wrong in one block's fields, by their names; a round's is `round-1` and so on."""
    seconds = block.score is not None and block.score.measure == "seconds"
    wrong = {}
    fields = {"score": typed.score} | {
        f"round-{number}": value for number, value in enumerate(typed.rounds, start=1)
    }
    for name, value in fields.items():
        number = read_amount(value, seconds)
        if value and number is None:
            wrong[name] = NO_TIME if seconds else NO_NUMBER
        elif number is not None and number > MOST:
            wrong[name] = TOO_MANY
    load = read_number(typed.load)
    if typed.load and (load is None or not 0 <= load <= MOST_LOAD_KG):
        wrong["load"] = NO_LOAD
    return wrong


def read_amount(text: str, seconds: bool) -> float | None:
    """A score as typed; None where blank, below 0 or no number."""
    value = read_seconds(text) if seconds else read_number(text)
    return round(value, 6) if value is not None and value >= 0 else None


def logged_of_form(
    language: Language, plan: Plan, typed: Mapping[str, Typed], handle: str
) -> list[LoggedScore]:
    """The scores that were typed, blocks without anything left out.

    Where the score itself is blank, the rounds make it; loads are in the person's unit.
    """
    found = []
    for block in plan.timed_blocks:
        each = typed.get(block.name, Typed())
        if block.score is None or each.blank:
            continue
        seconds = block.score.measure == "seconds"
        values = [read_amount(text, seconds) for text in each.rounds]
        rounds = tuple(value for value in values if value is not None)
        score = read_amount(each.score, seconds)
        found.append(
            LoggedScore(
                athlete=handle,
                block=block.name,
                option=each.option or None,
                equipment=next((name for name in EQUIPMENT if name == each.equipment), None),
                score=made_of(rounds, block.score.take) if score is None else score,
                rounds=rounds or None,
                load_kg=language.mass_kg(read_number(each.load)),
                notes=each.notes,
            )
        )
    return found


def made_of(rounds: Sequence[float], take: Take) -> float | None:
    """The score that rounds make; None without any. Of the lowest and so on, zeros are left out."""
    begun = [value for value in rounds if value > 0]
    if not rounds:
        return None
    if take == "total":
        return math.fsum(rounds)
    if not begun:
        return 0.0
    return {"lowest": min(begun), "highest": max(begun)}.get(take, math.fsum(begun) / len(begun))
