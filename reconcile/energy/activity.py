"""What plan, score and table say of a stretch of a step: the estimates that need no heart."""

from __future__ import annotations

import math

from reconcile.display import power_from_calories, power_from_speed
from reconcile.energy import acsm, compendium, movements, work
from reconcile.energy.body import Body
from reconcile.energy.evidence import StepEvidence
from reconcile.energy.fusion import Estimate, fuse, total
from reconcile.energy.parts import Part
from reconcile.energy.weir import KCAL_PER_LITRE_OXYGEN_EXERCISE
from reconcile.plan import Task

# A logged count is read by eye after the bell and its time is not known: judgement.
LOGGED_SD = 0.14
SHORTEST_LOGGED_S = 10.0
# A logged count further from the table than this (a factor of 2) is some mistake, and left out.
CREDIBLE_LOG_RATIO = 0.7
# How a stretch was shared between several tasks is a guess: judgement.
SHARING_SD = 0.08


def standing(part: Part, step: StepEvidence, body: Body, name: str) -> Estimate:
    """Standing and walking about, kcal for the whole part."""
    rate = float(compendium.energy(compendium.STANDING_MET, body.mass_kg))
    short = part.seconds < 30
    errors = {
        "mass": body.mass_sd,
        "standing": compendium.STANDING_PERSON_SD,
        f"standing: {name}": compendium.STANDING_SHORT_SD if short else compendium.STANDING_BOUT_SD,
    }
    if step.planned.kind == "rest" and step.machine and not step.machine_recorded:
        errors["unseen pulling"] = compendium.UNSEEN_PULLING_SD
    return Estimate("standing", rate * part.seconds / 60, errors, "2.3 MET")


def pulling(part: Part, body: Body, machine: str, name: str) -> Estimate:
    """Recorded work over net efficiency plus resting metabolism, kcal for the whole part."""
    assert part.power_w is not None
    efficiency = work.EFFICIENCY[machine]
    rate = float(work.energy(part.power_w, efficiency.net, body.mass_kg))
    of_work = 1 - work.RESTING_MET * body.mass_kg / 60 / rate
    highest = body.vo2max * body.mass_kg / 1000 * KCAL_PER_LITRE_OXYGEN_EXERCISE
    errors = {
        "mass": body.mass_sd * (1 - of_work),
        f"efficiency: {machine}": efficiency.person_sd * of_work,
        f"bout: {name}": efficiency.step_sd * of_work,
        "work without oxygen": work.SUPRAMAXIMAL_SD if rate > highest else 0.0,
    }
    return Estimate("machine", rate * part.seconds / 60, errors, f"{part.power_w:.0f} W")


def tabled(part: Part, step: StepEvidence, body: Body, name: str, *, seen: bool) -> Estimate:
    """The table's cost of the tasks of a part, kcal for the whole of it.

    A task whose pace is known takes an ACSM equation where one applies; machine work that nothing
    recorded is joined with what the logged count says of it, where that is credible.
    seen: whether anything recorded that there was work at all.
    """
    machine_s = sum(seconds for task, seconds in part.tasks if task.on_machine)
    costs, notes = [], []
    for task, seconds in part.tasks:
        known = _task(task, seconds, step, body)
        logged = _logged(task, step, machine_s, body) if task.on_machine else None
        if logged is not None and abs(math.log(logged.kcal / known.kcal)) <= CREDIBLE_LOG_RATIO:
            fused = fuse([known, logged], task.movement)
            known = Estimate("table", fused.kcal, fused.errors, f"{known.note}; {logged.note}")
        costs.append((known.kcal * seconds / 60, known.errors))
        notes.append(known.note)
    kcal, shared = total(costs)
    errors = dict(shared)
    errors[f"bout: {name}"] = movements.BOUT_SD
    if not seen:
        errors[f"unseen: {name}"] = movements.UNSEEN_SD
    if len(part.tasks) > 1:
        errors[f"sharing: {name}"] = SHARING_SD
    return Estimate("table", kcal, errors, "; ".join(notes))


