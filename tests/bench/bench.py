"""Measure the engine on simulated classes whose truth is known, and print what it is worth.

    python -m tests.bench --seeds 1..40 [--difficulty hard] [--json out.json] [--worst 5]
                          [--by family] [--pictures bench-output]

What each line counts stands in the docstring of its figure.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import traceback
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from tests.bench.alignment_figures import BASELINES, OWNERS, STARTS, STATUS, WORK
from tests.bench.energy_figures import ENERGY, ENERGY_BASELINES
from tests.bench.outcomes import ClassRow, FileRow, Outcome, StartRow, reconcile_simulated
from tests.bench.pictures import write_diagrams
from tests.bench.reliability import LEVELS, RANGES, TABLES, bins, levels
from tests.bench.rows import AnyRow, Case, Line, Rows, mean, median, ninetieth, share, where
from tests.bench.score_figures import SCORE_BASELINES, SCORES
from tests.bench.simulator.rates import DIFFICULTIES


def class_seconds(rows: Rows) -> list[Case]:
    """Seconds to read and reconcile a class of ten to fourteen people, without starting Python."""
    return [Case(row.seconds, row) for row in rows.classes if 10 <= row.people <= 14]


def big_class_seconds(rows: Rows) -> list[Case]:
    """The same for classes of thirty."""
    return [Case(row.seconds, row) for row in rows.classes if row.people >= 30]


SPEED = (
    Line("class of 10 to 14: median", class_seconds, median, "s", at_most=4),
    Line("class of 10 to 14: 90th", class_seconds, ninetieth, "s"),
    Line("class of 30: median", big_class_seconds, median, "s", at_most=12),
)
SECTIONS: dict[str, Sequence[Line]] = {
    "What a file is": STATUS,
    "Where the blocks start": STARTS,
    "  yardsticks: first scored block": BASELINES,
    "Whose file it is": OWNERS,
    "What was done": WORK,
    "The score": SCORES,
    "  yardsticks: a person with a spreadsheet": SCORE_BASELINES,
    "Energy": ENERGY,
    "  yardsticks: energy of a scored block": ENERGY_BASELINES,
    "Speed": SPEED,
}


def seeds_of(text: str) -> range:
    """`A..B`, both included, or one seed."""
    first, _, last = text.partition("..")
    return range(int(first), int(last or first) + 1)


def values(cases: Sequence[Case], difficulty: str | None) -> list[float]:
    chosen = []
    for case in cases:
        of = case.row if isinstance(case.row, ClassRow) else case.row.of
        if difficulty is None or of.difficulty == difficulty:
            chosen.append(case.value)
    return chosen


def number(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.2f}"


def measure(rows: Rows) -> dict[str, dict[str, Any]]:
    """Every line's value over all and by difficulty, with the number of cases."""
    results: dict[str, dict[str, Any]] = {}
    for section, lines in SECTIONS.items():
        for line in lines:
            cases = line.cases(rows)
            entry: dict[str, Any] = {"section": section.strip(), "cases": len(cases)}
            entry["all"] = line.summary(values(cases, None))
            for difficulty in DIFFICULTIES:
                entry[difficulty] = line.summary(values(cases, difficulty))
            entry["floor"] = line.floor
            entry["meets"] = line.meets(entry["all"])
            results[line.name] = entry
    return results


def print_tables(rows: Rows, results: dict[str, dict[str, Any]]) -> None:
    """Print the tables, a line a figure: all, easy, medium, hard, floor, cases."""
    heads = f"{'all':>9}{'easy':>9}{'medium':>9}{'hard':>9}  {'floor':<14}{'cases':>7}"
    for section, lines in SECTIONS.items():
        print(f"\n{section:<46}{heads}")
        for line in lines:
            entry = results[line.name]
            cells = "".join(f"{number(entry[key]):>9}" for key in ("all", "easy", "medium", "hard"))
            mark = {True: "", False: "  below the floor", None: ""}[entry["meets"]]
            name = f"{line.name} ({line.unit})" if line.unit else line.name
            print(f"{name:<46}{cells}  {line.floor:<14}{entry['cases']:>7}{mark}")
    for name, pairs in TABLES.items():
        print(f"\n{name:<32}{'said':>8}{'observed':>10}{'cases':>8}")
        for group in bins(pairs(rows)):
            span = f"{group.low:.2f} to {group.high:.2f}"
            print(f"  {span:<30}{group.predicted:>8.3f}{group.observed:>10.3f}{group.count:>8}")
    print(
        "\nShare of truths inside ranges narrowed or widened to a level, as if errors were normal"
    )
    print(f"{'':<32}" + "".join(f"{level:>7.2f}" for level in LEVELS))
    for name, reaches in RANGES.items():
        held = "".join(f"{group.observed:>7.2f}" for group in levels(reaches(rows)))
        print(f"  {name:<30}{held}")


