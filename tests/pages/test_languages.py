"""Every page in every language: nothing on it stays English."""

from __future__ import annotations

import html
import re
from pathlib import Path
from typing import Any

import html5lib
import pytest

from api.demo.session import PLAN
from tests.language.catalogue import LANGUAGES
from tests.pages.routes import path_of, read_by
from tests.pages.served import NAMES, Served, in_addresses, opened
from tests.service.gym import API

SILENT = {"script", "style", "textarea", "pre", "code"}
SPOKEN = {"aria-label", "title", "placeholder", "alt"}
# As many words one after the other, none of which the class itself has, are a sentence of ours.
FEWEST_WORDS = 2
WORD = re.compile(r"[^\W\d_]{2,}")
OF_THE_CLASS = {
    word
    for text in (PLAN, *NAMES, "Coach Owner Testperson Quay Hall")
    for word in WORD.findall(text)
}


def spoken(element: Any) -> list[str]:
    """Every text of a page that somebody reads or hears, or that a script puts on it."""
    if element.tag in SILENT or ("lang" in element.attrib and element.tag != "html"):
        return []
    found = [element.text or ""]
    for name, value in element.attrib.items():
        if name in SPOKEN or (name.startswith("data-") and " " in value):
            found.append(value)
    for child in element:
        found += spoken(child)
        found.append(child.tail or "")
    return [" ".join(text.split()) for text in found]


def sentences(page: str) -> set[str]:
    """The texts of some words."""
    texts = spoken(html5lib.parse(page, namespaceHTMLElements=False))
    return {
        text
        for text in texts
        if len(set(WORD.findall(re.sub(r"\S+[./]\S+", "", text))) - OF_THE_CLASS) >= FEWEST_WORDS
    }


@pytest.mark.parametrize("code", LANGUAGES)
def test_no_sentence_on_any_page_stays_english(demo_data: Path, code: str) -> None:
    alike: dict[str, set[str]] = {}
    with opened(demo_data, workers=0) as (gym, class_id):
        place = Served(gym, "http://testserver", class_id)
        values = in_addresses(place)
        for route, who in read_by(place, values):
            english, other = (
                gym.client(who).get(path_of(route, values), headers={"Accept-Language": accepted})
                for accepted in ("en", code)
            )
            assert f'<html lang="{code}"' in other.text
            if same := sentences(english.text) & sentences(other.text):
                alike[route] = same
    assert not alike


def test_the_engines_own_sentences_are_said_in_the_readers_language(demo_data: Path) -> None:
    with opened(demo_data, workers=0) as (gym, class_id):
        document = gym.client("coach").get(f"{API}/classes/{class_id}/result").json()
        texts = [
            score["explanations"][0]["text"]
            for athlete in document["athletes"]
            for score in athlete["scores"]
            if score["flag"]
        ]
        english, german = (
            html.unescape(gym.client("coach").get(f"/classes/{class_id}", headers=headers).text)
            for headers in ({"Accept-Language": "en"}, {"Accept-Language": "de"})
        )
        assert texts
        for text in texts:
            assert text in english
            assert text not in german
        assert "gezählt" in german
