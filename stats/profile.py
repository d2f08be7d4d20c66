"""A map of the samples' profiles: principal components of adjusted means, with ellipses over tasters."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import additive_fit, solve_singular
from stats.phrasing import count, listing, percent, significant
from stats.results import Result
from stats.score_table import ScoreTable, read_scores

if TYPE_CHECKING:
    import pandas as pd

    from stats.score_table import Codes, Floats, Frame


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Where a sample lies on the first two dimensions under resampling of tasters.

    centre : of the resampled points; half_axes : long and short, map units; angle : of the long axis in
    degrees, anticlockwise from the first dimension
    """

    centre: tuple[float, float]
    half_axes: tuple[float, float]
    angle: float


@dataclass(frozen=True, slots=True)
class ProfilePoint:
    """One sample on the map: coordinates per dimension, and its ellipse (None without resampling)."""

    sample: str
    coordinates: tuple[float, ...]
    ellipse: Ellipse | None


@dataclass(frozen=True, slots=True)
class ProfilePair:
    """Two samples on the first two dimensions.

    apart : whether zero lies outside the ellipse of their resampled difference; distance2 : squared
    Mahalanobis distance of zero from its centre
    """

    sample_a: str
    sample_b: str
    distance2: float
    apart: bool


@dataclass(frozen=True, slots=True)
class Profile(Result):
    """Principal components of the samples' adjusted means over attributes.

    samples : one `ProfilePoint` each; pairs : pairs of samples, empty without resampling
    attributes : attribute and its loading (unit vectors' entries) per dimension
    correlations : attribute and its correlation with each dimension
    explained : share of the variance per dimension, 0..1
    means : adjusted means, attribute by attribute, samples in order
    """

    samples: tuple[ProfilePoint, ...]
    attributes: tuple[tuple[str, tuple[float, ...]], ...]
    correlations: tuple[tuple[str, tuple[float, ...]], ...]
    explained: tuple[float, ...]
    means: tuple[tuple[str, tuple[float, ...]], ...]
    pairs: tuple[ProfilePair, ...]
    scaled: bool
    confidence: float
    resamples: int
    seed: int
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """How much the map shows, and which samples the panel cannot keep apart on it."""
        shown = sum(self.explained[:2])
        head = (
            f"The first {count(min(2, len(self.explained)), 'dimension')} of the map "
            f"{'shows' if len(self.explained) == 1 else 'show'} {percent(min(shown, 1.0))} of the variation between "
            "the samples' mean profiles"
        )
        if not self.pairs:
            return f"{head}."
        close = [f"{pair.sample_a} and {pair.sample_b}" for pair in self.pairs if not pair.apart]
        if not close:
            return (
                f"{head}; the maps of resampled tasters, turned onto it, leave no two samples in one place."
            )
        told = close if len(close) <= 4 else [*close[:3], f"{len(close) - 3} more pairs"]
        return f"{head}; not kept apart on it by resampled tasters: {listing(told)}."


def profile(
    frame: Frame,
    *,
    scaled: bool = False,
    confidence: float = 0.95,
    resamples: int = 500,
    seed: int = 0,
) -> Profile:
    """Principal components of adjusted means, ellipses by resampling tasters.

    frame : long, columns `taster, sample, score, attribute`; at least two attributes, three samples
    scaled : True divides each attribute's means by their standard deviation (correlation matrix)
    resamples, seed : tasters are drawn with replacement, means and components computed anew, and each map
        turned onto the original by orthogonal Procrustes rotation; 0 gives no ellipses

    Means are adjusted for tasters by least squares, so incomplete blocks are allowed; missing scores are
    left out. An attribute on which all samples have one mean carries nothing and is left out with a note.
    Ellipses assume roughly normal resampled points and do not cover dimensions beyond the second.
    Sources: Jolliffe, Principal Component Analysis (2nd ed., 2002); Schoenemann 1966, Psychometrika 31, 1-10
    (rotation); Efron & Tibshirani 1993 (bootstrap).
    Raises ValueError as `read_scores` does, and for too few attributes or samples.
    """
    _check(confidence, resamples)
    tables, samples, notes = _tables(frame)
    fits = {name: _means(name, table, samples) for name, table in tables.items()}
    flat = [
        name for name, means in fits.items() if np.ptp(means) <= 1e-9 * max(float(np.abs(means).max()), 1.0)
    ]
    notes += [f"{name} has one mean for all samples and is left out" for name in flat]
    used = _at_least_two([name for name in fits if name not in flat])
    means = np.stack([fits[name] for name in used], axis=1)
    points, loadings, singular = _components(means, scaled)
    clouds = np.zeros((0, len(samples), 2))
    if resamples:
        clouds, lost = _resample([tables[name] for name in used], samples, points, scaled, resamples, seed)
        if lost:
            notes.append(f"{lost} of {resamples} resamples left some sample without scores and were dropped")
    return Profile(
        samples=_points(samples, points, clouds, confidence),
        attributes=_rows(used, loadings),
        correlations=_rows(used, _correlations(means, points)),
        explained=tuple(map(float, singular**2 / (singular**2).sum())),
        means=_rows(used, means.T),
        pairs=_apart(samples, clouds, confidence) if len(clouds) else (),
        scaled=scaled,
        confidence=confidence,
        resamples=resamples,
        seed=seed,
        method=f"Principal components of adjusted means ({'correlation' if scaled else 'covariance'} matrix)",
        notes=tuple(dict.fromkeys(notes)),
    )


