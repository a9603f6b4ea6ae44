"""Every text of the class sheet, in one place.

A flag is a question: no sentence here says that anybody did wrong. What is marked as deferred is
translated where the pages show it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.language import deferred
from reconcile.result import Status, Verdict


@dataclass(frozen=True)
class VerdictWords:
    """How a verdict looks: a sign that differs in shape, the word, and what it means."""

    sign: str
    plain_sign: str
    word: str
    meaning: str


VERDICTS: dict[Verdict, VerdictWords] = {
    "confirmed": VerdictWords(
        "=",
        "=",
        deferred("confirmed"),
        deferred(
            "A machine counted it, and the count agrees with what was logged, apart from rounding "
            "or a display read a moment after the bell."
        ),
    ),
    "plausible": VerdictWords(
        "≈",
        "~",
        deferred("plausible"),
        deferred("No machine counted it, but nothing that was recorded speaks against it."),
    ),
    "doubtful": VerdictWords(
        "≠",
        "#",
        deferred("doubtful"),
        deferred("What was recorded and what was logged differ. There is a question to ask."),
    ),
    "impossible": VerdictWords(
        "×",
        "x",
        deferred("impossible"),
        deferred(
            "More than a body or the machine can do, so something went wrong on the way to the "
            "sheet. There is a question to ask."
        ),
    ),
    "unverifiable": VerdictWords(
        "–",
        "-",
        deferred("unverifiable"),
        deferred("Too little was recorded to say, or nothing was logged."),
    ),
}

STATUSES: dict[Status, str] = {
    "aligned": deferred("Its place in the class is known."),
    "ambiguous": deferred("It fits the class in more than one place; the likeliest is used."),
    "unmatched": deferred("It does not fit this class: another day or another workout, perhaps."),
    "unreadable": deferred("Nothing in it could be used."),
}


@dataclass(frozen=True)
class ExplanationWords:
    """What may have happened, as a clause, and the question that finds out."""

    clause: str
    question: str


EXPLANATIONS: dict[str, ExplanationWords] = {
    "rounding": ExplanationWords(
        deferred("the rounds were rounded one by one"),
        deferred("Were the rounds rounded as they were written down?"),
    ),
    "counted_coasting": ExplanationWords(
        deferred("the display was read while the flywheel was still running on"),
        deferred("Was the display read a few seconds after the bell?"),
    ),
    "counted_rest": ExplanationWords(
        deferred("easy work in the rests ran the count on"),
        deferred("Did the machine keep moving during the rests?"),
    ),
    "missing_round": ExplanationWords(
        deferred("one round did not get onto the sheet"),
        deferred("Is there a round missing on the sheet?"),
    ),
    "extra_round": ExplanationWords(
        deferred("one round stands on the sheet twice, or one that was not done"),
        deferred("Could a round have been written down twice?"),
    ),
    "arithmetic_slip": ExplanationWords(
        deferred("the rounds add up to another number"),
        deferred("Shall we add the rounds up together once more?"),
    ),
    "digits_swapped": ExplanationWords(
        deferred("a digit slipped on the way to the sheet"),
        deferred("Could two digits have changed places?"),
    ),
    "wrong_measure": ExplanationWords(
        deferred("another number on the display was written down"),
        deferred("Which number on the display is this one?"),
    ),
    "watch_calories": ExplanationWords(
        deferred("it is the watch's own number"), deferred("Does this number come from the watch?")
    ),
    "other_athlete": ExplanationWords(
        deferred("it fits somebody else's recording"),
        deferred("Did two people change machines, or did a score land on the wrong line?"),
    ),
    "inflated": ExplanationWords(
        deferred("the recording holds less than the sheet"),
        deferred("Is some of the work missing from the recording?"),
    ),
    "understated": ExplanationWords(
        deferred("the recording holds more than the sheet"),
        deferred("Was more done than got written down?"),
    ),
    "unexplained": ExplanationWords(
        deferred("nothing that we know of explains it"), deferred("How was this number arrived at?")
    ),
}

MACHINES = {
    "rower": deferred("rower"),
    "ski": deferred("ski machine"),
    "bike": deferred("bike"),
}

MEASURES = {"calories": "cal", "metres": "m", "reps": "reps"}

# What the time left for the machine was, against the time intended.
LOADS = {"load_right": "right", "load_too_heavy": "short", "load_too_light": "long"}

CARE = (
    "Energy is an estimate with a range; machine calories are a unit of score. Sensors err, and "
    "this is not a medical device. Stop and get help at chest pain, fainting, unusual "
    "breathlessness or a racing, stumbling heart. Loads are the coach's and the athlete's call."
)

# Paragraphs, with an empty line between them.
CARE_AT_LENGTH = """\
Energy is an estimate with a range. A machine's calories are a unit of score, not what the body
spent; the two are never added.

