"""What stands in a plan, said in the reader's language and unit of mass."""

from __future__ import annotations

from api.language import Language, deferred
from api.plans.service import class_length_s
from reconcile.plan import KG_PER_LB, FreeBlock, Plan, Quantity, Task, TimedBlock

MOST = {
    "calories": deferred("as many calories as possible"),
    "metres": deferred("as many metres as possible"),
    "reps": deferred("as many repetitions as possible"),
}
EFFORTS = {
    "easy": deferred("easy"),
    "steady": deferred("steady"),
    "hard": deferred("hard"),
}
SCORES = {
    ("calories", "total"): deferred("scored by all calories together"),
    ("calories", "lowest"): deferred("scored by the lowest round's calories"),
    ("calories", "highest"): deferred("scored by the highest round's calories"),
    ("calories", "mean"): deferred("scored by a round's calories in the mean"),
    ("metres", "total"): deferred("scored by all metres together"),
    ("metres", "lowest"): deferred("scored by the lowest round's metres"),
    ("metres", "highest"): deferred("scored by the highest round's metres"),
    ("metres", "mean"): deferred("scored by a round's metres in the mean"),
    ("reps", "total"): deferred("scored by all repetitions together"),
    ("reps", "lowest"): deferred("scored by the lowest round's repetitions"),
    ("reps", "highest"): deferred("scored by the highest round's repetitions"),
    ("reps", "mean"): deferred("scored by a round's repetitions in the mean"),
    ("seconds", "total"): deferred("scored by the time of all rounds together"),
    ("seconds", "lowest"): deferred("scored by the fastest round's time"),
    ("seconds", "highest"): deferred("scored by the slowest round's time"),
    ("seconds", "mean"): deferred("scored by a round's time in the mean"),
}


def range_words(language: Language, low_s: float, high_s: float) -> str:
    """A length of time from least to most; once where the two are the same."""
    low, high = language.duration(low_s), language.duration(high_s)
    return low if low == high else language.text("{low} to {high}", low=low, high=high)


def amount_words(language: Language, task: Task) -> str:
    """How much of a task; blank where it has no count."""
    if task.measure is None:
        return ""
    if task.most:
        return language.text(MOST[task.measure])
    count = task.amount or 0.0
    if task.measure == "metres":
        return language.with_unit(count, "m")
    if task.measure == "calories":
        return language.plural("{count} calorie", "{count} calories", round(count))
    return language.plural("{count} repetition", "{count} repetitions", round(count))


def quantity_words(language: Language, value: Quantity) -> str:
    """A load or a height: one for all, or what the men and what the women take."""
    men, women = (one_quantity(language, float(each), value.unit) for each in sides(value))
    if value.men == value.women:
        return men
    return language.text("men {men}, women {women}", men=men, women=women)


def sides(value: Quantity) -> tuple[float, float]:
    """A quantity for men and for women."""
    return float(value.men), float(value.women)


def one_quantity(language: Language, number: float, unit: str) -> str:
    """A mass in the reader's unit, exact where the plan uses it too; any other as written."""
    if unit in ("kg", "lb") and unit != language.mass_unit:
        return language.mass(number if unit == "kg" else number * float(KG_PER_LB))
    return language.with_unit(number, unit)


def task_words(language: Language, task: Task) -> str:
    """One task, without what options do in its place: `box step-up, 12 repetitions, 40 cm`."""
    parts = [task.movement, amount_words(language, task)]
    parts += [quantity_words(language, each) for each in (task.load, task.height) if each]
    if task.effort is not None:
        parts.append(language.text(EFFORTS[task.effort]))
    if task.intended is not None:
        meant = range_words(language, task.intended.low_s, task.intended.high_s)
        parts.append(language.text("meant to last {time}", time=meant))
    return ", ".join(part for part in parts if part)


def kind_words(language: Language, kind: str) -> str:
    """Work or rest."""
    return language.text("work") if kind == "work" else language.text("rest")


def block_words(language: Language, block: TimedBlock | FreeBlock) -> str:
    """A block in one sentence: rounds, length, stations, score."""
    if isinstance(block, FreeBlock):
        length = range_words(language, block.low_s, block.high_s)
        return language.text("off the clock, usually {time}", time=length)
    parts = [language.text("{time} on the clock", time=language.duration(block.duration_s))]
    if block.rounds > 1:
        rounds = language.plural("{count} round", "{count} rounds", block.rounds)
        one = language.duration(block.round_s)
        parts.insert(0, language.text("{rounds} of {time}", rounds=rounds, time=one))
    if block.rotate:
        parts.append(language.text("in stations, one further at each bell"))
    if block.score is not None:
        parts.append(language.text(SCORES[block.score.measure, block.score.take]))
    return ", ".join(parts)


def plan_words(language: Language, plan: Plan) -> str:
    """How long the class will be, as a range, and how much of it is on the clock."""
    on_clock = language.duration(sum(block.duration_s for block in plan.timed_blocks))
    low_s, high_s = class_length_s(plan)
    if low_s == high_s:
        return language.text("{time}, all of it on the clock", time=on_clock)
    return language.text(
        "{range} in all, {time} of it on the clock",
        range=range_words(language, low_s, high_s), time=on_clock,
    )  # fmt: skip
