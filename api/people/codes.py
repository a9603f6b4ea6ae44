"""Links as codes to be photographed (ISO/IEC 18004, drawn by segno)."""

from __future__ import annotations

import io

import segno


def code_svg(address: str, title: str) -> str:
    """The address as a code: black on white whatever is around it, with its quiet zone."""
    stream = io.BytesIO()
    segno.make(address, micro=False, error="m").save(
        stream,
        kind="svg",
        scale=4,
        border=4,
        dark="#000",
        light="#fff",
        title=title,
        xmldecl=False,
        omitsize=True,
    )
    return stream.getvalue().decode()
