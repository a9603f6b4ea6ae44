"""An athlete's own sheet: what the result says of them, in words, and what they can say to it."""

from __future__ import annotations

import math
from html.parser import HTMLParser
from typing import Any

import httpx2
import pytest

from api.language import ENGLISH
from api.people.consents import BY_NAME
from api.sheet import words
from tests.pages.served import Served
from tests.service.gym import API


class Words(HTMLParser):
    """The text of a page, each piece with single spaces."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.pieces: list[str] = []
        self.feed(text)

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.pieces.append(" ".join(data.split()))


def text_of(answer: httpx2.Response) -> str:
    """A page's words in a row."""
    assert answer.status_code == 200, answer.text[:300]
    return " ".join(Words(answer.text).pieces)


# A machine counted it, and does not know it well enough.
TOO_UNCERTAIN = "What was recorded is too uncertain to confirm it, and does not speak against it."


def own_page(place: Served, who: str) -> str:
    return text_of(place.gym.client(who).get(f"/classes/{place.class_id}"))


def own_result(place: Served, who: str) -> dict[str, Any]:
    answer = place.gym.client(who).get(f"{API}/classes/{place.class_id}/result")
    (entry,) = answer.json()["athletes"]
    found: dict[str, Any] = entry
    return found


@pytest.mark.parametrize("who", [f"a{number:02d}" for number in range(1, 11)])
def test_each_score_stands_next_to_the_evidence_with_its_verdict(
    served_class: Served, who: str
) -> None:
    text = own_page(served_class, who)
    scores = own_result(served_class, who)["scores"]
    assert scores
    for score in scores:
        meaning = words.VERDICTS[score["verdict"]]
        if score["verdict"] == "plausible" and score["recorded"] is not None:
            assert TOO_UNCERTAIN in text
        else:
            assert meaning.meaning in text
        logged = ENGLISH.number(score["logged"])
        if score["recorded"] is None:
            assert f"{logged} logged: {meaning.word}." in text
        else:
            shown = ENGLISH.number(score["recorded"], 1 if score["measure"] == "calories" else 0)
            assert f"{logged} logged, {shown} recorded: {meaning.word}." in text


def test_every_round_has_its_numbers(served_class: Served) -> None:
    text = own_page(served_class, "a03")
    for step in own_result(served_class, "a03")["intervals"]:
        if step["kind"] == "work" and step["block"] == "orchard":
            assert f"{ENGLISH.number(step['machine_calories'], 1)} cal" in text
            assert f"{step['effort_end_s']:.0f} / {step['planned_s']:.0f}" in text


def test_a_round_that_was_not_written_down_is_not_taken_for_the_next(
    served_class: Served,
) -> None:
    text = own_page(served_class, "a04")  # five values for six rounds, the fourth left out
    assert "logged 9 8 8 – 8 7 40" in text


def test_energy_is_what_the_steps_cost_and_what_a_mask_reads_is_not_added(
    served_class: Served,
) -> None:
    text = own_page(served_class, "a03")
    parts = [step["energy"] for step in own_result(served_class, "a03")["intervals"]]
    kcal, low, high = (math.fsum(p[name] for p in parts) for name in ("kcal", "low", "high"))
    assert f"About {kcal:.0f} kcal in all on the clock" in text
    assert f"work and rests: {low:.0f} to {high:.0f}." in text
    assert "never add the two columns" in text


def test_a_file_that_cannot_be_used_says_what_to_do(served_class: Served) -> None:
    assert "Nothing in it could be used: save the recording again" in own_page(served_class, "a08")


def test_a_file_of_another_day_says_so(served_class: Served) -> None:
    text = own_page(served_class, "a10")
    assert "is it the recording of another class?" in text
    assert "Take it back here, and send the right one." in text


def test_a_coach_reads_an_athletes_sheet_and_a_classmate_does_not(served_class: Served) -> None:
    address = f"/classes/{served_class.class_id}/athletes/a03"
    assert "94 logged" in text_of(served_class.gym.client("coach").get(address))
    assert served_class.gym.client("a01").get(address).status_code == 404
    nobody = f"/classes/{served_class.class_id}/athletes/a99"
    assert served_class.gym.client("coach").get(nobody).status_code == 404


