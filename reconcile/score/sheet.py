"""The score sheet as written, and what an account of it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats
from reconcile.plan import Take
from reconcile.score.evidence import Bools, Evidence
from reconcile.score.scored import take_of
from reconcile.score.shown import decimals_of

Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Sheet:
    """What was written down, with everything that accounts for it.

    total, rounds: as logged. evidence: of the score's own measure; in_other_measures: of others,
    by their name. others: other athletes' values at the bells; others_logged: their (score,
    rounds) as written. watch_calories: the watch's.
    """

    total: float
    rounds: tuple[float, ...] | None
    take: Take
    evidence: Evidence
    in_other_measures: Mapping[str, Evidence] = field(default_factory=dict)
    others: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    others_logged: Mapping[str, tuple[float, tuple[float, ...] | None]] = field(
        default_factory=dict
    )
    watch_calories: tuple[float, ...] = ()

    @property
    def consistent(self) -> bool:
        """Whether the score follows from the written rounds; true without them."""
        return self.rounds is None or follows(
            self.total, self.rounds, self.take, self.evidence.skipped
        )


@dataclass(frozen=True)
class Account:
    """One way in which the sheet could have come about.

    share: its share within its code. likelihood: probability of the sheet under it.
    predicts: the score that it makes of the evidence. prompt: whether it is no more than rounding
    and reading up to 3 s after the bell. recorded: share of the likelihood that rests on a
    recording. facts: what its sentence names.
    """

    code: str
    share: float
    likelihood: float
    predicts: float | None = None
    prompt: bool = False
    recorded: float = 1.0
    facts: Mapping[str, object] = field(default_factory=dict)


def align(values: tuple[float, ...], skipped: Bools) -> tuple[Indices, Floats] | None:
    """Which round each written value is of: all rounds, or only those attempted; else None."""
    numbers = np.asarray(values, dtype=np.float64)
    if len(values) == len(skipped):
        return np.arange(len(skipped), dtype=np.intp), numbers
    attempted = np.flatnonzero(~skipped)
    return (attempted, numbers) if len(values) == len(attempted) else None


def follows(
    total: float, values: tuple[float, ...], take: Take, skipped: Bools | None = None
) -> bool:
    """Whether a score follows from its rounds, zeros and skipped ones counted or left out."""
    ways = [values, tuple(value for value in values if value > 0)]
    if skipped is not None and len(skipped) == len(values):
        ways.append(tuple(v for v, skip in zip(values, skipped, strict=True) if not skip))
    grain = 10.0 ** -decimals_of(total)
    for kept in ways:
        if not kept:
            continue
        made = take_of(kept, take)
        if abs(total - made) <= grain / 2 + 1e-9 or (take == "mean" and 0 <= made - total < grain):
            return True
    return not any(values) and total == 0
