"""Write a `Recording` as TCX (Training Center XML, schema version 2, with activity extension 2)."""

from __future__ import annotations

import numpy as np

from ingest.recording import Device, Lap, Recording
from ingest.writers.columns import moment_texts, number_texts

DATABASE = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"
EXTENSION = "http://www.garmin.com/xmlschemas/ActivityExtension/v2"
SPORTS: dict[Device, str] = {"bike": "Biking"}


def trackpoints(recording: Recording) -> list[str]:
    """Return one trackpoint a sample; a value that is missing has no element."""
    count = recording.time_s.size
    assert recording.start is not None
    moments = moment_texts(recording.start, recording.time_s)
    distance = number_texts(recording.distance_m, count, 2)
    heart_rate = number_texts(recording.heart_rate_bpm, count, 0)
    cadence = number_texts(recording.cadence_per_min, count, 0)
    speed = number_texts(recording.speed_m_s, count, 3)
    power = number_texts(recording.power_w, count, 0)
    points = []
    for index in range(count):
        parts = [f"<Trackpoint><Time>{moments[index]}</Time>"]
        if distance[index]:
            parts.append(f"<DistanceMeters>{distance[index]}</DistanceMeters>")
        if heart_rate[index]:
            parts.append(f"<HeartRateBpm><Value>{heart_rate[index]}</Value></HeartRateBpm>")
        if cadence[index]:
            parts.append(f"<Cadence>{cadence[index]}</Cadence>")
        if speed[index] or power[index]:
            parts.append("<Extensions><x:TPX>")
            if speed[index]:
                parts.append(f"<x:Speed>{speed[index]}</x:Speed>")
            if power[index]:
                parts.append(f"<x:Watts>{power[index]}</x:Watts>")
            parts.append("</x:TPX></Extensions>")
        parts.append("</Trackpoint>")
        points.append("".join(parts))
    return points


def laps_to_write(recording: Recording) -> list[Lap]:
    """Return the recording's laps, the stretches before, between and after them filled in."""
    end_s = float(recording.time_s[-1])
    laps: list[Lap] = []
    clock_s = 0.0
    for lap in recording.laps:
        if lap.start_s > clock_s:
            laps.append(Lap(clock_s, lap.start_s))
        laps.append(lap)
        clock_s = lap.end_s
    if clock_s < end_s or not laps:
        laps.append(Lap(clock_s, end_s))
    return laps


def write_tcx(recording: Recording) -> bytes:
    """Return the recording as one TCX activity; a pause ends one track and begins the next.

    A trackpoint has no place for a running calorie count: only a watch's total is written.
    Raises ValueError for a recording without a date or without samples.
    """
    if recording.start is None or recording.time_s.size == 0:
        raise ValueError("TCX needs a date and at least one sample; write CSV instead")
    points = trackpoints(recording)
    resumes = {
        int(np.searchsorted(recording.time_s, pause.end_s, "left")) for pause in recording.pauses
    }
    first = moment_texts(recording.start, recording.time_s[:1])[0]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<TrainingCenterDatabase xmlns="{DATABASE}" xmlns:x="{EXTENSION}">',
        f'<Activities><Activity Sport="{SPORTS.get(recording.device, "Other")}">',
        f"<Id>{first}</Id>",
    ]
    laps = laps_to_write(recording)
    edges = [int(np.searchsorted(recording.time_s, lap.start_s, "left")) for lap in laps]
    edges = [0, *edges[1:], recording.time_s.size]
    for lap, left, right in zip(laps, edges, edges[1:], strict=False):
        begins = moment_texts(recording.start, np.array([max(lap.start_s, 0.0)]))[0]
        lines.append(f'<Lap StartTime="{begins}">')
        lines.append(f"<TotalTimeSeconds>{lap.end_s - lap.start_s:.1f}</TotalTimeSeconds>")
        lines.append("<DistanceMeters>0</DistanceMeters>")
        share = (lap.end_s - lap.start_s) / max(float(recording.time_s[-1]), 1.0)
        calories = 0 if recording.total_calories is None else recording.total_calories * share
        lines.append(f"<Calories>{calories:.0f}</Calories>")
        lines.append("<Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod>")
        tracks = [index for index in sorted(resumes) if left < index < right]
        for start, end in zip([left, *tracks], [*tracks, right], strict=True):
            if start < end:
                lines += ["<Track>", *points[start:end], "</Track>"]
        lines.append("</Lap>")
    lines.append("</Activity></Activities></TrainingCenterDatabase>\n")
    return "\n".join(lines).encode()
