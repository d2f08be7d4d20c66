"""Paired comparisons: strengths by Bradley and Terry's model, and how far tasters contradict themselves."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stats.multiplicity import holm
from stats.phrasing import count, listing, p_text, significant
from stats.results import Estimate, Result
from stats.triad_counts import TasterTriads, kendall_u, taster_triads

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    import pandas as pd

    from stats.score_table import Codes, Floats

    Frame = pd.DataFrame | Mapping[str, Sequence[Any]]


@dataclass(frozen=True, slots=True)
class Strength:
    """One sample's strength.

    won, compared : comparisons won and taken part in
    log_strength : maximum likelihood, log scale, summing to zero over samples; None where it is unbounded
    standard_error : of it; share : expected share of wins against the other samples, each met equally often
    """

    sample: str
    won: int
    compared: int
    log_strength: Estimate
    standard_error: float | None
    share: float | None


@dataclass(frozen=True, slots=True)
class StrengthPair:
    """Two samples: difference of log strengths, Wald z and p, Holm-adjusted; None where unbounded."""

    sample_a: str
    sample_b: str
    a_won: int
    b_won: int
    difference: Estimate
    z: float | None
    p_value: float | None
    p_adjusted: float | None


@dataclass(frozen=True, slots=True)
class BradleyTerry(Result):
    """Bradley-Terry strengths from paired comparisons.

    strengths : one `Strength` per sample; pairs : every pair of samples
    statistic, df, p_value : likelihood ratio test that all samples are equally strong
    fit_statistic, fit_df, fit_p_value : likelihood ratio of the model against free probabilities per pair
    """

    strengths: tuple[Strength, ...]
    pairs: tuple[StrengthPair, ...]
    statistic: float | None
    df: int
    p_value: float | None
    fit_statistic: float | None
    fit_df: int
    fit_p_value: float | None
    n: int
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Whether the samples differ in strength, and their order."""
        if self.p_value is None or self.statistic is None:
            return f"Strengths cannot be estimated: {self.notes[0]}."
        evidence = (
            f"likelihood ratio chi-square({self.df}) = {significant(self.statistic)}, {p_text(self.p_value)}"
        )
        if self.p_value >= self.alpha:
            return f"{count(self.n, 'comparison')} did not show that any sample is preferred ({evidence})."
        ranked = sorted(self.strengths, key=lambda one: -(one.log_strength.estimate or 0.0))
        order = listing([one.sample for one in ranked], last="then")
        return f"The samples are not equally preferred ({evidence}); from strongest to weakest: {order}."


def bradley_terry(frame: Frame, *, alpha: float = 0.05, confidence: float = 0.95) -> BradleyTerry:
    """Fit Bradley and Terry's model: P(a beats b) = strength a / (strength a + strength b).

    frame : columns `winner, loser`, one row per comparison (other columns are ignored). A comparison without
        a winner (missing name) is left out and said in the notes: the model has no ties.
    alpha : level in the sentence; confidence : of the Wald intervals

    Maximum likelihood by Newton's method; standard errors from the inverse information; comparisons are
    taken as independent, also those by one taster. Sources: Bradley & Terry 1952, Biometrika 39, 324-345;
    existence of the estimate: Ford 1957, American Mathematical Monthly 64(8), 28-33.
    Where some samples never lose to the others the estimates are unbounded: they are None and said so.
    Raises ValueError for missing columns, no comparisons, and a sample compared with itself.
    """
    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    names, wins, missing = _wins(frame)
    games, size = wins + wins.T, len(names)
    notes = [f"{count(missing, 'comparison')} without a winner left out"] if missing else []
    trouble = _unbounded(names, wins)
    played = int((games[np.triu_indices(size)] > 0).sum())
    theta, covariance = (None, None) if trouble else _newton(wins)
    test = fit = None
    if theta is not None:
        model = _log_likelihood(wins, theta)
        test = 2 * (model - _log_likelihood(wins, np.zeros(size)))
        rate = np.divide(wins, games, out=np.ones_like(wins), where=wins > 0)
        fit = max(2 * (float((wins * np.log(rate)).sum()) - model), 0.0)
    fit_df = played - size + 1
    notes.append("comparisons are taken as independent, also those made by one taster")
    return BradleyTerry(
        strengths=_strengths(names, wins, theta, covariance, confidence),
        pairs=_pairs(names, wins, theta, covariance, confidence),
        statistic=test,
        df=size - 1,
        p_value=None if test is None else _chi_square_p(test, size - 1),
        fit_statistic=fit,
        fit_df=fit_df,
        fit_p_value=None if fit is None or fit_df < 1 else _chi_square_p(fit, fit_df),
        n=int(wins.sum()),
        alpha=alpha,
        method="Bradley-Terry model, maximum likelihood, Wald intervals, Holm over pairs",
        notes=(*([trouble] if trouble else []), *notes),
    )


