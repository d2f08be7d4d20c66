"""Which tasters stand out, by which rule, and what the result would be without them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import FTest, f_test, solve_singular
from stats.phrasing import p_text, percent, significant

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from stats.consistency import TasterFigures
    from stats.score_table import Floats, ScoreTable
    from stats.taster_figures import Discrimination

WEAK_P = 0.30  # common practice, no source: a p above this shows no sign of discrimination
FAR_Z = 3.5  # Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers: modified z above 3.5


@dataclass(frozen=True, slots=True)
class Flag:
    """One reason to look at one taster: what was seen, and the rule that says so."""

    taster: str
    about: str
    seen: str
    rule: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """The result without some tasters.

    panel : F test of samples over taster × sample means, without them
    means : sample and its adjusted mean without them
    shift : sample and the change of its distance from the average sample, against everyone's result
    largest_shift : the greatest such change in absolute value
    """

    tasters: tuple[str, ...]
    panel: FTest
    means: tuple[tuple[str, float], ...]
    shift: tuple[tuple[str, float], ...]
    largest_shift: float


def flags_of(
    tasters: Sequence[TasterFigures], panel: FTest, own: Discrimination, alpha: float
) -> tuple[Flag, ...]:
    """Every flag, by taster; the rules are written out in each."""
    found = [
        *_flat(tasters),
        *_weak(tasters, panel, alpha),
        *_unsteady(tasters, own, alpha),
        *_contrary(tasters, alpha),
        *_far_level(tasters),
        *_drifting(tasters, alpha),
    ]
    order = {row.taster: i for i, row in enumerate(tasters)}
    return tuple(sorted(found, key=lambda flag: order[flag.taster]))


def _flat(tasters: Sequence[TasterFigures]) -> list[Flag]:
    rule = "every sample got the same mean score, over at least three scores"
    return [
        Flag(row.taster, "scale use", f"{row.n} scores, all samples alike at {significant(row.mean)}", rule)
        for row in tasters
        if row.scale_sd == 0 and row.n >= 3
    ]


def _weak(tasters: Sequence[TasterFigures], panel: FTest, alpha: float) -> list[Flag]:
    if panel.p_value is None or panel.p_value >= alpha:
        return []
    rule = (
        f"the taster's own F test of samples has p > {WEAK_P:g} although the panel tells the samples apart "
        f"at {alpha:g} (common practice, no source)"
    )
    return [
        Flag(row.taster, "discrimination", p_text(row.discrimination_p), rule)
        for row in tasters
        if row.discrimination_p is not None and row.discrimination_p > WEAK_P
    ]


def _unsteady(tasters: Sequence[TasterFigures], own: Discrimination, alpha: float) -> list[Flag]:
    """One-sided F of the taster's repeat variance over the others', Bonferroni over tasters.

    With equal degrees of freedom this is Cochran's C test of ISO 5725-2 ('t Lam 2010, Anal. Chim. Acta 659).
    """
    from scipy.special import fdtrc

    df, ss = own.repeat_df, own.repeat_ss
    rest_df, rest_ss = df.sum() - df, ss.sum() - ss
    usable = (df > 0) & (rest_df > 0) & (rest_ss > 0)
    rule = (
        f"repeat variance above the others' pooled one: F test, p < {alpha:g} divided by the number of tasters "
        "(Cochran's test of ISO 5725-2, extended to unequal degrees of freedom)"
    )
    found = []
    for i in map(int, np.flatnonzero(usable)):
        f = (ss[i] / df[i]) / (rest_ss[i] / rest_df[i])
        p = min(float(fdtrc(df[i], rest_df[i], f)) * int(usable.sum()), 1.0)
        if p < alpha:
            sd = significant(float(np.sqrt(ss[i] / df[i])))
            others = significant(float(np.sqrt(rest_ss[i] / rest_df[i])))
            seen = f"standard deviation of repeats {sd}, the others' {others}, adjusted {p_text(p)}"
            found.append(Flag(tasters[i].taster, "repeatability", seen, rule))
    return found


def _contrary(tasters: Sequence[TasterFigures], alpha: float) -> list[Flag]:
    """One-sided t test of r below zero, each taster alone: 1 in 20 at 0.05 by chance where nobody agrees."""
    from scipy.special import stdtr

    rule = (
        f"correlation with the mean of the other tasters below zero, one-sided p < {alpha:g} for this taster "
        f"alone (where the tasters share no opinion, {percent(alpha)} of them are flagged by chance)"
    )
    found = []
    for row in tasters:
        if row.agreement is None or row.agreement >= 0:
            continue
        df = row.agreement_cells - 2
        spare = max(1 - row.agreement**2, 1e-15)
        p = float(stdtr(df, row.agreement * np.sqrt(df / spare)))
        if p < alpha:
            seen = f"r = {significant(row.agreement, 2)} over {row.agreement_cells} samples, {p_text(p)}"
            found.append(Flag(row.taster, "agreement", seen, rule))
    return found


def _far_level(tasters: Sequence[TasterFigures]) -> list[Flag]:
    bias = np.array([row.bias for row in tasters])
    away = np.abs(bias - np.median(bias))
    mad = float(np.median(away))
    if len(tasters) < 5 or mad <= 1e-9 * max(float(np.abs(bias).max()), 1e-300):
        return []
    rule = f"level more than {FAR_Z:g} modified z from the panel's median (Iglewicz & Hoaglin 1993)"
    return [
        Flag(row.taster, "bias", f"{significant(row.bias)} from the panel's level", rule)
        for row, z in zip(tasters, 0.6745 * away / mad, strict=True)
        if z > FAR_Z
    ]


def _drifting(tasters: Sequence[TasterFigures], alpha: float) -> list[Flag]:
    tested = [row for row in tasters if row.drift_p is not None]
    rule = f"slope over the serving order with p < {alpha:g} divided by the number of tasters (Bonferroni)"
    return [
        Flag(row.taster, "drift", f"{significant(row.drift)} per place, {p_text(row.drift_p)}", rule)
        for row in tested
        if row.drift is not None and row.drift_p is not None and row.drift_p * len(tested) < alpha
    ]


@dataclass(frozen=True, slots=True)
class _Shares:
    """Each taster's share of the normal equations of taster + sample over taster × sample means."""

    C: Floats
    Q: Floats
    within: Floats
    mean: Floats
    N: Floats
    level: float

    def result(self, stay: NDArray[np.bool_]) -> tuple[FTest, Floats]:
        """F test of samples and adjusted means for the tasters who stay."""
        n, Q = self.N[stay].sum(axis=1), self.Q[stay].sum(axis=0)
        effect, rank = solve_singular(self.C[stay].sum(axis=0), Q)
        ss, total = float(effect @ Q), float(self.within[stay].sum())
        df = int(n.sum()) - int(stay.sum()) - int(rank)
        rows = self.mean[stay] - self.N[stay] @ effect / n
        centre = float(rows.mean()) if stay.any() else 0.0
        return f_test(ss, int(rank), max(total - ss, 0.0), df, total), self.level + centre + effect


