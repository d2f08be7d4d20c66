"""Means over tasters, adjusted for incomplete blocks, with whole tasters as the unit of sampling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.phrasing import count, listing, significant
from stats.results import Result
from stats.score_table import ByName, read_scores

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, Frame

# A design whose second-smallest eigenvalue lies below this share of its largest falls into unconnected parts.
CONNECTED = 1e-9
ONCE = ("repeated cups of one taster are averaged first, so that each taster counts once",)


@dataclass(frozen=True, slots=True, eq=False)
class TasterSums:
    """What each taster adds to the normal equations of score = taster + sample, the taster swept out.

    within : (tasters, samples, samples); response : (tasters, samples); mean : of a taster's scores, (tasters,)
    share : of each sample in what a taster tasted, (tasters, samples); present : whether they scored at all
    """

    within: Floats
    response: Floats
    mean: Floats
    share: Floats
    present: Floats

    @property
    def tasters(self) -> int:
        """How many gave any score."""
        return int(self.present.sum())


@dataclass(frozen=True, slots=True, eq=False)
class AdjustedMeans(Result):
    """Least-squares means of samples, each taster counting once.

    means : sample -> mean as if everybody had tasted everything
    covariance : of the means, (samples, samples), in the order of `means`
    n : tasters; df : n - 1, of any contrast
    """

    means: ByName
    covariance: tuple[tuple[float, ...], ...]
    n: int
    df: int
    method: str = (
        "least squares of score on taster and sample; covariance from whole tasters (sandwich, n / (n - 1))"
    )
    notes: tuple[str, ...] = ONCE

    def contrast(self, first: str, second: str) -> tuple[float, float]:
        """first minus second, and its standard error. KeyError for an unknown sample."""
        names = list(self.means)
        for name in (first, second):
            if name not in self.means:
                raise KeyError(name)
        i, j = names.index(first), names.index(second)
        variance = self.covariance[i][i] + self.covariance[j][j] - 2 * self.covariance[i][j]
        return self.means[first] - self.means[second], float(np.sqrt(max(variance, 0.0)))

    def sentence(self) -> str:
        """One sentence for the reader."""
        said = [f"{name} {significant(mean)}" for name, mean in self.means.items()]
        return f"Means over {count(self.n, 'taster')}: {listing(said)}."


def adjusted_means(frame: Frame) -> AdjustedMeans:
    """Means of samples adjusted for who tasted which, with their covariance from whole tasters.

    frame : long, columns taster, sample, score and where present replicate, position, condition. Missing scores
    are dropped, none imputed. ValueError where the tasters do not connect all samples, or there is one taster.

    With complete blocks the difference of two means has the standard error of the paired t test, exactly.
    Source: intra-block analysis (Cochran & Cox 1957, Experimental Designs, ch. 9); cluster-robust covariance
    (Liang & Zeger 1986, Biometrika 73, 13-22) with the factor n / (n - 1). Both from memory.
    """
    table = read_scores(frame)
    sums = taster_sums(table.taster, table.sample, table.score, (len(table.tasters), len(table.samples)))
    ones = np.ones((1, len(table.tasters)))
    means = means_under(sums, ones)[0]
    if np.isnan(means).any():
        raise ValueError(
            "frame: the tasters do not connect all samples, so that differences between some cannot be had"
        )
    influence = _influence(sums, means)
    n = len(table.tasters)
    covariance = influence.T @ influence * n / (n - 1)
    return AdjustedMeans(
        means=ByName.of(table.samples, means),
        covariance=tuple(tuple(float(value) for value in row) for row in covariance),
        n=n,
        df=n - 1,
        notes=(*ONCE, *table.notes),
    )


def taster_sums(taster: Codes, sample: Codes, score: Floats, shape: tuple[int, int]) -> TasterSums:
    """The sums of each taster; shape is (tasters, samples), the codes index into it. Repeats are averaged first."""
    cell = taster * shape[1] + sample
    size = shape[0] * shape[1]
    rows = np.bincount(cell, minlength=size).reshape(shape)
    cups = (rows > 0).astype(float)
    total = np.bincount(cell, weights=score, minlength=size).reshape(shape) / np.maximum(rows, 1)
    served = cups.sum(axis=1)
    many = np.where(served > 0, served, 1.0)
    mean = total.sum(axis=1) / many
    share = cups / many[:, None]
    within = -cups[:, :, None] * share[:, None, :]
    diagonal = np.arange(shape[1])
    within[:, diagonal, diagonal] += cups
    return TasterSums(within, total - cups * mean[:, None], mean, share, (served > 0).astype(float))


def means_under(sums: TasterSums, weights: Floats) -> Floats:
    """Adjusted means (draws, samples) where each taster counts `weights` (draws, tasters) times.

    nan in a draw whose tasters do not connect the samples; a sample that nobody scored is nan throughout.
    """
    present = weights * sums.present
    tasted = (sums.share * sums.present[:, None]).sum(axis=0) > 0
    out = np.full((len(weights), len(tasted)), np.nan)
    k = int(tasted.sum())
    if k == 0:
        return out
    within = sums.within[:, tasted][:, :, tasted]
    left = (present @ within.reshape(len(within), -1)).reshape(-1, k, k)
    sound = (present.sum(axis=1) > 0) & _connected(left)
    # The added constant fixes the sum of the effects at zero and changes nothing else.
    right = (present[sound] @ sums.response[:, tasted])[:, :, None]
    effects = np.linalg.solve(left[sound] + 1.0, right)[:, :, 0]
    adjusted = (present[sound] @ sums.mean) - np.einsum(
        "dk,dk->d", present[sound] @ sums.share[:, tasted], effects
    )
    level = adjusted / present[sound].sum(axis=1)
    block = np.full((len(weights), k), np.nan)
    block[sound] = effects + level[:, None]
    out[:, tasted] = block
    return out


def resampled_tasters(tasters: int, draws: int, rng: np.random.Generator) -> Floats:
    """How often each taster is drawn, (draws, tasters): as many as there are, with replacement."""
    return rng.multinomial(tasters, np.full(tasters, 1 / tasters), size=draws).astype(float)


def _connected(left: Floats) -> np.ndarray:
    """Whether each set of normal equations (draws, k, k) leaves only the level open."""
    if left.shape[1] == 1:
        return np.ones(len(left), dtype=bool)
    values = np.linalg.eigvalsh(left)
    found: np.ndarray = values[:, 1] > CONNECTED * np.maximum(values[:, -1], 1e-300)
    return found


def _influence(sums: TasterSums, means: Floats) -> Floats:
    """How far each taster moves each mean, (tasters, samples): their squares add up to the covariance."""
    centred = means - means.mean()
    left = sums.within.sum(axis=0) + 1.0
    rest = sums.response - sums.within @ centred
    effects = np.linalg.solve(left, rest.T).T
    own = sums.mean - sums.share @ centred
    level = (own - own.mean()) / len(own) - effects @ sums.share.mean(axis=0)
    moved: Floats = effects + level[:, None]
    return moved
