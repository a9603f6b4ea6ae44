"""Sentences that can be said in another language, and are English text all the same."""

from __future__ import annotations

import json
import pickle

from hypothesis import given
from hypothesis import strategies as st

from reconcile.score.texts import TEXTS, text
from reconcile.sentence import Sentence, in_a_row, read_sentence, sentence_document

values = st.recursive(
    st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: inner.map(lambda value: Sentence("about {value}", value=value)),
)


def test_a_sentence_is_its_english_text() -> None:
    said = Sentence("{count} of {total:.1f} {unit}", count=3, total=5.04, unit=Sentence("rounds"))
    assert said == "3 of 5.0 rounds"
    assert json.dumps({"text": said}) == '{"text": "3 of 5.0 rounds"}'


def test_it_keeps_the_values_that_it_has_a_place_for() -> None:
    assert Sentence("{a}", a=1, b=2).values == {"a": 1}


@given(values)
def test_it_survives_its_document_and_the_way_to_another_process(value: str) -> None:
    said = Sentence("{value}, and that is it", value=value)
    again = read_sentence(json.loads(json.dumps(sentence_document(said))))
    for copy in (again, pickle.loads(pickle.dumps(said))):
        assert copy == said
        assert copy.template == said.template
        assert copy.values == said.values


def test_values_in_a_row_are_joined_by_and() -> None:
    assert in_a_row([4]) == 4
    assert in_a_row([1, 2, 5]) == "1 and 2 and 5"


def test_every_text_of_a_score_can_be_filled() -> None:
    for key, template in TEXTS.items():
        names = {part.split("}")[0] for part in template.split("{")[1:]}
        assert text(key, **dict.fromkeys(names, 7)).template == template