def _at_least_two(names: list[str]) -> list[str]:
    if len(names) < 2:
        raise ValueError(
            f"attribute: a map needs two attributes that vary, but there is {listing(names) or 'none'}"
        )
    return names


def _check(confidence: float, resamples: int) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, but got {confidence!r}")
    if resamples < 0 or 0 < resamples < 50:
        raise ValueError(f"resamples must be 0 or at least 50, but got {resamples!r}")


def _tables(frame: Frame) -> tuple[dict[str, ScoreTable], tuple[str, ...], list[str]]:
    import pandas as pd

    data: pd.DataFrame = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    if "attribute" not in data.columns:
        raise ValueError("frame: column 'attribute' is missing; a profile needs several attributes")
    if data["attribute"].isna().any():
        raise ValueError("attribute: a row has no attribute; give every row its attribute")
    text = data["attribute"].astype(str)
    tables = {name: read_scores(data[text == name]) for name in sorted(set(text))}
    samples = tuple(sorted({sample for table in tables.values() for sample in table.samples}))
    if len(samples) < 3:
        raise ValueError(f"sample: a map needs three samples, but there are {listing(samples)}")
    notes = [f"{name}: {note}" for name, table in tables.items() for note in table.notes]
    return tables, samples, notes


def _means(name: str, table: ScoreTable, samples: tuple[str, ...]) -> Floats:
    """Adjusted means of one attribute, at the average taster."""
    lacking = [sample for sample in samples if sample not in table.samples]
    if lacking:
        raise ValueError(
            f"attribute {name!r} has no score for sample {lacking[0]!r}; leave one of the two out"
        )
    fit = additive_fit(table.cell_means())
    if fit.rank_column < len(samples) - 1:
        raise ValueError(
            f"attribute {name!r}: the tasters' sets of samples are not connected, so means cannot be compared"
        )
    adjusted: Floats = fit.row.mean() + fit.column
    return adjusted


def _components(means: Floats, scaled: bool) -> tuple[Floats, Floats, Floats]:
    """Sample coordinates, loadings (attributes, dimensions) and singular values; signs are fixed."""
    X = means - means.mean(axis=0)
    if scaled:
        X = X / X.std(axis=0, ddof=1)
    U, singular, Vt = np.linalg.svd(X, full_matrices=False)
    size = max(int((singular > 1e-9 * singular[0]).sum()), 1)
    U, singular, Vt = U[:, :size], singular[:size], Vt[:size]
    sign = np.where(Vt[np.arange(size), np.abs(Vt).argmax(axis=1)] < 0, -1.0, 1.0)
    return U * singular * sign, Vt.T * sign, singular


def _correlations(means: Floats, points: Floats) -> Floats:
    X, Y = means - means.mean(axis=0), points - points.mean(axis=0)
    top: Floats = X.T @ Y / np.sqrt(np.outer((X**2).sum(axis=0), (Y**2).sum(axis=0)))
    return np.clip(top, -1.0, 1.0)


