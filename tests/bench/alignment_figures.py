"""Figures of placing recordings and finding their owners.

Each function returns the cases of one figure; its docstring says what counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from tests.bench.outcomes import FileRow, StartRow
from tests.bench.rows import Case, Line, Rows, mean, median, ninetieth, share

MACHINES = ("machine", "phone")
KNOWN = ("aligned", "ambiguous")


def right_status(rows: Rows) -> list[Case]:
    """Every file. Right is: a file of another day or a stranger's `unmatched`, one with nothing
    usable `unreadable`, one of this class `aligned`, or `ambiguous` with every block that it covers
    listed within half a round of the truth at least once."""
    return [Case(float(status_is_right(rows_of, row)), row) for rows_of, row in by_file(rows)]


def strictly_right_status(rows: Rows) -> list[Case]:
    """As `right_status`, but a recording of this class must be `aligned`."""
    return [
        Case(float(row.said is not None and row.said["status"] == row.truth.status), row)
        for row in rows.files
    ]


def by_file(rows: Rows) -> Iterable[tuple[list[StartRow], FileRow]]:
    starts: dict[tuple[int, str], list[StartRow]] = {}
    for start in rows.starts:
        starts.setdefault((start.of.seed, start.file.file), []).append(start)
    for row in rows.files:
        yield starts.get((row.of.seed, row.truth.file), []), row


def status_is_right(starts: list[StartRow], row: FileRow) -> bool:
    if row.said is None:
        return False
    if row.said["status"] == "ambiguous" and row.truth.status == "aligned":
        return all(
            any(abs(at - start.true_s) <= start.gap_s / 2 for at in listed(start))
            for start in starts
        )
    return bool(row.said["status"] == row.truth.status)


def listed(start: StartRow) -> list[float]:
    if start.said is None:
        return []
    return [float(start.said["start_s"]), *start.rivals]


def samples_right(rows: Rows) -> list[Case]:
    """Undamaged files: whether `samples` and `first_sample` (to a millisecond, null without a date)
    are those of the file."""
    cases = []
    for row in rows.files:
        if row.truth.damage is None and row.said is not None:
            text = row.said["first_sample"]
            first = None if text is None else datetime.fromisoformat(text)
            same = first == row.truth.first_sample
            if first is not None and row.truth.first_sample is not None:
                same = abs((first - row.truth.first_sample).total_seconds()) < 0.0015
            cases.append(Case(float(same and row.said["samples"] == row.truth.samples), row))
    return cases


def broken_unreadable(rows: Rows) -> list[Case]:
    """Files with nothing usable left: whether they are `unreadable`."""
    return [
        Case(float(row.said is not None and row.said["status"] == "unreadable"), row)
        for row in rows.files
        if row.truth.status == "unreadable"
    ]


def sound_unreadable(rows: Rows) -> list[Case]:
    """Files that hold something usable: whether they are called `unreadable` all the same."""
    return [
        Case(float(row.said is None or row.said["status"] == "unreadable"), row)
        for row in rows.files
        if row.truth.status != "unreadable"
    ]


def other_day_unmatched(rows: Rows) -> list[Case]:
    """Readable files of another day: whether they are `unmatched`."""
    return [
        Case(float(row.said is not None and row.said["status"] == "unmatched"), row)
        for row in rows.files
        if row.truth.other_day and row.truth.kind != "stranger" and row.truth.status == "unmatched"
    ]


def stranger_unmatched(rows: Rows) -> list[Case]:
    """Readable files of strangers: whether they are `unmatched`."""
    return [
        Case(float(row.said is not None and row.said["status"] == "unmatched"), row)
        for row in rows.files
        if row.truth.kind == "stranger" and row.truth.status == "unmatched"
    ]


def placed(rows: Rows, kinds: tuple[str, ...]) -> list[StartRow]:
    return [
        row
        for row in rows.starts
        if row.file.kind in kinds and row.said is not None and row.status in KNOWN
    ]


def first_errors(rows: Rows, kinds: tuple[str, ...]) -> list[Case]:
    return [
        Case(abs(row.error_s), row)
        for row in placed(rows, kinds)
        if row.first_scored and row.error_s is not None
    ]


def watch_start(rows: Rows) -> list[Case]:
    """|start listed first − truth| of the class's first scored block, watch recordings of this
    class that cover it and were placed (`aligned` or `ambiguous`)."""
    return first_errors(rows, ("watch",))


def watch_start_without_machines(rows: Rows) -> list[Case]:
    """As `watch_start`, classes in which no readable machine file is."""
    return [case for case in watch_start(rows) if not case.row.of.has_machine_file]  # type: ignore[union-attr]


def machine_start(rows: Rows) -> list[Case]:
    """As `watch_start`, machine recordings (a phone that heard the machine included)."""
    return first_errors(rows, MACHINES)


def watch_bias(rows: Rows) -> list[Case]:
    """The errors of `watch_start` in the right round, signed: below 0 is too early."""
    return [Case(row.error_s, row) for row in ranges(rows, ("watch",)) if row.error_s is not None]


def machine_bias(rows: Rows) -> list[Case]:
    """As `watch_bias`, machine recordings."""
    return [Case(row.error_s, row) for row in ranges(rows, MACHINES) if row.error_s is not None]


def other_start(rows: Rows) -> list[Case]:
    """|start listed first − truth| of all other timed blocks that a placed recording covers."""
    return [
        Case(abs(row.error_s), row)
        for row in placed(rows, ("watch", *MACHINES))
        if not row.first_scored and row.error_s is not None
    ]


def start_given(rows: Rows) -> list[Case]:
    """Timed blocks that recordings of this class cover: whether a start is given."""
    return [Case(float(row.said is not None and row.status in KNOWN), row) for row in rows.starts]


def slipped(rows: Rows, kinds: tuple[str, ...]) -> list[Case]:
    return [
        Case(float(not row.right_round), row)
        for row in placed(rows, kinds)
        if row.first_scored and row.status == "aligned"
    ]


def watch_slips(rows: Rows) -> list[Case]:
    """Watch recordings claimed `aligned`: first scored block out by more than half the shortest
    time between two of its work starts."""
    return slipped(rows, ("watch",))


def machine_slips(rows: Rows) -> list[Case]:
    """As `watch_slips`, machine recordings."""
    return slipped(rows, MACHINES)


def other_slips(rows: Rows) -> list[Case]:
    """Recordings claimed `aligned`: other timed blocks out by more than half of their shortest time
    between two work starts."""
    return [
        Case(float(not row.right_round), row)
        for row in placed(rows, ("watch", *MACHINES))
        if not row.first_scored and row.status == "aligned"
    ]


def ranges(rows: Rows, kinds: tuple[str, ...]) -> list[StartRow]:
    return [row for row in placed(rows, kinds) if row.first_scored and row.right_round]


def covers(row: StartRow) -> float:
    assert row.said is not None
    return float(row.said["low_s"] <= row.true_s <= row.said["high_s"])


def width(row: StartRow) -> float:
    assert row.said is not None
    return float(row.said["high_s"] - row.said["low_s"])


def watch_coverage(rows: Rows) -> list[Case]:
    """First scored block, watch recordings placed in the right round: whether the 95 % range holds
    the true start."""
    return [Case(covers(row), row) for row in ranges(rows, ("watch",))]


def machine_coverage(rows: Rows) -> list[Case]:
    """As `watch_coverage`, machine recordings."""
    return [Case(covers(row), row) for row in ranges(rows, MACHINES)]


def other_coverage(rows: Rows) -> list[Case]:
    """As `watch_coverage`, the other timed blocks of all recordings."""
    return [
        Case(covers(row), row)
        for row in placed(rows, ("watch", *MACHINES))
        if not row.first_scored and row.right_round
    ]


def watch_width(rows: Rows) -> list[Case]:
    """Width of the ranges of `watch_coverage`."""
    return [Case(width(row), row) for row in ranges(rows, ("watch",))]


def machine_width(rows: Rows) -> list[Case]:
    """Width of the ranges of `machine_coverage`."""
    return [Case(width(row), row) for row in ranges(rows, MACHINES)]


def said_owners(row: FileRow) -> tuple[str, ...]:
    owner = None if row.said is None else row.said["belongs_to"]
    if owner is None:
        return ()
    return tuple(sorted(owner)) if isinstance(owner, list) else (owner,)


def owner_is_right(row: FileRow) -> float:
    return float(said_owners(row) == tuple(sorted(row.truth.owners)))


def of_this_class(rows: Rows) -> list[FileRow]:
    return [row for row in rows.files if row.truth.status == "aligned"]


def owner_as_uploaded(rows: Rows) -> list[Case]:
    """Readable files of this class uploaded by their owners: whether `belongs_to` says so."""
    return [
        Case(owner_is_right(row), row)
        for row in of_this_class(rows)
        if row.truth.uploaded_by and not row.truth.wrong_name
    ]


def wrong_name_machine(rows: Rows) -> list[Case]:
    """Machine files under a wrong name: whether the true owner is found."""
    return [
        Case(owner_is_right(row), row)
        for row in of_this_class(rows)
        if row.truth.wrong_name and row.truth.kind in MACHINES
    ]


def wrong_name_watch(rows: Rows) -> list[Case]:
    """Watch files under a wrong name: whether the true owner is found (no floor)."""
    return [
        Case(owner_is_right(row), row)
        for row in of_this_class(rows)
        if row.truth.wrong_name and row.truth.kind == "watch"
    ]


def unassigned(rows: Rows) -> list[FileRow]:
    return [row for row in of_this_class(rows) if not row.truth.uploaded_by]


def unassigned_owner(rows: Rows) -> list[Case]:
    """Readable files of this class without an owner: whether the true one is found."""
    return [Case(owner_is_right(row), row) for row in unassigned(rows)]


def unassigned_machine_owner(rows: Rows) -> list[Case]:
    """As `unassigned_owner`, machine files only."""
    return [
        Case(owner_is_right(row), row) for row in unassigned(rows) if row.truth.kind in MACHINES
    ]


def skipped_found(rows: Rows) -> list[Case]:
    """Rounds of scored blocks in which no task was begun, by athletes with a readable recording of
    this class: whether `attempted` is false for one of its work steps and true for none."""
    return [
        Case(float(row.called_skipped), row) for row in rows.rounds if row.skipped and row.any_file
    ]


def skipped_found_on_machine(rows: Rows) -> list[Case]:
    """As `skipped_found`, where a machine file holds the whole block."""
    return [case for case in skipped_found(rows) if case.row.machine]  # type: ignore[union-attr]


def done_called_skipped(rows: Rows) -> list[Case]:
    """Rounds of scored blocks that were done: whether they are called skipped all the same."""
    return [Case(float(row.called_skipped), row) for row in rows.rounds if not row.skipped]


def edge_cases(rows: Rows) -> list[Case]:
    cases = []
    for row in rows.steps:
        if not row.machine or row.truth.kind != "work" or row.truth.machine_start_s is None:
            continue
        for key in ("machine_start_s", "machine_end_s"):
            said = None if row.said is None else row.said[key]
            error = -1.0 if said is None else abs(said - getattr(row.truth, key))
            cases.append(Case(error, row))
    return cases


def edge_errors(rows: Rows) -> list[Case]:
    """Work steps with a pull, where a readable machine file holds every pull of the block:
    |first pull's start − truth| and |last pull's end − truth|, where given."""
    return [case for case in edge_cases(rows) if case.value >= 0]


def edges_found(rows: Rows) -> list[Case]:
    """The edges of `edge_errors` that are given, whatever their error."""
    return [Case(float(case.value >= 0), case.row) for case in edge_cases(rows)]


def stated_clock(rows: Rows) -> list[Case]:
    """Baseline: the device's date, the stated start, free blocks at mid-range; the first scored
    block."""
    return [
        Case(abs(row.stated_s - row.true_s), row) for row in rows.starts if row.stated_s is not None
    ]


def cross_correlation(rows: Rows) -> list[Case]:
    """Baseline: plain cross-correlation of the raw signal with the plan; first scored block."""
    return [
        Case(abs(row.correlated_s - row.true_s), row)
        for row in rows.starts
        if row.correlated_s is not None
    ]


def stated_clock_slips(rows: Rows) -> list[Case]:
    """Baseline `stated_clock`: out by more than half the shortest time between work starts."""
    return [Case(float(case.value > case.row.gap_s / 2), case.row) for case in stated_clock(rows)]  # type: ignore[union-attr]


def cross_correlation_slips(rows: Rows) -> list[Case]:
    """Baseline `cross_correlation`: out by more than half the shortest time between work starts."""
    return [
        Case(float(case.value > case.row.gap_s / 2), case.row)  # type: ignore[union-attr]
        for case in cross_correlation(rows)
    ]


STATUS = (
    Line("right status", right_status, share, "%", at_least=98),
    Line("right status, ambiguous counted wrong", strictly_right_status, share, "%"),
    Line("first sample and samples right", samples_right, share, "%"),
    Line("broken files unreadable", broken_unreadable, share, "%", at_least=100),
    Line("sound files called unreadable", sound_unreadable, share, "%", at_most=0),
    Line("another day's file unmatched", other_day_unmatched, share, "%", at_least=99),
    Line("stranger's file unmatched", stranger_unmatched, share, "%"),
    Line("blocks given a start", start_given, share, "%"),
)
STARTS = (
    Line("first scored block, watch: median", watch_start, median, "s", at_most=2.0),
    Line("first scored block, watch: 90th", watch_start, ninetieth, "s", at_most=8),
    Line("classes without a machine: median", watch_start_without_machines, median, "s", at_most=4),
    Line("classes without a machine: 90th", watch_start_without_machines, ninetieth, "s",
         at_most=10),
    Line("first scored block, machine: median", machine_start, median, "s", at_most=0.5),
    Line("first scored block, machine: 90th", machine_start, ninetieth, "s", at_most=1.7),
    Line("signed error, watch: median", watch_bias, median, "s"),
    Line("signed error, machine: median", machine_bias, median, "s"),
    Line("other timed blocks: median", other_start, median, "s", at_most=2.6),
    Line("other timed blocks: 90th", other_start, ninetieth, "s", at_most=15),
    Line("out by a round while aligned, watch", watch_slips, share, "%", at_most=0.4),
    Line("out by a round while aligned, machine", machine_slips, share, "%", at_most=1.5),
    Line("out by a round while aligned, other blocks", other_slips, share, "%"),
    Line("ranges hold the truth, watch", watch_coverage, share, "%", at_least=93, at_most=98),
    Line("ranges hold the truth, machine", machine_coverage, share, "%", at_least=93, at_most=98),
    Line("ranges hold the truth, other blocks", other_coverage, share, "%"),
    Line("mean width, watch", watch_width, mean, "s", at_most=14),
    Line("mean width, machine", machine_width, mean, "s", at_most=5.5),
)  # fmt: skip
BASELINES = (
    Line("stated clock: median", stated_clock, median, "s"),
    Line("stated clock: 90th", stated_clock, ninetieth, "s"),
    Line("stated clock: out by a round", stated_clock_slips, share, "%"),
    Line("cross-correlation: median", cross_correlation, median, "s"),
    Line("cross-correlation: 90th", cross_correlation, ninetieth, "s"),
    Line("cross-correlation: out by a round", cross_correlation_slips, share, "%"),
)
OWNERS = (
    Line("right owner, as uploaded", owner_as_uploaded, share, "%", at_least=99),
    Line("right owner, machine under a wrong name", wrong_name_machine, share, "%", at_least=80),
    Line("right owner, watch under a wrong name", wrong_name_watch, share, "%"),
    Line("right owner, unassigned", unassigned_owner, share, "%", at_least=93),
    Line("right owner, unassigned machine", unassigned_machine_owner, share, "%"),
)
WORK = (
    Line("skipped rounds found", skipped_found, share, "%", at_least=80),
    Line("skipped rounds found, whole machine file", skipped_found_on_machine, share, "%"),
    Line("done rounds called skipped", done_called_skipped, share, "%", at_most=0.8),
    Line("edges of machine work: median", edge_errors, median, "s", at_most=0.5),
    Line("edges of machine work: 90th", edge_errors, ninetieth, "s", at_most=1.5),
    Line("edges of machine work found", edges_found, share, "%", at_least=92),
)
