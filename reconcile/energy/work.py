"""Mechanical work on a machine to energy: power over net efficiency, plus resting metabolism.

Work is paid for whether oxygen shows it at once or not: the same efficiency is taken above the
highest oxygen uptake as below it, the assumption of the accumulated oxygen deficit (Medbø et al.
1988, J Appl Physiol 64:50-60, from memory). What that leaves open is in the spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats

WATTS_PER_KCAL_MIN = 4184 / 60  # 1 kcal/min is 69.7 W
RESTING_MET = 1.0  # kcal/kg/h; 1 MET = 3.5 ml/kg/min ≈ 1 kcal/kg/h (Compendium)


@dataclass(frozen=True)
class Efficiency:
    """Net efficiency: work over energy above rest.

    person_sd: relative spread between people. step_sd: relative spread of one bout (fading
    technique, the machine's own calibration; judgement).
    """

    net: float
    person_sd: float
    step_sd: float


# rower: 19.8 ± 1.4 % net (Eur J Appl Physiol 1986 55:471-475, read).
# bike: gross 18 to 23 %, delta 23 to 27 % (from memory); net lies between: 22.5 %, judgement.
# ski: roller-ski skating gross 15.7 to 17.1 % (Front Physiol 2013 4:293, read), double poling on
#   an ergometer about 13 to 18 % (from memory, weak): net 16.5 %, judgement.
EFFICIENCY = {
    "rower": Efficiency(0.198, 0.071, 0.03),
    "bike": Efficiency(0.225, 0.060, 0.03),
    "ski": Efficiency(0.165, 0.080, 0.03),
}
# Above the power at VO2max, work is paid for partly without oxygen; its efficiency is less sure.
SUPRAMAXIMAL_SD = 0.05


def energy(power_w: Floats | float, net_efficiency: float, mass_kg: float) -> Floats:
    """Gross energy, kcal/min, while working at `power_w`: W / net efficiency + 1 MET."""
    work = np.asarray(power_w) / net_efficiency / WATTS_PER_KCAL_MIN
    return np.asarray(work + RESTING_MET * mass_kg / 60)


def power(energy_kcal_min: Floats | float, net_efficiency: float, mass_kg: float) -> Floats:
    """The inverse of `energy`, watts; never below 0."""
    above_rest = np.asarray(energy_kcal_min) - RESTING_MET * mass_kg / 60
    return np.asarray(np.maximum(above_rest, 0) * WATTS_PER_KCAL_MIN * net_efficiency)