def _resample(
    tables: list[ScoreTable],
    samples: tuple[str, ...],
    points: Floats,
    scaled: bool,
    resamples: int,
    seed: int,
) -> tuple[Floats, int]:
    """Resampled maps (resamples, samples, 2) turned onto `points`, and how many were lost."""
    names = sorted({taster for table in tables for taster in table.tasters})
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(len(names), np.full(len(names), 1 / len(names)), size=resamples).astype(
        np.float64
    )
    drawn, kept = [], np.ones(resamples, dtype=bool)
    number = {name: i for i, name in enumerate(names)}
    for table in tables:
        place = [number[taster] for taster in table.tasters]
        effects, rank = _weighted_effects(table.cell_means(), weights[:, place])
        drawn.append(effects)
        kept &= rank == len(samples) - 1
    cube = np.stack(drawn, axis=2)[kept]
    target = np.zeros((len(samples), 2))
    target[:, : min(2, points.shape[1])] = points[:, :2]
    return np.array([_turned(one, target, scaled) for one in cube]), int((~kept).sum())


def _weighted_effects(table: Floats, weights: Floats) -> tuple[Floats, Codes]:
    """Sample effects of taster + sample for every set of taster weights, as one stack of equations."""
    mask = ~np.isnan(table)
    n = mask.sum(axis=1).astype(np.float64)
    Y = np.where(mask, table - np.nanmean(table), 0.0)
    Q = np.where(mask, Y - (Y.sum(axis=1) / n)[:, None], 0.0)
    N = mask.astype(np.float64)
    size = table.shape[1]
    together = (N[:, :, None] * N[:, None, :]).reshape(len(N), size * size)
    C = -((weights / n) @ together).reshape(-1, size, size)
    at = np.arange(size)
    C[:, at, at] += weights @ N
    return solve_singular(C, weights @ Q)


def _turned(means: Floats, target: Floats, scaled: bool) -> Floats:
    if scaled and (np.ptp(means, axis=0) == 0).any():
        scaled = False
    points = _components(means, scaled)[0]
    flat = np.zeros_like(target)
    flat[:, : min(2, points.shape[1])] = points[:, :2]
    U, _, Vt = np.linalg.svd(flat.T @ target)
    turned: Floats = flat @ (U @ Vt)
    return turned


def _points(
    samples: tuple[str, ...], points: Floats, clouds: Floats, confidence: float
) -> tuple[ProfilePoint, ...]:
    return tuple(
        ProfilePoint(
            name, tuple(map(float, points[i])), _ellipse(clouds[:, i], confidence) if len(clouds) else None
        )
        for i, name in enumerate(samples)
    )


def _radius2(confidence: float) -> float:
    """Quantile of chi-square on two degrees of freedom, in closed form."""
    return -2 * math.log(1 - confidence)


def _ellipse(cloud: Floats, confidence: float) -> Ellipse:
    values, vectors = np.linalg.eigh(np.cov(cloud.T))
    short, long = np.sqrt(np.maximum(values, 0.0) * _radius2(confidence))
    angle = math.degrees(math.atan2(vectors[1, 1], vectors[0, 1])) % 180
    centre = cloud.mean(axis=0)
    return Ellipse((float(centre[0]), float(centre[1])), (float(long), float(short)), angle)


def _apart(samples: tuple[str, ...], clouds: Floats, confidence: float) -> tuple[ProfilePair, ...]:
    found = []
    for a, b in combinations(range(len(samples)), 2):
        gap = clouds[:, a] - clouds[:, b]
        centre, spread = gap.mean(axis=0), np.cov(gap.T)
        values, vectors = np.linalg.eigh(spread)
        along = (vectors.T @ centre) ** 2
        floor = 1e-12 * max(float(along.sum()), 1e-300)
        distance2 = float((along / np.maximum(values, floor)).sum())
        found.append(ProfilePair(samples[a], samples[b], distance2, distance2 > _radius2(confidence)))
    return tuple(found)


def _rows(names: list[str], values: Floats) -> tuple[tuple[str, tuple[float, ...]], ...]:
    return tuple((name, tuple(map(float, row))) for name, row in zip(names, values, strict=True))


def ellipse_sentence(point: ProfilePoint) -> str:
    """How well a sample's place is known, in words."""
    if point.ellipse is None:
        return f"{point.sample} has no ellipse: nothing was resampled."
    long, short = point.ellipse.half_axes
    return f"{point.sample} is placed to within {significant(long, 2)} by {significant(short, 2)} map units."