def _chi_square_p(statistic: float, df: int) -> float:
    from scipy.special import chdtrc

    return float(chdtrc(df, max(statistic, 0.0)))


def _wins(frame: Frame) -> tuple[tuple[str, ...], Floats, int]:
    """Names and a matrix: row beat column so often."""
    data = _columns(frame, ("winner", "loser"))
    absent = data["winner"].isna() | data["loser"].isna()
    winner = data["winner"][~absent].astype(str).to_numpy(dtype=object)
    loser = data["loser"][~absent].astype(str).to_numpy(dtype=object)
    if not len(winner):
        raise ValueError("frame: no comparison has both a winner and a loser")
    same = np.flatnonzero(winner == loser)
    if same.size:
        raise ValueError(
            f"frame: sample {winner[same[0]]!r} is compared with itself; give two different samples"
        )
    names = tuple(sorted({*winner, *loser}))
    place = {name: i for i, name in enumerate(names)}
    wins = np.zeros((len(names), len(names)))
    np.add.at(wins, ([place[name] for name in winner], [place[name] for name in loser]), 1.0)
    return names, wins, int(absent.sum())


def _columns(frame: Frame, needed: tuple[str, ...]) -> pd.DataFrame:
    import pandas as pd

    data = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    lacking = [name for name in needed if name not in data.columns]
    if lacking:
        raise ValueError(
            f"frame: column {lacking[0]!r} is missing; it has {', '.join(map(str, data.columns))}"
        )
    return data


def _unbounded(names: tuple[str, ...], wins: Floats) -> str:
    """Why no finite estimate exists: the graph of wins is not strongly connected (Ford 1957)."""
    from scipy.sparse.csgraph import connected_components

    parts, label = connected_components(wins > 0, directed=True, connection="strong")
    if parts == 1:
        return ""
    for part in range(parts):
        inside = label == part
        if not wins[np.ix_(~inside, inside)].any():
            never = listing([name for name, here in zip(names, inside, strict=True) if here])
            verb = "loses" if inside.sum() == 1 else "lose"
            return f"{never} never {verb} to any other sample, so that no finite strength is the likeliest"
    return "the samples fall into groups that were never compared"


def _newton(wins: Floats) -> tuple[Floats, Floats]:
    """Log strengths summing to zero, and their covariance."""
    games, won = wins + wins.T, wins.sum(axis=1)
    theta = np.zeros(len(wins))
    for _ in range(100):
        p = 1 / (1 + np.exp(theta - theta[:, None]))
        weight = games * p * (1 - p)
        information = np.diag(weight.sum(axis=1)) - weight
        step = np.linalg.pinv(information, hermitian=True) @ (won - (games * p).sum(axis=1))
        # A bounded step keeps the first moves from overshooting.
        theta = theta + step / max(1.0, float(np.abs(step).max()) / 2)
        if np.abs(step).max() < 1e-12:
            break
    return theta - theta.mean(), np.linalg.pinv(information, hermitian=True).astype(np.float64)


def _log_likelihood(wins: Floats, theta: Floats) -> float:
    return float(-(wins * np.log1p(np.exp(theta - theta[:, None]))).sum())


def _wald(value: float, variance: float, confidence: float) -> tuple[Estimate, float]:
    from scipy.special import ndtri

    error = math.sqrt(max(variance, 0.0))
    half = float(ndtri(1 - (1 - confidence) / 2)) * error
    return Estimate(value, value - half, value + half, confidence, how="Wald"), error


def _strengths(
    names: tuple[str, ...], wins: Floats, theta: Floats | None, covariance: Floats | None, confidence: float
) -> tuple[Strength, ...]:
    found = []
    for i, name in enumerate(names):
        estimate, error, share = Estimate(None, None, None, confidence, how="unbounded"), None, None
        if theta is not None and covariance is not None:
            estimate, error = _wald(float(theta[i]), float(covariance[i, i]), confidence)
            share = float(np.mean(1 / (1 + np.exp(np.delete(theta, i) - theta[i]))))
        met = int(wins[i].sum() + wins[:, i].sum())
        found.append(Strength(name, int(wins[i].sum()), met, estimate, error, share))
    return tuple(found)


