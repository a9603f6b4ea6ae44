"""Words of an athlete's pages, by the codes of plans and results."""

from __future__ import annotations

from api.language import Language, deferred

# What a score's column over all rounds is called.
TAKES = {
    "total": deferred("in all"),
    "lowest": deferred("lowest"),
    "highest": deferred("highest"),
    "mean": deferred("mean"),
}
# How a round of it is called where it is typed.
MEASURES = {
    "calories": deferred("calories"),
    "metres": deferred("metres"),
    "reps": deferred("repetitions"),
    "seconds": deferred("minutes and seconds"),
}
MACHINES = {
    "rower": deferred("rower"),
    "ski": deferred("ski machine"),
    "bike": deferred("bike"),
    "none": deferred("none"),
}
METHODS = {
    "machine": deferred("the work that the machine measured"),
    "heart-rate": deferred("heart rate"),
    "own-calibration": deferred("what earlier classes taught of this athlete"),
    "activity-table": deferred("a table of activities"),
}
OUTCOMES = {
    "stands": deferred("the score stands"),
    "corrected": deferred("the score was corrected"),
    "set aside": deferred("the score is set aside"),
}


def method_words(language: Language, method: str) -> str:
    """What an energy rests on, as a list in a sentence."""
    return language.listed(language.text(METHODS[name]) for name in method.split("+"))
