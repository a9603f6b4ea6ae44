"""How much a file may ask for; generous for a recording, hard for everything else."""

from __future__ import annotations

MAX_FILE_BYTES = 48 * 2**20
"""One file, after it is unpacked: a day of every channel once a second is below this."""

MAX_ARCHIVE_BYTES = 128 * 2**20
"""All members of one zip together, unpacked."""

MAX_ARCHIVE_MEMBERS = 200
"""Files in one zip: a large class, several devices each."""

MAX_SAMPLES = 1_000_000
"""Data points in one file: eleven days, once a second."""

MAX_FIT_PARTS = 50
"""FIT files chained in one."""

MAX_FIT_MESSAGES = 1_000_000
"""Messages of one FIT file: four days, three a second."""

MAX_FIT_WHOLE_MESSAGES = 50_000
"""Messages of one FIT file that are not samples: laps, events, beats kept by a strap."""

MAX_SPAN_S = 3 * 86_400.0
"""A clock that strays further than this from the recording's middle is taken to be at fault."""

MAX_XML_DEPTH = 32
"""Elements inside one another; TCX and GPX with extensions need about ten."""

MAX_XML_ELEMENTS = 1_000_000
"""Elements in one document: a day once a second, ten elements a point."""

MAX_XML_POINTS = 100_000
"""Points in one TCX or GPX document: a day, once a second."""

MAX_XML_TEXT = 64
"""Characters of one element's text that are looked at; numbers and times are shorter."""

MAX_LINE_CHARACTERS = 65_536
"""One line of a CSV."""

MAX_COLUMNS = 400
"""Columns of a CSV."""

MAX_PREAMBLE_LINES = 60
"""Lines of a CSV before its header."""

HEAD_BYTES = 4_096
"""What the readers see of a file when they say whether it is theirs."""
