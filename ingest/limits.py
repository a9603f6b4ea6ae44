"""How much a file may ask for; generous for a recording, hard for everything else."""

from __future__ import annotations

MAX_FILE_BYTES = 24 * 2**20
"""One file, after it is unpacked: a day of every channel once a second is below this."""

MAX_GZIP_MEMBERS = 20
"""Streams in one gzipped file, one after another."""

MAX_ARCHIVE_BYTES = 128 * 2**20
"""All members of one zip together, unpacked."""

MAX_ARCHIVE_MEMBERS = 200
"""Files in one zip: a large class, several devices each."""

MAX_SAMPLES = 300_000
"""Data points in one file: three days, once a second."""

MAX_FIT_PARTS = 50
"""FIT files chained in one."""

MAX_FIT_MESSAGES = 500_000
"""Messages of one FIT file: a day, five a second."""

MAX_FIT_DEFINITIONS = 3_000
"""Definitions in one FIT file; some devices write one before every lap."""

MAX_FIT_WHOLE_MESSAGES = 20_000
"""Messages of one FIT file that come now and then: laps, events, changes of gear."""

MAX_SPAN_S = 3 * 86_400.0
"""A clock that strays further than this from the recording's middle is taken to be at fault."""

LATEST_S = 7_258_118_400.0
"""2200-01-01 in seconds since 1970; nothing is recorded later, or runs for so long."""

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

MAX_CELL_CHARACTERS = 80
"""One cell of a CSV: no heading, number or time is longer."""

MAX_PREAMBLE_LINES = 60
"""Lines of a CSV before its header."""

HEAD_BYTES = 4_096
"""What the readers see of a file when they say whether it is theirs."""
