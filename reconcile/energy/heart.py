"""What heart rate says of work: population equations and the athlete's own line, with their errors.

Every error is relative and has a name; see `reconcile.energy.fusion` for what the names do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.recording import Floats
from reconcile.energy import keytel, own_line, reserve
from reconcile.energy.body import UNKNOWN_RESTING_SD, Body
from reconcile.energy.fusion import Estimate, fuse
from reconcile.energy.kinetics import HEART_LAG_SD_S
from reconcile.energy.max_heart_rate import SPREAD_BPM
from reconcile.energy.weir import KCAL_PER_LITRE_OXYGEN_EXERCISE
from reconcile.plan import Sex

# Between people 11.6 %, from day to day 14.7 %: common to a whole class (32 intermittent sessions
# with gas exchange, 16 people). The first is shared out by judgement: a person's fitness, which
# VO2max tells; a person's own highest and resting heart rate, of which Keytel knows nothing (at 150
# a minute their spread makes 7.5 %); the rest is the equation's. The sums are 11.4 % without and
# 9.5 % with VO2max, and with the day's error 18.6 and 17.5 %; measured were 19 and 17.
DAY_SD = 0.147
FITNESS_SD, FITNESS_SD_WITH_VO2MAX = 0.07, 0.03
KEYTEL_FORM_SD, RESERVE_FORM_SD = 0.05, 0.05
# A line learnt on a machine, used for work of another kind; judgement.
OTHER_WORK_SD = 0.08
# A line learnt on another day: that day's error is in it (see `own_line.joined`).
EARLIER_DAY_SD = 0.10
# Sensors at their best: chest strap 2 % (PLoS One 2020, 0238569, read), wrist 3.8 to 7.7 % at
# moderate effort (JMIR 2020, read).
SENSOR_SD = {"strap": 0.015, "optical": 0.045, "unknown": 0.035}
DISTRUST_SD = 0.20
# Model error of a bout, in beats: a course of heart rate is not one exponential. Judgement.
COURSE_SD_BPM, COURSE_FULL_S = 5.0, 60.0
# Short work: what heart rate says of it hangs on the lag, so much that under about a minute the
# table is preferred. Relative, at 60 s; in proportion to 1 over the length. Judgement.
SHORT_SD, SHORT_FULL_S = 0.08, 60.0
# Below half the reserve heart rate follows posture and mood more than work (the reason for the
# "flex" heart rate of Spurr et al. 1988, Am J Clin Nutr 48:552-559, from memory). Judgement.
POSTURE_SD_BPM, POSTURE_BELOW_SHARE = 10.0, 0.5
# Calibration: the machine's own bout error and the scatter about a line, relative. Judgement.
CALIBRATION_SD = 0.07
SHORTEST_CALIBRATION_S = 35.0
ANCHOR_SHARES = (0.5, 0.95)
ANCHOR_CORRELATION = 0.85
# Beyond this share of the reserve work is paid for partly without oxygen and heart rate saturates:
# it says less, of the work and of the line. Relative spread per share beyond. Judgement.
SATURATES_FROM, SATURATION_SD = 0.80, 0.5
# Where an equation gives less than this it is void, and this stands instead.
LOWEST_MET = 1.5


@dataclass(frozen=True)
class Reading:
    """The demand heart rate of one stretch of work, and its errors in beats by name.

    seconds: how long the stretch lasted.
    """

    bpm: float
    errors_bpm: dict[str, float]
    seconds: float = 600.0

    @property
    def short_sd(self) -> float:
        """Relative spread of any energy told from so short a stretch."""
        return SHORT_SD * SHORT_FULL_S / max(self.seconds, 15.0)


def reading_errors(
    share: float,
    bpm: float,
    change_per_lag_s: float,
    noise: float,
    trust: float,
    seconds: float,
    source_sd: float,
    name: str,
) -> dict[str, float]:
    """Errors of a demand heart rate in beats, `share` of the reserve: some common, some its own."""
    own = float(
        np.hypot(
            np.hypot(noise, COURSE_SD_BPM * COURSE_FULL_S / max(seconds, 20.0)),
            DISTRUST_SD * (1 - trust) * bpm,
        )
    )
    return {
        "heart lag": HEART_LAG_SD_S * change_per_lag_s,
        "sensor": source_sd * bpm,
        "posture and mood": POSTURE_SD_BPM * float(np.clip(1 - share / POSTURE_BELOW_SHARE, 0, 1)),
        f"heart: {name}": own,
    }


def keytel_rate(body: Body, bpm: Floats) -> tuple[Floats, Floats]:
    """Keytel for a body, kcal/min, and the relative error that an unknown sex makes."""

    def one(sex: Sex) -> Floats:
        if body.vo2max_known:
            return keytel.with_vo2max(bpm, sex, body.mass_kg, body.age, body.vo2max)
        return keytel.without_vo2max(bpm, sex, body.mass_kg, body.age)

    if body.sex is not None:
        return one(body.sex), np.zeros(np.shape(bpm))
    men, women = one("m"), one("f")
    mean = (men + women) / 2
    return mean, np.abs(men - women) / 2 / np.maximum(mean, 1.0)


def saturation(body: Body, bpm: float) -> float:
    """Relative spread that saturation adds near the highest heart rate."""
    share = (bpm - body.resting_hr) / (body.max_hr - body.resting_hr)
    return SATURATION_SD * max(share - SATURATES_FROM, 0.0)


def population(body: Body, reading: Reading) -> list[Estimate]:
    """Estimates of the population's equations at a reading, kcal **per minute**."""
    bpm, floor = reading.bpm, LOWEST_MET * body.mass_kg / 60
    around = np.array([bpm, bpm + 1.0])
    rates, sex_error = keytel_rate(body, around)
    rate = max(float(rates[0]), floor)
    step = float(rates[1] - rates[0]) / rate
    heavier = replace(body, mass_kg=body.mass_kg * 1.01)
    older = replace(body, age=body.age + 1.0)
    by_mass = 100 * (float(keytel_rate(heavier, around)[0][0]) - float(rates[0])) / rate
    by_age = (float(keytel_rate(older, around)[0][0]) - float(rates[0])) / rate
    outside = keytel.outside_spread(np.array([bpm]), body.max_hr, body.mass_kg, body.age)
    known = body.vo2max_known
    share = (bpm - body.resting_hr) / (body.max_hr - body.resting_hr)
    errors = {name: size * step for name, size in reading.errors_bpm.items()}
    errors |= {
        "fitness": FITNESS_SD_WITH_VO2MAX if known else FITNESS_SD,
        "heart on the day": DAY_SD,
        "keytel": KEYTEL_FORM_SD,
        "keytel outside its range": float(outside[0]),
        "saturation": saturation(body, bpm),
        "short work": reading.short_sd,
        "own highest heart rate": -SPREAD_BPM * share * step,
        "own resting heart rate": -UNKNOWN_RESTING_SD * (1 - share) * step,
        "sex": float(sex_error[0]),
        "age": by_age * body.age_sd,
        "mass": by_mass * body.mass_sd,
    }
    name = "keytel with VO2max" if known else "keytel"
    note = "outside its range" if outside[0] > 0.02 else ""
    return [Estimate(name, rate, errors, note), _reserve(body, reading, floor)]


