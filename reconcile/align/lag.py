"""How late a device shows what the heart does.

A chest strap shows it at once, a wrist sensor by its filter later, and now and then a wrist sensor
lags by ten seconds and more. It then mostly does so all along: what one block says of its lag, and
a strap beside it, holds in the others too. All numbers are judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.align.grid import log_summed

# Behind a strap. A strap behind another strap is as late as their clocks' rounding makes it.
STRAP_SD_S = 0.7
WRIST_S, WRIST_SD_S = 3.0, 1.7
LAGGING_SHARE = 0.12
LAGS_S, LAG_WIDTH_S = (8.0, 12.0, 16.0, 20.0), 4.0
LONGEST_LAG_S = LAGS_S[-1] + LAG_WIDTH_S / 2
# How often a sensor that lags does not in one block, and one that does not lags in one.
NOT_IN_A_BLOCK, IN_ONE_BLOCK = 0.2, 0.04


@dataclass(frozen=True)
class Lag:
    """One way in which a device may be late all along.

    share: how common it is. late_s, sd_s: by how much it is late behind a strap. width_s: of a lag
    that may lie anywhere about `late_s`; 0 where it is not one.
    """

    share: float
    late_s: float
    sd_s: float
    width_s: float = 0.0

    def shares(self, step_s: float, behind_s: float = 0.0, behind_sd_s: float = 0.0) -> Floats:
        """How common each delay from 0 on is, every `step_s`; they sum to 1.

        behind_s, behind_sd_s: of what a strap shows, behind what is looked for.
        """
        sd_s = float(np.hypot(self.sd_s, behind_sd_s))
        longest_s = LONGEST_LAG_S + behind_s + 2 * behind_sd_s
        delays_s = np.arange(0.0, longest_s + step_s, step_s)
        beyond_s = np.maximum(np.abs(delays_s - behind_s - self.late_s) - self.width_s / 2, 0.0)
        shares = np.exp(-0.5 * (beyond_s / sd_s) ** 2)
        return np.asarray(shares / shares.sum())


OF_STRAPS = (Lag(1.0, 0.0, STRAP_SD_S),)
OF_WRISTS = (
    Lag(1 - LAGGING_SHARE, WRIST_S, WRIST_SD_S),
    *(Lag(LAGGING_SHARE / len(LAGS_S), lag_s, 0.5, LAG_WIDTH_S) for lag_s in LAGS_S),
)


def kept_up(says: Floats, lags: Sequence[Lag]) -> Floats:
    """(lag, time) What one block says if a device is late in each way all along (log ratios).

    says: the same if it is so late in this block.
    """
    if len(lags) == 1:
        return says
    top = says.max(axis=0)
    likely = np.exp(says - top)
    usual, lagging = likely[0], likely[1:]
    mixed = np.vstack(
        [
            (1 - IN_ONE_BLOCK) * usual + IN_ONE_BLOCK * lagging.mean(axis=0),
            (1 - NOT_IN_A_BLOCK) * lagging + NOT_IN_A_BLOCK * usual,
        ]
    )
    return np.asarray(top + np.log(mixed))


def however_late(says: Floats, lags: Sequence[Lag]) -> Floats:
    """(time,) What is said, whichever way a device is late; says: of (lag, time)."""
    return log_summed([np.log(lag.share) + of_lag for lag, of_lag in zip(lags, says, strict=True)])


def lags_of(*, strap: bool) -> tuple[Lag, ...]:
    """The ways in which a device may be late; the usual one first."""
    return OF_STRAPS if strap else OF_WRISTS
