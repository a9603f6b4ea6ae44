"""The owners of all files together, against every set of owners written out and weighed."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from reconcile.align.ownership import SWAPPED, Claims, assign_owners, name_prior

NAMES = ["a01", "a02", "a03"]


def claims_of(
    alone: np.ndarray,
    pairs: np.ndarray | None = None,
    *,
    named: tuple[int, ...] | None = None,
    timeline_of: tuple[int, ...] = (0, 0, 0),
    worn: tuple[bool, ...] | None = None,
) -> Claims:
    files = len(alone)
    together = np.zeros((max(timeline_of) + 1, files, files)) if pairs is None else pairs
    return Claims(
        np.asarray(alone, dtype=float),
        together,
        np.array(timeline_of),
        np.full(files, -1) if named is None else np.array(named),
        np.zeros(files, dtype=bool) if worn is None else np.array(worn),
    )


def marginals(claims: Claims) -> np.ndarray:
    """Every set of owners weighed, each as the docstring of `Claims` says."""
    files, columns = claims.alone.shape
    shares = np.zeros((files, columns))
    for owners in product(range(columns), repeat=files):
        log = sum(claims.alone[i, o] for i, o in enumerate(owners))
        for i in range(files):
            for j in range(i):
                if owners[i] == owners[j] < columns - 1:
                    log += claims.pairs[claims.timeline_of[owners[i]], i, j]
                exchanged = owners[i] == claims.named[j] and owners[j] == claims.named[i]
                if exchanged and -1 not in claims.named[[i, j]] and owners[i] != owners[j]:
                    log += SWAPPED * float(claims.worn[i] == claims.worn[j])
        shares[np.arange(files), owners] += np.exp(log)
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def found(claims: Claims) -> np.ndarray:
    files = [f"file {number}" for number in range(len(claims.alone))]
    out = np.zeros(claims.alone.shape)
    for row, ownership in enumerate(assign_owners(files, NAMES, claims)):
        for owner, share in ownership.odds:
            out[row, NAMES.index(owner) if owner is not None else len(NAMES)] = share
    return out


def drawn(rng: np.random.Generator, files: int) -> Claims:
    pairs = rng.choice([-9.0, -2.0, 0.0, 1.5, 4.0], size=(2, files, files))
    pairs = np.tril(pairs, -1) + np.swapaxes(np.tril(pairs, -1), 1, 2)
    return claims_of(
        rng.normal(0, 2, (files, 4)),
        pairs,
        named=tuple(rng.integers(-1, 3, files)),
        timeline_of=(0, 1, 0),
        worn=tuple(rng.random(files) < 0.5),
    )


def test_two_files_get_the_exact_probabilities_of_each_owner(rng: np.random.Generator) -> None:
    for _ in range(40):
        claims = drawn(rng, 2)
        assert found(claims) == pytest.approx(marginals(claims), abs=2e-3)


def test_several_files_that_all_bear_on_each_other_get_nearly_these(
    rng: np.random.Generator,
) -> None:
    apart = np.array(
        [np.abs(found(c) - marginals(c)).max() for c in (drawn(rng, 4) for _ in range(60))]
    )
    assert np.median(apart) < 0.12
    assert np.mean(apart) < 0.2


def test_probabilities_sum_to_one_and_the_likeliest_comes_first(rng: np.random.Generator) -> None:
    for ownership in assign_owners(["f", "g", "h"], NAMES, drawn(rng, 3)):
        shares = [share for _, share in ownership.odds]
        assert sum(shares) == pytest.approx(1.0)
        assert shares == sorted(shares, reverse=True)
        assert (ownership.owner, ownership.probability) in ownership.odds


@pytest.mark.parametrize(
    ("shares", "named", "owner"),
    [
        ((0.10, 0.60, 0.25, 0.05), 0, "a02"),  # more likely than not somebody else's
        ((0.30, 0.45, 0.20, 0.05), 0, "a01"),  # likelier somebody else's, but not likely enough
        ((0.30, 0.45, 0.20, 0.05), None, "a02"),
        ((0.30, 0.10, 0.15, 0.45), 1, "a02"),
        ((0.10, 0.10, 0.20, 0.60), 0, None),
    ],
)
def test_a_file_is_taken_from_its_name_only_where_that_is_more_likely_right_than_not(
    shares: tuple[float, ...], named: int | None, owner: str | None
) -> None:
    claims = claims_of(np.log([shares]), named=None if named is None else (named,))
    (ownership,) = assign_owners(["file"], NAMES, claims)
    assert ownership.owner == owner
    column = 3 if owner is None else NAMES.index(owner)
    assert ownership.probability == pytest.approx(shares[column])


def test_of_two_files_that_exclude_each_other_the_other_goes_to_who_is_left() -> None:
    alone = np.array([[2.0, 0.0, -9.0, -9.0], [1.0, 0.0, -9.0, -9.0]])
    assert found(claims_of(alone)).argmax(axis=1).tolist() == [0, 0]
    apart = np.array([[[0.0, -9.0], [-9.0, 0.0]]])
    assert found(claims_of(alone, apart)).argmax(axis=1).tolist() == [0, 1]


def test_a_swap_is_one_mistake_between_devices_of_a_kind() -> None:
    alone = np.array([name_prior(["a01"], NAMES), name_prior(["a02"], NAMES)])
    alone[0, 1] += 2.5
    alone[1, 0] += 2.5
    swapped = claims_of(alone, named=(0, 1))
    assert found(swapped).argmax(axis=1).tolist() == [1, 0]
    mixed = claims_of(alone, named=(0, 1), worn=(True, False))
    assert found(mixed).argmax(axis=1).tolist() == [0, 1]


def test_nobodys_is_only_what_is_so_more_likely_than_not() -> None:
    for nobody, owner in ((0.45, "a01"), (0.55, None)):
        rest = 1 - nobody
        shares = np.array([[0.6 * rest, 0.2 * rest, 0.2 * rest, nobody]])
        (ownership,) = assign_owners(["file"], NAMES, claims_of(np.log(shares)))
        assert ownership.owner == owner


def test_no_files_have_no_owners() -> None:
    assert assign_owners([], NAMES, claims_of(np.zeros((0, 4)))) == []


class TestNamePrior:
    @pytest.mark.parametrize("uploaders", [[], ["a01"], ["a02", "a03"], ["somebody else"]])
    def test_it_sums_to_one(self, uploaders: list[str]) -> None:
        shares = np.exp(name_prior(uploaders, NAMES, nobodys_odds=0.2))
        if len(uploaders) < 2:
            assert shares.sum() == pytest.approx(1.0, abs=1e-6)
        assert shares[-1] == pytest.approx(0.2 / 1.2)

    def test_a_name_outweighs_every_other(self) -> None:
        shares = np.exp(name_prior(["a02"], NAMES))
        assert shares.argmax() == 1
        assert shares[1] > 0.9
