"""A test of equal samples that trusts no distribution: scores shuffled within each taster."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, p_text
from stats.ranking_exact import random_shuffles
from stats.results import Result
from stats.score_table import read_scores

if TYPE_CHECKING:
    from stats.score_table import Floats, Frame

# All shuffles are listed up to so many; above, random ones.
LIST_UP_TO = 50_000
# Sums of squares closer than this, relatively, are the same shuffle in another order of adding.
SAME = 1e-9


@dataclass(frozen=True, slots=True)
class PermutationAnova(Result):
    """statistic : sum of squares of samples adjusted for tasters; p_value : share of shuffles that reach it;
    exact : all shuffles were listed, else `draws` random ones with `seed`."""

    statistic: float
    p_value: float
    exact: bool
    draws: int
    seed: int
    samples: tuple[str, ...]
    tasters: tuple[str, ...]
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The finding for a reader."""
        how = "all" if self.exact else "random"
        tail = f"{p_text(self.p_value)}, {how} {self.draws} shuffles; {count(len(self.tasters), 'taster')}"
        if self.p_value <= self.alpha:
            return f"The samples' scores differ by more than chance order within tasters explains ({tail})."
        return (
            f"No difference between the samples was shown by shuffling scores within tasters ({tail}); "
            f"this does not show that they are the same."
        )


def permutation_anova(
    frame: Frame, *, draws: int = 9_999, seed: int = 0, alpha: float = 0.05
) -> PermutationAnova:
    """Permutation test of equal samples: under no difference each taster's scores could have any order.

    frame : long, columns `taster, sample, score`; replicates are averaged per taster and sample first;
        gaps may be anywhere (missing scores are dropped and said). draws, seed : for panels too large to
        list all shuffles; the p-value counts the observed order itself, so it is never 0.

    Source: Good (2005), Permutation, Parametric and Bootstrap Tests of Hypotheses, 3rd ed., section 7.2.
    """
    if draws < 1:
        raise ValueError(f"draws must be at least 1, but got {draws!r}")
    table = read_scores(frame)
    cells = table.cell_means()
    held = ~np.isnan(cells)
    centred = cells - np.nanmean(cells, axis=1, keepdims=True)
    total = math.prod(math.factorial(int(k)) for k in held.sum(axis=1))
    exact = total <= LIST_UP_TO
    sums = _all_shuffles(centred) if exact else random_shuffles(centred, draws, seed)
    weight = np.linalg.pinv(np.diag(held.sum(axis=0)) - _together(held), rcond=1e-10, hermitian=True)
    observed = np.nansum(centred, axis=0)
    statistic = float(observed @ weight @ observed)
    values = np.einsum("di,ij,dj->d", sums, weight, sums)
    hits = int((values >= statistic * (1 - SAME) - 1e-300).sum())
    notes = table.notes
    if (table.cell_counts() > 1).any():
        notes += ("several scores of one taster for one sample were averaged first",)
    return PermutationAnova(
        statistic=statistic,
        p_value=hits / len(values) if exact else (hits + 1) / (draws + 1),
        exact=exact,
        draws=len(values),
        seed=seed,
        samples=table.samples,
        tasters=table.tasters,
        alpha=alpha,
        method="permutation test, scores shuffled within tasters",
        notes=notes,
    )


def _together(held: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Floats:
    """Weighted concurrence of samples: shared tasters, each by one over the samples they had."""
    share: Floats = held.T.astype(float) @ (held / held.sum(axis=1, keepdims=True))
    return share


def _all_shuffles(centred: Floats) -> Floats:
    """Sums per sample of every combination of shuffles, float (combinations, samples)."""
    sums = np.zeros((1, centred.shape[1]))
    for row in centred:
        held = np.flatnonzero(~np.isnan(row))
        placed = np.zeros((math.factorial(len(held)), len(row)))
        placed[:, held] = row[held][np.array(list(permutations(range(len(held)))))]
        sums = (sums[:, None, :] + placed[None, :, :]).reshape(-1, len(row))
    return sums
