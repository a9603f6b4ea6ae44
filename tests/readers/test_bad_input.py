"""Damaged and hostile files, each with the problem that the person who uploaded it sees.

Every file is made here. `usable` is how many data points are still read from it.
"""

from __future__ import annotations

import gzip
import random
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from ingest import FileReading, read_file
from ingest.limits import (
    MAX_ARCHIVE_MEMBERS,
    MAX_FILE_BYTES,
    MAX_FIT_DEFINITIONS,
    MAX_FIT_MESSAGES,
    MAX_FIT_PARTS,
    MAX_FIT_WHOLE_MESSAGES,
    MAX_SAMPLES,
    MAX_XML_DEPTH,
    MAX_XML_ELEMENTS,
    MAX_XML_POINTS,
)
from tests.readers.crafting import (
    FIT_START,
    HEART_RATE,
    TIMESTAMP,
    definition,
    fit_file,
    gpx_file,
    heart_rates,
    row,
    sound,
    tcx_file,
    track_point,
    trackpoint,
    zipped,
)

POINTS = "".join(trackpoint(second) for second in range(5))
TRACK = "".join(track_point(second) for second in range(5))
TABLE = b"time_s,hr\n0,100\n1,101\n2,102\n"

BOMB = (
    '<!DOCTYPE b [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY a{step} "{f"&a{step - 1 or str()};" * 10}">' for step in range(1, 10))
    + "]>"
)
OUTSIDE = '<!DOCTYPE b [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
OUTSIDE_SUBSET = '<!DOCTYPE b SYSTEM "file:///etc/hostname">'
PARAMETER = '<!DOCTYPE b [<!ENTITY % a SYSTEM "file:///etc/hostname"> %a;]>'


@dataclass(frozen=True)
class Case:
    """A file, its name, the code of the problem that it must have, and what is left of it.

    says: what the problem's message must name besides, the place above all.
    """

    what: str
    make: Callable[[], bytes]
    name: str
    code: str
    usable: int = 0
    says: tuple[str, ...] = ()


def noise(size: int) -> bytes:
    return random.Random(20260309).randbytes(size)


def encrypted() -> bytes:
    """A zip whose member says that it is encrypted."""
    data = bytearray(zipped({"a.csv": TABLE}, method=zipfile.ZIP_STORED))
    data[6] |= 1  # the local header's flags
    data[data.rindex(b"PK\x01\x02") + 8] |= 1  # and the directory's
    return bytes(data)


def zip_with_broken_member() -> bytes:
    # its data begin after a local header of 30 bytes and a name of 5
    return overwritten(zipped({"a.csv": TABLE * 20}), 35)


def gzip_that_breaks() -> bytes:
    """A gzip with a sound block and then one of a kind that there is not."""
    packer = zlib.compressobj(wbits=zlib.MAX_WBITS | 16)
    return packer.compress(TABLE) + packer.flush(zlib.Z_FULL_FLUSH) + b"\xff" * 9


def zip_with_wrong_checksum() -> bytes:
    data = bytearray(zipped({"a.csv": TABLE}))
    data[data.rindex(b"PK\x01\x02") + 16] ^= 1
    return bytes(data)


def zip_of_unknown_method() -> bytes:
    data = bytearray(zipped({"a.csv": TABLE}, method=zipfile.ZIP_STORED))
    data[8:10] = struct.pack("<H", 97)
    at = data.rindex(b"PK\x01\x02")
    data[at + 10 : at + 12] = struct.pack("<H", 97)
    return bytes(data)


def fit_with(*messages: bytes) -> bytes:
    return fit_file(b"".join(messages))


def overwritten(data: bytes, at: int) -> bytes:
    return data[:at] + b"\xff" * 9 + data[at + 9 :]


def flipped(data: bytes, at: int) -> bytes:
    changed = bytearray(data)
    changed[at] ^= 0x40
    return bytes(changed)


