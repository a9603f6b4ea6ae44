"""Every sentence that a score's judgement says, in one place, ready for translation.

Named fields in braces; numbers come in as they are to be printed. A sentence tells the numbers
and what they would fit; it never tells what anybody meant.
"""

from __future__ import annotations

from reconcile.plan import Measure, Take
from reconcile.sentence import Sentence, Value, deferred

UNITS: dict[Measure, Sentence] = {
    "calories": Sentence("calories"),
    "metres": Sentence("metres"),
    "reps": Sentence("repetitions"),
    "seconds": Sentence("seconds"),
}
MACHINES = {
    "rower": Sentence("rower"),
    "ski": Sentence("ski machine"),
    "bike": Sentence("bike"),
}
MACHINE = Sentence("machine")
TAKES: dict[Take, Sentence] = {
    "total": Sentence("in all"),
    "lowest": Sentence("in the lowest round"),
    "highest": Sentence("in the highest round"),
    "mean": Sentence("on average"),
}

TEXTS: dict[str, str] = {
    # What a machine's count makes of the logged number.
    "rounding": deferred(
        "The {machine} counted {recorded} {unit} {take} at the bells; {logged} is that in "
        "whole numbers."
    ),
    "counted_coasting": deferred(
        "The {machine} counted {recorded} {take} by the bell; {logged} fits reading the "
        "display {delay} s later, with the flywheel still turning."
    ),
    "counted_coasting_late": deferred(
        "The {machine} counted {recorded} {take} by the bell; {logged} fits reading the "
        "display after the flywheel ran out."
    ),
    "counted_coasting_seconds": deferred(
        "The {machine} reached the amount after {recorded} s {take}; {logged} fits reading "
        "the clock {delay} s later."
    ),
    "counted_rest": deferred(
        "The {machine} counted {recorded} {unit} {take} inside the work steps and {predicts} "
        "with the rests; {logged} fits a display that ran on through the rests."
    ),
    "missing_round": deferred(
        "All rounds make {recorded} {unit} {take}; without round {rounds} it would be "
        "{predicts}, which fits the {logged} logged."
    ),
    "extra_round": deferred(
        "The rounds make {recorded} {unit} {take}; with round {rounds} counted twice it would"
        " be {predicts}, which fits the {logged} logged."
    ),
    "arithmetic_slip": deferred(
        "The rounds as written make {sum} {take}, and the {machine} counted {recorded}; "
        "{logged} was logged."
    ),
    "arithmetic_slip_unseen": deferred(
        "The {machine} counted {recorded} {take}; {logged} could be a slip in adding up the rounds."
    ),
    "digits_swapped": deferred(
        "{origin} would fit the {recorded} that the {machine} counted; {logged} is that with "
        "two digits the other way round or one digit off."
    ),
    "digits_swapped_round": deferred(
        "Round {round} is written as {written}; {origin} would fit what the {machine} "
        "counted, and {predicts} {take}."
    ),
    "wrong_measure": deferred(
        "The {machine} counted {recorded} {unit} and {predicts} {other_unit} {take}; {logged}"
        " fits the {other_unit}."
    ),
    "watch_calories": deferred(
        "The watch's own estimate was {predicts} calories and the {machine} counted "
        "{recorded}; {logged} fits the watch."
    ),
    "other_athlete": deferred(
        "{logged} fits what was recorded for {athlete} ({predicts}); the {machine} counted "
        "{recorded} here."
    ),
    "inflated": deferred(
        "{logged} is {difference} more than the {recorded} {unit} ({low} to {high}) that the "
        "{machine} counted {take}, and nothing simpler fits. How was it counted?"
    ),
    "understated": deferred(
        "{logged} is {difference} less than the {recorded} {unit} ({low} to {high}) that the "
        "{machine} counted {take}. Was part of the work left off?"
    ),
    "unexplained": deferred(
        "The {machine} counted {recorded} {unit} {take} ({low} to {high}); {logged} fits none"
        " of the usual reasons. What was counted?"
    ),
    # Put behind the first explanation where it is not sure whose the recording is.
    "another_recording": deferred("Or is that recording somebody else's?"),
    # The same where no machine recorded the score.
    "unseen_arithmetic_slip": deferred(
        "The rounds as written make {sum} {take}; {logged} was logged."
    ),
    "unseen_digits_swapped": deferred(
        "The rounds as written make {origin} {take}; {logged} is that with two digits the "
        "other way round or one digit off."
    ),
    "unseen_digits_swapped_round": deferred(
        "Round {round} is written as {written}; with {origin} the rounds make {predicts} {take}."
    ),
    "unseen_missing_round": deferred(
        "The sheet has fewer rounds than the plan; {logged} fits the rounds without round {rounds}."
    ),
    "unseen_extra_round": deferred(
        "The sheet counts more than the plan's rounds; {logged} fits one counted twice."
    ),
    "unseen_wrong_measure": deferred(
        "{logged} would be usual for {other_unit} in this plan, and is not for {unit}. Which "
        "of the display's numbers was written down?"
    ),
    "unseen_watch_calories": deferred(
        "The watch's own estimate was {predicts} calories, and {logged} was logged; the "
        "watch's calories are not the machine's."
    ),
    "unseen_other_athlete": deferred("{logged} fits what was recorded for {athlete} ({predicts})."),
    "unseen_inflated": deferred(
        "{logged} {unit} {take} is more than this plan usually gives (some {expected}), and "
        "no machine recording says otherwise. How was it counted?"
    ),
    "unseen_understated": deferred(
        "{logged} {unit} {take} is less than this plan usually gives (some {expected}), and "
        "no machine recording says why."
    ),
    "unseen_unexplained": deferred(
        "{logged} {unit} {take} fits neither this plan nor the usual reasons, and no machine "
        "recording helps. What was counted?"
    ),
    # Beyond the possible; put in front of the first explanation.
    "impossible_power": deferred(
        "{claimed} {unit} {where} in {seconds} s would take {power} W on average; the best marks "
        "on record, scaled to sex and body mass, allow about {limit} {unit} ({limit_power} W; law "
        "through the 500 m and 2000 m indoor records, W′ refilled in rests after Skiba et al. "
        "2012)."
    ),
    "impossible_repetitions": deferred(
        "{claimed} repetitions {where} in {seconds} s are more than {limit}, at {each} s each"
        " the fastest credible rate (common practice)."
    ),
    "impossible_time": deferred(
        "{claimed} s {where} is less than the {limit} s that the tasks need at the best ever "
        "recorded rates (law through the 500 m and 2000 m indoor records; repetitions by "
        "common practice)."
    ),
    "where_round": deferred("in round {round}"),
    "where_total": deferred("in all"),
    "where_lowest": deferred("in the lowest round"),
    "where_highest": deferred("in the highest round"),
    "where_mean": deferred("a round on average"),
}


def text(key: str, **facts: Value | None) -> Sentence:
    """The sentence of this key with its fields filled in; a fact that is None has none there."""
    known = {name: value for name, value in facts.items() if value is not None}
    return Sentence(TEXTS[key], **known)


def number(value: float) -> int | float:
    """A number as people write it: one decimal below 100 where it has one, whole above."""
    if abs(value - round(value)) < 0.05 or abs(value) >= 100:
        return round(value)
    return round(value, 1)
