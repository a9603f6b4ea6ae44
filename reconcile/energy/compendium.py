"""The Compendium of Physical Activities: what an activity costs.

Rows: Herrmann SD et al. 2024, J Sport Health Sci 13:6-12 (from extracts, read) where the edition
says 2024; Ainsworth BE et al. 2011, Med Sci Sports Exerc 43:1575-1581 where it says 2011 (from
stored copies of the table, read; those marked L from a public listing of its rows). A MET is gross:
1 MET = 3.5 ml/kg/min ≈ 1 kcal/kg/h. Rows are averages of studies: people and tempo differ by 25 to
35 % about them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ingest.recording import Floats


@dataclass(frozen=True)
class Row:
    """One row of the table: its code (our own word where the extracts give none) and gross MET."""

    code: str
    met: float
    text: str
    edition: Literal[2011, 2024]


ROWS = {
    row.code: row
    for row in (
        Row("02020", 7.5, "calisthenics, vigorous, burpees included", 2024),
        Row("02022", 3.8, "calisthenics, moderate: push-ups, sit-ups, pull-ups, lunges", 2011),
        Row("02024", 2.8, "calisthenics, light: sit-ups, crunches", 2011),
        Row("02030", 3.5, "calisthenics, light or moderate, up and down from the floor", 2011),
        Row("02035", 5.0, "circuit training, moderate", 2024),
        Row("02040", 7.5, "circuit training, vigorous, minimal rest", 2024),
        Row("circuit body", 6.0, "circuit training, body weight", 2024),
        Row("02050", 6.0, "resistance training, vigorous", 2024),
        Row("02052", 5.0, "resistance training, squats and deadlifts", 2024),
        Row("02054", 3.5, "resistance training, several exercises, 8 to 15 repetitions", 2024),
        Row("02058", 9.8, "kettlebell swings", 2024),
        Row("02070", 7.3, "rowing machine, vigorous", 2024),
        Row("02071", 5.0, "rowing machine, below 100 W", 2024),
        Row("02072", 7.5, "rowing machine, 100 to 149 W", 2024),
        Row("02073", 11.0, "rowing machine, 150 to 199 W", 2024),
        Row("02074", 14.0, "rowing machine, 200 W and more", 2024),
        Row("02078", 11.0, "shuttle running", 2024),
        Row("ski general", 6.8, "ski machine, general", 2011),
        Row("02082", 10.5, "ski machine, slow to moderate", 2024),
        Row("02084", 18.0, "ski machine, fast to maximal", 2024),
        Row("02101", 2.3, "stretching", 2011),
        Row("02210", 7.0, "high-intensity intervals, moderate", 2024),
        Row("02214", 11.0, "high-intensity intervals, vigorous", 2024),
        Row("bike 60 W", 5.0, "stationary bike, 60 W", 2024),
        Row("bike 125 W", 6.8, "stationary bike, 101 to 125 W", 2024),
        Row("bike 150 W", 8.0, "stationary bike, 126 to 150 W", 2024),
        Row("bike 199 W", 10.3, "stationary bike, 151 to 199 W", 2024),
        Row("bike 305 W", 13.8, "stationary bike, 270 to 305 W", 2024),
        Row("12020", 7.0, "jogging, general", 2011),  # L
        Row("12050", 9.8, "running, 6 mph", 2011),  # L
        Row("12150", 8.0, "running, general", 2011),  # L
        Row("15110", 5.5, "boxing, punching bag", 2011),
        Row("15550", 12.3, "rope jumping, fast", 2011),
        Row("15551", 11.8, "rope jumping, moderate", 2011),
        Row("15552", 8.3, "rope jumping, slow", 2024),
        Row("15554", 10.0, "rope jumping, double-unders", 2024),
        Row("17190", 3.5, "walking, 2.8 to 3.2 mph, level", 2011),  # L
        Row("step low", 7.3, "bench stepping, 6 to 8 inches", 2024),
        Row("step high", 9.0, "bench stepping, 10 to 12 inches", 2024),
    )
}

# Standing and walking about between tasks: between standing (1.3, table of 2011, read; 2.1 measured
# while people stood and waited for hard work) and slow walking: 2.3 gross, as the contract says.
STANDING_MET = 2.3
# One standard deviation of it, so that 95 % lie in 1.7 to 3.1 MET: of a person or day, of a
# stretch, and of one under 30 s. Judgement.
STANDING_PERSON_SD, STANDING_BOUT_SD, STANDING_SHORT_SD = 0.14, 0.07, 0.11
# Easy pulling in a rest that nothing recorded: one in six does it. Judgement.
UNSEEN_PULLING_SD = 0.08

# Metres: 7 and 11 inches, the middles of the two rows of bench stepping.
STEP_ROWS_M = (0.178, 0.279)


def energy(met: Floats | float, mass_kg: float) -> Floats:
    """Gross energy, kcal/min, of an activity of `met` METs."""
    return np.asarray(np.asarray(met) * mass_kg / 60)


def step_row(height_m: float) -> Row:
    """The row of bench stepping for a bench of this height."""
    return ROWS["step low"] if height_m < sum(STEP_ROWS_M) / 2 else ROWS["step high"]
