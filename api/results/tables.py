"""Result documents as tables: one row a step of an athlete."""

from __future__ import annotations

import csv
import io
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

TEXTS = ("athlete", "block", "kind", "energy_method")
WHOLES = ("round", "step")
COLUMNS = (
    "athlete", "block", "round", "step", "kind", "planned_s", "attempted", "effort_start_s",
    "effort_end_s", "machine_start_s", "machine_end_s", "machine_active_s", "machine_calories",
    "machine_metres", "mean_power_w", "energy_kcal", "energy_low", "energy_high", "energy_method",
    "mean_hr", "peak_hr", "hr_drop_60s",
)  # fmt: skip
# A spreadsheet takes a cell that begins so for a formula (OWASP, CSV injection).
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def step_rows(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Every step of every athlete, energy spread over columns."""
    rows = []
    for athlete in document["athletes"]:
        for step in athlete["intervals"]:
            energy = step["energy"] or {}
            row = {"athlete": athlete["athlete"], **step}
            row |= {
                f"energy_{name}": energy.get(name) for name in ("kcal", "low", "high", "method")
            }
            rows.append({name: row[name] for name in COLUMNS})
    return rows


def result_sheet(document: dict[str, Any]) -> str:
    """The steps as CSV; text that a spreadsheet would run is quoted away."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([safe_cell(row[name]) for name in COLUMNS] for row in step_rows(document))
    return stream.getvalue()


def safe_cell(value: Any) -> Any:
    """A cell; blank for None, an apostrophe before what looks like a formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def result_parquet(document: dict[str, Any]) -> bytes:
    """The steps as Parquet, each column of one type, null where not known."""
    kinds = {
        name: pa.string() if name in TEXTS
        else pa.int64() if name in WHOLES
        else pa.bool_() if name == "attempted"
        else pa.float64()
        for name in COLUMNS
    }  # fmt: skip
    rows = step_rows(document)
    arrays = {
        name: pa.array(
            [float(row[name]) if kind == pa.float64() and row[name] is not None else row[name]
             for row in rows],
            type=kind,
        )
        for name, kind in kinds.items()
    }  # fmt: skip
    stream = io.BytesIO()
    pq.write_table(pa.table(arrays), stream, compression="zstd")
    return stream.getvalue()
