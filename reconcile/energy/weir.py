"""Oxygen and carbon dioxide to energy (Weir 1949)."""

from __future__ import annotations

from ingest.recording import Floats

# kcal per litre of oxygen at an exchange ratio near 0.83, for data without carbon dioxide.
KCAL_PER_LITRE_OXYGEN = 4.85
# At the ratios of hard exercise (0.9 to 1.0) Weir gives 4.9 to 5.05.
KCAL_PER_LITRE_OXYGEN_EXERCISE = 4.9


def energy(oxygen_l_min: Floats | float, carbon_dioxide_l_min: Floats | float) -> Floats | float:
    """Energy, kcal/min, from oxygen taken up and carbon dioxide given off, both L/min.

    Valid in steady state, without correction for protein (about 1 %); above the lactate threshold
    blown-off carbon dioxide makes it read up to 5 % high.

    Source: Weir JB de V 1949, J Physiol 109:1-9: 3.941 · VO2 + 1.106 · VCO2 (constants from memory,
    as two public implementations state them; the rounded form 3.9 and 1.1 was read).
    """
    return 3.941 * oxygen_l_min + 1.106 * carbon_dioxide_l_min


def from_oxygen(oxygen_l_min: Floats | float, exchange_ratio: float) -> Floats | float:
    """Energy, kcal/min, where only oxygen was measured and the exchange ratio is assumed."""
    return energy(oxygen_l_min, oxygen_l_min * exchange_ratio)
