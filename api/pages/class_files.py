"""A class's files as its page lists them: whose they seem to be, and what is to be said of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.pages.file_words import words_for
from api.questions.schemas import PinAnswer
from api.sheet.rows import all_recordings, uploaders
from reconcile.classes import ClassRecord
from reconcile.result import ClassResult, RecordingResult


@dataclass(frozen=True)
class ClassFile:
    """A file: by whom, whose by its content (athletes' handles), how it fits, what to say of it.

    recording_id: None where it was taken back since. offered: the athlete to whom a coach may
    give it with one click. pin: what a coach said of its owner.
    """

    name: str
    recording_id: str | None
    source: str
    uploaders: tuple[str, ...]
    owners: tuple[str, ...]
    probability: float
    status: str
    to_do: tuple[str, ...]
    to_know: tuple[str, ...]
    offered: str | None
    pin: PinAnswer | None

    @property
    def needs_attention(self) -> bool:
        """Whether somebody should do something about it."""
        return self.status != "aligned" or bool(self.to_do)


@dataclass(frozen=True)
class Offer:
    """Files to be given to whom they fit, in one click: those between the same two people.

    uploader: None where nobody's name is on it. both_ways: they swapped.
    """

    files: tuple[ClassFile, ...]
    uploader: str | None
    owner: str

    @property
    def both_ways(self) -> bool:
        """Whether files go both ways between the two."""
        return len({file.offered for file in self.files}) > 1


def offers(files: Sequence[ClassFile]) -> tuple[Offer, ...]:
    """What there is to accept or refuse."""
    groups: dict[frozenset[str], list[ClassFile]] = {}
    for file in files:
        if file.offered is not None:
            between = (*file.uploaders, file.offered) if file.uploaders else (file.name,)
            groups.setdefault(frozenset(between), []).append(file)
    return tuple(
        Offer(tuple(each), next(iter(each[0].uploaders), None), each[0].offered or "")
        for each in groups.values()
    )


def class_files(
    record: ClassRecord,
    result: ClassResult,
    pins: Sequence[PinAnswer],
    ids: Mapping[str, str],
) -> tuple[ClassFile, ...]:
    """Every file of the result; ids: a recording's identifier by its name in the class folder."""
    owner_pins = {pin.file: pin for pin in pins if pin.owner is not None}
    return tuple(
        class_file(
            recording,
            uploaders(record, recording.file.partition("/")[0]),
            owner_pins.get(recording.file),
            ids.get(recording.file.partition("/")[0]),
        )
        for recording in all_recordings(result)
    )


def class_file(
    recording: RecordingResult, by: tuple[str, ...], pin: PinAnswer | None, identifier: str | None
) -> ClassFile:
    """One file."""
    owner = recording.belongs_to
    owners = owner if isinstance(owner, tuple) else () if owner is None else (owner,)
    to_do, to_know = words_for([problem.code for problem in recording.problems])
    somebody_else = len(owners) == 1 and owners[0] not in by and bool(recording.blocks)
    return ClassFile(
        name=recording.file,
        recording_id=identifier,
        source=recording.source,
        uploaders=by,
        owners=owners,
        probability=recording.probability,
        status=recording.status,
        to_do=to_do,
        to_know=to_know,
        offered=owners[0] if somebody_else and pin is None else None,
        pin=pin,
    )
