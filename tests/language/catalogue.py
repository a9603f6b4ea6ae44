"""The catalogues' upkeep: `python -m tests.language.catalogue` brings them to what the code says.

Sentences are found where they are written: in templates, as the first argument of what speaks or
marks them, and as what an error tells people.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

REPOSITORY = Path(__file__).resolve().parents[2]
CATALOGUES = REPOSITORY / "api" / "language" / "catalogues"
LANGUAGES = ("de",)

Places: TypeAlias = dict[str, tuple[int, ...]]

# Where a call has the sentences that it says: the places of its arguments.
MARKING: Places = {"deferred": (0,), "Sentence": (0,)}
SPEAKING: Places = {".text": (0,), "say": (0,), ".plural": (0, 1)}
ERRORS: Places = {
    "ConsentNeeded": (0,), "NotReady": (0,), "Conflict": (0,), "TooLarge": (0,), "Refused": (0,),
    "NotSignedIn": (0,), "Fault": (1,),
}  # fmt: skip
PARTS: dict[str, Places] = {"api": MARKING | ERRORS, "api/pages": SPEAKING, "reconcile": MARKING}


@dataclass(frozen=True)
class Said:
    """A sentence in the code, or two for one and for many; None where only running it could tell.

    place: file and line.
    """

    place: str
    sentence: str | tuple[str, str] | None


def sentences() -> Iterator[Said]:
    """Every sentence of the code."""
    for part, places in PARTS.items():
        for path in sorted((REPOSITORY / part).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Call) and (wanted := places.get(called(node))):
                    where = f"{path.relative_to(REPOSITORY)}:{node.lineno}"
                    yield from said_in(node, wanted, where)
    plurals = {"_": None, "plural": (1, 2), "ngettext": (1, 2)}
    for file, line, message, _comments, _context in extract_from_dir(
        REPOSITORY / "api", [("**.jinja", "jinja2")], keywords=plurals
    ):
        sentence = message if isinstance(message, str) else (message[0], message[1])
        yield Said(f"api/{file}:{line}", sentence)


def called(node: ast.Call) -> str:
    """What is called: a name, or `.name` of something."""
    match node.func:
        case ast.Name(id=name):
            return name
        case ast.Attribute(attr=name):
            return f".{name}"
    return ""


def said_in(node: ast.Call, places: tuple[int, ...], where: str) -> Iterator[Said]:
    """What a call says; names and keys are told where they are marked, so they say nothing here."""
    if len(node.args) <= max(places):
        return
    if len(places) == 2:
        one, many = (next(constants(node.args[place]), "") for place in places)
        if one != "" and many != "":
            yield Said(where, (one, many) if one and many else None)
    else:
        for sentence in constants(node.args[places[0]]):
            yield Said(where, sentence)


def constants(node: ast.expr) -> Iterator[str | None]:
    """The texts that an expression may be; None for one that is put together."""
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.IfExp():
            yield from constants(node.body)
            yield from constants(node.orelse)
        case ast.JoinedStr() | ast.BinOp():
            yield None


def template() -> Catalog:
    """Every sentence, untranslated."""
    catalogue = Catalog(charset="utf-8", fuzzy=False)
    for said in sentences():
        if said.sentence:
            catalogue.add(said.sentence)
    return catalogue


def catalogue(code: str) -> Catalog:
    """A language's catalogue as it is committed."""
    path = CATALOGUES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code, fuzzy=False)
    with path.open("rb") as file:
        return read_po(file, locale=code)


def told(message: Message) -> bool:
    """Whether a message has its translation, in all of its forms."""
    forms = message.string if isinstance(message.string, tuple | list) else (message.string,)
    return bool(forms) and all(forms) and not message.fuzzy


def update() -> None:
    """Write the catalogues anew: new sentences come in without a translation, old ones go."""
    CATALOGUES.mkdir(exist_ok=True)
    for code in LANGUAGES:
        renewed = catalogue(code)
        renewed.update(template(), no_fuzzy_matching=True)
        missing = [message for message in renewed if message.id and not told(message)]
        with (CATALOGUES / f"{code}.po").open("wb") as file:
            write_po(
                file, renewed, no_location=True, omit_header=True, sort_output=True,
                ignore_obsolete=True, width=100,
            )  # fmt: skip
        print(f"{code}: {len(renewed)} sentences, {len(missing)} without a translation")


if __name__ == "__main__":
    update()
