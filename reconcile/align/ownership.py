"""The owners of a class's files, all found together.

A file keeps the name that it was uploaded under unless the evidence outweighs how rarely people
take the wrong one. Some evidence is about a file and an athlete (the equipment, the logged score),
some about two files (one heart, one machine's work, a heart that answers a machine), so that a swap
is found whichever of two files was swapped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from ingest.recording import Floats

# Judgement, no source: how often a file is under the wrong name, and nobody's in the class.
WRONG_NAME = 0.05
NOBODYS = 0.004
UNASSIGNED_NOBODYS = 0.03
ROUNDS = 30


@dataclass(frozen=True)
class Ownership:
    """A file's likeliest owner (None: nobody of this class) and how probable that is."""

    file: str
    owner: str | None
    probability: float


def name_prior(uploaders: Sequence[str], athletes: Sequence[str]) -> Floats:
    """Log prior of each athlete, and last of nobody, given the name a file was uploaded under."""
    people = len(athletes)
    named = np.array([athlete in uploaders for athlete in athletes])
    if not named.any():
        shares = np.full(people, (1 - UNASSIGNED_NOBODYS) / max(people, 1))
        return np.asarray(np.log(np.append(shares, UNASSIGNED_NOBODYS)))
    shares = np.where(named, 1 - WRONG_NAME - NOBODYS, WRONG_NAME / max(people - 1, 1))
    return np.asarray(np.log(np.append(shares, NOBODYS)))


def assign_owners(
    files: Sequence[str], athletes: Sequence[str], alone: Floats, pairs: Floats
) -> list[Ownership]:
    """The likeliest owners of all files together.

    alone: (file, athlete + 1) log prior and evidence of each owner, the last column nobody's.
    pairs: (file, file) symmetric log evidence that two files belong to one athlete, against two;
    strongly negative where one athlete cannot have made both. The start is an assignment problem
    (each athlete at most one of the files that exclude each other); then single changes and swaps
    are made as long as they improve the whole.
    """
    nobody = len(athletes)
    owners = _first_guess(alone, pairs, nobody)
    for _ in range(ROUNDS):
        gain, changed = _best_change(owners, alone, pairs, nobody)
        if gain <= 1e-9:
            break
        owners = changed
    out = []
    for i, file in enumerate(files):
        odds = np.array([_best_with(i, o, owners, alone, pairs, nobody) for o in range(nobody + 1)])
        shares = np.exp(odds - odds.max())
        shares /= shares.sum()
        owner = int(owners[i])
        out.append(
            Ownership(file, athletes[owner] if owner < nobody else None, float(shares[owner]))
        )
    return out


def _first_guess(alone: Floats, pairs: Floats, nobody: int) -> NDArray[np.intp]:
    """Files by prior and own evidence, one athlete at most one of those that exclude each other."""
    owners: NDArray[np.intp] = np.argmax(alone, axis=1).astype(np.intp)
    clash = np.flatnonzero((pairs < -5.0).any(axis=1))
    if len(clash) and nobody:
        cost = np.full((len(clash), nobody + len(clash)), 1e3)
        cost[:, :nobody] = -alone[clash, :nobody]
        cost[np.arange(len(clash)), nobody + np.arange(len(clash))] = -alone[clash, nobody]
        rows, columns = linear_sum_assignment(cost)
        owners[clash[rows]] = np.minimum(columns, nobody)
    return owners


def _value(owners: NDArray[np.intp], alone: Floats, pairs: Floats, nobody: int) -> float:
    together = (owners[:, None] == owners[None, :]) & (owners != nobody)[:, None]
    return float(alone[np.arange(len(owners)), owners].sum() + 0.5 * (pairs * together).sum())


def _best_change(
    owners: NDArray[np.intp], alone: Floats, pairs: Floats, nobody: int
) -> tuple[float, NDArray[np.intp]]:
    """The best single change of owner or swap of two, and what it gains."""
    now = _value(owners, alone, pairs, nobody)
    best, changed = now, owners
    for i in range(len(owners)):
        tries = [_with(owners, i, o) for o in range(nobody + 1) if o != owners[i]]
        tries += [
            _with(_with(owners, i, int(owners[j])), j, int(owners[i]))
            for j in range(i)
            if owners[j] != owners[i]
        ]
        for candidate in tries:
            value = _value(candidate, alone, pairs, nobody)
            if value > best:
                best, changed = value, candidate
    return best - now, changed


def _with(owners: NDArray[np.intp], i: int, owner: int) -> NDArray[np.intp]:
    out = owners.copy()
    out[i] = owner
    return out


def _best_with(
    i: int, owner: int, owners: NDArray[np.intp], alone: Floats, pairs: Floats, nobody: int
) -> float:
    """The best value with file i given to an owner: alone, or in a swap with one of their files."""
    moved = _with(owners, i, owner)
    best = _value(moved, alone, pairs, nobody)
    if owner not in (owners[i], nobody):
        for j in np.flatnonzero(owners == owner):
            best = max(best, _value(_with(moved, int(j), int(owners[i])), alone, pairs, nobody))
    return best
