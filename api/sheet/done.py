"""What was planned against what was done, as texts: figures with ranges, and no grades."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.sheet import words
from api.sheet.rows import BlockTable
from reconcile.compliance import Compliance, Figure, RoundEffort

CLASS = "the class"


@dataclass(frozen=True)
class DoneRow:
    """One athlete's figures, or the class's; a dash is "not known".

    rounds: begun of planned. work: per cent of the planned work inside its windows. late, early:
    seconds from a bell to the first effort, and from the last effort to the bell. rest: per cent of
    the planned rest without machine work. effort: mean power or heart rate of each round.
    """

    who: str
    rounds: str
    work: str
    late: str
    early: str
    rest: str
    effort: str


def done_rows(table: BlockTable) -> tuple[DoneRow, ...]:
    """A row for each athlete of whom anything is known, the class's last."""
    everybody = [done_row(who, done) for who, done in table.done]
    if table.together is not None and len(everybody) > 1:
        everybody.append(done_row(CLASS, table.together))
    return tuple(everybody)


def done_row(who: str, done: Compliance) -> DoneRow:
    """One row of figures."""
    return DoneRow(
        who,
        rounds_text(done),
        figure_text(done.work_share, 100.0),
        figure_text(done.late_start_s),
        figure_text(done.early_stop_s),
        figure_text(done.rest_kept, 100.0),
        effort_text(done.rounds),
    )


def figure_text(figure: Figure | None, scale: float = 1.0) -> str:
    """A figure in whole numbers with its range, where that is wider than the figure."""
    if figure is None:
        return "–"
    value, low, high = (f"{part * scale:.0f}" for part in (figure.value, figure.low, figure.high))
    return value if low == high else f"{value} ({low}–{high})"


def rounds_text(done: Compliance) -> str:
    """Rounds begun of rounds planned; a range where of some nothing tells."""
    begun = done.rounds_attempted
    low, high = (words.number(round(part, 1)) for part in (begun.low, begun.high))
    return f"{low if low == high else f'{low}–{high}'}/{done.rounds_planned}"


def effort_text(rounds: Sequence[RoundEffort]) -> str:
    """Mean power round by round, or mean heart rate where no machine tells."""
    for unit, values in (
        ("W", [effort.mean_power_w for effort in rounds]),
        ("beats", [effort.mean_hr for effort in rounds]),
    ):
        if any(value is not None for value in values):
            shown = ["–" if value is None else f"{value:.0f}" for value in values]
            return f"{' '.join(shown)} {unit}"
    return "–"


def class_sentence(table: BlockTable) -> str:
    """The class's figures in a sentence; empty where nothing is known."""
    done = table.together
    if done is None:
        return ""
    row = done_row(CLASS, done)
    parts = [f"rounds begun {row.rounds}"]
    parts += [
        f"{name} {text} {unit}"
        for name, text, unit in (
            ("work inside its windows", row.work, "%"),
            ("begun late by", row.late, "s"),
            ("stopped early by", row.early, "s"),
            ("rest kept", row.rest, "%"),
        )
        if text != "–"
    ]
    return f"Planned and done, the mean of the class: {'; '.join(parts)}."