Sensors err, most of all with gripping, lifting or a loose strap. A heart rate here is not a
medical measurement, and this is not a medical device: it neither diagnoses nor clears anyone.

A highest heart rate worked out from age can be out by ten beats and more. It is no limit and no
target. Medicines, pregnancy, illness, heat and some heart conditions change heart rate: what a
clinician says comes first.

Stop and get help at chest pain, fainting, unusual breathlessness or a racing, stumbling heart.

Loads are the coach's and the athlete's call. A question on this sheet is a question, not a charge;
heart rate alone never rejects a score. Heart data is private: share this sheet only with those
whom it concerns."""

DONE_KEY = (
    "Begun: rounds begun of rounds planned. Work: per cent of the planned work inside its windows. "
    "Late, early: seconds from a bell to the first effort, and from the last effort to the bell. "
    "Rest: per cent of the planned rest without machine work. In brackets the range; a dash is not "
    "known."
)

# Explaining one recording.
HEART_KEY = "Heart rate (:), and the answer to the plan that fits it best (-), = where both are"
POWER_KEY = "Power, watts"
PLAN_KEY = "The plan at its likeliest place: _ work, / rest, | bells; minutes from the first sample"
LIKELIHOOD_KEY = "How well the samples fit each start (a logarithm), the places numbered as below"
LIKELIHOOD_AND_CLOCK_KEY = f"{LIKELIHOOD_KEY}, c: the device's clock alone"
SAMPLES_SILENT = "The samples by themselves say nothing of where it begins."
SPREAD_OUT = (
    "Its clock stood still while it was paused: the pauses are put back here, so that times differ "
    "from the device's own."
)
NO_PLACE = "No block of the plan has a place on it."
SAYS_KEY = (
    "Under each source: how much more or less likely it finds a place than the first one. Clock "
    "and class: the device's clock, the bell as everybody's recordings tell it, the stated start, "
    "and this recording's other blocks. Own other files: the same athlete's other recordings, by "
    "one heart in both or a heart that answers the machine's work."
)

# Explaining energy.
ENERGY_KEY = (
    "A step a line: the joined result with its range, and from which models, each with its value, "
    "its spread (one standard deviation) and its weight (×). A model's value covers the parts of "
    "the step that it speaks of. What errs in one step errs in all, so ranges of totals are wide."
)
OXYGEN_TIMED = (
    "By mask: what measured breathing would show inside the step's window. It comes later than the "
    "work that it pays for, and is another view of the same energy: never add the two."
)


def in_hundred(probability: float) -> str:
    """A probability as people say it, never as a certainty: "71 in 100", "over 99 in 100"."""
    if probability > 0.99:
        return "over 99 in 100"
    if probability < 0.01:
        return "under 1 in 100"
    return f"{round(probability * 100)} in 100"


def number(value: float) -> str:
    """A number as a sheet shows it: whole, or with one decimal."""
    return f"{value:.0f}" if float(value).is_integer() or abs(value) >= 1000 else f"{value:.1f}"


def count(value: float, measure: str) -> str:
    """A score as a sheet shows it: calories with a decimal, metres whole, seconds as a clock."""
    if measure == "seconds":
        return clock(value)
    return f"{value:.0f}" if measure == "metres" else number(value)


def amount(value: float, measure: str) -> str:
    """A score with its unit: "55.6 cal", "813 m", "1:52"."""
    return count(value, measure) + ("" if measure == "seconds" else f" {MEASURES[measure]}")


def clock(seconds: float) -> str:
    """Seconds as minutes and seconds, "2:05"; a minus sign before what lies before zero."""
    whole = round(abs(seconds))
    return f"{'−' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def listed(parts: Sequence[str]) -> str:
    """Parts as a list in a sentence: "a", "a and b", "a, b and c"."""
    return " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))


def printable(text: str) -> str:
    """Text from a file or a name on one line, without what would steer a terminal or hide."""
    return "".join(
        character
        if character.isprintable()
        else " "
        if character.isspace()
        else "\N{REPLACEMENT CHARACTER}"
        for character in text
    )
