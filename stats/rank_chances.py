"""How likely each rank is for each sample, from joint draws of what they are ranked by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import listing, percent
from stats.results import Result
from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class RankChances(Result):
    """The chance of each rank.

    chances : sample -> chance of rank 1, 2, …; each sample's add up to 1, and so do each rank's
    first : sample -> chance of being first and admitted; nobody : chance that none is admitted
    """

    chances: ByName
    first: ByName
    nobody: float
    draws: int
    method: str = "share of joint draws; samples equal in a draw share the ranks they take up"
    notes: tuple[str, ...] = ("a sample that is not admitted in a draw ranks behind all that are",)

    def sentence(self) -> str:
        """One sentence for the reader."""
        said = [f"{name} {percent(chance)}" for name, chance in self.first.items()]
        return f"Chance of the first place: {listing(said)}."


def rank_chances(names: Sequence[str], draws: Floats, admitted: np.ndarray | None = None) -> RankChances:
    """The chance of each rank, the highest value ranking first.

    draws : (draws, samples) of the values; admitted : the same shape, whether a sample may win in that draw,
        None for always. ValueError for not-a-number or a shape that does not fit.
    Source: definition; ties are split as fractional ranks (Kendall 1945, Biometrika 33, 239-251).
    """
    values = np.asarray(draws, dtype=float)
    may = np.ones(values.shape, dtype=bool) if admitted is None else np.asarray(admitted, dtype=bool)
    if values.ndim != 2 or values.shape[1] != len(names) or may.shape != values.shape or len(values) == 0:
        raise ValueError(f"draws: need one column for each of {len(names)} samples, but got {values.shape}")
    if np.isnan(values).any():
        raise ValueError("draws: not a number; leave out a sample whose value is not known")
    shares = rank_shares(values, may)
    chances = shares.mean(axis=0)
    first = (shares[:, :, 0] * may).mean(axis=0)
    return RankChances(
        chances=ByName((name, tuple(map(float, row))) for name, row in zip(names, chances, strict=True)),
        first=ByName.of(names, first),
        nobody=float((~may.any(axis=1)).mean()),
        draws=len(values),
    )


def rank_shares(values: Floats, admitted: np.ndarray) -> Floats:
    """Share of each rank that each sample takes in each draw, (draws, samples, ranks)."""
    size = values.shape[1]
    ahead = _beats(values, admitted)
    better = ahead.sum(axis=1)
    equal = size - better - ahead.sum(axis=2)
    rank = np.arange(size)
    taken = (rank >= better[:, :, None]) & (rank < (better + equal)[:, :, None])
    shares: Floats = taken / equal[:, :, None]
    return shares


def _beats(values: Floats, admitted: np.ndarray) -> np.ndarray:
    """[draw, i, j]: whether i ranks ahead of j."""
    higher = values[:, :, None] > values[:, None, :]
    return np.where(
        admitted[:, :, None] == admitted[:, None, :], higher, admitted[:, :, None] & ~admitted[:, None, :]
    )
