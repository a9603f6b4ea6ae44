"""The energy of every step of one athlete, from all the evidence that there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from ingest.recording import Problem
from reconcile.classes import Athlete
from reconcile.energy import activity, heart, kinetics, own_line, sensor
from reconcile.energy.answer import (
    Costed,
    block_totals,
    energy_of,
    oxygen_timed_of,
    rows_of,
)
from reconcile.energy.body import Body, body_of
from reconcile.energy.evidence import (
    EnergyAnswer,
    HeartRate,
    StepEvidence,
)
from reconcile.energy.fusion import Estimate, fuse
from reconcile.energy.movements import PRESSOR_SHARE, PRESSOR_SHARE_SD
from reconcile.energy.parts import Part, parts_of
from reconcile.energy.work import EFFICIENCY
from reconcile.plan import Task

# Heart rate is not asked about stretches shorter than this, nor where less of it can be trusted.
# Judgement.
SHORTEST_HEART_S = 15.0
LEAST_TRUST = 0.5
# How long people take for a fixed amount, where nothing tells when they ended. Judgement: tempo
# differs by 25 to 35 %, and who is slow for a while is often the one who spends less a minute.
TEMPO_SD = 0.20


def step_energies(
    athlete: Athlete,
    steps: Sequence[StepEvidence],
    heart_rate: HeartRate | None,
    *,
    on: date,
    earlier: own_line.Line | None = None,
) -> EnergyAnswer:
    """The energy of each step, gross, in the order given; None where nothing tells.

    steps: all steps of all timed blocks of one athlete, in the order of the clock. heart_rate: that
    athlete's over the whole class, or None. on: the day of the class. earlier: the athlete's own
    line as earlier classes taught it (see `own_line.joined`).
    """
    problems: list[Problem] = []
    heart_rate, delay_s, late_problem = _heart_in_time(heart_rate, steps)
    problems += late_problem
    body = body_of(athlete, on, **_reach(heart_rate))
    parts = [(number, part) for number, step in enumerate(steps) for part in parts_of(step)]
    readings = _readings(parts, steps, heart_rate, body, delay_s)
    calibration = _calibration(parts, steps, readings, body)
    costed = [
        _cost(index, number, part, steps[number], body, readings[index], calibration, earlier)
        for index, (number, part) in enumerate(parts)
    ]
    problems += _assumptions(athlete, body)
    problems += _disagreements(costed, steps)
    by_step = [[one for one in costed if one.step == number] for number in range(len(steps))]
    return EnergyAnswer(
        steps=tuple(energy_of(own) for own in by_step),
        problems=tuple(problems),
        rows=tuple(
            row for own, step in zip(by_step, steps, strict=True) for row in rows_of(own, step)
        ),
        blocks=block_totals(costed, steps),
        oxygen_timed=oxygen_timed_of(by_step, steps, body),
        own_line=_kept(calibration, on),
    )


def _heart_in_time(
    heart_rate: HeartRate | None, steps: Sequence[StepEvidence]
) -> tuple[HeartRate | None, float, list[Problem]]:
    """Heart rate, trusted less where it answers late; the delay to reckon with; the problem."""
    delay_s = kinetics.HEART_DELAY_S
    if heart_rate is None or len(heart_rate.time_s) < 2:
        return None, delay_s, []
    if heart_rate.source == "optical":
        delay_s += kinetics.OPTICAL_DELAY_S
    work = [step for step in steps if step.planned.kind == "work" and step.attempted is not False]
    late_s = sensor.late(
        heart_rate.time_s,
        heart_rate.bpm,
        heart_rate.trust,
        np.array([step.start_s + (step.effort_start_s or 0.0) for step in work]),
        np.array([step.end_s for step in work]),
    )
    if late_s is None or late_s < sensor.LATE_BY_S:
        return heart_rate, delay_s, []
    problem = Problem(
        "heart_rate_late",
        f"heart rate answers work about {late_s:.0f} s later than a heart does: it counts less",
    )
    trusted = replace(heart_rate, trust=heart_rate.trust * sensor.TRUST_LATE)
    return trusted, delay_s + late_s, [problem]


def _reach(heart_rate: HeartRate | None) -> dict[str, float | None]:
    """The lowest and highest trusted heart rate of the class."""
    if heart_rate is None:
        return {"lowest_hr": None, "highest_hr": None}
    good = heart_rate.bpm[np.isfinite(heart_rate.bpm) & (heart_rate.trust >= 0.9)]
    if len(good) < 60:
        return {"lowest_hr": None, "highest_hr": None}
    low, high = np.percentile(good, [0.5, 99.5])
    return {"lowest_hr": float(low), "highest_hr": float(high)}


def _readings(
    parts: Sequence[tuple[int, Part]],
    steps: Sequence[StepEvidence],
    heart_rate: HeartRate | None,
    body: Body,
    delay_s: float,
) -> list[heart.Reading | None]:
    """The demand heart rate of every part that is work; None where there is none to go by."""
    if heart_rate is None:
        return [None] * len(parts)
    start_s = np.array([steps[number].start_s + part.start_s for number, part in parts])
    end_s = np.array([steps[number].start_s + part.end_s for number, part in parts])
    bpm, change, noise, trust = kinetics.demand_heart_rate(
        heart_rate.time_s, heart_rate.bpm, heart_rate.trust, start_s, end_s, delay_s=delay_s
    )
    source_sd = heart.SENSOR_SD[heart_rate.source]
    reserve = body.max_hr - body.resting_hr
    readings: list[heart.Reading | None] = []
    for index, (number, part) in enumerate(parts):
        if (
            part.kind == "standing"
            or part.outside
            or steps[number].planned.kind == "rest"
            or part.seconds < SHORTEST_HEART_S
            or not trust[index] >= LEAST_TRUST
        ):
            readings.append(None)
            continue
        pressor = activity.strength_share(part)
        errors = heart.reading_errors(
            (float(bpm[index]) - body.resting_hr) / reserve,
            float(bpm[index]),
            float(change[index]),
            float(noise[index]),
            float(trust[index]),
            part.seconds,
            source_sd,
            str(index),
        )
        errors["grip and breath"] = pressor * PRESSOR_SHARE_SD * reserve
        level = float(bpm[index]) - pressor * PRESSOR_SHARE * reserve
        within = float(np.clip(level, body.resting_hr, body.max_hr + 10))
        readings.append(heart.Reading(within, errors, part.seconds))
    return readings


def _calibration(
    parts: Sequence[tuple[int, Part]],
    steps: Sequence[StepEvidence],
    readings: Sequence[heart.Reading | None],
    body: Body,
) -> heart.Calibration | None:
    """The own line of the machine with the most stretches to learn from."""
    pairs: dict[str, list[tuple[heart.Reading, float]]] = {}
    for index, (number, part) in enumerate(parts):
        machine, reading = steps[number].machine or "", readings[index]
        if (
            part.kind == "machine"
            and part.power_w
            and machine
            and reading
            and part.seconds >= heart.SHORTEST_CALIBRATION_S
        ):
            kcal = activity.pulling(part, body, machine, "").kcal
            pairs.setdefault(machine, []).append((reading, kcal * 60 / part.seconds))
    if not pairs:
        return None
    most = max(pairs, key=lambda one: len(pairs[one]))
    readings_of, rates_of = zip(*pairs[most], strict=True)
    return heart.calibrate(body, most, readings_of, rates_of)


def _cost(
    index: int,
    number: int,
    part: Part,
    step: StepEvidence,
    body: Body,
    reading: heart.Reading | None,
    calibration: heart.Calibration | None,
    earlier: own_line.Line | None,
) -> Costed:
    """One part with the estimates of every model that has something to say, joined."""
    name = str(index)
    if part.kind == "standing":
        estimates = [activity.standing(part, step, body, name)]
    elif part.kind == "machine" and part.power_w is not None and step.machine:
        estimates = [activity.pulling(part, body, step.machine, name)]
        if reading:
            estimates += _heart_estimates(part, body, reading, None, earlier, "", 0.0)
    else:
        told = part if part.tasks else replace(part, tasks=_machine_task(step, part))
        seen = reading is not None or step.attempted is True
        table = activity.tabled(told, step, body, name, seen=seen)
        estimates = [table]
        if reading:
            ceiling = table.kcal * float(np.exp(table.sd)) if activity.strength_share(part) else 0.0
            work = "+".join(sorted({task.movement for task, _ in told.tasks}))
            estimates += _heart_estimates(part, body, reading, calibration, earlier, work, ceiling)
    if part.guessed:
        length = {f"length: {name}": TEMPO_SD}
        estimates = [replace(one, errors={**one.errors, **length}) for one in estimates]
    if part.outside:
        beside = activity.standing(part, step, body, name).kcal
        estimates = [replace(one, kcal=max(one.kcal - beside, beside / 10)) for one in estimates]
    place = f"{step.planned.block} round {step.planned.round} step {step.planned.step}"
    return Costed(number, part, tuple(estimates), fuse(estimates, place))


def _machine_task(step: StepEvidence, part: Part) -> tuple[tuple[Task, float], ...]:
    """The machine task that a pull without known power stands for."""
    task = next((task for task in step.planned.tasks if task.on_machine), None)
    return ((task or Task(step.machine or "machine"), part.seconds),)


def _heart_estimates(
    part: Part,
    body: Body,
    reading: heart.Reading,
    calibration: heart.Calibration | None,
    earlier: own_line.Line | None,
    work: str,
    ceiling_kcal: float,
) -> list[Estimate]:
    """Heart-rate estimates for the whole part; in strength work not above the ceiling (0: none)."""
    if calibration is not None:
        efficiency_sd = EFFICIENCY[calibration.machine].person_sd
        rates = [heart.by_own_line(body, calibration, reading, efficiency_sd, work)]
    else:
        rates = heart.population(body, reading)
        if earlier is not None:
            rates.append(heart.by_earlier_line(body, earlier, reading))
    estimates = []
    for rate in rates:
        kcal, note = rate.kcal * part.seconds / 60, rate.note
        if ceiling_kcal and kcal > ceiling_kcal:
            kcal, note = ceiling_kcal, "held to the table plus its spread: strength work"
        estimates.append(replace(rate, kcal=kcal, note=note))
    return estimates


def _assumptions(athlete: Athlete, body: Body) -> list[Problem]:
    """What the roster does not say and had to be assumed."""
    missing = []
    if athlete.mass_kg is None:
        missing.append(f"body mass ({body.mass_kg:.0f} kg taken)")
    if athlete.sex is None:
        missing.append("sex (the mean of the two equations taken)")
    if athlete.birth_year is None:
        missing.append(f"year of birth ({body.age:.0f} years taken)")
    if not missing:
        return []
    message = f"the roster does not say: {', '.join(missing)}; the ranges of energy are wider"
    return [Problem("energy_assumptions", message)]


def _disagreements(costed: Sequence[Costed], steps: Sequence[StepEvidence]) -> list[Problem]:
    """One problem for all steps whose sources differ by more than their joint spread."""
    apart = [one for one in costed if one.fused.disagreement is not None]
    if not apart:
        return []
    places = dict.fromkeys(
        f"{planned.block} round {planned.round} step {planned.step}"
        for planned in (steps[one.step].planned for one in apart)
    )
    worst = max(apart, key=lambda one: one.fused.disagreement or 0.0)
    said = ", ".join(f"{estimate.model} {estimate.kcal:.0f}" for estimate in worst.estimates)
    message = (
        f"the sources of energy differ by more than their spread in {', '.join(places)} "
        f"(at worst {said} kcal): the ranges reach towards both"
    )
    return [Problem("energy_sources_disagree", message)]


def _kept(calibration: heart.Calibration | None, on: date) -> dict[str, Any]:
    if calibration is None:
        return {}
    return {
        **calibration.line.as_document(),
        "machine": calibration.machine,
        "stretches": calibration.stretches,
        "on": on.isoformat(),
    }
