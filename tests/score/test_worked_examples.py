"""One sheet for each explanation, worked out by hand.

Four rounds of 60 s on a rower with 60 s of rest. Counted by the bells: 14.3, 13.6, 12.8 and 14.6,
55.3 in all. After each bell the flywheel adds 0.2 a second for 15 s, 3.0 in all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from reconcile.classes import Athlete, LoggedScore
from reconcile.plan import ScoreRule, Step, Task, TimedBlock
from reconcile.result import ScoreResult
from reconcile.score.judge import judge
from reconcile.score.question import ScoreQuestion
from reconcile.timeline import unfold_block
from tests.score.made import MadeCount

BLOCK = TimedBlock(
    "pier",
    4,
    (Step("work", 60, (Task("rower", "calories", most=True),)), Step("rest", 60)),
    ScoreRule("calories", "total"),
)
AT_BELLS = (14.3, 13.6, 12.8, 14.6)
WHOLE = (14.0, 13.0, 12.0, 14.0)  # floors of the above: 53


def count(in_rests: float = 0.0) -> MadeCount:
    """The rower's count as a broken line; `in_rests` is what was rowed in each rest besides."""
    times, calories = [-60.0], [0.0]
    shown = 0.0
    for number, value in enumerate(AT_BELLS):
        bell = 120.0 * number
        for time, more in (
            (bell, 0.0),
            (bell + 60, value),
            (bell + 75, 3.0),
            (bell + 85, 0.0),
            (bell + 110, in_rests),
        ):
            shown += more
            times.append(time)
            calories.append(shown)
    times.append(600.0)
    calories.append(shown)
    pulls = [(120.0 * n, 120.0 * n + 60) for n in range(4)]
    if in_rests:
        pulls += [(120.0 * n + 85, 120.0 * n + 110) for n in range(4)]
    curve = np.array(calories)
    return MadeCount("rower", np.array(times), curve, curve * 18.0, tuple(sorted(pulls)))


def question(
    score: float | None,
    rounds: tuple[float, ...] | None = None,
    *,
    in_rests: float = 0.0,
    others: Mapping[str, tuple[float, ...]] | None = None,
) -> ScoreQuestion:
    return ScoreQuestion(
        BLOCK,
        unfold_block(BLOCK),
        Athlete("a01", "f", mass_kg=68.0),
        LoggedScore("a01", "pier", score=score, rounds=rounds, equipment="rower"),
        equipment="rower",
        counts=(count(in_rests),),
        placement_sd_s=0.2,
        watch_calories=(131.0,),
        others=others or {},
    )


def judged(score: float, rounds: tuple[float, ...] | None = None, **more: object) -> ScoreResult:
    return judge(question(score, rounds, **more))  # type: ignore[arg-type]


OTHERS = {"a02": (17.2, 16.4, 16.1, 16.3), "a03": (9.9, 10.1, 10.4, 9.2)}


