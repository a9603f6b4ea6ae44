"""The history of a gym's classes: one document, versioned, that anybody may have written.

It holds handles of athletes and marks of devices, never a serial number. What in it is of the wrong
kind is left out and told; nothing else breaks.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, TypeVar, cast

from ingest.recording import Problem
from reconcile.document import rounded, utc_text
from reconcile.errors import quote
from reconcile.fields import LONGEST_NAME
from reconcile.learnt import (
    AthleteHistory,
    LearntDrop,
    LearntLine,
    LearntPower,
    SeenDevice,
    tidy,
)
from reconcile.machine import DRAG, Machine

SCHEMA = 1
CODE = "bad_history"
MOST_ATHLETES = 1000
MOST_PROBLEMS = 20

MARK = re.compile(r"[0-9a-f]{16,128}", re.ASCII)
LONGEST_MOMENT = 40
# What can be meant; anything beyond is a mistake in the document.
WATTS = (1.0, 3000.0)
SECONDS = (1.0, 86_400.0)
BEATS = (20.0, 260.0)
KCAL_PER_MIN = (0.1, 100.0)
DROP_BEATS = (-150.0, 150.0)
COUNT = (1.0, 10_000.0)

T = TypeVar("T")


class EntryError(Exception):
    """An entry is not what it should be; the text says what is wrong with it."""


@dataclass(frozen=True)
class History:
    """What earlier classes taught, by athlete."""

    athletes: Mapping[str, AthleteHistory] = field(default_factory=dict)

    @classmethod
    def read(cls, document: Mapping[str, Any]) -> tuple[History, tuple[Problem, ...]]:
        """The history in JSON values, and what in them cannot be used (it is left out).

        Keys that are not known are passed over; a document of another schema is not used at all.
        """
        return _Reader().history(document)

    def of(self, athlete: str) -> AthleteHistory:
        """What is known of one athlete."""
        return self.athletes.get(athlete, AthleteHistory())

    def before(self, start: datetime) -> History:
        """What classes that began before `start` taught."""
        return history_of({a: h.chosen(lambda at: at < start) for a, h in self.athletes.items()})

    def sightings(self, mark: str) -> dict[str, int]:
        """In how many classes each athlete had the device of a mark, whoever had it at all."""
        return {
            athlete: len(device.seen)
            for athlete, known in self.athletes.items()
            for device in known.devices
            if device.mark == mark
        }

    def remarked(self, new_mark: Callable[[str], str | None]) -> History:
        """The same with every device's mark replaced (keyed anew), and left out where None."""

        def devices(known: AthleteHistory) -> list[SeenDevice]:
            pairs = [(new_mark(device.mark), device) for device in known.devices]
            return [replace(device, mark=mark) for mark, device in pairs if mark is not None]

        return history_of(
            {
                athlete: tidy(known.own_lines, known.powers, known.drops, devices(known))
                for athlete, known in self.athletes.items()
            }
        )

    def as_document(self) -> dict[str, Any]:
        """The history as JSON values, athletes in the order of their names."""
        return {
            "schema": SCHEMA,
            "athletes": {
                athlete: _athlete_document(known) for athlete, known in self.athletes.items()
            },
        }

    def as_json(self) -> str:
        """The document as text; the same history gives the same text, byte for byte."""
        text = json.dumps(self.as_document(), indent=1, ensure_ascii=False, allow_nan=False)
        return text + "\n"


def history_of(athletes: Mapping[str, AthleteHistory]) -> History:
    """A history in its order: who is known of, those seen last where there are too many."""
    last = {athlete: seen for athlete, known in athletes.items() if (seen := known.last)}
    kept = sorted(last, key=lambda athlete: (last[athlete], athlete))[-MOST_ATHLETES:]
    return History({athlete: athletes[athlete] for athlete in sorted(kept)})


def _athlete_document(known: AthleteHistory) -> dict[str, Any]:
    return {
        "own_lines": [
            {
                "class": utc_text(learnt.at),
                "machine": learnt.machine,
                "stretches": learnt.stretches,
                **learnt.line.as_document(),
            }
            for learnt in known.own_lines
        ],
        "powers": [
            {
                "class": utc_text(power.at),
                "machine": power.machine,
                "planned_s": rounded(power.planned_s),
                "steps": power.steps,
                "mean_w": rounded(power.mean_w),
                "best_w": rounded(power.best_w),
            }
            for power in known.powers
        ],
        "hr_drops_60s": [
            {
                "class": utc_text(drop.at),
                "rests": drop.rests,
                "peak_bpm": rounded(drop.peak_bpm),
                "drop_bpm": rounded(drop.drop_bpm),
            }
            for drop in known.drops
        ],
        "devices": [
            {"mark": device.mark, "classes": [utc_text(start) for start in device.seen]}
            for device in known.devices
        ],
    }


def line_of(at: datetime, document: Mapping[str, Any]) -> LearntLine:
    """An own line as the energy of a class gives it; EntryError where it is of another kind.

    Values at two heart rates, and a covariance that is one: symmetric, positive definite.
    """
    anchors = _pair(document.get("heart_rate"), "`heart_rate`", BEATS)
    values = _pair(document.get("kcal_per_min"), "`kcal_per_min`", KCAL_PER_MIN)
    rows = document.get("covariance")
    if not isinstance(rows, Sequence) or isinstance(rows, str) or len(rows) != 2:
        raise EntryError("`covariance` is not a 2 by 2 matrix")
    largest = (-(KCAL_PER_MIN[1] ** 2), KCAL_PER_MIN[1] ** 2)
    first, second = (_pair(row, "a row of `covariance`", largest) for row in rows)
    sound = first[1] == second[0] and min(first[0], second[1]) > 0
    if not sound or first[0] * second[1] <= first[1] * second[0]:
        raise EntryError("`covariance` is no covariance: symmetric and positive definite")
    if not anchors[0] < anchors[1]:
        raise EntryError("`heart_rate` is not a lower and a higher one")
    stretches = _whole(document, "stretches")
    return LearntLine(at, _machine(document), stretches, anchors, values, (first, second))


