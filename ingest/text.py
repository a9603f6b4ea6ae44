"""Bytes to text, and text of unknown origin to something that may be shown."""

from __future__ import annotations

import codecs

from ingest.recording import Problem


def text_of(data: bytes) -> tuple[str, list[Problem]]:
    """Decode UTF-8 or UTF-16, with or without a mark, or Windows-1252 where it is neither."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace"), []
    head = data[:200]
    for encoding, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[0::2])):
        if len(head) >= 8 and zeros.count(0) > 0.9 * len(zeros):
            return data.decode(encoding, errors="replace"), []
    problems = []
    if b"\0" in data:
        problems.append(
            Problem("zero_bytes", f"{data.count(0)} zero bytes in the text were left out")
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if error.start >= len(data) - 3:
            # cut inside a character
            text = data[: error.start].decode("utf-8-sig")
        else:
            text = data.decode("cp1252", errors="replace")
    return text.replace("\0", ""), problems


def shown(text: str, most: int = 60) -> str:
    """Give a text fit for a message: one line, not long, nothing that a terminal would act on."""
    plain = "".join(one if one.isprintable() else " " for one in text.strip()[: most + 1])
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"