CASES = [
    # nothing there
    Case("no bytes", lambda: b"", "a.fit", "empty"),
    Case("blanks only", lambda: b" \n\t\r\n  ", "a.csv", "empty"),
    Case("zero bytes only", lambda: bytes(5000), "a.fit", "empty"),
    Case("an empty gzip", lambda: gzip.compress(b""), "a.fit.gz", "empty"),
    Case("random bytes", lambda: noise(4000), "a.fit", "unknown_format", says=("FIT", "CSV")),
    Case("random bytes as a table", lambda: noise(4000), "a.csv", "unknown_format"),
    Case("a picture", lambda: b"\x89PNG\r\n\x1a\n" + noise(900), "a.gpx", "unknown_format"),
    Case("prose", lambda: b"I lost my watch\nsorry\n", "a.csv", "unknown_format"),
    Case("a web page", lambda: b"<!doctype html><html><body>x</body></html>", "a.tcx",
         "unknown_format"),
    Case("other data", lambda: b'{"hr": [100, 101], "t": [0, 1]}', "a.csv", "unknown_format"),
    # FIT
    Case("FIT: header only", lambda: fit_file(b""), "a.fit", "no_samples"),
    Case("FIT: half a header", lambda: fit_file(b"")[:12], "a.fit", "damaged", says=("byte",)),
    Case("FIT: no samples in it", lambda: fit_with(definition(0, [(0, 1, 0)]), row("<B", 4)),
         "a.fit", "no_samples"),
    Case("FIT: cut in its first definition", lambda: sound("fit")[:20], "a.fit", "damaged",
         says=("byte 20 of",)),
    Case("FIT: cut in the middle", lambda: fit_with(heart_rates([90] * 50))[:-100], "a.fit",
         "truncated", usable=33, says=("byte 228", "328")),
    Case("FIT: the checksum is missing", lambda: fit_with(heart_rates([90] * 5))[:-2], "a.fit",
         "truncated", usable=5),
    Case("FIT: wrong checksum", lambda: fit_file(heart_rates([90] * 5), crc=1), "a.fit",
         "bad_crc", usable=5, says=("byte 56",)),
    Case("FIT: a flipped bit", lambda: flipped(fit_with(heart_rates([90] * 5)), -3), "a.fit",
         "bad_crc", usable=5),
    Case("FIT: a length far too large", lambda: fit_file(heart_rates([90] * 5), length=2**31),
         "a.fit", "truncated", usable=5),
    Case("FIT: a length of 0", lambda: fit_file(heart_rates([90] * 5), length=0)[:-2], "a.fit",
         "truncated", usable=5),
    Case("FIT: a message before its definition",
         lambda: fit_with(heart_rates([90] * 5), row("<IB", 1, 1, local=9)), "a.fit", "damaged",
         usable=5, says=("byte 56", "definition")),
    Case("FIT: rubbish after the end", lambda: fit_with(heart_rates([90] * 5)) + noise(50),
         "a.fit", "trailing_bytes", usable=5, says=("byte 58",)),
    Case("FIT: a definition of 255 fields of 255 bytes and nothing in them",
         lambda: fit_with(heart_rates([90] * 5), definition(20, [(9, 255, 2)] * 255, local=1),
                          b"\x01abc"),
         "a.fit", "truncated", usable=5),
    Case("FIT: a field's size is no multiple of its type, of a field that nobody knows",
         lambda: fit_with(definition(20, [TIMESTAMP, (200, 3, 0x86), HEART_RATE]),
                          row("<I3sB", FIT_START, b"abc", 90)) + b"\0",
         "a.fit", "trailing_bytes", usable=1),
    Case("FIT: too many messages of nothing",
         lambda: fit_with(definition(20, [(250, 0, 0)]), bytes(MAX_FIT_MESSAGES + 1)), "a.fit",
         "too_large", says=(str(MAX_SAMPLES),)),
    Case("FIT: too many laps",
         lambda: fit_with(definition(19, [(250, 0, 0)]), bytes(MAX_FIT_WHOLE_MESSAGES + 2)),
         "a.fit", "damaged", says=("more messages",)),
    Case("FIT: too many definitions",
         lambda: fit_with(definition(99, []) * (MAX_FIT_DEFINITIONS + 1)), "a.fit", "damaged",
         says=("more kinds",)),
    Case("FIT: too many files in a chain",
         lambda: fit_file(heart_rates([90])) * (MAX_FIT_PARTS + 1), "a.fit", "too_large"),
    Case("FIT: samples without a time",
         lambda: fit_with(definition(20, [HEART_RATE]), row("<B", 90), row("<B", 91)), "a.fit",
         "no_samples"),
    Case("FIT: time runs backward",
         lambda: fit_with(heart_rates([90] * 5), heart_rates([91] * 3)), "a.fit",
         "duplicate_time", usable=8),
    # TCX
    Case("TCX: an entity bomb", lambda: tcx_file(POINTS, before=BOMB), "a.tcx", "unsafe_markup",
         says=("line 1",)),
    Case("TCX: an outside entity", lambda: tcx_file(POINTS, before=OUTSIDE), "a.tcx",
         "unsafe_markup"),
    Case("TCX: a document type from outside", lambda: tcx_file(POINTS, before=OUTSIDE_SUBSET),
         "a.tcx", "unsafe_markup"),
    Case("TCX: cut in a trackpoint", lambda: tcx_file(POINTS)[:-150], "a.tcx", "truncated",
         usable=4, says=("line 1",)),
    Case("TCX: cut before any", lambda: tcx_file(POINTS)[:300], "a.tcx", "damaged",
         says=("line 1", "column")),
    Case("TCX: a stray bracket",
         lambda: tcx_file(trackpoint(0) + trackpoint(1) + "< <" + trackpoint(2)), "a.tcx",
         "damaged", usable=2, says=("line 1",)),
    Case("TCX: text that is no UTF-8",
         lambda: tcx_file(trackpoint(0)).replace(b"</Track>", b"\xff\xfe</Track>"), "a.tcx",
         "damaged", usable=1),
    Case("TCX: an encoding that nobody knows",
         lambda: tcx_file(POINTS).replace(b"UTF-8", b"UTF-99"), "a.tcx", "damaged"),
    Case("TCX: no trackpoints", lambda: tcx_file(""), "a.tcx", "no_samples"),
    Case("TCX: trackpoints without a time", lambda: tcx_file("<Trackpoint/>" * 3), "a.tcx",
         "no_samples"),
    Case("TCX: words for numbers",
         lambda: tcx_file(trackpoint(0) + trackpoint(1, "<Cadence>fast</Cadence>")), "a.tcx",
         "bad_value", usable=2),
    Case("TCX: a value beyond all numbers",
         lambda: tcx_file(trackpoint(0, "<Cadence>1e999</Cadence>") + trackpoint(1)), "a.tcx",
         "impossible_value", usable=2),
    Case("TCX: nested without end", lambda: tcx_file("<Track>" * 5000), "a.tcx", "too_large",
         says=(f"{MAX_XML_DEPTH} deep",)),
    Case("TCX: too many elements", lambda: tcx_file("<a/>" * MAX_XML_ELEMENTS), "a.tcx",
         "too_large", says=(str(MAX_XML_ELEMENTS),)),
    Case("TCX: too many points", lambda: tcx_file("<Trackpoint/>" * (MAX_XML_POINTS + 1)),
         "a.tcx", "too_large", says=(str(MAX_XML_POINTS),)),
    # GPX
    Case("GPX: an entity bomb", lambda: gpx_file(TRACK, before=BOMB), "a.gpx", "unsafe_markup"),
    Case("GPX: an outside parameter", lambda: gpx_file(TRACK, before=PARAMETER), "a.gpx",
         "unsafe_markup"),
    Case("GPX: cut in a point", lambda: gpx_file(TRACK)[:-60], "a.gpx", "truncated", usable=4),
    Case("GPX: a route and no track",
         lambda: gpx_file("").replace(b"<trk>", b'<rte><rtept lat="1" lon="2"/></rte><trk>'),
         "a.gpx", "no_samples"),
    Case("GPX: a long text in a value",
         lambda: gpx_file(track_point(0, f"<extensions><hr>{'9' * 10**6}</hr></extensions>")),
         "a.gpx", "impossible_value", usable=1),
    Case("GPX: many names in a text",
         lambda: gpx_file(TRACK + track_point(9, "<name>" + " xmlns" * 10**6 + "</name>")),
         "a.csv", "wrong_extension", usable=6),
    Case("GPX: a time that is none",
         lambda: gpx_file(TRACK + track_point(7).replace("2026-03-09", "2026-13-77")), "a.gpx",
         "no_time", usable=6),
    # CSV
    Case("CSV: a header only", lambda: b"time_s,hr\n", "a.csv", "no_samples", says=("line 1",)),
    Case("CSV: no header", lambda: b"0,100\n1,101\n", "a.csv", "damaged",
         says=("header", "line 1", "0,100")),
    Case("CSV: no time in the header", lambda: b"hr,power\n100,200\n", "a.csv", "damaged"),
    Case("CSV: no time in the rows", lambda: b"time,hr\nsoon,100\nlater,101\n", "a.csv",
         "no_samples", says=("line 2", "ISO 8601")),
    Case("CSV: the last row lacks cells", lambda: TABLE + b"3", "a.csv", "truncated", usable=3,
         says=("line 5",)),
    Case("CSV: no numbers", lambda: TABLE + b"3,fast\n", "a.csv", "bad_value", usable=4,
         says=("line 5",)),
    Case("CSV: zero bytes in a row", lambda: TABLE + b"3,1\0\0\x0003\n", "a.csv", "zero_bytes",
         usable=4),
    Case("CSV: a line without end", lambda: TABLE + b"3," + b"9" * 10**6 + b"\n4,104\n", "a.csv",
         "long_line", usable=4, says=("line 5",)),
    Case("CSV: a cell without end", lambda: TABLE + b"3," + b"9" * 60_000 + b"\n", "a.csv",
         "bad_value", usable=4),
    Case("CSV: commas without end", lambda: b"time_s,hr\n" + b"," * 10**6, "a.csv", "no_samples"),
    Case("CSV: a quote that never ends", lambda: TABLE + b'3,"103\n4,104\n5,105\n', "a.csv",
         "no_date", usable=6),
    Case("CSV: too many columns", lambda: b"time,hr," + b"x," * 5000 + b"\n1,2\n", "a.csv",
         "too_large", says=("columns",)),
    Case("CSV: a row of far more cells than the header",
         lambda: TABLE + b"3,103" + b",9" * 5000 + b"\n", "a.csv", "no_date", usable=4),
    Case("CSV: too many rows", lambda: b"time,hr\n" + b"1,2\n" * (MAX_SAMPLES + 1), "a.csv",
         "too_large", says=(str(MAX_SAMPLES),)),
    Case("CSV: a heading of brackets", lambda: b"time,hr," + b"(" * 60_000 + b"\n1,2,3\n", "a.csv",
         "unknown_column", usable=1),
    Case("CSV: numbers beyond all sense", lambda: TABLE + b"3,1e400\n4,-1e9\n", "a.csv",
         "impossible_value", usable=5),
    Case("CSV: a clock that jumps by years", lambda: TABLE + b"9e7,100\n", "a.csv", "clock_jump",
         usable=4),
    # gzip
    Case("gzip: cut", lambda: gzip.compress(TABLE)[:-8], "a.csv.gz", "truncated", usable=3),
    Case("gzip: damaged", lambda: flipped(gzip.compress(sound("fit")), 40), "a.fit.gz",
         "damaged", says=("gzip", "byte 0")),
    Case("gzip: a second stream is damaged",
         lambda: gzip.compress(TABLE) + overwritten(gzip.compress(b"3,103"), 10),
         "a.csv.gz", "damaged", usable=3, says=("byte",)),
    Case("gzip: damaged in the middle", gzip_that_breaks, "a.csv.gz", "damaged", usable=3,
         says=("byte 0 or soon after",)),
    Case("gzip: wrong checksum", lambda: flipped(gzip.compress(TABLE), -8), "a.csv.gz", "bad_crc",
         usable=3),
    Case("gzip: a bomb", lambda: gzip.compress(bytes(MAX_FILE_BYTES + 1), 1), "a.csv.gz",
         "too_large", says=(str(MAX_FILE_BYTES),)),
    Case("gzip: many bombs in a row",
         lambda: gzip.compress(bytes(MAX_FILE_BYTES // 2), 1) * 4, "a.csv.gz", "too_large"),
    Case("gzip: a gzip inside a gzip", lambda: gzip.compress(gzip.compress(TABLE)), "a.csv.gz",
         "unknown_format"),
    Case("gzip: streams without end", lambda: gzip.compress(b"") * 5000, "a.csv.gz",
         "empty"),
    Case("gzip: not compressed at all", lambda: TABLE, "a.csv.gz", "wrong_extension", usable=3),
    # zip
    Case("zip: cut", lambda: zipped({"a.csv": TABLE})[:-30], "a.zip", "unsafe_archive"),
    Case("zip: empty", lambda: zipped({}), "a.zip", "unsafe_archive", says=("empty",)),
    Case("zip: encrypted", encrypted, "a.zip", "unsafe_archive", says=("encrypted", "password")),
    Case("zip: a member with a wrong checksum", zip_with_wrong_checksum, "a.zip", "bad_crc",
         usable=3),
    Case("zip: a damaged member", zip_with_broken_member, "a.zip", "unsafe_archive"),
    Case("zip: packed in a way that nobody knows", zip_of_unknown_method, "a.zip",
         "unsafe_archive"),
    Case("zip: a zip inside a zip", lambda: zipped({"b.zip": zipped({"a.csv": TABLE})}), "a.zip",
         "unsafe_archive", says=("zip inside",)),
    Case("zip: a bomb", lambda: zipped({"a.csv": bytes(MAX_FILE_BYTES + 1)}), "a.zip",
         "too_large"),
    Case("zip: too many members",
         lambda: zipped({f"{number}.csv": b"" for number in range(MAX_ARCHIVE_MEMBERS + 1)}),
         "a.zip", "too_large", says=(str(MAX_ARCHIVE_MEMBERS),)),
    Case("zip: a name that climbs out", lambda: zipped({"../../etc/a.csv": TABLE}), "a.zip",
         "unsafe_name", usable=3, says=("etc/a.csv",)),
    Case("zip: a name that rings the bell", lambda: zipped({"a\x07\x1b[2J.csv": TABLE}), "a.zip",
         "unsafe_name", usable=3),
    Case("zip: an office document", lambda: zipped({"[Content_Types].xml": b"<x/>"}), "a.xlsx",
         "unknown_format", says=("CSV",)),
    Case("zip: under the name of a recording", lambda: zipped({"a.csv": TABLE}), "a.fit",
         "wrong_extension", usable=3),
    # names
    Case("a name that says otherwise", lambda: TABLE, "a.fit", "wrong_extension", usable=3,
         says=(".fit", "CSV")),
    Case("a name without an ending", lambda: sound("fit"), "recording", "wrong_extension",
         usable=60, says=("no ending",)),
    Case("more than any recording", lambda: TABLE + b"\n" * MAX_FILE_BYTES, "a.csv", "too_large",
         says=(str(MAX_FILE_BYTES),)),
]  # fmt: skip


def test_there_are_enough_cases() -> None:
    assert len(CASES) >= 40
    assert len({case.what for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.what)
def test_a_bad_file_gives_its_problem_and_whatever_is_sound(case: Case) -> None:
    (found,) = read_file(case.make(), case.name)
    problems = {problem.code: problem.message for problem in found.problems}
    assert case.code in problems, found.problems
    message = problems[case.code]
    for part in case.says:
        assert part in message
    assert message.isprintable()
    if found.recording is None:
        assert case.usable == 0
        # one clear error: which file, and what to do about it
        assert message.startswith(found.name)
        assert message.endswith((".", ",power_w"))
    else:
        assert found.recording.sample_count == case.usable


def test_one_bad_member_of_a_zip_costs_that_member_only() -> None:
    members = {"a.csv": TABLE, "b.fit": noise(500), "c.gpx": sound("gpx"), "d.tcx": b""}
    found = read_file(zipped(members), "class.zip")
    assert [one.name for one in found] == [f"class.zip/{name}" for name in members]
    assert [one.recording is not None for one in found] == [True, False, True, False]


def test_what_operating_systems_leave_in_a_zip_is_passed_over() -> None:
    members = {"__MACOSX/._a.csv": b"x", ".DS_Store": b"x", "a.csv": TABLE, "b/Thumbs.db": b"x"}
    assert [one.name for one in read_file(zipped(members), "a.zip")] == ["a.zip/a.csv"]


def test_all_members_of_a_zip_together_have_a_limit() -> None:
    members = {f"{number}.csv": bytes(MAX_FILE_BYTES - 1) for number in range(7)}
    found = read_file(zipped(members), "a.zip")
    codes = [one.problems[0].code for one in found]
    assert codes == ["empty"] * 5 + ["too_large"] * 2


def test_nothing_outside_the_file_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a reader reached outside its bytes")

    monkeypatch.setattr("builtins.open", refuse)
    monkeypatch.setattr("io.open", refuse)
    monkeypatch.setattr("socket.socket.connect", refuse)
    for case in CASES:
        if case.what.startswith(("TCX: an out", "TCX: a document", "GPX: an out", "zip: a")):
            found: tuple[FileReading, ...] = read_file(case.make(), case.name)
            assert found[0].problems