class _Reader:
    """Reads a document that anybody may have written; keeps what is wrong with it."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.untold = 0

    def problem(self, where: str, wrong: object) -> None:
        """Note what is wrong; beyond some, only how many there were."""
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(CODE, f"{where}: {wrong}; it is left out"))
        else:
            self.untold += 1

    def history(self, document: Mapping[str, Any]) -> tuple[History, tuple[Problem, ...]]:
        """The history, and every problem of it."""
        if not document:
            return History(), ()
        schema = document.get("schema")
        if type(schema) is not int or schema != SCHEMA:
            wrong = f"this history is not of schema {SCHEMA}, the only one known here: not used"
            return History(), (Problem(CODE, wrong),)
        athletes = document.get("athletes", {})
        if not isinstance(athletes, Mapping):
            self.problem("`athletes`", "not an object with an entry for each athlete")
            athletes = {}
        found: dict[str, AthleteHistory] = {}
        for name, value in athletes.items():
            if not isinstance(name, str) or not _is_name(name):
                self.problem("an athlete", "the name is not one line of text")
            elif not isinstance(value, Mapping):
                self.problem(quote(name), "not an object")
            else:
                found[name] = self.athlete(quote(name), value)
        if self.untold:
            self.problems.append(Problem(CODE, f"{self.untold} more entries cannot be used"))
        return history_of(found), tuple(self.problems)

    def athlete(self, where: str, value: Mapping[str, Any]) -> AthleteHistory:
        """One athlete's entries that can be used."""
        return tidy(
            self.entries(where, value, "own_lines", _read_line),
            self.entries(where, value, "powers", _read_power),
            self.entries(where, value, "hr_drops_60s", _read_drop),
            self.entries(where, value, "devices", _read_device),
        )

    def entries(
        self, where: str, value: Mapping[str, Any], key: str, read: Callable[[Mapping[str, Any]], T]
    ) -> list[T]:
        """The entries of a list that can be used."""
        items = value.get(key, [])
        if not isinstance(items, list):
            self.problem(f"`{key}` of {where}", "not a list")
            return []
        found = []
        for number, item in enumerate(items, start=1):
            try:
                found.append(read(_mapping(item)))
            except EntryError as error:
                self.problem(f"`{key}` of {where}, entry {number}", error)
        return found


def _read_line(entry: Mapping[str, Any]) -> LearntLine:
    return line_of(_moment(entry.get("class")), entry)


def _read_power(entry: Mapping[str, Any]) -> LearntPower:
    power = LearntPower(
        _moment(entry.get("class")),
        _machine(entry),
        _number(entry.get("planned_s"), "`planned_s`", SECONDS),
        _whole(entry, "steps"),
        _number(entry.get("mean_w"), "`mean_w`", WATTS),
        _number(entry.get("best_w"), "`best_w`", WATTS),
    )
    if power.best_w < power.mean_w:
        raise EntryError("`best_w` is below `mean_w`")
    return power


def _read_drop(entry: Mapping[str, Any]) -> LearntDrop:
    return LearntDrop(
        _moment(entry.get("class")),
        _whole(entry, "rests"),
        _number(entry.get("peak_bpm"), "`peak_bpm`", BEATS),
        _number(entry.get("drop_bpm"), "`drop_bpm`", DROP_BEATS),
    )


def _read_device(entry: Mapping[str, Any]) -> SeenDevice:
    mark, classes = entry.get("mark"), entry.get("classes")
    if not isinstance(mark, str) or not MARK.fullmatch(mark):
        raise EntryError("`mark` is not a device's mark, 16 to 128 hexadecimal digits")
    if not isinstance(classes, list):
        raise EntryError("`classes` is not a list of class starts")
    return SeenDevice(mark, tuple(sorted({_moment(start) for start in classes})))


def _is_name(text: str) -> bool:
    return 0 < len(text) <= LONGEST_NAME and text.isprintable()


def _mapping(value: object) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise EntryError("not an object")
    return value


def _number(value: object, what: str, span: tuple[float, float]) -> float:
    """A finite number inside a span; true and false are none."""
    low, high = span
    kind = isinstance(value, int | float) and not isinstance(value, bool)
    if not kind or not low <= cast("float", value) <= high:
        raise EntryError(f"{what} is not a number from {low:g} to {high:g}")
    return float(cast("float", value))


def _whole(entry: Mapping[str, Any], key: str) -> int:
    value = _number(entry.get(key), f"`{key}`", COUNT)
    if not value.is_integer():
        raise EntryError(f"`{key}` is not a whole number")
    return int(value)


def _pair(value: object, what: str, span: tuple[float, float]) -> tuple[float, float]:
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) != 2:
        raise EntryError(f"{what} is not a pair of numbers")
    return _number(value[0], what, span), _number(value[1], what, span)


def _machine(entry: Mapping[str, Any]) -> Machine:
    machine = entry.get("machine")
    if not isinstance(machine, str) or machine not in DRAG:
        raise EntryError("`machine` is not `rower`, `ski` or `bike`")
    return machine


def _moment(value: object) -> datetime:
    wrong = "the start of a class is not a time in ISO 8601 with an offset"
    if not isinstance(value, str) or len(value) > LONGEST_MOMENT:
        raise EntryError(wrong)
    try:
        moment = datetime.fromisoformat(value)
        known = None if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        known = None
    if known is None:
        raise EntryError(wrong)
    return known
