"""The judgement of one logged score: evidence, explanations, verdict, flag, and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from reconcile.plan import Measure, Take
from reconcile.result import Explanation, ScoreResult, Verdict
from reconcile.score import priors
from reconcile.score.evidence import Evidence, recorded_value
from reconcile.score.explanations import accounts, posterior
from reconcile.score.limits import Beyond, beyond_the_inner_bound, beyond_the_possible
from reconcile.score.notes import filled_in
from reconcile.score.question import ScoreQuestion
from reconcile.score.scenarios import score_evidence
from reconcile.score.scored import Scored, scored_steps, take_of
from reconcile.score.sheet import Account, Sheet, follows
from reconcile.score.texts import MACHINE, MACHINES, TAKES, UNITS, number, text
from reconcile.sentence import Sentence, Value, in_a_row

# A range wider than this share of the value does not confirm anything.
WIDEST_CONFIRMING = 0.12
# Without a direct count only these can speak against a score: the sheet against itself; and where
# the number is a high one, a number of another kind or one out of all proportion.
AGAINST_ITSELF = ("missing_round", "extra_round", "arithmetic_slip", "digits_swapped")
OUT_OF_PROPORTION = ("wrong_measure", "watch_calories", "inflated")
# What a number may have been instead: the machine's other count.
OTHER_MEASURES: dict[Measure, tuple[Measure, ...]] = {
    "calories": ("metres",),
    "metres": ("calories",),
    "seconds": ("calories", "metres"),
    "reps": (),
}


def judge(question: ScoreQuestion) -> ScoreResult:
    """What the evidence says of one athlete's score in one block.

    Raises ValueError for a block without a score.
    """
    question = _with_notes(question)
    scored = scored_steps(question.block, question.steps)
    logged = question.logged.score if question.logged is not None else None
    if not scored.rounds:
        # The athlete's option has nothing in place of what the others are scored by.
        return _result(question, scored, logged, None, "unverifiable", False, ())
    evidence = score_evidence(question, scored)
    recorded = recorded_value(evidence, scored.take)
    if logged is None:
        return _result(question, scored, None, recorded, "unverifiable", False, ())
    assert question.logged is not None
    rounds = question.logged.rounds or None
    sheet = Sheet(
        total=logged,
        rounds=telling_rounds(logged, rounds, scored.take, evidence),
        take=scored.take,
        evidence=evidence,
        in_other_measures={
            measure: score_evidence(question, scored, measure)
            for measure in OTHER_MEASURES[scored.measure]
        },
        others=question.others,
        others_logged={
            name: (row.score, row.rounds)
            for name, row in question.others_logged.items()
            if row.score is not None
        },
        watch_calories=question.watch_calories,
    )
    beyond = beyond_the_possible(logged, rounds, scored, question.athlete, question.equipment)
    ranked = posterior(accounts(sheet))
    verdict = _verdict(question, scored, sheet, recorded, beyond, ranked)
    flag = verdict in ("doubtful", "impossible")
    explanations = _explanations(sheet, scored.measure, recorded, beyond, ranked, flag)
    return _result(question, scored, logged, recorded, verdict, flag, explanations)


def _with_notes(question: ScoreQuestion) -> ScoreQuestion:
    """The question with a machine that only the notes name."""
    if question.equipment is not None or question.logged is None:
        return question
    filled = filled_in(question.logged, question.block.rounds)
    return replace(question, equipment=filled.equipment)


def telling_rounds(
    total: float, rounds: tuple[float, ...] | None, take: Take, evidence: Evidence
) -> tuple[float, ...] | None:
    """The written rounds, where they tell something.

    Without a recording, rounds that make the score, and are not more than the plan's, tell nothing
    that the score does not: fewer may have been done.
    """
    if rounds is None or evidence.direct:
        return rounds
    tells = len(rounds) > len(evidence.skipped) or not follows(total, rounds, take)
    return rounds if tells else None


def recorded_rounds(question: ScoreQuestion) -> tuple[float, ...]:
    """Values at the bells of each scored round as a machine recorded them; () without one.

    What other athletes' questions need as `others`.
    """
    scored = scored_steps(question.block, question.steps)
    evidence = score_evidence(question, scored) if scored.rounds else None
    if evidence is None or not evidence.direct:
        return ()
    return tuple(float(value) for value in evidence.read[evidence.best, :, 0])


def _result(
    question: ScoreQuestion,
    scored: Scored,
    logged: float | None,
    recorded: tuple[float, float, float] | None,
    verdict: Verdict,
    flag: bool,
    explanations: tuple[Explanation, ...],
) -> ScoreResult:
    best, low, high = recorded if recorded is not None else (None, None, None)
    return ScoreResult(
        block=question.block.name,
        measure=scored.measure,
        logged=logged,
        recorded=best,
        low=low,
        high=high,
        verdict=verdict,
        flag=flag,
        explanations=explanations,
    )


def _verdict(
    question: ScoreQuestion,
    scored: Scored,
    sheet: Sheet,
    recorded: tuple[float, float, float] | None,
    beyond: Beyond | None,
    ranked: Sequence[tuple[Account, float]],
) -> Verdict:
    """The verdict by expected cost, see `priors`."""
    if beyond is not None:
        return "impossible"
    prompt = sum(p for account, p in ranked if account.prompt)
    other = sum(p for account, p in ranked if not account.prompt)
    sure = question.ownership_probability * question.placement_probability
    least = priors.LEAST_SURE if question.owner_stated else priors.LEAST_SURE_UNNAMED
    if recorded is None or sure < least:
        # Nothing counted, or what was is likelier somebody else's or of another time.
        telling = _telling_unseen(sheet, ranked)
        if beyond_the_inner_bound(sheet.total, scored, question.athlete, question.equipment):
            return "doubtful"
        cost_of_silence = telling * priors.COST_OF_MISS_UNSEEN
        if prompt * priors.COST_OF_FALSE_QUESTION < cost_of_silence:
            return "doubtful"
        return "plausible" if question.has_heart_rate else "unverifiable"
    best, low, high = recorded
    narrow = high - low <= WIDEST_CONFIRMING * max(best, 1.0)
    if narrow and low <= sheet.total <= high:
        return "confirmed"
    gap = abs(sheet.total - best) / max(best, 1.0)
    share = max(priors.LEAST_COST_SHARE, min(1.0, gap / priors.FULL_COST_AT))
    counted = sum(p * account.recorded for account, p in ranked if account.prompt)
    if question.owner_stated and question.ownership_probability >= priors.FIRM_OWNERSHIP:
        # The question is as right where the recording named for them is not theirs.
        prompt, other = counted, prompt + other - counted
    if prompt * priors.COST_OF_FALSE_QUESTION < other * priors.COST_OF_MISS * share:
        return "doubtful"
    return "confirmed" if narrow and counted > 0.5 * (prompt + other) else "plausible"


def _telling_unseen(sheet: Sheet, ranked: Sequence[tuple[Account, float]]) -> float:
    """Probability of what can speak against a score that no machine surely counted.

    Beside a recording that is in doubt itself, only the sheet where it contradicts itself.
    """
    if sheet.evidence.direct and sheet.consistent:
        return 0.0
    codes: tuple[str, ...] = AGAINST_ITSELF if sheet.rounds is not None else ()
    if not sheet.evidence.direct and sheet.total > _expected(sheet.evidence, sheet.take):
        codes += OUT_OF_PROPORTION
    return sum(probability for account, probability in ranked if account.code in codes)


def _explanations(
    sheet: Sheet,
    measure: Measure,
    recorded: tuple[float, float, float] | None,
    beyond: Beyond | None,
    ranked: Sequence[tuple[Account, float]],
    flag: bool,
) -> tuple[Explanation, ...]:
    by_code: dict[str, float] = {}
    likeliest: dict[str, tuple[Account, float]] = {}
    for account, whole in ranked:
        # What a recording that is not theirs would explain is no difference from it.
        probability = whole * account.recorded if account.prompt and recorded else whole
        by_code[account.code] = by_code.get(account.code, 0.0) + probability
        if probability > likeliest.get(account.code, (account, -1.0))[1]:
            likeliest[account.code] = (account, probability)
    if recorded is None:
        # With nothing counted there is no difference to round; only what speaks against it shows.
        by_code = {
            code: probability
            for code, probability in by_code.items()
            if flag and code not in ("rounding", "counted_coasting", "counted_rest")
        }
    shown = [
        Explanation(
            code,
            _shown_prediction(likeliest[code][0]),
            float(probability),
            _text(sheet, measure, recorded, likeliest[code][0]),
        )
        for code, probability in sorted(by_code.items(), key=lambda item: (-item[1], item[0]))
        if probability >= priors.LEAST_SHOWN
    ]
    theirs = 1.0 - sum(p * (1 - account.recorded) for account, p in ranked if account.prompt)
    if recorded is not None and flag and shown and theirs < priors.SURELY_THEIRS:
        text_of_first = Sentence(
            "{first} {second}", first=shown[0].text, second=text("another_recording")
        )
        shown[0] = replace(shown[0], text=text_of_first)
    if beyond is not None:
        bound = _bound_text(beyond)
        if not shown:
            return (Explanation("unexplained", None, 0.0, bound),)
        first = shown[0]
        shown[0] = Explanation(
            first.code,
            first.predicts,
            first.probability,
            Sentence("{first} {second}", first=bound, second=first.text),
        )
    return tuple(shown)


def _shown_prediction(account: Account) -> float | None:
    return None if account.predicts is None else round(float(account.predicts), 2)


def _text(
    sheet: Sheet,
    measure: Measure,
    recorded: tuple[float, float, float] | None,
    account: Account,
) -> Sentence:
    key = account.code
    take: Take = sheet.take
    facts: dict[str, Value] = {
        "logged": number(sheet.total),
        "unit": UNITS[measure],
        "take": TAKES[take],
        "predicts": "" if account.predicts is None else number(account.predicts),
        "machine": MACHINES.get(sheet.evidence.machine or "", MACHINE),
    }
    facts.update(_facts_of(account.facts))
    if key == "digits_swapped" and "round" in account.facts:
        key = "digits_swapped_round"
    if recorded is None:
        facts["expected"] = number(_expected(sheet.evidence, take))
        if key == "arithmetic_slip" and "sum" not in facts:
            facts["sum"] = facts["predicts"]
        return text(f"unseen_{key}", **facts)
    best, low, high = recorded
    facts.update(
        recorded=number(best),
        low=number(low),
        high=number(high),
        difference=number(abs(sheet.total - best)),
    )
    if key == "arithmetic_slip" and "sum" not in facts:
        key = "arithmetic_slip_unseen"
    if key == "counted_coasting":
        if measure == "seconds":
            key = "counted_coasting_seconds"
        elif not account.prompt:
            key = "counted_coasting_late"
    return text(key, **facts)


def _facts_of(facts: Mapping[str, object]) -> dict[str, Value]:
    shown: dict[str, Value] = {}
    for name, value in facts.items():
        if name == "delay_s":
            assert isinstance(value, float)
            shown["delay"] = number(value)
        elif name == "measure":
            shown["other_unit"] = UNITS[value]  # type: ignore[index]
        elif name == "rounds":
            assert isinstance(value, tuple)
            shown["rounds"] = in_a_row(value)
        else:
            assert isinstance(value, str | int | float)
            shown[name] = number(value) if isinstance(value, float) else value
    return shown


def _expected(evidence: Evidence, take: Take) -> float:
    values = evidence.read[evidence.best, evidence.counting, 0]
    expected = take_of(values, take)
    return expected if np.isfinite(expected) else 0.0


def _bound_text(beyond: Beyond) -> Sentence:
    where = text(f"where_{beyond.what}", round=beyond.round)
    facts: dict[str, Value] = {
        "claimed": number(beyond.claimed),
        "limit": number(beyond.limit),
        "unit": UNITS[beyond.measure],
        "seconds": number(beyond.seconds),
        "where": where,
    }
    if beyond.measure == "seconds":
        return text("impossible_time", **facts)
    if beyond.measure == "reps":
        return text("impossible_repetitions", each=beyond.seconds_each, **facts)
    assert beyond.power_w is not None
    assert beyond.limit_w is not None
    return text(
        "impossible_power",
        power=number(beyond.power_w),
        limit_power=number(beyond.limit_w),
        **facts,
    )
