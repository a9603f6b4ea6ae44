"""Heart rate second by second from the cost of what is done."""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.bench.simulator.bodies import Body

Array = NDArray[np.float64]


def correlated_noise(rng: Generator, length: int, sd: float, tau: float) -> Array:
    """First-order noise of this spread that forgets over `tau` samples."""
    keep = math.exp(-1 / tau)
    push = rng.normal(0, sd * math.sqrt(1 - keep * keep), length)
    values = np.empty(length)
    value = rng.normal(0, sd)
    for index, kick in enumerate(push.tolist()):
        value = keep * value + kick
        values[index] = value
    return values


def heart_rate(rng: Generator, body: Body, kcal_min: Array, strength: NDArray[np.bool_]) -> Array:
    """Heart rate at the end of each second, from the mean cost over each second.

    A delayed first-order answer, slower down than up, that saturates towards the highest rate,
    drifts while work goes on and carries correlated noise.
    """
    heart = body.heart
    most = body.vo2max * body.mass_kg / 1000 * 4.95
    share = np.maximum(kcal_min - body.resting_kcal_min, 0.0) / (most - body.resting_kcal_min)
    n = heart.sharpness
    target = share / (1 + share**n) ** (1 / n)
    target = target + heart.strength_share * strength
    standing_up = rng.uniform(0.08, 0.16)
    target = np.minimum(standing_up + (1 - standing_up) * target, 1.0)

    delay = round(heart.delay_s)
    delayed = np.concatenate((np.full(delay, target[0]), target[: target.size - delay]))
    up, down = 1 - math.exp(-1 / heart.tau_on_s), 1 - math.exp(-1 / heart.tau_off_s)
    drift_a_second = heart.drift_share_an_hour / 3600
    level = float(delayed[0])
    drift = 0.0
    answer = np.empty(target.size)
    for index, aim in enumerate(delayed.tolist()):
        if level > 0.35:
            drift += drift_a_second
        goal = min(aim + drift * aim, 1.0)
        level += (up if goal > level else down) * (goal - level)
        answer[index] = level
    rate = heart.resting + (heart.highest - heart.resting) * answer
    rate += correlated_noise(rng, rate.size, heart.noise_sd, heart.noise_tau_s)
    return np.asarray(np.clip(rate, 40.0, heart.highest + 2))
