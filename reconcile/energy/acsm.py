"""The metabolic equations of the American College of Sports Medicine: oxygen uptake from pace.

All give gross uptake in ml/kg/min in steady state; the standard error of such estimates is about
7 % on a treadmill or cycle (from memory). Source: Bushman BA 2020, ACSM's Health & Fitness Journal
24(3):6-10 and 24(4):5-8, after ACSM's Guidelines for Exercise Testing and Prescription, 10th
edition, table 6.3 (read; arm cycling as in two public formula sheets that agree).
"""

from __future__ import annotations

from ingest.recording import Floats

RESTING = 3.5  # ml/kg/min
ML_PER_KG_PER_MET = 3.5
WALKING_RANGE_M_MIN = (50.0, 100.0)
RUNNING_FROM_M_MIN = 134.0
LEG_CYCLING_RANGE_W = (50.0, 200.0)
ARM_CYCLING_RANGE_W = (25.0, 125.0)
STEPPING_RANGE_PER_MIN = (12.0, 30.0)
STEPPING_HIGHEST_M = 0.40


def walking(speed_m_min: Floats | float, grade: Floats | float = 0.0) -> Floats | float:
    """3.5 + 0.1 · S + 1.8 · S · G, valid from 50 to 100 m/min."""
    return RESTING + 0.1 * speed_m_min + 1.8 * speed_m_min * grade


def running(speed_m_min: Floats | float, grade: Floats | float = 0.0) -> Floats | float:
    """3.5 + 0.2 · S + 0.9 · S · G, valid from 134 m/min (or slower if truly jogging)."""
    return RESTING + 0.2 * speed_m_min + 0.9 * speed_m_min * grade


def leg_cycling(power_w: Floats | float, mass_kg: float) -> Floats | float:
    """7 + 10.8 · W / kg, valid from 50 to 200 W.

    The handbook writes 7 + 1.8 · (kg·m/min) / kg; with 1 W = 6.12 kg·m/min that is 11.0 · W / kg,
    so the two forms differ by 1 %.
    """
    return 2 * RESTING + 10.8 * power_w / mass_kg


def arm_cycling(power_w: Floats | float, mass_kg: float) -> Floats | float:
    """3.5 + 18 · W / kg, valid from 25 to 125 W."""
    return RESTING + 18.0 * power_w / mass_kg


def stepping(steps_per_min: Floats | float, height_m: Floats | float) -> Floats | float:
    """3.5 + 0.2 · f + 1.33 · 1.8 · h · f, valid for 12 to 30 steps a minute of 0.04 to 0.40 m."""
    return RESTING + 0.2 * steps_per_min + 1.33 * 1.8 * height_m * steps_per_min
