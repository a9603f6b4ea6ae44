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
NOBODYS = 0.0005
UNASSIGNED_NOBODYS = 0.015
# Where one file carries the wrong name, the name's own file often carries the other's: one mistake,
# not two. Log of how much likelier the second is than by itself.
SWAPPED = 4.0
ROUNDS = 30


@dataclass(frozen=True)
class Ownership:
    """A file's likeliest owner (None: nobody of this class) and how probable that is.

    odds: the same of everybody, likeliest first.
    """

    file: str
    owner: str | None
    probability: float
    odds: tuple[tuple[str | None, float], ...] = ()


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
    files: Sequence[str],
    names: Sequence[str | None],
    athletes: Sequence[str],
    alone: Floats,
    pairs: Floats,
) -> list[Ownership]:
    """The likeliest owners of all files together.

    names: whom each file was uploaded under.
    alone: (file, athlete + 1) log prior and evidence of each owner, the last column nobody's.
    pairs: (file, file) symmetric log evidence that two files belong to one athlete, against two;
    strongly negative where one athlete cannot have made both. The start is an assignment problem
    (each athlete at most one of the files that exclude each other); then single changes and swaps
    are made as long as they improve the whole.
    """
    nobody = len(athletes)
    named = np.array([athletes.index(n) if n in athletes else -1 for n in names], dtype=np.intp)
    known = _Evidence(alone, pairs, named, nobody)
    owners = _first_guess(alone, pairs, nobody)
    for _ in range(ROUNDS):
        gain, changed = _best_change(owners, known)
        if gain <= 1e-9:
            break
        owners = changed
    out = []
    for i, file in enumerate(files):
        values = np.array([_best_with(i, o, owners, known) for o in range(nobody + 1)])
        shares = np.exp(values - values.max())
        shares /= shares.sum()
        owner = int(owners[i])
        people = [*athletes, None]
        odds = tuple((people[o], float(shares[o])) for o in np.argsort(-shares, kind="stable"))
        out.append(Ownership(file, people[owner], float(shares[owner]), odds))
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


@dataclass(frozen=True, eq=False)
class _Evidence:
    """What every set of owners is valued by; named: whom a file was uploaded under, or -1."""

    alone: Floats
    pairs: Floats
    named: NDArray[np.intp]
    nobody: int

    def value(self, owners: NDArray[np.intp]) -> float:
        """Log posterior of a whole set of owners, up to a constant."""
        total = self.alone[np.arange(len(owners)), owners].sum()
        together = (owners[:, None] == owners[None, :]) & (owners != self.nobody)[:, None]
        total += 0.5 * (self.pairs * together).sum()
        moved = (owners != self.named) & (self.named >= 0)
        swapped = (owners[:, None] == self.named[None, :]) & (
            self.named[:, None] == owners[None, :]
        )
        swapped &= moved[:, None] & moved[None, :]
        return float(total + SWAPPED * np.count_nonzero(swapped.any(axis=1)) / 2)


def _best_change(owners: NDArray[np.intp], known: _Evidence) -> tuple[float, NDArray[np.intp]]:
    """The best single change of owner or swap of two, and what it gains."""
    now = known.value(owners)
    best, changed = now, owners
    for i in range(len(owners)):
        tries = [_with(owners, i, o) for o in range(known.nobody + 1) if o != owners[i]]
        tries += [
            _with(_with(owners, i, int(owners[j])), j, int(owners[i]))
            for j in range(i)
            if owners[j] != owners[i]
        ]
        for candidate in tries:
            value = known.value(candidate)
            if value > best:
                best, changed = value, candidate
    return best - now, changed


def _with(owners: NDArray[np.intp], i: int, owner: int) -> NDArray[np.intp]:
    out = owners.copy()
    out[i] = owner
    return out


def _best_with(i: int, owner: int, owners: NDArray[np.intp], known: _Evidence) -> float:
    """The best value with file i given to an owner: alone, or in a swap with one of their files."""
    moved = _with(owners, i, owner)
    best = known.value(moved)
    if owner not in (owners[i], known.nobody):
        for j in np.flatnonzero(owners == owner):
            best = max(best, known.value(_with(moved, int(j), int(owners[i]))))
    return best
