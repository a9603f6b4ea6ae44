"""The owners of a class's files, all found together.

A file keeps the name that it was uploaded under unless the evidence outweighs how rarely people
take the wrong one. Some evidence is about a file and an athlete (the equipment, the logged score),
some about two files (one heart, one machine's work, a heart that answers a machine), so that a swap
is found whichever of two files was swapped.

Each file is a variable, its owner the value, and evidence about two files a factor between them:
the marginals are found by belief propagation (Pearl 1988; with loops an approximation, Murphy,
Weiss and Jordan 1999, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.recording import Floats

# Judgement, no source: how often a file is under the wrong name, and nobody's in the class.
WRONG_NAME = 0.045
NOBODYS = 0.0005
UNNAMED_NOBODYS = 0.01
# Where one file carries the wrong name, the name's own file often carries the other's: one mistake,
# not two. Log of how much likelier the second is than by itself.
SWAPPED = 4.0
LEAST_TO_TAKE = 0.5
ROUNDS = 200
DAMPING = 0.5
CONVERGED = 1e-3


@dataclass(frozen=True)
class Ownership:
    """A file's owner (None: nobody of this class) and how probable that is.

    odds: how probable everybody is, likeliest first.
    """

    file: str
    owner: str | None
    probability: float
    odds: tuple[tuple[str | None, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Claims:
    """Who claims which file, as log evidence.

    alone: (file, athlete + 1) log prior and evidence of each owner, the last column nobody's.
    pairs: (timeline, file, file) symmetric log evidence that two files belong to one athlete who
    follows that timeline, against two athletes; strongly negative where one cannot have made both.
    timeline_of: (athlete,) which timeline each follows. named: (file,) the athlete that a file was
    uploaded under, or -1. worn: (file,) whether it is of a device that one person wears.
    """

    alone: Floats
    pairs: Floats
    timeline_of: NDArray[np.intp]
    named: NDArray[np.intp]
    worn: NDArray[np.bool_]


def name_prior(
    uploaders: Sequence[str], athletes: Sequence[str], nobodys_odds: float | None = None
) -> Floats:
    """Log prior of each athlete, and last of nobody, given the name a file was uploaded under.

    nobodys_odds: that the file is nobody's; as usual where None.
    """
    people = len(athletes)
    named = np.array([athlete in uploaders for athlete in athletes])
    nobody = NOBODYS if named.any() else UNNAMED_NOBODYS
    if nobodys_odds is not None:
        nobody = min(nobodys_odds / (1 + nobodys_odds), 1 - 1e-9)
    if not named.any():
        return np.asarray(np.log(np.append(np.full(people, (1 - nobody) / people), nobody)))
    shares = np.where(named, 1 - WRONG_NAME, WRONG_NAME / max(people - 1, 1)) * (1 - nobody)
    return np.asarray(np.log(np.append(shares, nobody)))


def assign_owners(files: Sequence[str], athletes: Sequence[str], claims: Claims) -> list[Ownership]:
    """The likeliest owner of each file, and how probable everybody is, all files together.

    A file is taken from the class, or from the name that it carries, only where that is more likely
    right than not: to take it costs more than to ask about the likeliest of several owners.
    """
    shares = _marginals(claims)
    people = [*athletes, None]
    out = []
    for file, row, named in zip(files, shares, claims.named, strict=True):
        odds = tuple((people[o], float(row[o])) for o in np.argsort(-row, kind="stable"))
        owner, probability = odds[0]
        if probability < LEAST_TO_TAKE and named >= 0:
            owner, probability = people[named], float(row[named])
        elif owner is None and probability < LEAST_TO_TAKE and len(odds) > 1:
            owner, probability = odds[1]
        out.append(Ownership(file, owner, probability, odds))
    return out


def _marginals(claims: Claims) -> Floats:
    """(file, athlete + 1) How probable each owner is, given all evidence."""
    files, columns = claims.alone.shape
    together = np.expm1(claims.pairs[claims.timeline_of].transpose(1, 2, 0))
    rows = np.arange(files)
    together[rows, rows] = 0.0
    messages = np.zeros((files, files, columns))
    for _ in range(ROUNDS):
        cavity = _cavity(claims.alone, messages)
        sent = np.ones_like(messages)
        sent[:, :, :-1] += cavity[:, :, :-1] * together
        new = np.log(np.maximum(sent, 1e-12))
        changed = float(np.abs(new - messages).max(initial=0.0))
        messages = DAMPING * messages + (1 - DAMPING) * new
        if changed < CONVERGED:
            break
    belief = claims.alone + messages.sum(axis=0)
    shares = np.exp(belief - belief.max(axis=1, keepdims=True))
    shares /= shares.sum(axis=1, keepdims=True)
    return _with_swaps(claims, shares, _cavity(claims.alone, messages), together)


def _cavity(alone: Floats, messages: Floats) -> Floats:
    """(file, other, owner) How probable a file's owners are without what the other file says."""
    belief = alone + messages.sum(axis=0)
    cavity = belief[:, None, :] - messages.transpose(1, 0, 2)
    cavity = np.exp(cavity - cavity.max(axis=2, keepdims=True))
    return np.asarray(cavity / cavity.sum(axis=2, keepdims=True))


def _with_swaps(claims: Claims, shares: Floats, cavity: Floats, together: Floats) -> Floats:
    """The probabilities with swaps as likely as they are.

    A swap: of two files from devices of a kind each has the other's name. How probable each is
    without the bonus follows from the two files' cavities; it is raised once and not passed on.
    """
    named, worn = claims.named, claims.worn
    swaps = (named[:, None] >= 0) & (named[None, :] >= 0) & (named[:, None] != named[None, :])
    here, there = np.nonzero(swaps & (worn[:, None] == worn[None, :]))
    same = (cavity * cavity.transpose(1, 0, 2))[:, :, :-1]
    normal = 1.0 + (same * together).sum(axis=2)
    both = cavity[here, there, named[there]] * cavity[there, here, named[here]]
    raised = shares.copy()
    np.add.at(raised, (here, named[there]), both / normal[here, there] * np.expm1(SWAPPED))
    return np.asarray(raised / raised.sum(axis=1, keepdims=True))