def _task(task: Task, seconds: float, step: StepEvidence, body: Body) -> Estimate:
    """One task by equation or row, kcal **per minute**."""
    known = movements.movement(_machine_name(task, step))
    height_m = None if task.height is None else task.height.in_metric(body.sex) / 100
    met = None
    amount = None if task.most else task.amount
    if task.most and step.logged is not None and step.logged.measure == task.measure:
        amount = step.logged.amount
    if amount is not None and seconds > 0:
        pace = amount * 60 / seconds
        met = movements.paced_met(known, amount_per_min=pace, height_m=height_m)
        if met is not None:
            # What is carried is moved as the body is (Pandolf et al. 1977, J Appl Physiol
            # 43:577-581, from memory, for loads on the trunk).
            met = 1 + (met - 1) * (1 + _carried_kg(task, step, body) / body.mass_kg)
    paced = met is not None
    sprint = task.most and seconds <= movements.SPRINT_S
    note = f"{task.movement}: ACSM at its pace"
    if met is None:
        row = movements.row_of(
            known,
            task.effort,
            loaded=task.load is not None,
            height_m=height_m,
            sprint=sprint,
        )
        met, note = row.met, f"{task.movement}: {row.code}, {row.met:g} MET ({known.why})"
    highest = body.vo2max / acsm.ML_PER_KG_PER_MET
    if met > highest and not sprint:
        met, note = highest, f"{note}, held to VO2max"
    person_sd = movements.person_sd(known, known_pace=paced)
    errors = {"mass": body.mass_sd, f"movement: {known.name}": person_sd}
    # A row is the mean over people, whose costs are spread log-normally: half of them lie below it.
    median = math.exp(-(person_sd**2) / 2)
    kcal = float(compendium.energy(met, body.mass_kg)) * median
    return Estimate("table", kcal, errors, note)


def _logged(task: Task, step: StepEvidence, machine_s: float, body: Body) -> Estimate | None:
    """Machine work behind what was logged, kcal **per minute**; None where it says nothing.

    A count or distance is that of all machine work of the step; of logged seconds, the amount that
    the plan fixes was done in them.
    """
    if step.logged is None or step.machine is None or machine_s < SHORTEST_LOGGED_S:
        return None
    measure, amount = step.logged.measure, step.logged.amount
    if measure == "seconds" and task.amount is not None and not task.most:
        measure, amount = task.measure or measure, task.amount
    if measure == "calories":
        power_w = power_from_calories(amount, machine_s)
    elif measure == "metres":
        power_w = power_from_speed(amount / machine_s, step.machine)
    else:
        return None
    if power_w <= 0:
        return None
    efficiency = work.EFFICIENCY[step.machine]
    errors = {f"efficiency: {step.machine}": efficiency.person_sd, "logged count": LOGGED_SD}
    rate = float(work.energy(power_w, efficiency.net, body.mass_kg))
    return Estimate("table", rate, errors, f"{power_w:.0f} W by what was logged")


def _carried_kg(task: Task, step: StepEvidence, body: Body) -> float:
    """The load of a task: as logged where it is the step's first loaded one, else as planned."""
    if task.load is None:
        return 0.0
    first = next(other for other in step.planned.tasks if other.load is not None)
    if step.load_kg is not None and task is first:
        return step.load_kg
    return task.load.in_metric(body.sex)


def _machine_name(task: Task, step: StepEvidence) -> str:
    return step.machine if task.movement == "machine" and step.machine else task.movement


def strength_share(part: Part) -> float:
    """The share of a part's time that is strength work: lifting, or anything under a load."""
    seconds = sum(lasts for _, lasts in part.tasks)
    strength = sum(
        lasts
        for task, lasts in part.tasks
        if task.load is not None or movements.movement(task.movement).kind == "strength"
    )
    return strength / seconds if seconds > 0 else 0.0
