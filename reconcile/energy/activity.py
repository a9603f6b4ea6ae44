"""What plan, score and table say of a stretch of a step: the estimates that need no heart."""

from __future__ import annotations

from reconcile.display import power_from_calories
from reconcile.energy import compendium, movements, work
from reconcile.energy.body import Body
from reconcile.energy.evidence import StepEvidence
from reconcile.energy.fusion import Estimate
from reconcile.energy.parts import Part
from reconcile.energy.weir import KCAL_PER_LITRE_OXYGEN_EXERCISE
from reconcile.plan import Task

# A logged count is read by eye after the bell and its time is not known: judgement.
LOGGED_SD = 0.12
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


def tabled(part: Part, step: StepEvidence, body: Body, name: str) -> Estimate:
    """The table's cost of the tasks of a part, kcal for the whole of it.

    A task whose pace is known takes an ACSM equation where one applies; machine work that nothing
    recorded takes the watts behind the logged count, or the table's row.
    """
    total, notes = 0.0, []
    errors: dict[str, float] = {}
    for task, seconds in part.tasks:
        rate, own, note = _task(task, seconds, step, body)
        kcal = rate * seconds / 60
        total += kcal
        notes.append(note)
        for error, size in own.items():
            errors[error] = errors.get(error, 0.0) + kcal * size
    relative = {error: size / total for error, size in errors.items()}
    relative[f"bout: {name}"] = movements.BOUT_SD
    if step.attempted is None:
        relative[f"unseen: {name}"] = movements.UNSEEN_SD
    if len(part.tasks) > 1:
        relative[f"sharing: {name}"] = SHARING_SD
    return Estimate("table", total, relative, "; ".join(notes))


def _task(
    task: Task, seconds: float, step: StepEvidence, body: Body
) -> tuple[float, dict[str, float], str]:
    """One task: kcal/min, relative errors, what it rests on."""
    known = movements.movement(_machine_name(task, step))
    if task.on_machine and step.logged_calories is not None and step.machine and seconds >= 10:
        power_w = power_from_calories(step.logged_calories, seconds)
        if power_w > 0:
            efficiency = work.EFFICIENCY[step.machine]
            own = {
                f"efficiency: {step.machine}": efficiency.person_sd,
                "logged count": LOGGED_SD,
            }
            rate = float(work.energy(power_w, efficiency.net, body.mass_kg))
            return rate, own, f"{power_w:.0f} W by the logged count"
    height_m = None if task.height is None else task.height.in_metric(body.sex) / 100
    met, note = None, ""
    if task.amount is not None and not task.most and seconds > 0:
        met = movements.paced_met(
            known, amount_per_min=task.amount * 60 / seconds, height_m=height_m
        )
        note = f"{task.movement}: ACSM at its pace"
    paced = met is not None
    if met is None:
        loaded = task.load is not None
        row = movements.row_of(known, task.effort, loaded=loaded, height_m=height_m)
        met, note = row.met, f"{task.movement}: {row.code} {row.met:g} MET ({known.why})"
    own = {
        "mass": body.mass_sd,
        f"movement: {known.name}": movements.person_sd(known, known_pace=paced),
    }
    return float(compendium.energy(met, body.mass_kg)), own, note


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
