"""What stands in a plan, as a coach would say it."""

from __future__ import annotations

from fractions import Fraction

from reconcile.durations import format_duration
from reconcile.plan import Plan, Quantity, Step, Task, TimedBlock


def clock_reading(seconds: float) -> str:
    """Minutes and seconds as on a clock on the wall: 270 is `4:30`; hours where there are any."""
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def exact(value: Fraction | float) -> str:
    """A number as it was written, without zeros at its end."""
    return f"{float(value):.9g}"


def quantity(value: Quantity) -> str:
    """A load or a height in the plan's own unit: `30 kg`, or `30/20 kg (men/women)`."""
    if value.men == value.women:
        return f"{exact(value.men)} {value.unit}"
    return f"{exact(value.men)}/{exact(value.women)} {value.unit} (men/women)"


def task(value: Task) -> str:
    """One task: `box step-up, 12 reps, 40 cm`."""
    parts = [value.movement]
    if value.measure is not None:
        parts.append(f"{'most' if value.most else exact(value.amount or 0)} {value.measure}")
    parts += [quantity(part) for part in (value.load, value.height) if part is not None]
    if value.effort is not None:
        parts.append(value.effort)
    if value.intended is not None:
        low, high = format_duration(value.intended.low_s), format_duration(value.intended.high_s)
        parts.append(f"meant to last {low} to {high}")
    parts += [f"{option} instead: {task(other)}" for option, other in value.instead.items()]
    return ", ".join(parts)


def step_tasks(step: Step) -> str:
    """The tasks of a step in their order, one a line."""
    return "\n".join(task(value) for value in step.tasks)


def block_heading(block: TimedBlock) -> str:
    """Rounds, length and score: `main: 5 rounds of 4m30s, 22m30s on the clock, scored by ...`."""
    rounds = (
        f"{block.rounds} rounds of {format_duration(block.round_s)}, " if block.rounds > 1 else ""
    )
    heading = f"{block.name}: {rounds}{format_duration(block.duration_s)} on the clock"
    if block.rotate:
        heading += ", in stations"
    if block.score is not None:
        rule = block.score
        rounds = "total" if rule.take == "total" else f"the {rule.take} round's"
        heading += f", scored by {rounds} {rule.measure}"
    return heading


def whole_length(plan: Plan) -> str:
    """How long a plan takes: its clock, and its free blocks' range."""
    on_clock = sum(block.duration_s for block in plan.timed_blocks)
    free = [block for block in plan.blocks if not isinstance(block, TimedBlock)]
    if not free:
        return f"{format_duration(on_clock)} on the clock"
    low = on_clock + sum(block.low_s for block in free)
    high = on_clock + sum(block.high_s for block in free)
    length = f"{format_duration(low)} to {format_duration(high)}"
    return f"{length} in all, {format_duration(on_clock)} of it on the clock"
