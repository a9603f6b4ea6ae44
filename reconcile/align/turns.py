"""Machines' files without a name that hold the turns of several athletes.

Where a class runs in waves or stations, one machine serves several people in turn. Who they were
follows from who is left: those who logged this kind of machine and of whom no machine's file came
under a name. They are told from one athlete by the pulls, which fill everybody's turns.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from reconcile.timeline import PlannedStep

Way = tuple[float, Mapping[str, tuple[PlannedStep, ...]]]
"""How late somebody's blocks begin, and their steps."""

# Log ratio by which the turns of all must explain the pulls better than those of any one athlete.
LEAST_BETTER = 4.0


def in_turns(
    left: Sequence[str], ways: Mapping[str, Way], support: Callable[[tuple[str, ...]], float]
) -> tuple[str, ...]:
    """Those who used a nameless machine in turns; nobody where it is not plainly several.

    left: those who logged this kind of machine and of whom no machine's file came under a name.
    ways: everybody's. support: log evidence of the file under the ways of some of them together,
    the bell being known. Two who go the same way cannot have had their turns on one machine: where
    it may be either, nobody is named.
    """
    theirs = [ways[name] for name in left]
    if len(left) < 2 or any(way in theirs[:number] for number, way in enumerate(theirs)):
        return ()
    names = tuple(left)
    together = support(names)
    while len(names) > 2:  # who had no turn on it explains it better by not being among them
        best = max((tuple(n for n in names if n != name) for name in names), key=support)
        if support(best) <= together:
            break
        names, together = best, support(best)
    of_one = max(support((name,)) for name in ways)
    return names if together > of_one + LEAST_BETTER else ()
