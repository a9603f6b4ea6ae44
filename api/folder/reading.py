"""Reads a whole class folder into one record."""

from __future__ import annotations

from pathlib import Path

from api.folder.class_yaml import read_class_yaml
from api.folder.errors import ClassFolderError, as_problems
from api.folder.files import read_text
from api.folder.history import read_history
from api.folder.pins import read_pins
from api.folder.recordings import Progress, read_recordings
from api.folder.roster import read_roster
from api.folder.scores import read_scores
from ingest.recording import Problem
from reconcile.classes import Athlete, ClassRecord
from reconcile.errors import Mistake, PlanError, quote
from reconcile.plan_text import read_plan


def read_class_folder(path: Path, progress: Progress | None = None) -> ClassRecord:
    """Everything that a class folder says; what cannot be taken as it stands is in `problems`.

    path: the folder. progress: told what is being read, the recordings done and those in all.

    Raises ClassFolderError where class.yaml, the plan or the roster is missing or cannot be used.
    """
    if not path.is_dir():
        remedy = "name a folder with class.yaml, a plan, roster.csv and recordings/"
        message = "there is no such folder"
        raise ClassFolderError([Mistake("missing_folder", message, str(path), remedy=remedy)])
    needed = "it says which plan the class did and when it began"
    about = read_class_yaml(read_text(path, "class.yaml", needed_for=needed))
    mistakes = list(about.mistakes)
    plan_text = read_text(path, about.plan, needed_for="class.yaml names it as the plan")
    try:
        plan = read_plan(plan_text, file=about.plan)
    except PlanError as error:
        raise ClassFolderError(error.mistakes) from error
    blocks = [block.name for block in plan.timed_blocks]
    for block in about.starts.keys() - set(blocks):
        message = f"`starts` names {quote(block)}, which is no timed block of the plan"
        mistakes.append(Mistake("unknown_block", message, "class.yaml", remedy="it is left out"))
    roster_text = read_text(path, "roster.csv", needed_for="it says who took part")
    athletes, roster_mistakes = read_roster(roster_text)
    mistakes += roster_mistakes
    names = [athlete.athlete for athlete in athletes]
    uploads, file_problems = read_recordings(path, names, progress)

    text, unreadable = optional_text(path, "scores.csv", "no score can be checked")
    scores, score_mistakes = read_scores(text, plan, names) if text is not None else ((), ())
    mistakes += [*unreadable, *score_mistakes]
    text, unreadable = optional_text(path, "pins.csv")
    files = [upload.file for upload in uploads]
    pins, pin_mistakes = read_pins(text, plan, names, files) if text is not None else ((), ())
    mistakes += [*unreadable, *pin_mistakes]
    text, unreadable = optional_text(path, "history.json")
    history, history_mistakes = read_history(text) if text is not None else ({}, ())
    mistakes += [*unreadable, *history_mistakes]

    uploaders = [who for upload in uploads for who in upload.athletes]
    mentioned = dict.fromkeys([*uploaders, *(score.athlete for score in scores)])
    missing = [name for name in mentioned if name not in names]
    return ClassRecord(
        plan=plan,
        start=about.start,
        start_tolerance_s=about.start_tolerance_s,
        athletes=(*athletes, *(Athlete(name) for name in missing)),
        scores=scores,
        uploads=uploads,
        starts={block: time for block, time in about.starts.items() if block in blocks},
        pins=pins,
        history=history,
        problems=(*as_problems(mistakes), *file_problems, *not_on_roster(missing, uploaders)),
    )


def optional_text(folder: Path, name: str, without: str = "") -> tuple[str | None, list[Mistake]]:
    """A file's text; None where there is none, with a mistake where that matters."""
    if not (folder / name).exists():
        message = f"there is no such file, so {without}"
        return None, [Mistake("missing_file", message, name)] if without else []
    try:
        return read_text(folder, name, needed_for=name), []
    except ClassFolderError as error:
        return None, list(error.mistakes)


def not_on_roster(missing: list[str], uploaders: list[str]) -> list[Problem]:
    """One problem for each uploader whom the roster does not know."""
    return [
        Problem(
            "not_on_roster",
            f"recordings/: {quote(name)} uploaded a file and is not in roster.csv; "
            "the athlete is kept, with nothing known but the file",
        )
        for name in missing
        if name in uploaders
    ]
