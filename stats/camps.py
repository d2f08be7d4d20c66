"""Two camps of liking: clusters of tasters, how stable they are, and whether the average hides them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.camps_clusters import adjusted_rand, cluster_index, clusters, nearest, null_indices
from stats.phrasing import count, p_text, percent, significant
from stats.results import Result
from stats.score_table import read_scores

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, Frame, ScoreTable

# Common practice, no source: what must hold before a warning is given.
ENOUGH_TASTERS = 20
STABLE = 0.75
LEAST_SHARE = 0.15


@dataclass(frozen=True, slots=True)
class Camp:
    """One cluster of tasters.

    tasters : names; share : of all clustered, 0..1
    means : sample and its mean score in the camp; favourite : sample with the highest mean
    """

    tasters: tuple[str, ...]
    share: float
    means: tuple[tuple[str, float], ...]
    favourite: str


@dataclass(frozen=True, slots=True)
class Camps(Result):
    """Clusters of liking.

    camps : largest first; means : sample and its mean over all clustered tasters
    stability : mean adjusted Rand index of resampled against original clusters, 1 is the same every time
    p_value : chance of clusters as tight when liking has one centre (Gaussian with the same covariance)
    warning : a plain sentence where the average hides camps, "" where there is no evidence for it
    """

    camps: tuple[Camp, ...]
    means: tuple[tuple[str, float], ...]
    stability: float
    cluster_index: float
    p_value: float
    warning: str
    n: int
    alpha: float
    resamples: int
    seed: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The warning, or that there is no evidence for camps."""
        if self.warning:
            return self.warning
        evidence = f"{p_text(self.p_value)}, stability {significant(self.stability, 2)}"
        if self.n < ENOUGH_TASTERS:
            return (
                f"{count(self.n, 'taster')} are too few to tell camps of liking from chance; "
                f"the clusters shown are a description only ({evidence})."
            )
        return (
            f"No good evidence for separate camps of liking was found ({evidence}); there may still be some."
        )


def camps(
    frame: Frame, *, number: int = 2, alpha: float = 0.05, resamples: int = 200, seed: int = 0
) -> Camps:
    """Cluster tasters by what they like, levels removed.

    frame : long, columns `taster, sample, score` (liking); replicates and conditions are averaged
    number : how many clusters, 2 or more
    alpha : level of the test in the warning; resamples, seed : of the bootstrap and of the null simulation

    Each taster's scores are centred on the taster's mean (who likes what, not who scores high) and clustered
    by k-means, from Ward's clusters (scipy) up to 200 tasters. Tasters lacking a sample are left out:
    distances need all. Stability: tasters are resampled, clustered anew, everybody assigned to the nearest
    new centre, and both partitions compared by the adjusted Rand index (Hubert & Arabie 1985). Test: the
    within share of the sum of squares along the lines that join the centres, against one Gaussian cloud with
    the same covariance clustered alike (after Liu, Hayes, Nobel & Marron 2008, JASA 103, 1281-1293).
    A warning needs at least 20 tasters, p below alpha, stability of 0.75, camps of 15 %, and two samples that
    the camps put in opposite order (thresholds: common practice, no source).
    Raises ValueError as `read_scores` does, and for a number of clusters that the tasters cannot fill.
    """
    table = read_scores(frame)
    means = table.cell_means()
    full = np.asarray(~np.isnan(means).any(axis=1))
    scores = means[full]
    _check(number, len(scores), alpha, resamples)
    names = [name for name, keep in zip(table.tasters, full, strict=True) if keep]
    X = scores - scores.mean(axis=1, keepdims=True)
    if float((X**2).sum()) == 0:
        raise ValueError(
            "score: every taster gave all samples one score, so that there is nothing to cluster"
        )
    label = clusters(X, number)
    rng = np.random.default_rng(seed)
    index = cluster_index(X, label)
    null = null_indices(X, number, resamples, rng)
    p = (1 + int((null <= index + 1e-12).sum())) / (1 + resamples)
    stability = _stability(X, label, number, resamples, rng)
    found = _camps(names, table.samples, scores, label)
    return Camps(
        camps=found,
        means=tuple(zip(table.samples, map(float, scores.mean(axis=0)), strict=True)),
        stability=stability,
        cluster_index=index,
        p_value=p,
        warning=_warning(found, len(names), p, stability, alpha),
        n=len(names),
        alpha=alpha,
        resamples=resamples,
        seed=seed,
        method=f"k-means on centred scores, {number} clusters",
        notes=_notes(table, int((~full).sum())),
    )


def _check(number: int, tasters: int, alpha: float, resamples: int) -> None:
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    if resamples < 20:
        raise ValueError(f"resamples must be at least 20, but got {resamples!r}")
    if number < 2 or tasters < 2 * number:
        raise ValueError(
            f"number: {number!r} clusters need at least 2 and twice as many complete tasters, "
            f"but {tasters} tasters scored every sample"
        )


def _notes(table: ScoreTable, gone: int) -> tuple[str, ...]:
    left = (
        (f"{count(gone, 'taster')} without a score for every sample left out of the clusters",)
        if gone
        else ()
    )
    meant = (
        "clusters always come out; only the test, the stability and the size say whether they mean anything"
    )
    return (*table.notes, *left, meant)


def _stability(X: Floats, label: Codes, number: int, resamples: int, rng: np.random.Generator) -> float:
    found = []
    for _ in range(resamples):
        drawn = X[rng.integers(0, len(X), len(X))]
        if len(np.unique(drawn, axis=0)) < number:
            continue
        again = clusters(drawn, number)
        centres = np.array([drawn[again == one].mean(axis=0) for one in np.unique(again)])
        found.append(adjusted_rand(label, nearest(X, centres)))
    return float(np.mean(found)) if found else 0.0


def _camps(names: list[str], samples: tuple[str, ...], scores: Floats, label: Codes) -> tuple[Camp, ...]:
    found = []
    for one in np.unique(label):
        inside = label == one
        means = scores[inside].mean(axis=0)
        found.append(
            Camp(
                tasters=tuple(name for name, here in zip(names, inside, strict=True) if here),
                share=float(inside.mean()),
                means=tuple(zip(samples, map(float, means), strict=True)),
                favourite=samples[int(means.argmax())],
            )
        )
    return tuple(sorted(found, key=lambda camp: (-len(camp.tasters), camp.tasters)))


def _warning(found: tuple[Camp, ...], n: int, p: float, stability: float, alpha: float) -> str:
    sound = n >= ENOUGH_TASTERS and p < alpha and stability >= STABLE and found[-1].share >= LEAST_SHARE
    if not sound or not _opposed(found):
        return ""
    told = "; ".join(
        f"{percent(camp.share)} like {camp.favourite} best ({significant(max(mean for _, mean in camp.means))})"
        for camp in found
    )
    return (
        f"The average hides {count(len(found), 'camp')} of tasters: {told} "
        f"({p_text(p)}, stability {significant(stability, 2)})."
    )


def _opposed(found: tuple[Camp, ...]) -> bool:
    """Whether two camps put some pair of samples in opposite order."""
    rows = np.array([[mean for _, mean in camp.means] for camp in found])
    gaps = rows[:, :, None] - rows[:, None, :]
    return bool(((gaps > 0).any(axis=0) & (gaps < 0).any(axis=0)).any())