def key_of(row: AnyRow, by: str) -> tuple[str, ...]:
    """The groups that a row belongs to."""
    of = row if isinstance(row, ClassRow) else row.of
    if by in ("family", "grouping"):
        return (str(getattr(of, by)),)
    file = (
        row.file if isinstance(row, StartRow) else row.truth if isinstance(row, FileRow) else None
    )
    if file is None:
        return ()
    return file.tags if by == "tag" else (f"{file.kind} {file.format}",)


def print_groups(rows: Rows, by: str) -> None:
    """Print every line that has a floor, a group a row."""
    for lines in SECTIONS.values():
        for line in lines:
            groups: dict[str, list[float]] = {}
            for case in line.cases(rows):
                for key in key_of(case.row, by):
                    groups.setdefault(key, []).append(case.value)
            if not line.floor or not groups:
                continue
            print(f"\n{line.name} ({line.unit}) {line.floor}")
            for key, found in sorted(groups.items()):
                print(f"  {key:<30}{number(line.summary(found)):>9}{len(found):>7}")


def print_worst(rows: Rows, count: int) -> None:
    """Print the worst cases of every line: the largest errors, the misses of shares."""
    for lines in SECTIONS.values():
        seen = set()
        for line in lines:
            if line.cases in seen or line.summary is mean:
                continue
            seen.add(line.cases)
            cases = line.cases(rows)
            if line.summary is share:
                bad = 1.0 if line.at_most is not None and line.at_least is None else 0.0
                cases = [case for case in cases if case.value == bad]
            else:
                cases = sorted(cases, key=lambda case: -case.value)
            if cases:
                print(f"\n-- {line.name}: {len(cases)} cases, the first {count}")
            for case in cases[:count]:
                print(f"   {case.value:8.2f}  {where(case.row)}")


def run(
    seeds: Sequence[int], difficulty: Any, processes: int
) -> tuple[Rows, list[tuple[int, str]]]:
    """Reconcile every seed's class; returns the rows and the classes that failed, with why."""
    outcomes: dict[int, Outcome] = {}
    failures: list[tuple[int, str]] = []
    begin = time.perf_counter()
    with ProcessPoolExecutor(processes) as pool:
        waiting = {pool.submit(reconcile_simulated, seed, difficulty): seed for seed in seeds}
        for done in as_completed(waiting):
            seed = waiting[done]
            try:
                outcomes[seed] = done.result()
            except Exception as error:  # noqa: BLE001 - a failed class is a result of the bench
                failures.append((seed, "".join(traceback.format_exception(error))))
            if sys.stderr.isatty():
                print(f"\r{len(outcomes)} of {len(seeds)} classes", end="", file=sys.stderr)
    rows = Rows()
    for seed in sorted(outcomes):
        rows.add(outcomes[seed])
    minutes = (time.perf_counter() - begin) / 60
    print(
        f"{len(rows.classes)} classes, {len(rows.files)} files, {len(rows.scores)} scores; "
        f"seeds {seeds[0]}..{seeds[-1]}; {len(failures)} failed; {minutes:.1f} min"
    )
    return rows, failures


def print_failures(failures: Sequence[tuple[int, str]]) -> None:
    """Print each kind of failure once, with the end of its trace and the seeds that met it."""
    kinds: dict[str, list[tuple[int, str]]] = {}
    for seed, trace in failures:
        kinds.setdefault(trace.strip().splitlines()[-1], []).append((seed, trace))
    for kind, met in kinds.items():
        seeds = ", ".join(str(seed) for seed, _ in met)
        cause = met[0][1].split('"""')[1] if '"""' in met[0][1] else met[0][1]
        print(f"\nfailed: {kind}\n  seeds {seeds}")
        print("\n".join(cause.strip().splitlines()[-8:]))


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench; exit status 1 where a class failed."""
    parser = argparse.ArgumentParser(prog="tests.bench", description=__doc__)
    parser.add_argument("--seeds", default="200000..200039", help="A..B, both included")
    parser.add_argument("--difficulty", choices=DIFFICULTIES)
    parser.add_argument("--json", type=Path, help="write every figure to this file")
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="list the worst N cases")
    parser.add_argument("--by", choices=("family", "grouping", "tag", "format"))
    parser.add_argument("--pictures", type=Path, help="write reliability diagrams to this folder")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args(arguments)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    seeds = seeds_of(chosen.seeds)
    rows, failures = run(seeds, chosen.difficulty, chosen.processes)
    results = measure(rows)
    print_tables(rows, results)
    if chosen.worst:
        print_worst(rows, chosen.worst)
    if chosen.json:
        chosen.json.write_text(json.dumps({"seeds": chosen.seeds, "figures": results}, indent=1))
    if chosen.by:
        print_groups(rows, chosen.by)
    if chosen.pictures:
        tables = {name: bins(pairs(rows)) for name, pairs in TABLES.items()}
        tables |= {name: levels(reaches(rows)) for name, reaches in RANGES.items()}
        for path in write_diagrams(chosen.pictures, tables):
            print(f"wrote {path}")
    print_failures(failures)
    return 1 if failures else 0
