"""Which rounds an athlete's own row says were left out, and how surely."""

from __future__ import annotations

import numpy as np

from reconcile.classes import LoggedScore
from reconcile.plan import Measure, TimedBlock
from reconcile.score.notes import RELIABILITY, rounds_left_out

# A round written down as 0 was left out, where the others came to so much that the fixed tasks
# cannot have taken all of the time of just that one. Judgement, no source.
NOUGHT_RELIABILITY = 0.85
LEAST_USUAL: dict[Measure, float] = {"calories": 5.0, "metres": 50.0, "reps": 5.0}


def said_left_out(logged: LoggedScore | None, block: TimedBlock) -> dict[int, float]:
    """By round, counted from 1, how probable the row makes it that the round was left out.

    What the notes say plainly, and rounds written down as 0 where the athlete wrote down as many
    as the plan has. In a score of seconds a round that was not finished looks the same as one
    left out. Rounds of which nothing is said are not in it.
    """
    if logged is None:
        return {}
    found: dict[int, float] = {}
    if block.score is not None and logged.rounds is not None and len(logged.rounds) == block.rounds:
        least = LEAST_USUAL.get(block.score.measure)
        values = np.array(logged.rounds)
        done = values[values > 0]
        if least is not None and len(done) > 0 and float(np.median(done)) >= least:
            noughts = np.flatnonzero(values == 0) + 1
            found = {int(number): NOUGHT_RELIABILITY for number in noughts}
    for number in rounds_left_out(logged.notes, block.rounds):
        found[number] = RELIABILITY["rounds_left_out"]
    return found