def _pairs(
    names: tuple[str, ...], wins: Floats, theta: Floats | None, covariance: Floats | None, confidence: float
) -> tuple[StrengthPair, ...]:
    from scipy.special import ndtr

    rows: list[tuple[int, int, Estimate, float | None, float | None]] = []
    for a, b in combinations(range(len(names)), 2):
        if theta is None or covariance is None:
            rows.append((a, b, Estimate(None, None, None, confidence, how="unbounded"), None, None))
            continue
        variance = float(covariance[a, a] + covariance[b, b] - 2 * covariance[a, b])
        gap, error = _wald(float(theta[a] - theta[b]), variance, confidence)
        z = (gap.estimate or 0.0) / error
        rows.append((a, b, gap, z, float(2 * ndtr(-abs(z)))))
    known = [p for *_, p in rows if p is not None]
    adjusted: Sequence[float | None] = holm(known) if len(known) == len(rows) else [None] * len(rows)
    return tuple(
        StrengthPair(names[a], names[b], int(wins[a, b]), int(wins[b, a]), gap, z, p, holm_p)
        for (a, b, gap, z, p), holm_p in zip(rows, adjusted, strict=True)
    )


@dataclass(frozen=True, slots=True)
class CircularTriads(Result):
    """How far tasters contradict themselves (A over B, B over C, C over A), and agree with each other.

    tasters : one `TasterTriads` per taster with every pair judged once; left_out : the others
    agreement : Kendall's u over those tasters, 1 when all agree; None under two
    agreement_p : chi-square approximation, None under three tasters
    """

    tasters: tuple[TasterTriads, ...]
    left_out: tuple[str, ...]
    n_samples: int
    agreement: float | None
    agreement_p: float | None
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """How many tasters are more consistent than answering at random would make them."""
        if not self.tasters:
            return "No taster judged every pair once, so that circular triads cannot be counted."
        sure = sum(one.p_value < self.alpha for one in self.tasters)
        head = (
            f"{sure} of {count(len(self.tasters), 'taster')} contradict themselves less often than answering at "
            f"random would (p < {self.alpha:g} each)"
        )
        least = self.tasters[0].least_p
        if least >= self.alpha:
            return f"{head}; with {self.n_samples} samples no taster could show it."
        return f"{head}."


def circular_triads(frame: Frame, *, alpha: float = 0.05) -> CircularTriads:
    """Count circular triads per taster, with exact p-values up to ten samples.

    frame : columns `taster, winner, loser`, one row per comparison. A taster who did not judge every pair of
        the samples exactly once is left out and named.
    d = n(n-1)(2n-1)/12 - sum of squared wins / 2; zeta = 1 - d / greatest possible d. p_value is the chance
    of at most d triads when every pair is answered at random: exact by enumerating score sequences up to
    n = 10, Kendall's chi-square approximation above.
    Source: Kendall & Babington Smith 1940, Biometrika 31, 324-345.
    Raises ValueError for missing columns, no comparisons, fewer than three samples, and alpha outside (0, 1).
    """
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must lie between 0 and 1, but got {alpha!r}")
    data = _columns(frame, ("taster", "winner", "loser"))
    names, _, missing = _wins(data)
    if len(names) < 3:
        raise ValueError(f"frame: circular triads need three samples, but there are {len(names)}")
    if data["taster"].isna().any():
        raise ValueError("taster: a row has no taster; give every comparison its taster")
    place = {name: i for i, name in enumerate(names)}
    full: list[tuple[str, Codes]] = []
    left_out = []
    for taster, rows in data.astype({"taster": str}).groupby("taster", sort=True):
        wins = np.zeros((len(names), len(names)), dtype=np.int64)
        for winner, loser in zip(rows["winner"].astype(str), rows["loser"].astype(str), strict=True):
            if winner in place and loser in place:
                wins[place[winner], place[loser]] += 1
        complete = bool(((wins + wins.T)[~np.eye(len(names), dtype=bool)] == 1).all())
        full.append((str(taster), wins)) if complete else left_out.append(str(taster))
    u, p = kendall_u(np.sum([wins for _, wins in full], axis=0), len(full)) if len(full) > 1 else (None, None)
    notes = [f"{count(missing, 'comparison')} without a winner left out"] if missing else []
    if left_out:
        notes.append(f"left out, since not every pair was judged once: {listing(left_out)}")
    return CircularTriads(
        tasters=tuple(taster_triads(name, wins.sum(axis=1)) for name, wins in full),
        left_out=tuple(left_out),
        n_samples=len(names),
        agreement=u,
        agreement_p=p,
        alpha=alpha,
        method="Circular triads (Kendall & Babington Smith), coefficients of consistence and agreement",
        notes=tuple(notes),
    )
