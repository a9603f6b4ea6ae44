"""What an athlete's notes plainly say, in the plan's terms, with the words that say it.

Only plain statements in English are read: another load, rounds left out, another machine, another
height, an easier movement. What is read is shown for confirmation, counts as evidence with a
stated reliability, and never takes the place of a field that was filled in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from reconcile.classes import Equipment, LoggedScore
from reconcile.plan import CM_PER_INCH, KG_PER_LB

Kind = Literal["load", "height", "rounds_left_out", "rounds_done", "machine", "movement"]

# How often what is plainly said is what was done (judgement): people write modifications down
# because they made them, but remember rounds worse than things.
RELIABILITY: dict[Kind, float] = {
    "load": 0.95,
    "height": 0.95,
    "rounds_left_out": 0.90,
    "rounds_done": 0.85,
    "machine": 0.95,
    "movement": 0.90,
}


@dataclass(frozen=True)
class Said:
    """One thing that notes say.

    words: the stretch of the notes that it was read from. load_kg, height_cm, rounds (counted from
    1), count (rounds done), machine, movement with its `instead_of`: whichever the kind tells.
    """

    kind: Kind
    words: str
    reliability: float
    load_kg: float | None = None
    height_cm: float | None = None
    rounds: tuple[int, ...] = ()
    count: int | None = None
    machine: Literal["rower", "ski", "bike"] | None = None
    movement: str | None = None
    instead_of: str | None = None


CARDINALS = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8,
    "nine": 9, "ten": 10,
}  # fmt: skip
ORDINALS = {
    "first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7,
    "eighth": 8, "ninth": 9, "tenth": 10,
}  # fmt: skip
COUNT = r"(\d{1,2}|" + "|".join(CARDINALS) + ")"
ORDINAL = r"(\d{1,2})(?:st|nd|rd|th)|(" + "|".join(ORDINALS) + ")"
SKIPPED = r"(?:skipped|skip|missed|left out|sat out|did not do|didn'?t do|dropped|without)"
MACHINE_WORDS = {
    "rower": r"row(?:er|ing machine)?|ergometer|erg",
    "ski": r"ski(?: machine)?",
    "bike": r"bike|cycle",
}
NEGATED = re.compile(r"\b(?:no|not|never|n'?t|almost|nearly|wanted to|should have)\W+(?:\w+\W+)?$")


def read_notes(notes: str, rounds: int) -> tuple[Said, ...]:
    """What the notes plainly say of a block of so many rounds, in the order of the text."""
    found: list[tuple[int, Said]] = []
    for read in (_loads, _heights, _rounds, _machines, _movements):
        found.extend(read(notes, rounds))
    return tuple(said for _, said in sorted(found, key=lambda each: each[0]))


def filled_in(logged: LoggedScore, rounds: int) -> LoggedScore:
    """The row with its blank machine and load filled from its notes; what was filled in stays."""
    said = read_notes(logged.notes, rounds)
    equipment: Equipment | None = logged.equipment
    if equipment is None:
        machines = {each.machine for each in said if each.machine is not None}
        equipment = machines.pop() if len(machines) == 1 else None
    load_kg = logged.load_kg
    if load_kg is None:
        load_kg = next((each.load_kg for each in said if each.load_kg is not None), None)
    return replace(logged, equipment=equipment, load_kg=load_kg)


def rounds_left_out(notes: str, rounds: int) -> tuple[int, ...]:
    """Rounds, counted from 1, that the notes say were left out."""
    numbers = {n for said in read_notes(notes, rounds) for n in said.rounds}
    return tuple(sorted(n for n in numbers if 1 <= n <= rounds))


def _number(text: str) -> int:
    lower = text.lower()
    if lower.isdigit():
        return int(lower)
    return CARDINALS.get(lower) or ORDINALS[lower]


def _negated(notes: str, start: int) -> bool:
    return NEGATED.search(notes[:start].lower()) is not None


def _loads(notes: str, _rounds: int) -> Iterator[tuple[int, Said]]:
    pattern = r"(\d+(?:[.,]\d+)?)\s*(kg|kgs|kilos?|lb|lbs|pounds?)\b"
    for match in re.finditer(pattern, notes, re.IGNORECASE):
        before = notes[: match.start()].lower()
        # "instead of 30 kg" tells what it was not.
        if re.search(r"(?:instead of|rather than|not|from)\s+(?:the\s+)?$", before):
            continue
        value = float(match[1].replace(",", "."))
        factor = float(KG_PER_LB) if match[2].lower().startswith(("lb", "p")) else 1.0
        said = Said("load", match[0], RELIABILITY["load"], load_kg=round(value * factor, 2))
        yield match.start(), said


def _heights(notes: str, _rounds: int) -> Iterator[tuple[int, Said]]:
    pattern = r"(\d+(?:[.,]\d+)?)\s*(cm|in|inch|inches|\")(?=\W|$)"
    for match in re.finditer(pattern, notes, re.IGNORECASE):
        around = notes[max(0, match.start() - 20) : match.end() + 20].lower()
        if not re.search(r"box|step|bench|height|plate", around):
            continue
        value = float(match[1].replace(",", "."))
        factor = 1.0 if match[2].lower() == "cm" else float(CM_PER_INCH)
        said = Said("height", match[0], RELIABILITY["height"], height_cm=round(value * factor, 1))
        yield match.start(), said


def _rounds(notes: str, rounds: int) -> Iterator[tuple[int, Said]]:
    text = notes.lower()

    def left_out(match: re.Match[str], numbers: list[int]) -> tuple[int, Said]:
        kept = tuple(sorted(n for n in set(numbers) if 1 <= n <= rounds))
        words = notes[match.start() : match.end()]
        return match.start(), Said(
            "rounds_left_out", words, RELIABILITY["rounds_left_out"], rounds=kept
        )

    numbered = (
        SKIPPED
        + r" (?:the )?rounds? ((?:\d{1,2}|"
        + "|".join(CARDINALS)
        + r")(?:(?:,| and| &|, and) ?(?:\d{1,2}))*)"
    )
    for match in re.finditer(numbered, text):
        if not _negated(text, match.start()):
            parts = re.findall(r"\d{1,2}|" + "|".join(CARDINALS), match[1])
            yield left_out(match, [_number(part) for part in parts])
    for match in re.finditer(SKIPPED + r" (?:the |my )?(?:" + ORDINAL + r") round\b", text):
        if not _negated(text, match.start()):
            yield left_out(match, [_number(match[1] or match[2])])
    last = SKIPPED + r" (?:the |my )?(?:last|final)(?: " + COUNT + r")? rounds?\b"
    for match in re.finditer(last, text):
        if not _negated(text, match.start()):
            count = _number(match[1]) if match[1] else 1
            yield left_out(match, list(range(rounds - count + 1, rounds + 1)))
    done = (
        r"(?:only |just )(?:did |managed |got |finished |made )?"
        + COUNT
        + r"(?: of \w+| out of \w+)? rounds\b|(?:did|managed|finished|stopped after) (?:only )?"
        + COUNT
        + r"(?: of \w+| out of \w+)? rounds\b"
    )
    for match in re.finditer(done, text):
        count = _number(match[1] or match[2])
        if 0 < count < rounds:
            words = notes[match.start() : match.end()]
            yield match.start(), Said("rounds_done", words, RELIABILITY["rounds_done"], count=count)


def _machines(notes: str, _rounds: int) -> Iterator[tuple[int, Said]]:
    for machine, words in MACHINE_WORDS.items():
        pattern = (
            r"\b(?:on|used|took|swapped to|switched to|changed to|did it on|moved to|using) "
            r"(?:the |a |my )?(?:" + words + r")\b"
        )
        for match in re.finditer(pattern, notes, re.IGNORECASE):
            if not _negated(notes, match.start()):
                yield (
                    match.start(),
                    Said(
                        "machine",
                        match[0],
                        RELIABILITY["machine"],
                        machine=machine,  # type: ignore[arg-type]
                    ),
                )


def _movements(notes: str, _rounds: int) -> Iterator[tuple[int, Said]]:
    pattern = r"([a-z][a-z\- ]{2,30}?) (?:instead of|rather than|in place of) ([a-z][a-z\- ]{2,30})"
    machine_words = "|".join(MACHINE_WORDS.values())
    for match in re.finditer(pattern, notes, re.IGNORECASE):
        done = re.sub(r"^(?:i |did |used |the |with |on |and )+", "", match[1].strip().lower())
        planned = match[2].strip().lower()
        if re.fullmatch(rf"(?:{machine_words}|kg|kgs|lb|lbs)", done) or not done:
            continue
        yield (
            match.start(),
            Said(
                "movement",
                match[0].strip(),
                RELIABILITY["movement"],
                movement=done,
                instead_of=planned,
            ),
        )
