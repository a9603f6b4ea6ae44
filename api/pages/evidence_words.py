"""What a recording's place and owner rest on, in words and numbers of a language."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.language import Language, deferred
from api.pages.class_words import in_hundred
from api.results.drawings import BlockEvidence, RecordingEvidence
from api.results.service import SOMEBODY
from api.sheet.explained import LARGE, NEARLY_EVEN

SOURCES = {
    "heart rate": deferred("heart rate"),
    "machine": deferred("machine"),
    "cadence": deferred("cadence"),
    "laps": deferred("laps"),
    "own other files": deferred("own other files"),
    "what was written down": deferred("what was written down"),
    "clock and class": deferred("clock and class"),
    "pin": deferred("placed by hand"),
}
MOST_OWNERS = 4
SEEN = 0.01


@dataclass(frozen=True)
class Place:
    """One place that a block may have: as text, and in seconds for a form.

    at: by the device's own clock, blank without a date. away: from the likeliest. says: for each
    source, how much likelier or less likely it finds this place than the likeliest one.
    """

    number: int
    start_s: float
    start: str
    at: str
    away: str
    chance: str
    says: tuple[str, ...]


def clock_text(seconds: float) -> str:
    """Minutes, seconds and tenths, as they are typed too: "12:51.5"; a minus sign before zero."""
    tenths = round(abs(seconds) * 10)
    minutes, rest = divmod(tenths, 600)
    sign = "−" if seconds < 0 and tenths else ""
    return f"{sign}{minutes}:{rest // 10:02d}" + (f".{rest % 10}" if rest % 10 else "")


def places(language: Language, block: BlockEvidence, first: datetime | None) -> tuple[Place, ...]:
    """The places of a block, the likeliest first; first: the recording's first sample."""
    best = block.candidates[0]
    return tuple(
        Place(
            number=number,
            start_s=round(place.start_s, 1),
            start=clock_text(place.start_s),
            at=""
            if first is None
            else language.time_of_day(first + timedelta(seconds=place.start_s), seconds=True),
            away="" if number == 1 else away_text(place.start_s - best.start_s),
            chance=in_hundred(language, place.probability),
            says=tuple(
                "" if number == 1 else factor_text(language, place.says[name]) for name in best.says
            ),
        )
        for number, place in enumerate(block.candidates, start=1)
    )


def away_text(seconds: float) -> str:
    """How far one place is from another: "+5:00", "−2:30"."""
    return clock_text(seconds) if seconds < 0 else f"+{clock_text(seconds)}"


def factor_text(language: Language, log_factor: float) -> str:
    """How much likelier or less likely."""
    factor = math.exp(min(abs(log_factor), 100.0))
    if factor < NEARLY_EVEN:
        return language.text("as likely")
    if factor > LARGE:
        return language.text("over a million× more" if log_factor > 0 else "over a million× less")
    rounded = float(f"{factor:.2g}")
    shown = language.number(rounded, 1 if rounded < 10 else 0)
    return language.text("{factor}× more" if log_factor > 0 else "{factor}× less", factor=shown)


def clock_sentence(language: Language, block: BlockEvidence) -> str:
    """What the device's clock alone would say of a block."""
    if block.clock_start_s is None:
        return language.text(
            "The device's clock alone says nothing: it has no date, or the bell is not known."
        )
    off_s = block.clock_start_s - block.candidates[0].start_s
    if abs(off_s) < 1:
        return language.text("The device's clock alone says the same.")
    amount = language.duration(abs(off_s))
    if off_s < 0:
        return language.text("The device's clock alone has it {amount} earlier.", amount=amount)
    return language.text("The device's clock alone has it {amount} later.", amount=amount)


def heart_sentence(language: Language, block: BlockEvidence) -> str:
    """How the heart answers the plan; blank without one."""
    if block.delay_s is None:
        return ""
    return language.text(
        "The heart answers {delay:.0f} s late, and rises with a time constant of {rise:.0f} s and "
        "falls with one of {fall:.0f} s.",
        delay=block.delay_s, rise=block.rise_s, fall=block.fall_s,
    )  # fmt: skip


def owner_sentence(language: Language, told: RecordingEvidence, names: dict[str, str]) -> str:
    """The likeliest owners with their odds; names: of handles that the person may read."""

    def name(owner: str | None) -> str:
        if owner is None:
            return language.text("nobody here")
        return language.text("somebody else") if owner == SOMEBODY else names.get(owner, owner)

    if len(told.owners) > 1:
        who = language.listed(name(owner) for owner in told.owners)
        return language.text("It is of a machine that {names} used in turns.", names=who)
    if not told.odds:
        if not told.owners:
            return language.text("Nothing tells whose it is.")
        return language.text(
            "It is taken to be {name}'s, as it was handed in.", name=name(told.owners[0])
        )
    shown = [
        f"{name(owner)} {in_hundred(language, share)}"
        for owner, share in told.odds[:MOST_OWNERS]
        if share >= SEEN
    ]
    return language.text("Whose it is: {odds}.", odds=language.listed(shown))
