"""What is worth saying after class: was the load right, and what to try next time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reconcile.plan import DurationRange, Task, TimedBlock
from reconcile.result import Advice, Interval
from reconcile.sentence import Sentence, deferred
from reconcile.timeline import PlannedStep

# Judgement, common practice, no source: what a coach would bother to mention.
LATE_START_S = 6.0
EARLY_STOP_S = 5.0
WORK_IN_REST_SHARE = 0.25
UNEVEN_SHARE = 0.15
TEXTS = {
    "load_too_heavy": deferred(
        "About {active:.0f} s were left for the machine; {low:.0f} to {high:.0f} s "
        "were meant. A lighter {movement} would leave more."
    ),
    "load_too_light": deferred(
        "About {active:.0f} s were left for the machine; {low:.0f} to {high:.0f} s "
        "were meant. A heavier {movement}, or more of it, would use the time."
    ),
    "load_right": deferred(
        "About {active:.0f} s were left for the machine, as meant ({low:.0f} to {high:.0f} s)."
    ),
    "start_sooner": deferred(
        "The machine started about {late:.0f} s after the bell in most rounds."
    ),
    "work_to_the_bell": deferred(
        "In {count} rounds the machine stopped {early:.0f} s or more before the bell."
    ),
    "rest_fully": deferred(
        "The machine kept moving for about {share:.0f} % of the rests: rest fully, or "
        "plan it as easy work."
    ),
    "pace_evenly": deferred(
        "Power went from {first:.0f} W to {last:.0f} W over the rounds; a steadier "
        "start may give more in total."
    ),
    "check_sensor": deferred("The heart rate looks doubtful in places: check how the sensor sits."),
}


def block_advice(
    block: TimedBlock, steps: Sequence[PlannedStep], intervals: Sequence[Interval]
) -> list[Advice]:
    """Advice for one athlete on one block; intervals in the order of the steps."""
    advice: list[Advice] = []
    task = _intended_task(steps)
    if task is not None and task.intended is not None:
        said = _load(block, task.intended, steps, intervals)
        if said is not None:
            advice.append(said)
    advice.extend(_timing(block, steps, intervals))
    return advice


def _intended_task(steps: Sequence[PlannedStep]) -> Task | None:
    return next(
        (t for s in steps for t in s.tasks if t.on_machine and t.intended is not None), None
    )


def active_per_round(
    steps: Sequence[PlannedStep], intervals: Sequence[Interval]
) -> list[float] | None:
    """Seconds on the machine in each attempted round; None without a machine file."""
    rounds: dict[int, float] = {}
    for step, done in zip(steps, intervals, strict=True):
        if step.kind != "work" or done.machine_active_s is None or done.attempted is False:
            continue
        rounds[step.round] = rounds.get(step.round, 0.0) + done.machine_active_s
    return list(rounds.values()) or None


def _load(
    block: TimedBlock,
    intended: DurationRange,
    steps: Sequence[PlannedStep],
    intervals: Sequence[Interval],
) -> Advice | None:
    rounds = active_per_round(steps, intervals)
    if rounds is None:
        return None
    active = float(np.mean(rounds))
    if active < intended.low_s:
        code = "load_too_heavy"
    elif active > intended.high_s:
        code = "load_too_light"
    else:
        code = "load_right"
    movement = next((t.movement for s in steps for t in s.tasks if t.load is not None), None)
    text = Sentence(
        TEXTS[code],
        active=active,
        low=intended.low_s,
        high=intended.high_s,
        movement=movement or Sentence("task before it"),
    )
    return Advice(code, text, block.name, movement)


def _timing(
    block: TimedBlock, steps: Sequence[PlannedStep], intervals: Sequence[Interval]
) -> list[Advice]:
    late, early, powers, rest_active, rest_s = [], [], [], 0.0, 0.0
    for step, done in zip(steps, intervals, strict=True):
        if step.kind == "rest":
            if done.machine_active_s is not None:
                rest_active += done.machine_active_s
                rest_s += step.duration_s
            continue
        if not step.tasks or done.machine_start_s is None or done.machine_end_s is None:
            continue
        if step.tasks[0].on_machine:
            late.append(done.machine_start_s)
        if step.tasks[-1].on_machine and step.tasks[-1].most:
            early.append(step.duration_s - done.machine_end_s)
        if done.mean_power_w is not None and step.tasks[-1].on_machine:
            powers.append(done.mean_power_w)
    advice = []
    if len(late) >= 2 and float(np.median(late)) > LATE_START_S:
        text = Sentence(TEXTS["start_sooner"], late=float(np.median(late)))
        advice.append(Advice("start_sooner", text, block.name))
    stopped = [seconds for seconds in early if seconds > EARLY_STOP_S]
    if len(stopped) >= 2:
        text = Sentence(TEXTS["work_to_the_bell"], count=len(stopped), early=min(stopped))
        advice.append(Advice("work_to_the_bell", text, block.name))
    if rest_s > 0 and rest_active / rest_s > WORK_IN_REST_SHARE:
        text = Sentence(TEXTS["rest_fully"], share=100 * rest_active / rest_s)
        advice.append(Advice("rest_fully", text, block.name))
    if len(powers) >= 3:
        first, last = powers[0], float(np.mean(powers[-2:]))
        if first > 0 and (first - last) / first > UNEVEN_SHARE:
            text = Sentence(TEXTS["pace_evenly"], first=first, last=last)
            advice.append(Advice("pace_evenly", text, block.name))
    return advice


def sensor_advice() -> Advice:
    """That a heart rate sensor should be looked at."""
    return Advice("check_sensor", Sentence(TEXTS["check_sensor"]))