def test_a_dispute_asks_the_coach_and_can_be_taken_back(served_class_to_change: Served) -> None:
    place = served_class_to_change
    athlete, coach = place.gym.client("a07"), place.gym.client("coach")
    base = f"/classes/{place.class_id}"
    said = {"block": "orchard", "reason": "the display was read out by my partner"}
    assert athlete.post(f"{base}/disputes", data=said, follow_redirects=False).status_code == 303
    assert "You asked your coach to look: the display was read out" in own_page(place, "a07")
    asked = coach.get(f"{API}{base}/questions").json()["items"]
    (found,) = [each for each in asked if each["dispute"]]
    assert (found["athlete"], found["dispute"]["reason"]) == ("a07", said["reason"])
    address = f"{base}/disputes/{found['dispute']['id']}/take-back"
    assert athlete.post(address, follow_redirects=False).status_code == 303
    assert "You asked your coach to look" not in own_page(place, "a07")
    asked = coach.get(f"{API}{base}/questions").json()["items"]
    assert not [each for each in asked if each["dispute"]]


def test_a_verdict_without_a_flag_can_be_disputed_too(served_class_to_change: Served) -> None:
    place = served_class_to_change
    base = f"/classes/{place.class_id}"
    said = {"block": "gate", "reason": "mine was more"}
    assert place.gym.client("a01").post(f"{API}{base}/disputes", json=said).status_code == 201
    asked = place.gym.client("coach").get(f"{API}{base}/questions").json()["items"]
    assert ("a01", "gate") in [(each["athlete"], each["block"]) for each in asked]


def test_a_coachs_word_ends_a_dispute_and_stands_on_the_sheet(
    served_class_to_change: Served,
) -> None:
    place = served_class_to_change
    base = f"{API}/classes/{place.class_id}"
    said = {"block": "orchard", "reason": "counted by two of us"}
    assert place.gym.client("a07").post(f"{base}/disputes", json=said).is_success
    word = {"athlete": "a07", "block": "orchard", "outcome": "stands", "reason": "asked them both"}
    assert place.gym.client("coach").post(f"{base}/decisions", json=word).is_success
    text = own_page(place, "a07")
    assert "You asked your coach to look" not in text
    assert "Your coach: The score stands. asked them both" in text


def test_a_corrected_score_is_shown_as_such(served_class_to_change: Served) -> None:
    place = served_class_to_change
    path = f"{API}/classes/{place.class_id}/scores/a06"
    better = {"block": "orchard", "score": 52, "option": "prescribed", "equipment": "rower"}
    assert place.gym.client("a06").put(path, json=better).is_success
    place.gym.work()
    text = own_page(place, "a06")
    assert "52 logged" in text
    assert "corrected" in text
    assert "it said 25." in text


def test_what_was_read_in_notes_is_shown_and_confirming_fills_the_fields(
    served_class_to_change: Served,
) -> None:
    place = served_class_to_change
    path = f"{API}/classes/{place.class_id}/scores/a02"
    notes = "used 40 kg, skipped round 3, did it on the bike"
    row = {"block": "orchard", "score": 66, "notes": notes}
    assert place.gym.client("a02").put(path, json=row).is_success
    text = own_page(place, "a02")
    assert "In these words we read: load 40 kg; round 3 left out; machine: bike" in text
    answer = place.gym.client("a02").post(
        f"/classes/{place.class_id}/notes", follow_redirects=False
    )
    assert answer.status_code == 303
    rows = place.gym.client("a02").get(f"{API}/classes/{place.class_id}/scores").json()["items"]
    (kept,) = [each for each in rows if each["block"] == "orchard"]
    assert (kept["load_kg"], kept["equipment"], kept["score"]) == (40, "bike", 66)


def test_who_took_back_the_agreement_reads_that_nothing_is_used(
    served_class_to_change: Served,
) -> None:
    place = served_class_to_change
    answer = {"agreed": False, "version": BY_NAME["recordings"].version}
    client = place.gym.client("a01")
    assert client.put(f"{API}/me/consents/recordings", json=answer).is_success
    place.gym.work()
    text = own_page(place, "a01")
    assert "You took back your agreement, so nothing that you uploaded is used." in text
    assert "recorded:" not in text
