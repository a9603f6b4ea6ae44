"""Every prior and every cost in one place: judgement, no source.

Shares of scores as they come in from a class, before any evidence. They need not be right to be
useful: with a direct count the evidence outweighs them; without one they are nearly all there is.
"""

from __future__ import annotations

from typing import Literal

# Prior probability of each way in which a logged number comes about; they sum to 1.
PRIOR: dict[str, float] = {
    "rounding": 0.293,
    "counted_coasting": 0.44,
    "counted_rest": 0.03,
    "missing_round": 0.03,
    "extra_round": 0.025,
    "arithmetic_slip": 0.03,
    "digits_swapped": 0.025,
    "wrong_measure": 0.015,
    "watch_calories": 0.015,
    "other_athlete": 0.015,
    "inflated": 0.048,
    "understated": 0.025,
    "unexplained": 0.009,
}
# Of `counted_coasting`, the share that is read more than 3 s after the bell.
LATE_SHARE = 0.07

# How a prompt reading becomes a whole number: the floor of a display set to 0 at the start, the
# difference of two readings of one that runs on, or rounded to the nearest or up.
Cut = Literal["set to 0", "running on", "rounded"]
CUT_SHARE: dict[Cut, float] = {"set to 0": 0.55, "running on": 0.38, "rounded": 0.07}
# Whether a total without rounds is the sum of whole readings or one reading of the sum.
ONE_READING_SHARE = 0.25

# Of missing rounds, how often it is one and not two.
ONE_MISSING_SHARE = 0.88

# Sizes of an arithmetic slip, both signs alike: a carry forgotten, off by a few, and the rest
# spread over some share of the score.
SLIP_SIZES = {
    1.0: 0.14,
    2.0: 0.10,
    3.0: 0.08,
    4.0: 0.06,
    5.0: 0.07,
    10.0: 0.28,
    20.0: 0.06,
    100.0: 0.03,
}
SLIP_SPREAD_SHARE = 0.18
SLIP_SPREAD = 0.08
# Without written rounds a slip cannot be seen; what looks like one is mostly something else.
UNSEEN_SLIP = 0.4

# Swapped neighbours are the usual slip of the pen; one wrong, lost or doubled digit is rarer.
SWAPPED_SHARE, MISTYPED_SHARE = 0.75, 0.25

# Size of an inflation or understatement, log ratio to what was done, as exponentials: most are
# small; some inflated numbers are out of all proportion. What lies between, far off and still
# possible, is more often something that nobody has thought of.
INFLATED_SIZES = ((0.84, 0.17), (0.04, 0.5), (0.12, 2.5))
UNDERSTATED_SIZES = ((0.95, 0.16), (0.05, 0.5))
# The log ratio of an unexplained number, double-exponential.
UNEXPLAINED_SIZE = 0.7

# Of scores that are somebody else's, how often their row was copied as it stands.
COPIED_SHARE = 0.5

# How a changed score is written: with rounds that were changed too, or only in the total.
ROUNDS_CHANGED_SHARE = 0.75
# A sheet whose rounds do not make its total, though nothing else is wrong.
CARELESS_SHARE = 0.003
# Rounds written with too few or too many entries though the total is right.
MISCOUNTED_SHARE = 0.003

# Costs, in units of one needless question to an honest athlete.
COST_OF_FALSE_QUESTION = 1.0
# Missing a score that is off by a tenth or more; smaller ones cost less, down to the floor.
COST_OF_MISS = 1.0
FULL_COST_AT = 0.10
LEAST_COST_SHARE = 0.25
# Without a direct count the same question rests on expectation alone and has to be surer.
COST_OF_MISS_UNSEEN = 0.10

# A recording that is theirs and in its place less probably than this speaks against no score; it
# has to be surer where nobody named it for them. One that its uploader named for them is worth a
# question of its own where the score says that it may not be theirs, unless more than that does.
LEAST_SURE, LEAST_SURE_UNNAMED = 0.5, 0.75
FIRM_OWNERSHIP = 0.75
# A question says that the recording may be somebody else's where it is theirs less surely than so.
SURELY_THEIRS = 0.8

# Explanations less probable than this are not worth showing.
LEAST_SHOWN = 0.01
