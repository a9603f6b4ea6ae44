"""Reads class.yaml: which plan, when the class began, how far that may be out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from api.folder.errors import ClassFolderError
from api.folder.times import HOW_TO_WRITE, parse_time
from reconcile.errors import InputError, Mistake, UnreadError
from reconcile.fields import Fields
from reconcile.marked_yaml import Node, read_yaml
from reconcile.sentence import Sentence

START_TOLERANCE_S = 600.0


@dataclass(frozen=True)
class ClassYaml:
    """What class.yaml says; `mistakes` are those that a class can do without."""

    plan: str
    start: datetime
    start_tolerance_s: float
    starts: Mapping[str, datetime]
    mistakes: tuple[Mistake, ...]


def read_class_yaml(text: str, *, file: str = "class.yaml") -> ClassYaml:
    """The fields of class.yaml.

    Raises ClassFolderError where the text is not YAML or `plan` or `start` cannot be used.
    """
    try:
        document = read_yaml(text, file=file)
    except InputError as error:
        raise ClassFolderError(error.mistakes) from error
    needed = ClassFields(file)
    spare = ClassFields(file)
    fields = spare.mapping(
        document, Sentence("the class"), ("plan", "start", "start_tolerance", "starts")
    )
    if not fields:
        needed.mapping(document, Sentence("the class"), ("plan", "start"))
    plan_node = needed.required(fields, "plan", document, Sentence("the class"))
    start_node = needed.required(fields, "start", document, Sentence("the class"))
    plan = needed.name(plan_node, "`plan`") if plan_node else ""
    start = needed.time(start_node, "`start`", spare) if start_node else None
    if needed.mistakes or start is None:
        raise ClassFolderError(needed.mistakes)
    tolerance_s = START_TOLERANCE_S
    if "start_tolerance" in fields:
        before = len(spare.mistakes)
        tolerance_s = spare.duration(fields["start_tolerance"], "`start_tolerance`")
        if len(spare.mistakes) > before:
            tolerance_s = START_TOLERANCE_S
    starts: dict[str, datetime] = {}
    if "starts" in fields:
        for block, _, node in spare.named(
            fields["starts"], "`starts`", Sentence("write `BLOCK: TIME`")
        ):
            time = spare.time(node, Sentence("the start of `{block}`", block=block), spare)
            if time is not None:
                starts[block] = time
    return ClassYaml(plan, start, tolerance_s, starts, tuple(spare.mistakes))


class ClassFields(Fields):
    """Fields that may hold a time."""

    def time(self, node: Node, what: str, warnings: Fields) -> datetime | None:
        """A time; one without an offset is taken as UTC, with a warning."""
        text = self.text(node, what, HOW_TO_WRITE)
        if not text:
            return None
        try:
            time, has_offset = parse_time(text)
        except UnreadError as error:
            self.unread("not_a_time", what, node, error)
            return None
        if not has_offset:
            message = Sentence("{what} has no offset and is taken as UTC", what=what)
            warnings.mistake("no_offset", message, node, HOW_TO_WRITE)
        return time
