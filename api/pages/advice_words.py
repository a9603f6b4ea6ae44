"""Advice to an athlete in sentences of their language, the most useful first."""

from __future__ import annotations

from collections.abc import Callable

from api.language import Language, deferred
from api.sheet.rows import intended_time, mean_machine_time
from reconcile.plan import Plan
from reconcile.result import Advice, AthleteResult

# In the order in which they are worth saying; that the load was right only where nothing else is.
PLAIN = {
    "start_sooner": deferred(
        "In most rounds the machine began some seconds after the bell: what you do there first "
        "could go quicker."
    ),
    "work_to_the_bell": deferred(
        "In some rounds the machine stopped seconds before the bell; the count runs until then."
    ),
    "rest_fully": deferred(
        "The machine kept moving for much of the rests: rest fully, or agree on easy work there."
    ),
    "pace_evenly": deferred(
        "Your power fell over the rounds; a steadier beginning may give more in total."
    ),
    "check_sensor": deferred(
        "The heart rate looks doubtful in places: look at how the sensor sits."
    ),
}
LOADS = {
    "load_too_heavy": deferred(
        "About {active:.0f} s a round were left for the machine, where {low:.0f} to {high:.0f} s "
        "were meant: go lighter on what comes before it."
    ),
    "load_too_light": deferred(
        "About {active:.0f} s a round were left for the machine, where {low:.0f} to {high:.0f} s "
        "were meant: there is room for more load, or for more of it."
    ),
    "load_right": deferred(
        "About {active:.0f} s a round were left for the machine, as meant ({low:.0f} to "
        "{high:.0f} s): keep the load."
    ),
}
WORTH = (
    "load_too_heavy", "load_too_light", "start_sooner", "work_to_the_bell", "pace_evenly",
    "rest_fully", "check_sensor", "load_right",
)  # fmt: skip
MOST = 2


def advice_sentences(language: Language, plan: Plan, athlete: AthleteResult) -> tuple[str, ...]:
    """One or two sentences, each with the block that it is about where there are several."""
    known = [advice for advice in athlete.advice if advice.code in WORTH]
    ranked = sorted(known, key=lambda advice: WORTH.index(advice.code))
    told = [sentence(language, plan, athlete, advice) for advice in ranked]
    return tuple(dict.fromkeys(told))[:MOST]


def sentence(language: Language, plan: Plan, athlete: AthleteResult, advice: Advice) -> str:
    """One piece of advice."""
    say: Callable[..., str] = language.text
    block = next((each for each in plan.timed_blocks if each.name == advice.block), None)
    text = advice.text
    if advice.code in PLAIN:
        text = say(PLAIN[advice.code])
    elif block is not None and (intended := intended_time(block)) is not None:
        own = [step for step in athlete.intervals if step.block == block.name]
        active = mean_machine_time(own) or 0.0
        text = say(LOADS[advice.code], active=active, low=intended.low_s, high=intended.high_s)
    several = block is not None and len(plan.timed_blocks) > 1
    return f"{advice.block}: {text}" if several else text
