"""What a movement written in free text is in the Compendium, and why.

Free text has no code of its own, so each entry says which rows it takes at each effort, how sure
that is, and for what reason. Seconds a repetition are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from reconcile.energy import acsm
from reconcile.energy.compendium import ROWS, Row, step_row
from reconcile.plan import Effort

Kind = Literal["strength", "whole-body", "light", "machine"]


@dataclass(frozen=True)
class Movement:
    """A movement, the rows that it takes, and how long it takes.

    words: a regular expression over the lower-case name. easy, steady, hard: codes. kind:
    `strength` raises heart rate out of proportion to oxygen. seconds: usual seconds a repetition,
    or a metre where `per_metre`.
    """

    name: str
    words: str
    easy: str
    steady: str
    hard: str
    kind: Kind
    seconds: float
    why: str
    per_metre: bool = False


SQUATS_AND_DEADLIFTS = "squats and deadlifts have a row; vigorous lifting where hard"
LIFTING = (
    "resistance training, vigorous: the row at 3.5 MET averages over sets and pauses, and on the "
    "clock there are none"
)
WATTS_UNKNOWN = "watts unknown: by effort, and as many as possible in a short time counts as hard"
BODY_WEIGHT = "body-weight circuit: calisthenics on the clock lie between moderate and vigorous"

# The first that matches is taken, so narrower words stand before wider ones.
# fmt: off
MOVEMENTS = (
    Movement("rowing machine", r"\brower\b|row(ing)? machine|ergometer|\berg\b",
             "02071", "02073", "02074", "machine", 0.25, WATTS_UNKNOWN, per_metre=True),
    Movement("ski machine", r"\bski(\b|ing)", "ski general", "02082", "02074", "machine", 0.25,
             WATTS_UNKNOWN + " (its own rows leap from 10.5 to 18: the rower's 200 W instead)",
             per_metre=True),
    Movement("bike", r"\bbik(e|ing)\b|cycl(e|ing)\b", "bike 60 W", "bike 199 W", "bike 305 W",
             "machine", 0.12, WATTS_UNKNOWN, per_metre=True),
    Movement("machine", r"^machine$", "02071", "02073", "02074", "machine", 0.25,
             "neither machine nor watts known: taken as a rowing machine", per_metre=True),
    Movement("double-unders", r"double[- ]?under", "15554", "15554", "15554", "whole-body", 0.6,
             "a row of its own"),
    Movement("rope jumping", r"(jump|skip)(ing)?[- ]?rope|rope[- ]jump|single[- ]?under|skip",
             "15552", "15551", "15550", "whole-body", 0.55, "rows by pace"),
    Movement("burpee", r"burpee|sprawl|up[- ]?down", "02022", "02020", "02020", "whole-body", 4.0,
             "named in the row of vigorous calisthenics"),
    Movement("step-up", r"step[- ]?up|(box|bench)[- ]step|stepping|\bsteps?\b", "step low",
             "step high", "step high", "whole-body", 2.6, "bench stepping, by height"),
    Movement("jump", r"jump(ing)?\b|jumps\b|\bbound|skater|\bhop", "02022", "02020", "02020",
             "whole-body", 2.2, "jumps are vigorous calisthenics"),
    Movement("swing", r"swing|kettlebell (clean|snatch|complex)", "02054", "02058", "02058",
             "whole-body", 1.9, "kettlebell swings have a row"),
    Movement("lift and throw", r"thruster|wall[- ]?ball|clean (and|&) |ground[- ]to|slam|toss|"
             r"throw", "02054", "02040", "02040", "whole-body", 2.8,
             "whole body under load without rest: vigorous circuit"),
    Movement("carry", r"carr(y|ies)|farmer|yoke|suitcase|sand ?bag|bear hug", "02035", "02040",
             "02040", "whole-body", 0.9, "walking under load without rest: vigorous circuit",
             per_metre=True),
    Movement("sled", r"sled|drag|tyre|tire", "02035", "02040", "02214", "whole-body", 1.2,
             "whole body against a load", per_metre=True),
    Movement("heavy rope", r"battl|rope", "02035", "02040", "02040", "whole-body", 1.0,
             "vigorous circuit"),
    Movement("crawl", r"crawl|mountain|inch ?worm|plank (jack|walk)|\bbear\b", "02022", "02020",
             "02020", "whole-body", 1.5, "vigorous calisthenics"),
    Movement("lift from the floor", r"snatch|\bcleans?\b|\bjerk", "02054", "02050", "02050",
             "strength", 3.5, "lifting, vigorous"),
    Movement("deadlift", r"dead ?-?lift|\brdl\b|good ?morning|hip (thrust|bridge)|glute|back ext",
             "02054", "02052", "02050", "strength", 3.2, SQUATS_AND_DEADLIFTS),
    Movement("hip hinge", r"hinge|bridge", "02024", "02052", "02050", "strength", 2.8,
             "light calisthenics without a load, as a deadlift under one"),
    Movement("lunge", r"lunge|split squat|pistol", "02022", "circuit body", "02020", "strength",
             2.4, BODY_WEIGHT),
    Movement("air squat", r"(air|body ?-?weight) squat|^squats?$|sit[- ]to[- ]stand", "02022",
             "circuit body", "02020", "strength", 1.8, BODY_WEIGHT),
    Movement("squat", r"squat|leg press", "02054", "02052", "02050", "strength", 2.6,
             SQUATS_AND_DEADLIFTS),
    Movement("sit-up", r"sit[- ]?up|v[- ]?up|toes?[- ]to", "02022", "circuit body", "02020",
             "light", 2.2, BODY_WEIGHT),
    Movement("trunk", r"crunch|plank|hollow|leg raise|dead ?bug|abdominal|\bcore\b|twist",
             "02024", "02022", "circuit body", "light", 2.2,
             "named in the rows of light and of moderate calisthenics"),
    Movement("push-up", r"(push|press)[- ]?up|\bdips?\b|hand ?stand", "02022", "circuit body",
             "02020", "strength", 2.0, BODY_WEIGHT),
    Movement("pull-up", r"(pull|chin|muscle)[- ]?up|ring row|\bhang", "02022", "circuit body",
             "02020", "strength", 2.6, BODY_WEIGHT),
    Movement("press and pull", r"press|bench|\brow(s|ing)?\b|curl|raise|\bfly|pull|extension",
             "02054", "02050", "02050", "strength", 2.6, LIFTING),
    Movement("shuttle run", r"shuttle|sprint|line drill", "12020", "02078", "02078",
             "whole-body", 0.35, "shuttle running has a row", per_metre=True),
    Movement("stairs", r"stair|climb", "02035", "02040", "02214", "whole-body", 0.8,
             "stairs: vigorous"),
    Movement("run", r"\brun|\bjog|treadmill|\btrot", "12150", "12050", "02214", "whole-body", 0.36,
             "pace unknown: in intervals people run rather than jog", per_metre=True),
    Movement("running on the spot", r"high knee|on the spot", "02022", "12150", "12150",
             "whole-body", 0.6, "as running"),
    Movement("walk", r"\bwalk|march|stroll|hike", "17190", "17190", "17190", "light", 0.7,
             "level walking", per_metre=True),
    Movement("boxing", r"\bboxing|punch|\bkick", "15110", "15110", "02020", "whole-body", 1.0,
             "punching bag"),
    Movement("stretching", r"stretch|mobil|foam|\broll|yoga|breath|band|rotation|circle|"
             r"warm[- ]?up|cool[- ]?down", "02101", "02101", "02101", "light", 4.0,
             "stretching; foam rolling and the like have no row and take this one"),
)
# fmt: on
UNKNOWN = Movement(
    name="unknown movement",
    words="",
    easy="02035",
    steady="02040",
    hard="02040",
    kind="whole-body",
    seconds=3.0,
    why="none of our words is in it: taken as circuit training",
)

# One standard deviation of a person's cost about the row (log), and of one bout's tempo: together
# 26 % at a known pace, 29 % running, 34 % otherwise, 37 % for strength work, 52 % for an unknown
# movement.
PERSON_SD = {
    "known pace": 0.21,
    "run": 0.25,
    "row": 0.30,
    "machine": 0.34,
    "strength": 0.34,
    "unknown": 0.50,
}
BOUT_SD = 0.15
# The row was out by a mean 19.9 % on 32 intermittent sessions with gas exchange: as a known pace.
MEASURED = ("shuttle run",)
# As many as possible for so long is near the most that a body can; beyond, people pace themselves.
SPRINT_S = 100.0
# Work that nothing saw: people skip rounds and stop early. Judgement.
UNSEEN_SD = 0.20
# Heart rate in strength work and under a load lies this share of the reserve above what oxygen
# explains, give or take: 2 to 8 %. Judgement.
PRESSOR_SHARE, PRESSOR_SHARE_SD = 0.05, 0.02


def movement(name: str) -> Movement:
    """The movement that a free-text name means; `UNKNOWN` where none of our words is in it."""
    words = name.strip().lower()
    return next((known for known in MOVEMENTS if re.search(known.words, words)), UNKNOWN)


def row_of(
    known: Movement,
    effort: Effort | None,
    *,
    loaded: bool = False,
    height_m: float | None = None,
    sprint: bool = False,
) -> Row:
    """The row for an effort; without one, steady.

    loaded: whether the task has a load (a hinge without one is easy). height_m: of a box. sprint:
    as many as possible within `SPRINT_S`, which on a machine is hard.
    """
    if known.kind == "machine" and effort is None and sprint:
        return ROWS[known.hard]
    if known.name == "step-up" and height_m is not None and effort != "easy":
        return step_row(height_m)
    if known.name == "hip hinge" and effort is None and not loaded:
        return ROWS[known.easy]
    return ROWS[
        {"easy": known.easy, "steady": known.steady, "hard": known.hard}[effort or "steady"]
    ]


def person_sd(known: Movement, *, known_pace: bool) -> float:
    """The relative spread of a person's cost about the row."""
    if known is UNKNOWN:
        return PERSON_SD["unknown"]
    if known_pace or known.name in MEASURED:
        return PERSON_SD["known pace"]
    if known.name == "run":
        return PERSON_SD["run"]
    return PERSON_SD[known.kind if known.kind in ("strength", "machine") else "row"]


def paced_met(known: Movement, *, amount_per_min: float, height_m: float | None) -> float | None:
    """MET from a known pace by the ACSM equations; None where none of them applies.

    Runs and walks by metres a minute, step-ups by steps a minute and the height of the box. Paces
    outside the equations' ranges give None: the table's row then stands.
    """
    if known.name == "run" and amount_per_min >= acsm.RUNNING_FROM_M_MIN:
        return float(acsm.running(min(amount_per_min, 330.0)) / acsm.ML_PER_KG_PER_MET)
    if known.name == "walk":
        low, high = acsm.WALKING_RANGE_M_MIN
        if low <= amount_per_min <= high:
            return float(acsm.walking(amount_per_min) / acsm.ML_PER_KG_PER_MET)
    if known.name == "step-up" and height_m is not None:
        low, high = acsm.STEPPING_RANGE_PER_MIN
        if low <= amount_per_min <= high and height_m <= acsm.STEPPING_HIGHEST_M:
            return float(acsm.stepping(amount_per_min, height_m) / acsm.ML_PER_KG_PER_MET)
    return None