@pytest.mark.parametrize(
    ("code", "predicts", "verdict", "score", "rounds", "more"),
    [
        # 14 + 13 + 12 + 14, the display read at each bell.
        ("rounding", 55.3, "confirmed", 53.0, WHOLE, {}),
        # 3 s later: 14.9, 14.2, 13.4, 15.2 show 14 + 14 + 13 + 15 = 56.
        ("counted_coasting", None, "confirmed", 56.0, (14.0, 14.0, 13.0, 15.0), {}),
        # After the flywheel ran out: 17.3, 16.6, 15.8, 17.6 show 17 + 16 + 15 + 17 = 65.
        ("counted_coasting", 67.3, "doubtful", 65.0, (17.0, 16.0, 15.0, 17.0), {}),
        # Rowed on in the rests: 23.3, 22.6, 21.8, 23.6 show 23 + 22 + 21 + 23 = 89.
        ("counted_rest", 91.3, "doubtful", 89.0, None, {"in_rests": 6.0}),
        # Without round 2: 14 + 12 + 14 = 40; at the bells 41.7.
        ("missing_round", 41.7, "doubtful", 40.0, (14.0, 12.0, 14.0), {}),
        # All rounds written, round 4 not added: 14 + 13 + 12 = 39; at the bells 40.7.
        ("missing_round", None, "doubtful", 39.0, WHOLE, {}),
        # Round 1 twice: 53 + 14 = 67; at the bells 69.6.
        ("extra_round", None, "doubtful", 67.0, (14.0, *WHOLE), {}),
        # 14 + 13 + 12 + 14 = 53, a ten carried once too often.
        ("arithmetic_slip", 53.0, "doubtful", 63.0, WHOLE, {}),
        # 53 written as 35.
        ("digits_swapped", 53.0, "doubtful", 35.0, None, {}),
        # 18 m a calorie: 55.3 calories are 995.4 m.
        ("wrong_measure", 995.4, "impossible", 994.0, None, {}),
        # The watch said 131.
        ("watch_calories", 131.0, "doubtful", 131.0, None, {}),
        # a02: 17 + 16 + 16 + 16 = 65; at the bells 66.0.
        ("other_athlete", 66.0, "doubtful", 65.0, (17.0, 16.0, 16.0, 16.0), {"others": OTHERS}),
        # A fifth more in every round: 17, 16, 15 and 17 would be coasting; 19, 17, 16, 19 are not.
        ("inflated", None, "doubtful", 82.0, (21.0, 20.0, 19.0, 22.0), {}),
        # A fifth less in every round.
        ("understated", None, "doubtful", 43.0, (11.0, 11.0, 10.0, 11.0), {}),
        # Rounds that have nothing to do with what was counted.
        ("unexplained", None, "doubtful", 72.0, (3.0, 40.0, 7.0, 22.0), {}),
    ],
)
def test_the_likeliest_explanation_is_the_one_worked_out(
    code: str,
    predicts: float | None,
    verdict: str,
    score: float,
    rounds: tuple[float, ...] | None,
    more: dict[str, object],
) -> None:
    result = judged(score, rounds, **more)
    assert result.explanations[0].code == code
    assert result.verdict == verdict
    assert result.flag == (verdict != "confirmed")
    if predicts is not None:
        assert result.explanations[0].predicts == pytest.approx(predicts, abs=0.35)
    assert result.recorded == pytest.approx(55.3, abs=0.01)
    assert result.low is not None
    assert result.high is not None
    assert result.low <= 55.3 <= result.high


def test_the_sentence_names_the_numbers_that_matter() -> None:
    result = judged(40.0, (14.0, 12.0, 14.0))
    text = result.explanations[0].text
    assert "55.3" in text
    assert "41.7" in text
    assert "round 2" in text
    assert "40" in text


def test_an_impossible_number_shows_the_bound_its_source_and_the_arithmetic() -> None:
    # A woman of 68 kg: 0.70 · (68/75)^(2/3) of the men's law; 400 in 4 × 60 s and 60 s of rest.
    result = judged(400.0)
    assert result.verdict == "impossible"
    text = result.explanations[0].text
    assert "400 calories in all" in text
    assert "W on average" in text
    assert "500 m and 2000 m indoor records" in text
    assert "Skiba et al. 2012" in text


def test_nothing_logged_is_unverifiable_and_still_recorded() -> None:
    result = judge(replace(question(None), logged=None))
    assert (result.verdict, result.flag, result.logged) == ("unverifiable", False, None)
    assert result.recorded == pytest.approx(55.3, abs=0.01)
    assert result.explanations == ()


def test_without_any_evidence_an_ordinary_score_is_unverifiable() -> None:
    result = judge(replace(question(53.0), counts=()))
    assert (result.verdict, result.recorded, result.flag) == ("unverifiable", None, False)


def test_a_heart_rate_makes_an_ordinary_score_plausible() -> None:
    result = judge(replace(question(53.0), counts=(), has_heart_rate=True))
    assert (result.verdict, result.recorded, result.flag) == ("plausible", None, False)


def test_rounds_that_do_not_add_up_are_asked_about_without_a_recording() -> None:
    result = judge(replace(question(63.0, WHOLE), counts=(), has_heart_rate=True))
    assert (result.verdict, result.flag) == ("doubtful", True)
    assert result.explanations[0].code == "arithmetic_slip"
    assert "53" in result.explanations[0].text


def test_a_recording_that_may_be_somebody_else_s_flags_nothing() -> None:
    result = judge(replace(question(66.0), ownership_probability=0.3, has_heart_rate=True))
    assert result.verdict == "plausible"


def test_work_recorded_twice_counts_once() -> None:
    twice = replace(question(53.0), counts=(count(), count()))
    assert judge(twice).recorded == pytest.approx(55.3, abs=0.01)