def _reserve(body: Body, reading: Reading, floor: float) -> Estimate:
    bpm = np.array([reading.bpm, reading.bpm + 1.0])
    rates = reserve.energy(bpm, body.resting_hr, body.max_hr, body.vo2max, body.mass_kg)
    rate = max(float(rates[0]), floor)
    step = float(rates[1] - rates[0]) / rate
    by_max, by_resting, by_vo2max = reserve.sensitivity(
        bpm[:1], body.resting_hr, body.max_hr, body.vo2max
    )
    errors = {name: size * step for name, size in reading.errors_bpm.items()}
    errors |= {
        "fitness": body.vo2max_sd * float(by_vo2max[0]),
        "heart on the day": DAY_SD,
        "heart-rate reserve": RESERVE_FORM_SD,
        "saturation": saturation(body, reading.bpm),
        "short work": reading.short_sd,
        _told("highest heart rate", told=body.max_known): body.max_sd * float(by_max[0]),
        _told("resting heart rate", told=body.resting_known): body.resting_sd
        * float(by_resting[0]),
        "mass": body.mass_sd,
    }
    share = (reading.bpm - body.resting_hr) / (body.max_hr - body.resting_hr)
    note = "" if reserve.VALID_SHARE[0] <= share <= reserve.VALID_SHARE[1] else "outside its range"
    return Estimate("heart-rate reserve", rate, errors, note)


