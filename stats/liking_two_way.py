"""Two-way analysis of variance: tasters as blocks, samples adjusted for them, F over the right line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.liking_absorbed import Fit, cells, crossed, fit, means_by, sum_coded
from stats.liking_rows import AnovaRow, Estimated

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, ScoreTable

BY = " × "


@dataclass(frozen=True, slots=True)
class _Line:
    ss: float
    df: int

    @property
    def ms(self) -> float:
        return self.ss / self.df if self.df else 0.0


def two_way(table: ScoreTable, interaction: bool) -> Estimated:
    """Blocks first, each fixed term adjusted for the others of its order (Type II sums of squares).

    Where tasters scored a sample more than once, sample is tested over taster × sample, the test that
    holds for other tasters too; the same for condition over taster × condition. Otherwise over the
    residual.
    """
    columns = fixed_columns(table, interaction)
    nested = nested_terms(table)
    lines = _lines(table, columns, nested)
    over = _errors(lines)
    X = np.hstack(list(columns.values()))
    main = fit(table.score, X, table.taster)
    if main.rank < X.shape[1]:
        raise ValueError(
            "sample: the scores do not connect all samples (some were never compared within a taster, "
            "directly or through other samples), so their means cannot be compared"
        )
    error = _checked_error(lines[over["sample"]], table)
    at, grid = means_coding(table, columns)
    (mean, covariance), (cell, cell_covariance) = (
        _means(table, main, X, error.ms, rows) for rows in (at, grid)
    )
    tasters, notes = _taster_variance(table, columns, main, error)
    terms = [name for name in lines if name != "residual"]
    if over["sample"] != "residual":
        notes += ("sample is tested over taster × sample: the result holds beyond these tasters",)
    return Estimated(
        table=_rows(lines, over),
        mean=mean,
        mean_covariance=covariance,
        mean_df=np.full(len(mean), float(error.df)),
        cell_mean=cell,
        cell_error=np.sqrt(np.diag(cell_covariance)),
        cell_df=np.full(len(cell), float(error.df)),
        contrast_df=lambda weights: np.full(len(weights), float(error.df)),
        taster_variance=tasters,
        residual_variance=lines["residual"].ms,
        random=(),
        residuals=main.residuals,
        formula="score ~ " + " + ".join(terms).replace(BY, ":"),
        method="two-way analysis of variance, tasters as blocks, samples adjusted for them (Type II)",
        notes=notes,
    )


def fixed_columns(table: ScoreTable, interaction: bool) -> dict[str, Floats]:
    """Sum-coded columns of each fixed term: condition (where there are several), sample, interaction."""
    sample = sum_coded(len(table.samples))[table.sample]
    if not table.has("condition"):
        if interaction:
            raise ValueError("interaction: the frame has no column 'condition' with two levels or more")
        return {"sample": sample}
    codes = table.codes["condition"]
    condition = sum_coded(len(table.levels["condition"]))[codes]
    columns = {"condition": condition, "sample": sample}
    if interaction:
        filled = len(np.unique(cells(table.sample, codes)))
        if filled < len(table.samples) * len(table.levels["condition"]):
            raise ValueError("interaction: some sample was never scored in some condition")
        columns[f"sample{BY}condition"] = crossed(sample, condition)
    return columns


def means_coding(table: ScoreTable, columns: dict[str, Floats]) -> tuple[Floats, Floats]:
    """Rows of the fixed terms at each sample (conditions averaged), and at each sample in each condition
    (samples outermost; no rows without conditions)."""
    sample = sum_coded(len(table.samples))
    if "condition" not in columns:
        return sample, np.empty((0, sample.shape[1]))
    condition = sum_coded(len(table.levels["condition"]))
    width = sum(block.shape[1] for block in columns.values())
    at = np.zeros((len(sample), width))
    at[:, condition.shape[1] : condition.shape[1] + sample.shape[1]] = sample
    both = np.repeat(sample, len(condition), axis=0)
    served = np.tile(condition, (len(sample), 1))
    grid = np.hstack([served, both, crossed(both, served)])
    return at, grid[:, :width]


def nested_terms(table: ScoreTable) -> dict[str, Codes]:
    """Factors that a taster scored more than once at one level: their interaction with taster shows."""
    found = {}
    for name in ("sample", "condition"):
        if name == "condition" and not table.has(name):
            continue
        codes = table.codes[name]
        if np.bincount(cells(table.taster, codes)).max() > 1:
            found[name] = codes
    return found


def _lines(table: ScoreTable, columns: dict[str, Floats], nested: dict[str, Codes]) -> dict[str, _Line]:
    y, taster = table.score, table.taster
    empty = np.empty((len(y), 0))
    blocks = fit(y, empty, taster)
    centred = y - y.mean()
    lines = {"taster": _Line(float(centred @ centred) - blocks.rss, len(table.tasters) - 1)}
    mains = [name for name in columns if BY not in name]

    def stacked(names: list[str]) -> Floats:
        return np.hstack([empty, *(columns[name] for name in names)])

    additive = fit(y, stacked(mains), taster)
    for name in mains:
        without = fit(y, stacked([other for other in mains if other != name]), taster)
        lines[name] = _Line(without.rss - additive.rss, without.df - additive.df)
    whole = stacked(list(columns))
    last = fit(y, whole, taster)
    if len(columns) > len(mains):
        lines[f"sample{BY}condition"] = _Line(additive.rss - last.rss, additive.df - last.df)
    full = fit(y, whole, taster, tuple(nested.values()))
    for name in nested:
        fewer = fit(y, whole, taster, tuple(codes for other, codes in nested.items() if other != name))
        lines[f"taster{BY}{name}"] = _Line(max(fewer.rss - full.rss, 0.0), fewer.df - full.df)
    if len(columns) > len(mains):
        three = (cells(table.sample, table.codes["condition"]),)
        if np.bincount(cells(taster, *three)).max() > 1:
            pure = fit(y, whole, taster, three)
            lines[f"taster{BY}sample{BY}condition"] = _Line(max(full.rss - pure.rss, 0.0), full.df - pure.df)
            full = pure
    lines["residual"] = _Line(full.rss, full.df)
    return lines


def _checked_error(error: _Line, table: ScoreTable) -> _Line:
    if error.df < 1:
        raise ValueError("frame: no degrees of freedom are left for error; more tasters or scores are needed")
    if error.ms <= 1e-20 * (1 + float((table.score**2).max())):
        raise ValueError("score: nothing is left for error (scores do not vary beyond samples and tasters)")
    return error


def _errors(lines: dict[str, _Line]) -> dict[str, str]:
    """Term -> the line its F is taken over."""
    over = {}
    for name in lines:
        if name == "residual":
            continue
        own = f"taster{BY}{name}"
        over[name] = own if own in lines and lines[own].df > 0 else "residual"
    return over


def _rows(lines: dict[str, _Line], over: dict[str, str]) -> tuple[AnovaRow, ...]:
    from scipy.special import fdtrc

    rows = []
    for name, line in lines.items():
        error = lines[over[name]] if name in over else None
        f = p = None
        if error is not None and error.df > 0 and error.ms > 0 and line.df > 0:
            f = line.ms / error.ms
            p = float(fdtrc(line.df, error.df, f))
        rows.append(
            AnovaRow(
                term=name,
                df=float(line.df),
                df_den=float(error.df) if error is not None and f is not None else None,
                sum_of_squares=line.ss,
                mean_square=line.ms if line.df else None,
                f=f,
                p_value=p,
                error=over.get(name) if f is not None else None,
            )
        )
    return tuple(rows)


def _means(table: ScoreTable, main: Fit, X: Floats, error: float, at: Floats) -> tuple[Floats, Floats]:
    """Means at the coded rows `at` and the average taster (each taster counts once); their covariance."""
    by_taster, counts = means_by(table.taster, np.column_stack([X, table.score]))
    centre = by_taster.mean(axis=0)
    lever = at - centre[:-1]
    covariance = lever @ main.unscaled @ lever.T + (1 / counts).sum() / len(counts) ** 2
    return centre[-1] + lever @ main.coefficients, error * covariance


def _taster_variance(
    table: ScoreTable, columns: dict[str, Floats], main: Fit, error: _Line
) -> tuple[float, tuple[str, ...]]:
    """Henderson's method 3: tasters adjusted for the fixed terms, against the error; 0 where negative."""
    X = np.hstack([np.ones((table.rows, 1)), *(columns[n] for n in columns if BY not in n)])
    gram = X.T @ X
    alone = table.score - X @ np.linalg.solve(gram, X.T @ table.score)
    by_taster = np.stack([np.bincount(table.taster, weights=column) for column in X.T])
    weight = table.rows - float(np.trace(np.linalg.solve(gram, by_taster @ by_taster.T)))
    df = table.rows - X.shape[1] - main.df
    variance = (float(alone @ alone) - main.rss - df * error.ms) / weight
    if variance < 0:
        return 0.0, ("taster variance: the estimate was negative and is given as zero",)
    return variance, ()
