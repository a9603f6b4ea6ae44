"""Costed parts put together: steps, block totals, each model's row, and what a mask would read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.energy import kinetics
from reconcile.energy.body import Body
from reconcile.energy.compendium import STANDING_MET
from reconcile.energy.evidence import BlockEnergy, ModelRow, StepEvidence
from reconcile.energy.fusion import Estimate, Fused, range_95, spread, total
from reconcile.energy.parts import Part
from reconcile.result import Energy

# Evidence that carries less than this share of a step is not named in its method.
NAMED_FROM = 0.03
METHOD_OF = {
    "machine": ("machine",),
    "keytel": ("heart-rate",),
    "keytel with VO2max": ("heart-rate",),
    "heart-rate reserve": ("heart-rate",),
    "own line": ("heart-rate", "own-calibration"),
    "table": ("activity-table",),
    "standing": ("activity-table",),
}
METHODS = ("machine", "heart-rate", "own-calibration", "activity-table")
# What a mask reads in a window is less sure than the demand: the lags differ between people.
OXYGEN_TIMED_SD = 0.12


@dataclass(frozen=True)
class Costed:
    """A part of a step with its estimates and what they were joined to."""

    step: int
    part: Part
    estimates: tuple[Estimate, ...]
    fused: Fused


def energy_of(own: Sequence[Costed]) -> Energy | None:
    """A step's energy with its range and the evidence named; None without parts."""
    if not own:
        return None
    kcal, errors = total([(one.fused.kcal, one.fused.errors) for one in own])
    low, high = range_95(kcal, errors)
    shares = dict.fromkeys(METHODS, 0.0)
    for one in own:
        for estimate, weight in zip(one.estimates, one.fused.weights, strict=True):
            for method in METHOD_OF[estimate.model]:
                shares[method] += weight * one.fused.kcal / kcal
    named = [method for method in METHODS if shares[method] >= NAMED_FROM]
    return Energy(kcal, low, high, "+".join(named))


def rows_of(own: Sequence[Costed], step: StepEvidence) -> list[ModelRow]:
    """Each model's estimate of a step over the parts that it speaks of, and the joined result."""
    place = (step.planned.block, step.planned.round, step.planned.step)
    if not own:
        return []
    kcal, errors = total([(one.fused.kcal, one.fused.errors) for one in own])
    rows = []
    for model in METHOD_OF:
        spoken = [
            (estimate, weight, one)
            for one in own
            for estimate, weight in zip(one.estimates, one.fused.weights, strict=True)
            if estimate.model == model
        ]
        if not spoken:
            continue
        value, own_errors = total([(estimate.kcal, estimate.errors) for estimate, _, _ in spoken])
        weight = sum(weight * one.fused.kcal for _, weight, one in spoken) / kcal
        notes = dict.fromkeys(estimate.note for estimate, _, _ in spoken if estimate.note)
        rows.append(ModelRow(*place, model, value, spread(own_errors), weight, ", ".join(notes)))
    rows.append(ModelRow(*place, "joined", kcal, spread(errors), 1.0))
    return rows


def block_totals(
    costed: Sequence[Costed], steps: Sequence[StepEvidence]
) -> tuple[BlockEnergy, ...]:
    """Totals of each block; errors in common add up in full."""
    blocks = []
    for block in dict.fromkeys(step.planned.block for step in steps):
        own = [one for one in costed if steps[one.step].planned.block == block]
        work = [one for one in own if steps[one.step].planned.kind == "work"]
        rest = [one for one in own if steps[one.step].planned.kind == "rest"]
        whole = energy_of(own)
        if whole is not None:
            blocks.append(BlockEnergy(block, whole, energy_of(work), energy_of(rest)))
    return tuple(blocks)


def oxygen_timed_of(
    by_step: Sequence[Sequence[Costed]], steps: Sequence[StepEvidence], body: Body
) -> tuple[Energy | None, ...]:
    """What a mask would read in each step's window, from the demand of all steps up to it."""
    known = [number for number, own in enumerate(by_step) if own]
    if not known:
        return tuple(None for _ in steps)
    first = min(steps[number].start_s for number in known)
    last = max(steps[number].end_s for number in known)
    resting = STANDING_MET * body.mass_kg / 3600
    clock: Floats = np.arange(np.floor(first) - 60, np.ceil(last) + 1)
    demand = np.full(len(clock), resting)
    for number in known:
        demand[(clock >= steps[number].start_s) & (clock < steps[number].end_s)] = 0.0
    for number in known:
        for one in by_step[number]:
            start = steps[number].start_s + one.part.start_s
            inside = (clock >= start) & (clock < start + one.part.seconds)
            demand[inside] += one.fused.kcal / max(one.part.seconds, 1e-9)
    running = np.concatenate([[0.0], np.cumsum(kinetics.oxygen_timed(demand))])
    edges = np.concatenate([clock, [clock[-1] + 1]])
    answers: list[Energy | None] = []
    for step, own in zip(steps, by_step, strict=True):
        energy = energy_of(own)
        if energy is None:
            answers.append(None)
            continue
        kcal = float(
            np.interp(step.end_s, edges, running) - np.interp(step.start_s, edges, running)
        )
        wide = {"demand": np.log(energy.high / energy.low) / 3.92, "lag": OXYGEN_TIMED_SD}
        low, high = range_95(kcal, wide)
        answers.append(Energy(kcal, low, high, energy.method))
    return tuple(answers)
