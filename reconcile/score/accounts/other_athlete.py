"""`other_athlete`: it fits another athlete's recording, or their row."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from reconcile.score import priors
from reconcile.score.accounts.two_levels import on_two_levels, score_of
from reconcile.score.evidence import Bools
from reconcile.score.readings import Readings, cut_to_whole, written_probability
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet
from reconcile.score.shown import Shown


def other_athlete(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """It fits what a machine recorded for somebody else, or what somebody else wrote down.

    Only beside a recording of the athlete's own: without one, a fit says more of whose the other
    recording is than of the sheet.
    """
    names = sorted({*sheet.others, *sheet.others_logged})
    owned = float(sheet.evidence.weight @ sheet.evidence.recorded)
    if not sheet.evidence.direct:
        return
    for name in names:
        recorded = sheet.others.get(name, ())
        fit = _fit_of_other(sheet, readings, recorded)
        copied = _copied(sheet, sheet.others_logged.get(name))
        if fit is None and not copied:
            continue
        likelihood, predicts = fit if fit is not None else (0.0, sheet.total)
        share = priors.COPIED_SHARE if sheet.others_logged else 0.0
        yield Account(
            "other_athlete",
            owned / len(names),
            (1 - share) * likelihood + share * copied,
            predicts,
            facts={"athlete": name},
        )
        # Where the recording may be another's, theirs may be this athlete's.
        yield Account(
            "rounding",
            (1 - owned) / len(names),
            likelihood,
            predicts,
            prompt=True,
            recorded=0.0,
            facts={"delay_s": 0.0},
        )


def _copied(sheet: Sheet, other: tuple[float, tuple[float, ...] | None] | None) -> float:
    """Probability of the sheet if it was copied from another row."""
    if other is None or other[0] != sheet.total:
        return 0.0
    if sheet.rounds is None:
        return 0.5
    return 0.5 * float(sheet.rounds == other[1])


def _fit_of_other(
    sheet: Sheet, readings: Readings, recorded: tuple[float, ...]
) -> tuple[float, float] | None:
    """(probability of the sheet, score at the bells) by another athlete's recorded rounds."""
    read = np.asarray(recorded, dtype=np.float64)
    worked = read > 0.5
    if not worked.any() or len(read) != len(sheet.evidence.pieces):
        return None
    calories = sheet.evidence.measure == "calories"
    drift = np.array([0.0, 0.3, 0.6]) if calories else np.array([1.5])
    shown = cut_to_whole(
        (read[:, None] + drift[None, :])[None],
        np.full((1, len(read)), 0.3 if calories else 2.0),
        sheet.evidence.pieces,
        "running on",
    )
    likelihood = on_two_levels(
        sheet,
        readings,
        partial(_rounds_of_other, sheet, shown, ~worked),
        partial(score_of, sheet, shown.only(worked), np.ones(1)),
        0.6,
    )
    return likelihood, take_of(read[worked], sheet.take)


def _rounds_of_other(sheet: Sheet, shown: Shown, idle: Bools) -> float:
    assert sheet.rounds is not None
    return float(written_probability(shown, sheet.rounds, idle)[0])
