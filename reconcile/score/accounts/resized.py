"""`inflated`, `understated` and `unexplained`: a number of another size than what was done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from ingest.recording import Floats
from reconcile.score import priors
from reconcile.score.accounts.two_levels import on_two_levels, rounds_of_any_kind
from reconcile.score.readings import Readings, prompt_readings
from reconcile.score.scored import take_of
from reconcile.score.sheet import Account, Sheet, align
from reconcile.score.shown import Shown

Sizes = Sequence[tuple[float, float]]


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


def _size_density(log_ratio: Floats, sizes: Sizes) -> Floats:
    """Density of the log ratio of a changed number to the true one, by its size."""
    density = sum(
        share / scale * np.exp(-np.maximum(log_ratio, 0.0) / scale) for share, scale in sizes
    )
    return np.where(log_ratio > 0, density, 0.0)
