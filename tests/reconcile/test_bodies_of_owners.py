"""What a body tells of whose machine it was."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from reconcile.align.owners import body_level, power_level_evidence
from reconcile.classes import Athlete

DAY = date(2026, 10, 17)
FIT = Athlete("b01", sex="f", mass_kg=62.0, vo2max=54.0)
UNFIT = Athlete("b02", sex="f", mass_kg=62.0, vo2max=30.0)


def test_equal_masses_with_another_vo2max_have_another_power() -> None:
    (fit, _), (unfit, _) = body_level(FIT, DAY), body_level(UNFIT, DAY)
    assert fit - unfit == pytest.approx(np.log(54.0 / 30.0))


def test_high_power_speaks_for_the_fitter_of_two_and_low_power_for_the_other() -> None:
    bodies, spreads = np.array([body_level(athlete, DAY) for athlete in (FIT, UNFIT)]).T
    high = power_level_evidence(float(bodies[0]), bodies, spreads, 0.0)
    low = power_level_evidence(float(bodies[1]), bodies, spreads, 0.0)
    assert high[0] - high[1] > 2.0
    assert low[1] - low[0] > 2.0


def test_who_is_younger_has_more_power_where_no_vo2max_is_said() -> None:
    young = Athlete("b03", sex="m", mass_kg=80.0, birth_year=2000)
    old = Athlete("b04", sex="m", mass_kg=80.0, birth_year=1960)
    assert body_level(young, DAY)[0] > body_level(old, DAY)[0]
