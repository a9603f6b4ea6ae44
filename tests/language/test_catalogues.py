"""Every sentence is said in every language, with the same values in it."""

from __future__ import annotations

from string import Formatter

import pytest
from babel.messages.catalog import Message

from tests.language.catalogue import LANGUAGES, catalogue, sentences, told


def forms(message: Message) -> tuple[str, ...]:
    """What a catalogue says for a message: one form, or one for each number."""
    said = message.string
    return tuple(said) if isinstance(said, tuple | list) else (said or "",)


def ids(message: Message) -> tuple[str, ...]:
    """The English of it: one form, or two."""
    said = message.id
    return tuple(said) if isinstance(said, tuple | list) else (said,)


def places(text: str) -> set[tuple[str, str]]:
    """Each value's name and how it is written."""
    return {(name, spec or "") for _, name, spec, _ in Formatter().parse(text) if name}


def test_no_sentence_is_put_together_where_it_is_said() -> None:
    assert [said.place for said in sentences() if said.sentence is None] == []


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_sentence_has_its_translation(code: str) -> None:
    known = {ids(message): message for message in catalogue(code) if message.id}
    missing = {}
    for said in sentences():
        if said.sentence is None:
            continue
        key = said.sentence if isinstance(said.sentence, tuple) else (said.sentence,)
        if key not in known or not told(known[key]):
            missing[said.place] = key[0]
    assert not missing, f"`make catalogue`, then translate: {missing}"


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_catalogue_has_nothing_that_nobody_says(code: str) -> None:
    said = {s.sentence if isinstance(s.sentence, tuple) else (s.sentence,) for s in sentences()}
    assert [ids(m)[0] for m in catalogue(code) if m.id and ids(m) not in said] == []


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_translation_has_the_values_of_its_sentence(code: str) -> None:
    unlike = []
    for message in catalogue(code):
        if message.id and told(message):
            wanted = [places(english) for english in ids(message)]
            unlike += [form for form in forms(message) if places(form) not in wanted]
    assert not unlike


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_translation_ends_as_its_sentence_does(code: str) -> None:
    unlike = [
        form
        for message in catalogue(code)
        if message.id and told(message)
        for form in forms(message)
        if ids(message)[-1][-1] in ".:?" and form[-1] != ids(message)[-1][-1]
    ]
    assert not unlike
