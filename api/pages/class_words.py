"""Words of the coach's pages about a class, by the codes of its result."""

from __future__ import annotations

from collections.abc import Mapping

from api.language import Language, Sentence, deferred
from api.results.drawings import Drawings

# The time left for the machine, against the time intended.
LOADS = {
    "load_right": deferred("right"),
    "load_too_heavy": deferred("short"),
    "load_too_light": deferred("long"),
}

# What an athlete might do differently, as a coach lists it.
ADVICE = {
    "start_sooner": deferred("On the machine late after the bell"),
    "work_to_the_bell": deferred("Off the machine before the bell"),
    "rest_fully": deferred("Kept the machine moving in the rests"),
    "pace_evenly": deferred("Began much faster than they ended"),
    "check_sensor": deferred("Look at how the heart rate sensor sits"),
}

MEASURES = {
    "calories": deferred("cal"),
    "metres": deferred("m"),
    "reps": deferred("reps"),
    "seconds": deferred("s"),
}


def in_hundred(language: Language, probability: float) -> str:
    """A probability as people say it, never as a certainty: "71 in 100", "over 99 in 100"."""
    if probability > 0.99:
        return language.text("over 99 in 100")
    if probability < 0.01:
        return language.text("under 1 in 100")
    return language.text("{count} in 100", count=round(probability * 100))


def evidence_words(
    language: Language, drawings: Drawings, names: Mapping[str, str], text: str
) -> str:
    """What the engine says, in the reader's language, somebody else by their name."""
    said = drawings.sentence(text)
    if isinstance(said, Sentence) and "athlete" in said.values:
        handle = str(said.values["athlete"])
        said = Sentence(said.template, **{**said.values, "athlete": names.get(handle, handle)})
    return language.told(said)
