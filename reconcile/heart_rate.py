"""One athlete's heart rate over the whole class, joined from whatever recorded it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ingest.recording import Floats, Problem, Recording
from reconcile.energy.evidence import HeartRate, HeartSource
from reconcile.energy.sensor import doubt

SPARSE_S = 8.0


def athlete_heart_rate(
    recordings: Mapping[str, tuple[Recording, float]],
) -> tuple[HeartRate | None, dict[str, tuple[Problem, ...]]]:
    """Heart rate on a 1 Hz grid of the class clock, and what was doubtful about it, by file.

    recordings: by file, with the class time of its first sample. At each second the recording
    with the most trust there is taken; one paired with a machine (a strap) first.
    """
    parts = [
        (file, r, x)
        for file, (r, x) in recordings.items()
        if r.heart_rate_bpm is not None and len(r.time_s) > 2
    ]
    if not parts:
        return None, {}
    first = np.floor(min(x + float(r.time_s[0]) for _, r, x in parts))
    last = np.ceil(max(x + float(r.time_s[-1]) for _, r, x in parts))
    grid = np.arange(first, last + 1.0)
    bpm, trust = np.full(len(grid), np.nan), np.zeros(len(grid))
    problems: dict[str, tuple[Problem, ...]] = {}
    sources: set[HeartSource] = set()
    for file, recording, x in sorted(parts, key=lambda part: part[1].device == "watch"):
        assert recording.heart_rate_bpm is not None
        found = doubt(recording.time_s, recording.heart_rate_bpm, recording.cadence_per_min)
        problems[file] = found.problems
        own, own_trust = _on_grid(grid, recording.time_s + x, recording.heart_rate_bpm, found.trust)
        better = np.isfinite(own) & ((own_trust > trust + 0.05) | ~np.isfinite(bpm))
        bpm[better], trust[better] = own[better], own_trust[better]
        sources.add(_source(recording))
    if not np.isfinite(bpm).any():
        return None, problems
    source: HeartSource = sources.pop() if len(sources) == 1 else "unknown"
    return HeartRate(grid, bpm, trust, source), problems


def _source(recording: Recording) -> HeartSource:
    """What kind of sensor it was: a machine's is a strap, and so is one that tells single beats."""
    if recording.device in ("rower", "ski", "bike") or recording.beat_interval_s is not None:
        return "strap"
    return "optical" if recording.device == "watch" else "unknown"


def doubtful_share(heart: HeartRate, spans_s: Sequence[tuple[float, float]]) -> float:
    """Share of the known heart rate inside some spans of the class that is hardly trusted."""
    inside = np.zeros(len(heart.time_s), dtype=bool)
    for low, high in spans_s:
        inside |= (heart.time_s >= low) & (heart.time_s < high)
    inside &= np.isfinite(heart.bpm)
    return float(np.mean(heart.trust[inside] < 0.5)) if inside.any() else 0.0


def _on_grid(grid: Floats, time_s: Floats, bpm: Floats, trust: Floats) -> tuple[Floats, Floats]:
    """Values and trust at the grid's seconds; NaN and 0 where no sample is near."""
    good = np.isfinite(bpm) & (bpm > 25)
    if np.count_nonzero(good) < 2:
        return np.full(len(grid), np.nan), np.zeros(len(grid))
    times = time_s[good]
    values = np.interp(grid, times, bpm[good], left=np.nan, right=np.nan)
    following = np.clip(np.searchsorted(times, grid), 1, len(times) - 1)
    gap = times[following] - times[following - 1]
    values[gap > 2 * SPARSE_S] = np.nan
    weights = np.interp(grid, times, trust[good], left=0.0, right=0.0)
    return values, np.where(np.isfinite(values), weights, 0.0)
