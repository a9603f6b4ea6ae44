"""Write a `Recording` as GPX 1.1 with the track-point extension for heart rate and cadence."""

from __future__ import annotations

import numpy as np

from ingest.recording import Recording
from ingest.writers.columns import moment_texts, number_texts

GPX = "http://www.topografix.com/GPX/1/1"
EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v1"


def write_gpx(recording: Recording, *, power: bool = True) -> bytes:
    """Return the recording as one track; a pause ends one segment and begins the next.

    GPX has no place for laps, distance, a calorie count or a track without positions: every point
    stands at 0, 0. Power goes into a bare `power` element, as is common practice (no source).
    Raises ValueError for a recording without a date or without samples.
    """
    if recording.start is None or recording.time_s.size == 0:
        raise ValueError("GPX needs a date and at least one sample; write CSV instead")
    count = recording.time_s.size
    moments = moment_texts(recording.start, recording.time_s)
    heart_rate = number_texts(recording.heart_rate_bpm, count, 0)
    cadence = number_texts(recording.cadence_per_min, count, 0)
    watts = number_texts(recording.power_w if power else None, count, 0)
    resumes = {
        int(np.searchsorted(recording.time_s, pause.end_s, "left")) for pause in recording.pauses
    }
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="intervouch" xmlns="{GPX}" xmlns:x="{EXTENSION}">',
        "<trk>",
        "<trkseg>",
    ]
    for index in range(count):
        if index and index in resumes:
            lines.append("</trkseg><trkseg>")
        inner = ""
        if heart_rate[index]:
            inner += f"<x:hr>{heart_rate[index]}</x:hr>"
        if cadence[index]:
            inner += f"<x:cad>{cadence[index]}</x:cad>"
        extension = f"<power>{watts[index]}</power>" if watts[index] else ""
        if inner:
            extension += f"<x:TrackPointExtension>{inner}</x:TrackPointExtension>"
        if extension:
            extension = f"<extensions>{extension}</extensions>"
        lines.append(f'<trkpt lat="0.0" lon="0.0"><time>{moments[index]}</time>{extension}</trkpt>')
    lines.append("</trkseg></trk></gpx>\n")
    return "\n".join(lines).encode()
