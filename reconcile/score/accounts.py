"""For each code of the contract, how the number on the sheet would have come about.

Every account gives the probability of the sheet (the score, and the rounds where they were written
down) under it. A sheet is explained on two levels: what happened to the rounds, with a score that
follows from them, or what happened to the score, with rounds that are as they should be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import combinations

import numpy as np

from ingest.recording import Floats
from reconcile.score import priors
from reconcile.score.digits import mistyped, swapped
from reconcile.score.evidence import Bools
from reconcile.score.readings import (
    Readings,
    cut_to_whole,
    prompt_readings,
    score_probability,
    written_probability,
)
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet, align, follows
from reconcile.score.shown import Shown, bin_probability

Sizes = Sequence[tuple[float, float]]


def accounts(sheet: Sheet) -> list[Account]:
    """Every account of the sheet, of every code."""
    readings = Readings(sheet.evidence, sheet.take)
    found: list[Account] = []
    for account_of in ACCOUNTS:
        found.extend(account_of(sheet, readings))
    return found


def posterior(found: Sequence[Account]) -> list[tuple[Account, float]]:
    """Each account with its probability given the sheet (Bayes' rule with `priors.PRIOR`)."""
    weights = [priors.PRIOR[each.code] * each.share * each.likelihood for each in found]
    total = sum(weights)
    if not total > 0:
        return [(each, 0.0) for each in found]
    return [(each, weight / total) for each, weight in zip(found, weights, strict=True)]


def on_two_levels(
    sheet: Sheet,
    readings: Readings,
    rounds: Callable[[], float],
    score: Callable[[], float],
    share_of_rounds: float = priors.ROUNDS_CHANGED_SHARE,
) -> float:
    """Probability of the sheet under a change of the rounds, or of the score alone.

    rounds: probability of the written rounds under the change; score: of the score. A sheet
    without rounds tells by its score only.
    """
    if sheet.rounds is None:
        return score()
    if sheet.consistent:
        return share_of_rounds * rounds()
    honest = readings.honest_rounds(sheet.rounds)
    return (1 - share_of_rounds) * honest * score() if honest > 0 else 0.0


def reading(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """`rounding` and `counted_coasting`: displays read at the bell, just after it, or late."""
    if sheet.rounds is None:
        by_row = readings.score(sheet.total)
    elif align(sheet.rounds, sheet.evidence.skipped) is None:
        # The right score beside a wrong number of rounds: the rounds say nothing then.
        by_row = priors.MISCOUNTED_SHARE * readings.score(sheet.total)
    elif sheet.consistent:
        by_row = readings.rounds(sheet.rounds)
    else:
        by_row = priors.CARELESS_SHARE * readings.rounds(sheet.rounds)
        by_row = by_row * readings.score(sheet.total)
    likelihood = readings.weight * by_row
    for code, prompt in (
        ("rounding", True),
        ("counted_coasting", True),
        ("counted_coasting", False),
    ):
        rows = np.flatnonzero((readings.code == code) & (readings.is_prompt == prompt))
        if len(rows) == 0:
            continue
        row = rows[int(np.argmax(likelihood[rows]))]
        yield Account(
            code,
            1.0,
            float(likelihood[rows].sum()),
            take_of(readings.middle[row, readings.counting], sheet.take),
            prompt,
            float(likelihood[rows] @ readings.recorded[rows]) / max(1e-300, likelihood[rows].sum()),
            {"delay_s": float(readings.delay_s[row])},
        )


def counted_rest(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """The display ran on through the rests, or was read at their ends."""
    evidence = sheet.evidence
    if evidence.measure == "seconds" or not evidence.direct:
        return
    ends = evidence.with_rest
    same = bool(np.allclose(ends[:, :, 0], ends[:, :, 1], atol=0.05))
    ran_on = [ends[:, :, 0]] if same else [ends[:, :, 0], ends[:, :, 1]]
    cuts: tuple[priors.Cut, ...] = ("set to 0", "running on")
    for whole in ran_on:
        but_last = np.concatenate([whole[:, :-1], evidence.read[:, -1:, 0]], axis=1)
        for values in (whole, but_last):
            predicts = take_of(values[evidence.best, readings.counting], sheet.take)
            for way in cuts:
                shown = cut_to_whole(values[:, :, None], evidence.sd, evidence.pieces, way)
                likelihood = on_two_levels(
                    sheet,
                    readings,
                    partial(_rounds_partly, sheet, shown),
                    partial(_score_of, sheet, shown.only(evidence.counting), evidence.weight),
                    0.9,
                )
                yield Account("counted_rest", 0.25 / len(ran_on), likelihood, predicts)


def _rounds_partly(sheet: Sheet, with_rest: Shown) -> float:
    """Probability of rounds of which most, not all, were read at the end of the rest."""
    assert sheet.rounds is not None
    evidence = sheet.evidence
    entries = align(sheet.rounds, evidence.skipped)
    if entries is None:
        return 0.0
    indices, numbers = entries
    keep = np.zeros(len(evidence.skipped), dtype=bool)
    keep[indices] = True
    at_bell = cut_to_whole(evidence.read[:, :, :1], evidence.sd, evidence.pieces, "set to 0")
    at_end = with_rest.only(keep).equals(numbers)
    low, high = at_bell.only(keep).middle, with_rest.only(keep).middle
    span = np.maximum(high - low, 1.0)
    between = ((numbers >= low - 1) & (numbers <= high + 1)) / (span + 2)
    each = 0.8 * at_end + 0.1 * at_bell.only(keep).equals(numbers) + 0.1 * between
    each = np.where(evidence.skipped[indices], np.maximum(each, 0.5 * (numbers == 0)), each)
    return float(evidence.weight @ each.prod(axis=1))


def _rounds_of(sheet: Sheet, shown: Shown, weight: Floats) -> float:
    assert sheet.rounds is not None
    return float(weight @ written_probability(shown, sheet.rounds, sheet.evidence.skipped))


def _score_of(sheet: Sheet, counting: Shown, weight: Floats) -> float:
    return float(weight @ score_probability(sheet.total, counting, sheet.take))


def missing_round(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """One round, or more rarely two, left out of the score."""
    rounds = len(sheet.evidence.skipped)
    attempted = [int(index) for index in readings.attempted]
    singles = [(index,) for index in attempted] if len(attempted) > 1 else []
    pairs = list(combinations(attempted, 2)) if len(attempted) > 3 else []
    groups: list[tuple[int, ...]] = [*singles, *pairs]
    shares = [priors.ONE_MISSING_SHARE / max(1, len(singles))] * len(singles)
    shares += [(1 - priors.ONE_MISSING_SHARE) / max(1, len(pairs))] * len(pairs)
    if not groups:
        return
    keep = np.ones((len(groups), rounds), dtype=bool)
    for row, left_out in enumerate(groups):
        keep[row, list(left_out)] = False
    scores = _scores_without(sheet, readings, keep) if sheet.rounds is None else None
    for row, (left_out, share) in enumerate(zip(groups, shares, strict=True)):
        if scores is not None:
            likelihood = float(scores[row])
        elif sheet.consistent:
            likelihood = 0.5 * _rounds_without(sheet, readings, left_out)
        else:
            likelihood = 0.5 * _honest_rounds_but(sheet, readings, left_out, again=False)
        if likelihood > 0:
            predicts = readings.at_bells(keep[row])
            if sheet.take == "mean":
                counted = int((readings.counting & keep[row]).sum())
                full = predicts * counted / (counted + len(left_out))
                predicts = min((predicts, full), key=lambda value: abs(value - sheet.total))
            numbers = tuple(index + 1 for index in left_out)
            yield Account("missing_round", share, likelihood, predicts, facts={"rounds": numbers})


def _scores_without(sheet: Sheet, readings: Readings, keep: Bools) -> Floats:
    """(n,) Probability of the score with only some rounds kept (n, k)."""
    kept = readings.counting[None, :] & keep
    times = kept.astype(np.float64)
    if sheet.take == "total":
        numbers = np.full(len(times), sheet.total)
        return np.asarray(readings.honest @ readings.totals(numbers, times))
    if sheet.take == "mean":
        # Over the rounds that are left, or over as many as there were.
        full = int(readings.counting.sum())
        fewer = int(kept[0].sum())
        by_row = readings.means(sheet.total, times, full) + readings.means(
            sheet.total, times, fewer
        )
        return np.asarray(0.5 * (readings.honest @ by_row))
    found = np.zeros(len(kept))
    for row, rounds in enumerate(kept):
        # Leaving out a round that was no extreme changes nothing.
        if rounds.any() and abs(readings.at_bells(rounds) - readings.at_bells()) >= 0.5:
            found[row] = readings.honest @ readings.score(sheet.total, rounds)
    return found


def _rounds_without(sheet: Sheet, readings: Readings, left_out: tuple[int, ...]) -> float:
    """Probability of written rounds that lack some: shorter, or with nothing in their place."""
    assert sheet.rounds is not None
    values, skipped = np.asarray(sheet.rounds), sheet.evidence.skipped
    gone = np.zeros(len(skipped), dtype=bool)
    gone[list(left_out)] = True
    if len(values) == len(skipped):
        if values[gone].any():
            return 0.0
        return float(readings.honest @ readings.some_rounds(np.flatnonzero(~gone), values[~gone]))
    for kept in (~gone, ~gone & ~skipped):
        if kept.sum() == len(values):
            return float(readings.honest @ readings.some_rounds(np.flatnonzero(kept), values))
    return 0.0


def _honest_rounds_but(
    sheet: Sheet, readings: Readings, changed: tuple[int, ...], *, again: bool
) -> float:
    """Probability of honest written rounds whose score lacks some of them, or has some twice."""
    assert sheet.rounds is not None
    entries = align(sheet.rounds, sheet.evidence.skipped)
    if entries is None:
        return 0.0
    times = [1 + again if index in changed else 1 for index in entries[0]]
    if not again:
        times = [0 if index in changed else 1 for index in entries[0]]
    values = [v for v, count in zip(sheet.rounds, times, strict=True) for _ in range(count)]
    if not follows(sheet.total, tuple(values), sheet.take):
        return 0.0
    return readings.honest_rounds(sheet.rounds)


def extra_round(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """A round counted twice, or one that was not there."""
    attempted = [int(index) for index in readings.attempted]
    if not attempted or sheet.take in ("lowest", "highest"):
        return
    times = np.repeat(readings.counting[None, :].astype(np.float64), len(attempted), axis=0)
    times[np.arange(len(attempted)), attempted] += 1
    if sheet.rounds is not None:
        scores = np.zeros(len(attempted))
    elif sheet.take == "total":
        scores = readings.honest @ readings.totals(np.full(len(times), sheet.total), times)
    else:
        # A mean over the rounds that there were, or over one more.
        full = int(readings.counting.sum())
        by_row = readings.means(sheet.total, times, full)
        by_row = by_row + readings.means(sheet.total, times, full + 1)
        scores = 0.5 * (readings.honest @ by_row)
    for row, index in enumerate(attempted):
        if sheet.rounds is None:
            likelihood = float(scores[row])
        elif sheet.consistent:
            likelihood = 0.6 * _rounds_with_extra(sheet, readings, index)
        else:
            likelihood = 0.4 * _honest_rounds_but(sheet, readings, (index,), again=True)
        if likelihood > 0:
            counted = np.append(np.flatnonzero(readings.counting), index)
            values = sheet.evidence.read[sheet.evidence.best, counted, 0]
            yield Account(
                "extra_round",
                1.0 / len(attempted),
                likelihood,
                take_of(values, sheet.take),
                facts={"rounds": (index + 1,)},
            )


def _rounds_with_extra(sheet: Sheet, readings: Readings, again: int) -> float:
    """Probability of written rounds with one entry too many: a copy of a round, or the like."""
    assert sheet.rounds is not None
    values, skipped = sheet.rounds, sheet.evidence.skipped
    for indices in (np.arange(len(skipped)), np.flatnonzero(~skipped)):
        if len(values) != len(indices) + 1 or again not in indices:
            continue
        place = int(np.flatnonzero(indices == again)[0])
        likelihood = 0.0
        for extra in range(len(values)):
            rest = values[:extra] + values[extra + 1 :]
            usual = float(np.mean(rest))
            variance = max(1.5, 0.2 * usual) ** 2
            like = float(bin_probability(values[extra], np.array(usual), np.array(variance)))
            copied = float(values[extra] == rest[place]) if extra in (place, place + 1) else 0.0
            at_end = 0.4 if extra == len(values) - 1 else 0.0
            chance = 0.6 * copied + (at_end + 0.2 / len(values)) * like
            if chance > 0:
                likelihood += chance * readings.honest_rounds(rest)
        return likelihood
    return 0.0


def arithmetic_slip(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Rounds as they should be, a score that does not follow from them."""
    if sheet.rounds is None:
        if sheet.take != "total" or len(readings.attempted) < 2 or not sheet.evidence.direct:
            return
        slips = {s * size: share / 2 for size, share in priors.SLIP_SIZES.items() for s in (-1, 1)}
        totals = readings.honest_scores([sheet.total - slip for slip in slips])
        likelihood = float(totals @ np.array(list(slips.values())))
        nearest = min(slips, key=lambda slip: abs(readings.at_bells() + slip - sheet.total))
        yield Account(
            "arithmetic_slip", priors.UNSEEN_SLIP, likelihood, readings.at_bells() + nearest
        )
    elif not sheet.consistent:
        kept = tuple(value for value in sheet.rounds if value > 0) or sheet.rounds
        made = take_of(sheet.rounds if sheet.take == "total" else kept, sheet.take)
        chance = slip_probability(sheet.total - made, made)
        likelihood = chance * readings.honest_rounds(sheet.rounds)
        yield Account("arithmetic_slip", 1.0, likelihood, made, facts={"sum": made})


def slip_probability(slip: float, total: float) -> float:
    """Probability that a sum is out by `slip`: a carry, a few, or anything of some size."""
    size = round(abs(slip), 6)
    scale = max(2.0, priors.SLIP_SPREAD * total)
    spread = priors.SLIP_SPREAD_SHARE * float(np.exp(-size / scale)) / (2 * scale)
    return priors.SLIP_SIZES.get(size, 0.0) / 2 + spread


def digits_swapped(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Two digits swapped, or one mistyped, in the score or in one of the rounds."""
    origins = {
        **{o: priors.MISTYPED_SHARE * share for o, share in mistyped(sheet.total).items()},
        **{o: priors.SWAPPED_SHARE * share for o, share in swapped(sheet.total).items()},
    }
    if sheet.rounds is None:
        if not sheet.evidence.direct:
            return  # what the score should have been is not known well enough to see a slip
        scores = readings.honest_scores(list(origins))
        for (origin, share), likelihood in zip(origins.items(), scores, strict=True):
            yield Account(
                "digits_swapped", share, float(likelihood), origin, facts={"origin": origin}
            )
        return
    if not sheet.consistent:
        skipped = sheet.evidence.skipped
        for origin, share in origins.items():
            if follows(origin, sheet.rounds, sheet.take, skipped):
                likelihood = 0.8 * readings.honest_rounds(sheet.rounds)
                yield Account("digits_swapped", share, likelihood, origin, facts={"origin": origin})
    for place, value in enumerate(sheet.rounds):
        for origin, share in swapped(value).items():
            values = (*sheet.rounds[:place], origin, *sheet.rounds[place + 1 :])
            if sheet.consistent or follows(sheet.total, values, sheet.take):
                likelihood = 0.2 / len(sheet.rounds) * readings.honest_rounds(values)
                facts = {"round": place + 1, "origin": origin, "written": value}
                yield Account(
                    "digits_swapped", share, likelihood, take_of(values, sheet.take), facts=facts
                )


def wrong_measure(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Another of the machine's numbers: metres for calories, calories for metres."""
    for name, evidence in sheet.in_other_measures.items():
        shown = prompt_readings(evidence)
        own = shown.only(evidence.counting)
        likelihood = on_two_levels(
            sheet,
            readings,
            partial(_rounds_of, sheet, shown, evidence.weight),
            partial(_score_of, sheet, own, evidence.weight),
        )
        values = evidence.read[evidence.best, evidence.counting, 0]
        yield Account(
            "wrong_measure",
            1.0 / len(sheet.in_other_measures),
            likelihood,
            take_of(values, sheet.take),
            facts={"measure": name},
        )


def watch_calories(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """The watch's own estimate stands on the sheet."""
    if sheet.evidence.measure != "calories":
        return
    for candidate in sheet.watch_calories:
        mean = np.array(candidate)
        exact = float(bin_probability(sheet.total, mean, np.array(0.4**2)))
        about = float(bin_probability(sheet.total, mean, np.array(1.0 + (0.02 * candidate) ** 2)))
        score = 0.75 * exact + 0.25 * about
        if sheet.rounds is None:
            likelihood = score
        elif sheet.consistent:
            likelihood = 0.3 * score * rounds_of_any_kind(sheet.rounds)
        else:
            likelihood = 0.7 * score * readings.honest_rounds(sheet.rounds)
        yield Account("watch_calories", 1.0 / len(sheet.watch_calories), likelihood, candidate)


def rounds_of_any_kind(values: tuple[float, ...]) -> float:
    """Probability of rounds of which nothing is known but their mean."""
    return float((0.5 / max(1.0, float(np.mean(values)))) ** (len(values) - 1))


def other_athlete(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """It fits what a machine recorded for somebody else, or what somebody else wrote down.

    Only beside a recording of the athlete's own: without one, a fit says more of whose the other
    recording is than of the sheet.
    """
    names = sorted({*sheet.others, *sheet.others_logged})
    owned = float(sheet.evidence.weight @ sheet.evidence.recorded)
    if not sheet.evidence.direct:
        return
    for name in names:
        recorded = sheet.others.get(name, ())
        fit = _fit_of_other(sheet, readings, recorded)
        copied = _copied(sheet, sheet.others_logged.get(name))
        if fit is None and not copied:
            continue
        likelihood, predicts = fit if fit is not None else (0.0, sheet.total)
        share = priors.COPIED_SHARE if sheet.others_logged else 0.0
        yield Account(
            "other_athlete",
            owned / len(names),
            (1 - share) * likelihood + share * copied,
            predicts,
            facts={"athlete": name},
        )
        # Where the recording may be another's, theirs may be this athlete's.
        yield Account(
            "rounding",
            (1 - owned) / len(names),
            likelihood,
            predicts,
            prompt=True,
            recorded=0.0,
            facts={"delay_s": 0.0},
        )


def _copied(sheet: Sheet, other: tuple[float, tuple[float, ...] | None] | None) -> float:
    """Probability of the sheet if it was copied from another row."""
    if other is None or other[0] != sheet.total:
        return 0.0
    if sheet.rounds is None:
        return 0.5
    return 0.5 * float(sheet.rounds == other[1])


def _fit_of_other(
    sheet: Sheet, readings: Readings, recorded: tuple[float, ...]
) -> tuple[float, float] | None:
    """(probability of the sheet, score at the bells) by another athlete's recorded rounds."""
    read = np.asarray(recorded, dtype=np.float64)
    worked = read > 0.5
    if not worked.any() or len(read) != len(sheet.evidence.pieces):
        return None
    calories = sheet.evidence.measure == "calories"
    drift = np.array([0.0, 0.3, 0.6]) if calories else np.array([1.5])
    shown = cut_to_whole(
        (read[:, None] + drift[None, :])[None],
        np.full((1, len(read)), 0.3 if calories else 2.0),
        sheet.evidence.pieces,
        "running on",
    )
    likelihood = on_two_levels(
        sheet,
        readings,
        partial(_rounds_of_other, sheet, shown, ~worked),
        partial(_score_of, sheet, shown.only(worked), np.ones(1)),
        0.6,
    )
    return likelihood, take_of(read[worked], sheet.take)


def _rounds_of_other(sheet: Sheet, shown: Shown, idle: Bools) -> float:
    assert sheet.rounds is not None
    return float(written_probability(shown, sheet.rounds, idle)[0])


def resized(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """`inflated` and `understated`: some share above or below what was done."""
    for code, sizes, sign in (
        ("inflated", priors.INFLATED_SIZES, 1.0),
        ("understated", priors.UNDERSTATED_SIZES, -1.0),
    ):
        likelihood = on_two_levels(
            sheet,
            readings,
            partial(_rounds_resized, sheet, sizes, sign),
            partial(_score_resized, sheet, readings, sizes, sign),
        )
        yield Account(code, 1.0, likelihood)


def _size_density(log_ratio: Floats, sizes: Sizes) -> Floats:
    """Density of the log ratio of a changed number to the true one, by its size."""
    density = sum(
        share / scale * np.exp(-np.maximum(log_ratio, 0.0) / scale) for share, scale in sizes
    )
    return np.where(log_ratio > 0, density, 0.0)


def _score_resized(sheet: Sheet, readings: Readings, sizes: Sizes, sign: float) -> float:
    if sheet.total <= 0:
        return 0.0
    rows = sheet.evidence.read[:, readings.counting, 0]
    values = np.array([take_of(row, sheet.take) for row in rows])
    known = np.isfinite(values) & (values > 0)
    log_ratio = np.zeros(len(values))
    log_ratio[known] = sign * np.log(sheet.total / values[known])
    density = np.where(known, _size_density(log_ratio, sizes), 0.0)
    return float(sheet.evidence.weight @ density) / sheet.total


def _rounds_resized(sheet: Sheet, sizes: Sizes, sign: float) -> float:
    """Rounds all changed by one factor, or each changed or left by itself."""
    assert sheet.rounds is not None
    evidence = sheet.evidence
    entries = align(sheet.rounds, evidence.skipped)
    if entries is None:
        return 0.0
    indices, numbers = entries
    read = evidence.read[:, indices, 3]
    step = np.arange(0.02, 2.0, 0.04)
    factor = np.exp(sign * step)[:, None, None]
    density = _size_density(step, sizes)
    scaled = (factor * read[None]).reshape(-1, len(indices))
    # The grain of the factors and the rounding of a changed number widen each round.
    sd = factor * evidence.sd[None][:, :, indices] + 0.4
    sd = np.hypot(sd, 0.02 * factor * read[None]).reshape(scaled.shape)
    weight = (density[:, None] / density.sum() * evidence.weight[None, :]).ravel()
    common = float(weight @ Shown(scaled[:, :, None], sd).equals(numbers).prod(axis=1))
    log_ratio = sign * np.log(np.maximum(numbers, 0.25) / np.maximum(read, 0.5))
    each = np.where(numbers > 0, _size_density(log_ratio, sizes) / np.maximum(numbers, 0.5), 0.0)
    single = prompt_readings(evidence)
    own = Shown(single.read[:, indices], single.sd[:, indices]).equals(numbers)
    separate = float(evidence.weight @ (0.5 * own + 0.5 * each).prod(axis=1))
    return 0.6 * common + 0.4 * separate


def unexplained(sheet: Sheet, readings: Readings) -> Iterator[Account]:
    """Any number, the nearer to what was done the likelier, above and below alike."""
    sizes = ((1.0, priors.UNEXPLAINED_SIZE),)
    above = _score_resized(sheet, readings, sizes, 1.0)
    below = _score_resized(sheet, readings, sizes, -1.0)
    likelihood = 0.5 * (above + below) or 1e-3 / max(sheet.total, 1.0)
    if sheet.rounds is not None and sheet.consistent:
        likelihood *= rounds_of_any_kind(sheet.rounds)
    elif sheet.rounds is not None:
        whatever = rounds_of_any_kind(sheet.rounds) / max(1.0, sheet.total)
        likelihood *= 0.3 * max(whatever, readings.honest_rounds(sheet.rounds))
    yield Account("unexplained", 1.0, likelihood)


ACCOUNTS: tuple[Callable[[Sheet, Readings], Iterator[Account]], ...] = (
    reading,
    counted_rest,
    missing_round,
    extra_round,
    arithmetic_slip,
    digits_swapped,
    wrong_measure,
    watch_calories,
    other_athlete,
    resized,
    unexplained,
)
