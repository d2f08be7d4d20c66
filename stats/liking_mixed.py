"""Mixed model of scores: samples fixed, tasters random, by REML with Satterthwaite degrees of freedom."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stats.liking_absorbed import cells, sum_coded
from stats.liking_rows import AnovaRow, Estimated, VarianceRow
from stats.liking_two_way import BY, fixed_columns, means_coding, nested_terms
from stats.mixed import fit_mixed
from stats.mixed_tests import f_test, satterthwaite

if TYPE_CHECKING:
    from stats.mixed import MixedFit
    from stats.score_table import Codes, Floats, ScoreTable


def mixed_anova(table: ScoreTable, interaction: bool) -> Estimated:
    """Fixed: sample, condition where there is one, their interaction if asked. Random: taster; taster ×
    sample and taster × condition where a taster has several scores in one. Type III tests.

    A random term whose levels all hold one score, or that cannot be told from another, is left out.
    """
    columns = fixed_columns(table, interaction)
    terms = random_terms(table)
    X = np.hstack([np.ones((table.rows, 1)), *columns.values()])
    if np.linalg.matrix_rank(X.T @ X, hermitian=True) < X.shape[1]:
        raise ValueError("condition: it cannot be told from sample, since the two never cross")
    fit = fit_mixed(table.score, X, terms)
    at, start = {}, 1
    for name, block in columns.items():
        at[name] = slice(start, start + block.shape[1])
        start += block.shape[1]
    means, grid = (np.insert(rows, 0, 1.0, axis=1) for rows in means_coding(table, columns))
    zero = [name for name in terms if fit.variances[name] == 0]
    notes = tuple(
        f"singular fit: the variance of {name} was estimated as zero; the term stays in the model"
        for name in zero
    )
    formula = " + ".join([*columns, *(f"(1 | {name})" for name in terms)]).replace(BY, ":")
    return Estimated(
        table=tuple(_row(fit, table, name, where) for name, where in at.items()),
        mean=means @ fit.coefficients,
        mean_covariance=means @ fit.covariance @ means.T,
        mean_df=satterthwaite(fit, means),
        cell_mean=grid @ fit.coefficients,
        cell_error=np.sqrt(np.einsum("ri,ij,rj->r", grid, fit.covariance, grid)),
        cell_df=satterthwaite(fit, grid),
        contrast_df=lambda weights: satterthwaite(fit, weights @ means),
        taster_variance=fit.variances["taster"],
        residual_variance=fit.variances["residual"],
        random=tuple(VarianceRow(name, fit.variances[name], fit.groups[name]) for name in terms),
        residuals=fit.residuals,
        formula=f"score ~ {formula}",
        method="linear mixed model by REML, F tests of Type III with Satterthwaite's degrees of freedom",
        notes=(*notes, "tasters are random: the result holds for the tasters these stand for"),
    )


def random_terms(table: ScoreTable) -> dict[str, Codes]:
    """Taster, and the taster's interactions that repeated scores make visible."""
    if len(table.tasters) == table.rows:
        raise ValueError("taster: every taster scored once only, so tasters cannot be told from error")
    terms = {"taster": table.taster}
    for name, codes in nested_terms(table).items():
        crossed = cells(table.taster, codes)
        levels = int(crossed.max()) + 1
        known = {int(other.max()) + 1 for other in terms.values()}
        if levels < table.rows and levels not in known:
            terms[f"taster{BY}{name}"] = crossed
    return terms


def _row(fit: MixedFit, table: ScoreTable, name: str, where: slice) -> AnovaRow:
    """The Type III test of a term, along differences from its first level as in R's lmerTest: which
    differences are taken moves the denominator's degrees of freedom in the last digits."""
    L = np.zeros((where.stop - where.start, len(fit.coefficients)))
    L[:, where] = _differences(table, name)
    test = f_test(fit, L)
    mean_square = test.f * fit.variances["residual"]
    return AnovaRow(
        term=name,
        df=test.df_num,
        df_den=test.df_den,
        sum_of_squares=mean_square * test.df_num,
        mean_square=mean_square,
        f=test.f,
        p_value=test.p_value,
        error="Satterthwaite",
    )


def _differences(table: ScoreTable, name: str) -> Floats:
    out = np.ones((1, 1))
    for factor in name.split(BY):
        coding = sum_coded(len(table.levels[factor]))
        out = np.kron(out, coding[1:] - coding[0])
    return out
