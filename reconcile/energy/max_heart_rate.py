"""The highest heart rate to expect at an age: three published lines."""

from __future__ import annotations

# Scatter of single people about any such line is 7 to 11 a minute (Robergs and Landwehr 2002,
# JEPonline 5(2), read); never a limit and never a target.
SPREAD_BPM = 10.0


def tanaka(age: float) -> float:
    """208 − 0.7 · age, per minute; healthy adults.

    Source: Tanaka H et al. 2001, J Am Coll Cardiol 37:153-156 (equation as quoted in Front Physiol
    2018 9:226, read).
    """
    return 208.0 - 0.7 * age


def gellish(age: float) -> float:
    """207 − 0.7 · age, per minute. Source: Gellish RL et al. 2007, MSSE 39:822-829 (read)."""
    return 207.0 - 0.7 * age


def gellish_curve(age: float) -> float:
    """192 − 0.007 · age², per minute, the same study's curve (read)."""
    return 192.0 - 0.007 * age * age
