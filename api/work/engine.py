"""Which engine makes the results: a result of another one is stale."""

from __future__ import annotations

from importlib.metadata import version

ENGINE_VERSION = version("intervouch")
