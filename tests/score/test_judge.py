"""Properties of the judgement, and its calibration on made questions."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reconcile.plan import ScoreRule
from reconcile.score.judge import judge, recorded_rounds
from reconcile.score.readings import Readings
from reconcile.score.scenarios import score_evidence
from reconcile.score.scored import scored_steps
from tests.score.made import Made, make
from tests.score.test_worked_examples import BLOCK, question

FEW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@FEW
@given(
    st.integers(0, 400),
    st.none() | st.lists(st.integers(0, 90), min_size=1, max_size=7),
    st.sampled_from(["total", "lowest", "highest", "mean"]),
    st.booleans(),
)
def test_probabilities_are_sound_whatever_is_logged(
    score: int, rounds: list[int] | None, take: str, counted: bool
) -> None:
    asked = question(float(score), None if rounds is None else tuple(map(float, rounds)))
    block = replace(BLOCK, score=ScoreRule("calories", take))  # type: ignore[arg-type]
    asked = replace(asked, block=block, counts=asked.counts if counted else ())
    result = judge(asked)
    probabilities = [each.probability for each in result.explanations]
    assert sum(probabilities) <= 1 + 1e-9
    assert probabilities == sorted(probabilities, reverse=True)
    assert all(0 <= each <= 1 for each in probabilities)
    assert len({each.code for each in result.explanations}) == len(probabilities)
    assert all(each.text and "{" not in each.text for each in result.explanations)
    assert result.flag == (result.verdict in ("doubtful", "impossible"))
    if result.recorded is not None:
        assert result.low is not None
        assert result.high is not None
        assert result.low <= result.recorded <= result.high


def test_the_further_off_the_more_doubtful() -> None:
    up = [judge(question(float(score))).flag for score in range(55, 140)]
    down = [judge(question(float(score))).flag for score in range(55, 5, -1)]
    assert up == sorted(up)
    assert down == sorted(down)
    assert not up[0]
    assert up[-1]
    assert down[-1]


@pytest.mark.parametrize("score", [53.0, 66.0, 89.0])
def test_the_order_of_other_athletes_changes_nothing(score: float) -> None:
    others = {"a02": (17.2, 16.4, 16.1, 16.3), "a03": (9.9, 10.1, 10.4, 9.2), "a04": (20.0,) * 4}
    one = judge(question(score, others=others))
    other = judge(question(score, others=dict(reversed(others.items()))))
    assert one == other


def test_the_same_question_has_the_same_answer() -> None:
    assert judge(question(61.0)) == judge(question(61.0))


@pytest.mark.parametrize("doubt_s", [0.1, 0.5, 1.0, 2.0])
def test_more_doubt_about_the_bells_never_narrows_the_range(doubt_s: float) -> None:
    sure = judge(replace(question(53.0), placement_sd_s=doubt_s))
    unsure = judge(replace(question(53.0), placement_sd_s=doubt_s * 2))
    assert sure.low is not None
    assert sure.high is not None
    assert unsure.low is not None
    assert unsure.high is not None
    assert unsure.high - unsure.low >= sure.high - sure.low - 1e-6


def test_a_placement_that_may_be_a_round_out_widens_the_range() -> None:
    sure = judge(question(53.0))
    unsure = judge(replace(question(53.0), placement_probability=0.7))
    assert unsure.low is not None
    assert sure.low is not None
    assert unsure.low < sure.low - 5


def test_totals_agree_with_a_drawn_sample() -> None:
    # Two methods: the normal law over rounds, and 40,000 drawn readings of the same displays.
    asked = question(53.0)
    scored = scored_steps(asked.block, asked.steps)
    evidence = score_evidence(asked, scored)
    readings = Readings(evidence, "total")
    numbers = np.arange(48.0, 64.0)
    by_law = readings.honest_scores(list(numbers))
    rng = np.random.default_rng(7)
    drawn = np.zeros(len(numbers))
    rows = rng.choice(len(readings.honest), size=40_000, p=readings.honest)
    starts = np.cumsum([0, *(len(h.weight) for h in readings.habits)])
    for row in rows:
        index = int(np.searchsorted(starts, row, side="right")) - 1
        shown = readings.habits[index].shown
        local = row - starts[index]
        moments = rng.integers(shown.read.shape[2], size=shown.read.shape[1])
        value = shown.read[local, np.arange(shown.read.shape[1]), moments]
        value = value + shown.sd[local] * rng.standard_normal(len(value)) + shown.offset
        total = (
            np.floor(value).sum()
            if rng.random() < 0.75
            else np.floor(value.sum() - shown.offset * (len(value) - 1))
        )
        hit = np.flatnonzero(numbers == total)
        drawn[hit] += 1 / len(rows)
    assert np.abs(by_law - drawn).max() < 0.03


def test_recorded_rounds_are_the_values_at_the_bells() -> None:
    assert recorded_rounds(question(None)) == pytest.approx((14.3, 13.6, 12.8, 14.6), abs=0.01)


# --- calibration on made questions --------------------------------------------------------------


def many(count: int, seed: int, *, direct: bool) -> list[Made]:
    rng = np.random.default_rng(seed)
    found: list[Made] = []
    while len(found) < count:
        made = make(rng, direct=direct)
        if made is not None:
            found.append(made)
    return found


def share(values: list[Any]) -> float:
    return float(np.mean([float(value) for value in values]))


@pytest.fixture(scope="module")
def counted() -> list[tuple[Made, Any]]:
    return [(made, judge(made.question)) for made in many(260, 77, direct=True)]


def logged(made: Made) -> float:
    assert made.question.logged is not None
    assert made.question.logged.score is not None
    return made.question.logged.score


def test_honest_scores_are_left_alone(counted: list[tuple[Made, Any]]) -> None:
    assert share([result.flag for made, result in counted if made.honest]) <= 0.04


def test_implausible_scores_are_asked_about(counted: list[tuple[Made, Any]]) -> None:
    flags = [
        result.flag
        for made, result in counted
        if not made.honest and (made.impossible or abs(logged(made) - made.true) >= 0.1 * made.true)
    ]
    assert len(flags) > 50
    assert share(flags) >= 0.94


def test_the_likeliest_explanation_is_mostly_the_true_one(
    counted: list[tuple[Made, Any]],
) -> None:
    right = [
        bool(result.explanations) and result.explanations[0].code == made.code
        for made, result in counted
        if not made.honest
    ]
    assert share(right) >= 0.78


def test_ranges_hold_the_truth(counted: list[tuple[Made, Any]]) -> None:
    held = [result.low <= made.true <= result.high for made, result in counted]
    assert 0.91 <= share(held) <= 0.99


def test_probabilities_mean_what_they_say(counted: list[tuple[Made, Any]]) -> None:
    pairs = [
        (each.probability, each.code == made.code)
        for made, result in counted
        if not made.honest
        for each in result.explanations
    ]
    sure = [right for said, right in pairs if said > 0.9]
    unsure = [right for said, right in pairs if said < 0.1]
    assert share(sure) > 0.85
    assert share(unsure) < 0.12


def test_without_a_recording_honest_scores_are_not_asked_about() -> None:
    results = [judge(made.question) for made in many(150, 78, direct=False) if made.honest]
    assert share([result.flag for result in results]) <= 0.008
    assert {result.recorded for result in results} == {None}
