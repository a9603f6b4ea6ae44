"""The result document is the class-folder contract's, key by key, and always the same bytes."""

import dataclasses
import json
import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reconcile.document import class_document, document_text, rounded, utc_text
from reconcile.result import ClassResult, Energy
from tests.sheet.example import RESULT, work

# The example of the class-folder contract, keys only, in its order.
CLASS = ["schema", "title", "athletes", "unassigned"]
ATHLETE = ["athlete", "recordings", "intervals", "scores", "advice"]
RECORDING = [
    "file",
    "source",
    "format",
    "status",
    "first_sample",
    "samples",
    "belongs_to",
    "probability",
    "blocks",
    "problems",
]
PLACEMENT = ["block", "start_s", "low_s", "high_s", "probability"]
PROBLEM = ["code", "message"]
INTERVAL = [
    "block",
    "round",
    "step",
    "kind",
    "planned_s",
    "attempted",
    "effort_start_s",
    "effort_end_s",
    "machine_start_s",
    "machine_end_s",
    "machine_active_s",
    "machine_calories",
    "machine_metres",
    "mean_power_w",
    "energy",
    "mean_hr",
    "peak_hr",
    "hr_drop_60s",
]
ENERGY = ["kcal", "low", "high", "method"]
SCORE = [
    "block",
    "measure",
    "logged",
    "recorded",
    "low",
    "high",
    "verdict",
    "flag",
    "explanations",
]
EXPLANATION = ["code", "predicts", "probability", "text"]
ADVICE = ["code", "block", "movement", "text"]


def keys(document: dict[str, Any]) -> dict[str, list[list[str]]]:
    """Every mapping's keys, by where it stands."""
    athletes = document["athletes"]
    recordings = [r for a in athletes for r in a["recordings"]] + document["unassigned"]
    intervals = [i for a in athletes for i in a["intervals"]]
    scores = [s for a in athletes for s in a["scores"]]
    return {
        "class": [list(document)],
        "athlete": [list(a) for a in athletes],
        "recording": [list(r) for r in recordings],
        "placement": [list(b) for r in recordings for b in r["blocks"]],
        "problem": [list(p) for r in recordings for p in r["problems"]],
        "interval": [list(i) for i in intervals],
        "energy": [list(i["energy"]) for i in intervals if i["energy"] is not None],
        "score": [list(s) for s in scores],
        "explanation": [list(e) for s in scores for e in s["explanations"]],
        "advice": [list(v) for a in athletes for v in a["advice"]],
    }


@pytest.mark.parametrize(
    ("place", "expected"),
    [
        ("class", CLASS),
        ("athlete", ATHLETE),
        ("recording", RECORDING),
        ("placement", PLACEMENT),
        ("problem", PROBLEM),
        ("interval", INTERVAL),
        ("energy", ENERGY),
        ("score", SCORE),
        ("explanation", EXPLANATION),
        ("advice", ADVICE),
    ],
)
def test_every_mapping_has_the_contracts_keys_in_its_order(place: str, expected: object) -> None:
    found = keys(class_document(RESULT))[place]
    assert found, f"the example has no {place}"
    assert all(names == expected for names in found)


def test_the_text_is_strict_json_and_reads_back_as_the_document() -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON number")

    text = document_text(RESULT)
    assert text.endswith("}\n")
    assert json.loads(text, parse_constant=refuse) == class_document(RESULT)


def test_the_same_class_gives_the_same_bytes() -> None:
    assert document_text(RESULT) == document_text(dataclasses.replace(RESULT))


def test_no_text_is_escaped_beyond_what_json_needs() -> None:
    result = ClassResult("Frühschicht “sechs”", (), ())
    assert '"title": "Frühschicht “sechs”"' in document_text(result)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        (math.nan, None),
        (math.inf, None),
        (-math.inf, None),
        (57.0, 57),
        (-0.0, 0),
        (-0.001, 0),
        (11.084, 11.08),
        (np.float64(158.999), 159),
        (np.int64(3), 3),
    ],
)
def test_a_number_is_short_and_what_is_no_number_is_null(
    value: float | None, expected: object
) -> None:
    found = rounded(value)
    assert found == expected
    assert type(found) is type(expected)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_a_rounded_number_is_json_and_near(value: float) -> None:
    found = rounded(value)
    json.dumps(found, allow_nan=False)
    if math.isfinite(value):
        assert found is not None
        assert abs(found - value) <= 0.005 + 1e-12 * abs(value)


def test_an_energy_that_is_not_a_number_is_not_known() -> None:
    athlete = dataclasses.replace(
        RESULT.athletes[0],
        intervals=(work(1, energy=Energy(math.nan, math.nan, math.nan, "machine")),),
    )
    document = class_document(ClassResult("t", (athlete,), ()))
    assert document["athletes"][0]["intervals"][0]["energy"] is None


def test_an_owner_is_a_name_and_several_are_a_list() -> None:
    file = RESULT.athletes[0].recordings[0]
    shared = dataclasses.replace(file, belongs_to=("a03", "a07"))
    nobody = dataclasses.replace(file, belongs_to=None)
    document = class_document(ClassResult("t", (), (file, shared, nobody)))
    assert [r["belongs_to"] for r in document["unassigned"]] == ["a01", ["a03", "a07"], None]


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (None, None),
        (datetime(2026, 3, 9, 17, 28, 41, tzinfo=UTC), "2026-03-09T17:28:41Z"),
        (
            datetime(2026, 3, 9, 18, 28, 41, 250000, tzinfo=timezone(timedelta(hours=1))),
            "2026-03-09T17:28:41.250000Z",
        ),
    ],
)
def test_a_moment_is_in_utc_and_whole_seconds_stay_whole(
    moment: datetime | None, expected: object
) -> None:
    assert utc_text(moment) == expected


def test_a_moment_without_an_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        utc_text(datetime(2026, 3, 9, 17, 28, 41))  # noqa: DTZ001
