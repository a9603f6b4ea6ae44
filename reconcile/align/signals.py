"""What alignment looks at in one recording: heart rate on a grid, machine work as bouts, laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.recording import Floats
from reconcile.align.device_clock import DeviceClock
from reconcile.align.edges import Bout, bridged
from reconcile.align.heart import heart_grid
from reconcile.align.rhythm import rhythm_bouts
from reconcile.classes import Upload
from reconcile.machine import Machine, MachineTrack, Pull, machine_of, machine_track

# Hard work is above this share of a recording's hardest stretch, or of its usual hard work.
HARDEST_S = 15.0
HARDEST_SHARE = 0.4
# Power on either side of a change from easy to hard is judged over so long.
LEVEL_S = 6.0
EASY_SHARE = 0.5
# Shares of hard power at which easy work may be told from it, how near (a logarithm) a power lies
# to such a cut, and which share of all pulling is no more than chance there.
CUTS = np.linspace(0.4, 0.75, 15)
NEAR_CUT, FEW = 0.1, 0.01
EDGE_SNAP_S = 4.0
LEAST_BOUT_S = 5.0
# Power is smoothed over so long; what a change spans where samples are far apart, in samples.
SMOOTHED_S = 5.0
CHANGE_SAMPLES = 1.5


@dataclass(frozen=True, eq=False)
class Signals:
    """One readable upload, prepared once for every stage.

    heart: heart rate every 2 s from the first sample, empty where there is none.
    track: machine work and counts on the recording's clock; None without a machine.
    bouts: stretches of machine work, hard and easy apart. rhythm: stretches of a quick cadence at
    the wrist, of a recording without a machine.
    length_s: time of the last sample.
    device_clock: where the recording is spread out over its pauses, the way back to its own clock.
    """

    upload: Upload
    heart: Floats
    machine: Machine | None
    track: MachineTrack | None
    bouts: tuple[Bout, ...]
    rhythm: tuple[Bout, ...]
    length_s: float
    device_clock: DeviceClock | None = None

    @property
    def by_strap(self) -> bool:
        """Whether heart rate is known to be a chest strap's.

        A machine hears one, and only straps tell the time from beat to beat. Common practice, no
        source.
        """
        recording = self.upload.recording
        beats = recording is not None and recording.beat_interval_s is not None
        return self.track is not None or beats


def prepare(upload: Upload, equipment: str | None, *, pedals: bool = False) -> Signals | None:
    """Signals of an upload; None where it could not be read.

    equipment: as logged. pedals: whether a bike may have been used, which a watch that hears it
    shows as it shows quick feet: its cadence then tells nothing.
    """
    recording = upload.recording
    if recording is None or len(recording.time_s) == 0:
        return None
    heart = np.zeros(0)
    if recording.heart_rate_bpm is not None:
        heart = heart_grid(recording.time_s, recording.heart_rate_bpm)
    machine = machine_of(recording, upload.source, equipment)
    track = machine_track(recording, machine, upload.file) if machine is not None else None
    bouts = bouts_of(track) if track is not None else ()
    rhythm = rhythm_bouts(recording) if track is None and not pedals else ()
    return Signals(upload, heart, machine, track, bouts, rhythm, float(recording.time_s[-1]))


def bouts_of(track: MachineTrack) -> tuple[Bout, ...]:
    """Pulls cut where hard work turns into easy pulling, short breaks bridged."""
    pulls = track.pulls
    if track.pulled_power_w is None or not pulls:
        return _as_bouts(bridged(pulls), easy=False)
    power = track.pulled_power_w
    working = power[track.pulling]
    if len(working) < 10:
        return _as_bouts(bridged(pulls), easy=False)
    step_s = float(np.median(np.diff(track.time_s)))
    change_s = CHANGE_SAMPLES * step_s
    side = int(SMOOTHED_S / step_s) // 2
    smooth = np.convolve(
        np.pad(power, side, mode="edge"), np.ones(2 * side + 1) / (2 * side + 1), mode="valid"
    )
    level = max(
        _between_easy_and_hard(smooth[track.pulling], float(np.percentile(working, 80))),
        HARDEST_SHARE * _hardest(track.time_s, power),
    )
    hard = (smooth > level) & track.pulling
    # A file that holds strokes only has no sample between one pull and the next.
    number = np.searchsorted([pull.end_s for pull in pulls], track.time_s)
    parted = np.diff(number) != 0
    starts = np.flatnonzero(hard & np.append(True, ~hard[:-1] | parted))
    ends = np.flatnonzero(hard & np.append(~hard[1:] | parted, True))
    runs = [
        Pull(
            _change(track.time_s, power, int(a), up=True),
            _change(track.time_s, power, int(b), up=False),
            float(np.mean(power[a : b + 1])),
        )
        for a, b in zip(starts, ends, strict=True)
    ]
    joined = [run for run in bridged(tuple(runs)) if run.end_s - run.start_s >= LEAST_BOUT_S]
    snapped = [_snapped(run, pulls, max(EDGE_SNAP_S, change_s)) for run in joined]
    least_s = max(LEAST_BOUT_S, change_s)
    soft = [piece for pull in pulls for piece in _without(pull, snapped, least_s)]
    found = (*_as_bouts(snapped, easy=False), *_as_bouts(bridged(tuple(soft)), easy=True))
    return tuple(sorted(found, key=lambda bout: bout.start_s))


def _between_easy_and_hard(power_w: Floats, usual_hard_w: float) -> float:
    """The power between easy and hard work that is pulled least, W; of several the usual one.

    Somebody's easy pulling may be about half of their hard work: a cut there would part it at every
    stroke.
    """
    shares = power_w / max(usual_hard_w, 1e-9)
    pulled = np.count_nonzero(
        np.abs(np.log(np.maximum(shares, 1e-9))[:, None] - np.log(CUTS)) < NEAR_CUT, axis=0
    )
    least = CUTS[pulled <= pulled.min() + FEW * len(power_w)]
    return usual_hard_w * float(least[np.argmin(np.abs(least - EASY_SHARE))])


def _without(pull: Pull, runs: Sequence[Pull], least_s: float) -> list[Pull]:
    """What is left of a pull between hard runs: easy pulling, if it lasts."""
    inside = [run for run in runs if run.start_s < pull.end_s and pull.start_s < run.end_s]
    begins = [pull.start_s, *(run.end_s for run in inside)]
    ends = [*(run.start_s for run in inside), pull.end_s]
    return [
        Pull(begin, end, None)
        for begin, end in zip(begins, ends, strict=True)
        if end - begin >= least_s
    ]


def _hardest(time_s: Floats, power: Floats) -> float:
    """Highest mean power of any stretch of 15 s, W."""
    done = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * power[1:])])
    later = np.interp(np.minimum(time_s + HARDEST_S, time_s[-1]), time_s, done)
    return float(np.max(later - done)) / HARDEST_S


def _change(time_s: Floats, power: Floats, at: int, *, up: bool) -> float:
    """When power crosses half-way between its levels before and after a change near a sample.

    Between two samples the crossing is found on the straight line that joins them.
    """
    before = power[(time_s < time_s[at] - 2.0) & (time_s >= time_s[at] - 2.0 - LEVEL_S)]
    after = power[(time_s > time_s[at] + 2.0) & (time_s <= time_s[at] + 2.0 + LEVEL_S)]
    if len(before) == 0 or len(after) == 0:
        return float(time_s[at])
    middle = (float(np.median(before)) + float(np.median(after))) / 2
    near = np.flatnonzero(np.abs(time_s - time_s[at]) <= LEVEL_S)[:-1]
    above = power >= middle
    crossed = near[(above[near + 1] != above[near]) & (above[near + 1] == up)]
    if len(crossed) == 0:
        return float(time_s[at])
    first = int(crossed[np.argmin(np.abs(time_s[crossed] - time_s[at]))])
    share = (middle - power[first]) / (power[first + 1] - power[first])
    return float(time_s[first] + share * (time_s[first + 1] - time_s[first]))


def _as_bouts(pulls: Sequence[Pull], *, easy: bool) -> tuple[Bout, ...]:
    return tuple(Bout(pull.start_s, pull.end_s, easy) for pull in pulls)


def _snapped(run: Pull, pulls: tuple[Pull, ...], within_s: float) -> Pull:
    """A bout whose edges are those of the pulls where these are near: they are sharper."""
    start = min((p.start_s for p in pulls), key=lambda s: abs(s - run.start_s))
    end = min((p.end_s for p in pulls), key=lambda s: abs(s - run.end_s))
    return Pull(
        start if abs(start - run.start_s) <= within_s else run.start_s,
        end if abs(end - run.end_s) <= within_s else run.end_s,
        run.mean_power_w,
    )