def _told(name: str, *, told: bool) -> str:
    """An error of what the roster says is its own; what it does not say, Keytel lacks as well."""
    return f"{name} as told" if told else f"own {name}"


def population_line(body: Body) -> own_line.Line:
    """The population's line for this body with its spread: what an own line is shrunk to."""
    low, high = (
        body.resting_hr + share * (body.max_hr - body.resting_hr) for share in ANCHOR_SHARES
    )
    fused = [fuse(population(body, Reading(bpm, {})), "prior") for bpm in (low, high)]
    return own_line.prior_line(
        (low, high),
        np.array([one.kcal for one in fused]),
        np.array([one.sd for one in fused]),
        ANCHOR_CORRELATION,
    )


@dataclass(frozen=True, eq=False)
class Calibration:
    """An own line learnt today: the line, on which machine, and how far the machine has fixed it.

    learnt: 0 (still the population's line) to 1.
    """

    line: own_line.Line
    machine: str
    learnt: float
    stretches: int


def calibrate(
    body: Body, machine: str, readings: Sequence[Reading], kcal_per_min: Sequence[float]
) -> Calibration | None:
    """The own line from stretches of machine work with heart rate; None with fewer than two."""
    if len(readings) < 2:
        return None
    prior = population_line(body)
    slope = (prior.values[1] - prior.values[0]) / (prior.anchors_bpm[1] - prior.anchors_bpm[0])
    bpm = np.array([reading.bpm for reading in readings])
    # The lag's error is common to all stretches and to what the line is used for: it cancels.
    own_bpm = np.array(
        [
            next(size for name, size in reading.errors_bpm.items() if name.startswith("heart: "))
            for reading in readings
        ]
    )
    rates = np.asarray(kcal_per_min, dtype=np.float64)
    highest = body.vo2max * body.mass_kg / 1000 * KCAL_PER_LITRE_OXYGEN_EXERCISE
    beyond = SATURATION_SD * np.maximum(rates / highest - SATURATES_FROM, 0.0)
    # What is paid for without oxygen the heart does not see.
    aerobic = np.minimum(rates, highest)
    noise = np.hypot(np.hypot(CALIBRATION_SD, beyond) * aerobic, slope * own_bpm)
    line = own_line.fit(prior, bpm, aerobic, noise)
    at = float(np.median(bpm))
    learnt = 1 - float(line.at(at)[1][0] / prior.at(at)[1][0])
    return Calibration(line, machine, max(learnt, 0.0), len(readings))


def by_own_line(
    body: Body, calibration: Calibration, reading: Reading, efficiency_sd: float, work: str
) -> Estimate:
    """The own line of today at a reading, kcal **per minute**; `work` names what was done."""
    values, sds = calibration.line.at(np.array([reading.bpm, reading.bpm + 1.0]))
    rate = max(float(values[0]), LOWEST_MET * body.mass_kg / 60)
    step = float(values[1] - values[0]) / rate
    errors = {name: size * step for name, size in reading.errors_bpm.items()}
    errors["heart lag"] = errors.get("heart lag", 0.0) * (1 - 0.5 * calibration.learnt)
    errors["sensor"] = errors.get("sensor", 0.0) * (1 - calibration.learnt)
    errors |= {
        "short work": reading.short_sd * (1 - 0.5 * calibration.learnt),
        "own line": float(sds[0]) / rate,
        f"efficiency: {calibration.machine}": efficiency_sd * calibration.learnt,
        f"other work: {work}": OTHER_WORK_SD,
        "saturation": saturation(body, reading.bpm),
    }
    return Estimate("own line", rate, errors, f"learnt on {calibration.stretches} stretches")


def by_earlier_line(body: Body, line: own_line.Line, reading: Reading) -> Estimate:
    """The own line of earlier days at a reading, kcal **per minute**.

    line: see `own_line.joined`; its covariance holds the earlier days' errors.
    """
    values, sds = line.at(np.array([reading.bpm, reading.bpm + 1.0]))
    rate = max(float(values[0]), LOWEST_MET * body.mass_kg / 60)
    step = float(values[1] - values[0]) / rate
    errors = {name: size * step for name, size in reading.errors_bpm.items()}
    errors |= {
        "short work": reading.short_sd,
        "earlier line": float(sds[0]) / rate,
        "heart on the day": DAY_SD,
    }
    return Estimate("own line", rate, errors, "learnt in earlier classes")
