"""`check --explain` and `check --explain-energy`: what a result rests on, found by its name."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from api.command.check import stop
from reconcile.align.explain import explain

if TYPE_CHECKING:
    from reconcile.align.explain import ExplainedRecording
    from reconcile.classes import ClassRecord
    from reconcile.energy.evidence import EnergyAnswer
    from reconcile.engine import Workings
    from reconcile.result import AthleteResult


def told_recording(record: ClassRecord, worked: Workings, name: str) -> ExplainedRecording:
    """A recording's evidence; ends with 1 where there is no such file, or nothing in it is usable.

    name: as the sheet has it, or as a path to it.
    """
    files = [upload.file for upload in record.uploads]
    found = next((file for file in (name, PurePath(name).name) if file in files), None)
    if found is None:
        there = ", ".join(files) or "none"
        stop(f"{name}: no such recording in this class. There are: {there}.")
    if found not in worked.placed:
        upload = next(upload for upload in record.uploads if upload.file == found)
        why = " ".join(problem.message for problem in upload.problems)
        stop(f"{found} could not be read, so that there is nothing to explain. {why}".rstrip())
    return explain(record, worked.placed, found)


def told_energy(worked: Workings, name: str) -> tuple[AthleteResult, EnergyAnswer]:
    """An athlete's energy with its models; ends with 1 where there is no such athlete."""
    found = next((one for one in worked.result.athletes if one.athlete == name), None)
    if found is None:
        there = ", ".join(athlete.athlete for athlete in worked.result.athletes)
        stop(f"{name}: no such athlete in this class. There are: {there}.")
    return found, worked.energy[name]
