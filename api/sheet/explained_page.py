"""An explanation of a recording as one page that stands alone, like the class's own."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.sheet import explained, terminal, words
from api.sheet.columns import Columns, area_path, hold, line_path, reduce_to_columns
from api.sheet.page import environment
from api.sheet.picture import (
    COLUMNS,
    HEART_RATE_GAP_S,
    HEIGHT,
    POWER_GAP_S,
    STEP_PIXELS,
    Band,
    Label,
    Picture,
    heart_rate_range,
    mark,
    minute_ticks,
    percent_scale,
    round_up,
    step_of,
    value_ticks,
)
from reconcile.align.explain import ExplainedBlock, ExplainedRecording

LIKELIHOOD_HEIGHT = 90
# Likelihoods lower than this below the highest are drawn as nothing (nats).
LOWEST_SHOWN = 12.0


@dataclass(frozen=True)
class LikelihoodPicture:
    """What the samples say of each start of a block.

    path lies in a box LIKELIHOOD_HEIGHT high, four units a column; empty where they say nothing.
    places: the candidates at x in per cent, numbered. clock: where the device's clock would have
    it, None where that is outside or not known.
    """

    path: str
    places: tuple[Label, ...]
    clock: float | None
    minutes: tuple[Label, ...]
    description: str


@dataclass(frozen=True)
class PageBlock:
    """One block's part of the page."""

    name: str
    sentences: tuple[str, ...]
    likelihood: LikelihoodPicture
    table: explained.PlaceTable


def explained_page(told: ExplainedRecording, title: str) -> str:
    """The page as HTML text; title: the class's. The same recording gives the same text."""
    return (
        environment()
        .get_template("explained.html.jinja")
        .render(
            told=told,
            title=title,
            status=terminal.sentence(explained.status(told)),
            whose=explained.whose(told),
            picture=signal_picture(told),
            steps=explained.step_rows(told),
            blocks=tuple(
                PageBlock(
                    block.block,
                    explained.place_sentences(block, told.status),
                    likelihood_picture(block),
                    explained.place_table(block),
                )
                for block in told.blocks
            ),
            words=words,
            columns=COLUMNS,
            height=HEIGHT,
            likelihood_height=LIKELIHOOD_HEIGHT,
        )
    )


def signal_picture(told: ExplainedRecording) -> Picture:
    """Heart rate and power over the plan at its likeliest place, with the answer that fits."""
    start_s, end_s = explained.shown_span(told)
    scale = percent_scale(start_s, end_s)
    column_s = (end_s - start_s) / COLUMNS
    beats = told.heart_rate_bpm
    heart = columns_of(told, None if beats is None else np.where(beats > 0, beats, np.nan))
    power = columns_of(told, told.power_w)
    bottom, top = heart_rate_range(heart)
    most_w = round_up(float(np.nanmax(power.high)), 50.0) if power.filled else 50.0
    longest = math.ceil(HEART_RATE_GAP_S / column_s)
    fitted = [
        line_path(
            reduce_to_columns(fit.time_s, fit.bpm, start_s, end_s, COLUMNS),
            bottom,
            top,
            HEIGHT,
            longest,
        )
        for block in told.blocks
        if (fit := block.fitted) is not None
    ]
    bands, bells = plan_bands(told, start_s, end_s)
    return Picture(
        bands=bands,
        bells=bells,
        rounds=(),
        blocks=tuple(
            Label(scale(block.candidates[0].start_s), block.block) for block in told.blocks
        ),
        minutes=minute_ticks(start_s, end_s, scale),
        heart_rate=line_path(heart, bottom, top, HEIGHT, longest),
        heart_rate_ticks=value_ticks(bottom, top, 20.0) if heart.filled else (),
        power=(
            area_path(hold(power, math.ceil(POWER_GAP_S / column_s)), most_w, HEIGHT)
            if power.filled
            else ""
        ),
        power_ticks=value_ticks(0.0, most_w, step_of(most_w)) if power.filled else (),
        efforts=(),
        machine=tuple(mark(a, b, scale) for a, b in told.pulls if a < end_s and b > start_s),
        least_width_px=STEP_PIXELS * max(len(bands), 1),
        description=description(told, heart, power),
        fitted="".join(fitted),
    )


def columns_of(told: ExplainedRecording, values: np.ndarray | None) -> Columns:
    """A signal in the picture's columns; empty where it was not recorded."""
    if values is None:
        return Columns(np.full(COLUMNS, np.nan), np.full(COLUMNS, np.nan))
    return reduce_to_columns(told.time_s, values, *explained.shown_span(told), COLUMNS)


def plan_bands(
    told: ExplainedRecording, start_s: float, end_s: float
) -> tuple[tuple[Band, ...], tuple[float, ...]]:
    """The plan's bands and bells at its likeliest place; none where it has none."""
    if told.status == "unmatched":
        return (), ()
    scale = percent_scale(start_s, end_s)
    bands, bells = [], []
    for block in told.blocks:
        begins_s = block.candidates[0].start_s
        for step in block.steps:
            left, right = scale(begins_s + step.start_s), scale(begins_s + step.end_s)
            bands.append(Band(step.kind, left, round(right - left, 3)))
            bells.append(left)
        bells.append(scale(begins_s + block.steps[-1].end_s))
    return tuple(bands), tuple(bells)


def description(told: ExplainedRecording, heart: Columns, power: Columns) -> str:
    """The picture in a sentence or two."""
    parts = [
        sentence
        for block in told.blocks
        for sentence in explained.place_sentences(block, told.status)
    ]
    if heart.filled:
        low, high = float(np.nanmin(heart.low)), float(np.nanmax(heart.high))
        parts.append(f"Heart rate between {low:.0f} and {high:.0f} beats a minute.")
    if power.filled:
        parts.append(f"Power up to {float(np.nanmax(power.high)):.0f} watts.")
    return " ".join(parts)


def likelihood_picture(block: ExplainedBlock) -> LikelihoodPicture:
    """What the samples say of each start, cut where it is far below the highest."""
    start_s, end_s = float(block.start_s[0]), float(block.start_s[-1])
    scale = percent_scale(start_s, end_s)
    top, lowest = float(np.max(block.log_ratio)), float(np.min(block.log_ratio))
    says = top - lowest >= 0.1
    low = max(lowest, top - LOWEST_SHOWN)
    columns = reduce_to_columns(block.start_s, block.log_ratio, start_s, end_s, COLUMNS)
    clock = block.clock_start_s
    return LikelihoodPicture(
        path=line_path(columns, low, top, LIKELIHOOD_HEIGHT, COLUMNS) if says else "",
        places=tuple(
            Label(scale(place.start_s), str(number))
            for number, place in enumerate(block.candidates, start=1)
        ),
        clock=None if clock is None or not start_s <= clock <= end_s else scale(clock),
        minutes=minute_ticks(start_s, end_s, scale),
        description=likelihood_description(block),
    )


def likelihood_description(block: ExplainedBlock) -> str:
    """The places of a block in words."""
    return " ".join(place_text(block, number) for number in range(len(block.candidates)))


def place_text(block: ExplainedBlock, index: int) -> str:
    """One place in words."""
    place = block.candidates[index]
    return (
        f"Place {index + 1} is {explained.after_first_sample(place.start_s)}, "
        f"{words.in_hundred(place.probability)}."
    )
