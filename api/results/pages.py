"""What people are called on the pages and in the tables of a result."""

from __future__ import annotations

from collections import Counter


def labels_of(names: dict[str, str]) -> dict[str, str]:
    """What each athlete is called on a sheet: the name, with the handle where two share it."""
    counts = Counter(names.values())
    return {
        handle: name if counts[name] == 1 else f"{name} ({handle})"
        for handle, name in names.items()
    }