def _shares(means: Floats) -> _Shares:
    mask = ~np.isnan(means)
    N = mask.astype(np.float64)
    n = N.sum(axis=1)
    level = float(np.nanmean(means))
    Y = np.where(mask, means - level, 0.0)
    mean = Y.sum(axis=1) / n
    C = -N[:, :, None] * N[:, None, :] / n[:, None, None]
    diagonal = np.arange(means.shape[1])
    C[:, diagonal, diagonal] += N
    Q = np.where(mask, Y - mean[:, None], 0.0)
    return _Shares(C, Q, (Q**2).sum(axis=1), mean, N, level)


def effect_of_leaving_out(table: ScoreTable, sets: Sequence[tuple[str, ...]]) -> list[LeftOut]:
    """The two-way result (taster + sample over taster × sample means) without each set of tasters."""
    shares = _shares(table.cell_means())
    place = {name: i for i, name in enumerate(table.tasters)}
    everyone = shares.result(np.ones(len(place), dtype=bool))[1]
    found = []
    for names in sets:
        stay = np.ones(len(place), dtype=bool)
        stay[[place[name] for name in names]] = False
        panel, adjusted = shares.result(stay)
        change = (adjusted - adjusted.mean()) - (everyone - everyone.mean())
        found.append(
            LeftOut(
                tasters=tuple(names),
                panel=panel,
                means=tuple(zip(table.samples, map(float, adjusted), strict=True)),
                shift=tuple(zip(table.samples, map(float, change), strict=True)),
                largest_shift=float(np.abs(change).max()),
            )
        )
    return found
