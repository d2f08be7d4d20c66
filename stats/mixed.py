"""Linear mixed models by restricted maximum likelihood, with what Satterthwaite's method needs.

y = X b + sum_k Z_k u_k + e, u_k ~ N(0, s_k I), e ~ N(0, s I). Random terms are groupings of rows, nested or
crossed. statsmodels fits such models but gives no degrees of freedom for F and t; they are derived here
from analytic first and second derivatives of the restricted likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.mixed_blocks import Pattern, patterns

if TYPE_CHECKING:
    from collections.abc import Mapping

    from stats.score_table import Codes, Floats

# A variance below this share of the residual variance is on the boundary: R's lme4 draws the same line
# at a standard deviation of 1e-4 of the residual's.
BOUNDARY = 1e-8
# A residual variance below this share of the scores' variance is none.
NO_RESIDUAL = 1e-13
# A likelihood with less slope and curvature than this says nothing about the variances.
FLAT = 1e-14
MAX_STEPS = 100


@dataclass(frozen=True, slots=True, eq=False)
class MixedFit:
    """A fitted model.

    coefficients (p,), covariance (p, p) : fixed effects
    variances : term -> variance; the last is "residual"; zero where the fit lies on the boundary
    free : the terms whose variance is not at the boundary, "residual" last
    parameter_covariance (m, m) : of the free variances, twice the inverse Hessian of the deviance
    covariance_slopes (m, p, p) : derivative of `covariance` by each free variance
    deviance : minus twice the restricted log-likelihood
    residuals (n,) : y - X b - Z u, with the random effects predicted (BLUP)
    groups : term -> number of levels
    """

    coefficients: Floats
    covariance: Floats
    variances: dict[str, float]
    free: tuple[str, ...]
    parameter_covariance: Floats
    covariance_slopes: Floats
    deviance: float
    residuals: Floats
    groups: dict[str, int]

    @property
    def singular(self) -> bool:
        """Whether some variance was estimated as zero."""
        return any(value == 0 for name, value in self.variances.items() if name != "residual")


def fit_mixed(y: Floats, X: Floats, terms: Mapping[str, Codes]) -> MixedFit:
    """Fit by REML.

    y : (n,) scores; X : (n, p) fixed effects, full column rank; terms : name -> level codes (n,) from 0.
    No missing values. ValueError for too few rows, rank-deficient X, or a term that has a level per row
    (its variance is the residual's). Sources: Patterson & Thompson (1971), Biometrika 58, 545-554;
    Hessian: Lindstrom & Bates (1988), Journal of the American Statistical Association 83, 1014-1022.
    """
    _check(y, X, terms)
    names = tuple(terms)
    scale = float(np.std(y)) or 1.0
    model = _Model(np.column_stack([X, y / scale]), tuple(terms[name] for name in names))
    ratios = _maximise(model)
    at = model.state(ratios)
    free = np.flatnonzero(ratios > 0)
    hessian, slopes = model.second_order(at, free)
    sizes = [float(r) * at.residual * scale**2 for r in ratios]
    return MixedFit(
        coefficients=at.beta * scale,
        covariance=at.inverse * at.residual * scale**2,
        variances={**dict(zip(names, sizes, strict=True)), "residual": at.residual * scale**2},
        free=(*(names[i] for i in free), "residual"),
        parameter_covariance=2 * _inverse_where_curved(hessian) * scale**4,
        covariance_slopes=slopes,
        deviance=at.deviance + 2 * (len(y) - X.shape[1]) * float(np.log(scale)),
        residuals=model.conditional_residuals(at) * scale,
        groups={name: int(terms[name].max()) + 1 for name in names},
    )


def _check(y: Floats, X: Floats, terms: Mapping[str, Codes]) -> None:
    n, p = X.shape
    if n != len(y):
        raise ValueError(f"X has {n} rows, but y has {len(y)}")
    if n <= p:
        raise ValueError(f"y: {n} scores cannot estimate {p} fixed effects and a residual variance")
    gram = X.T @ X
    sizes = np.linalg.eigvalsh(gram)
    if sizes[0] <= 1e-10 * sizes[-1]:
        raise ValueError("X: its columns are not independent (a combination was never served)")
    left = y - X @ np.linalg.solve(gram, X.T @ y)
    if float(left @ left) <= 1e-20 * (1 + float(y @ y)):
        raise ValueError("score: the fixed effects explain every score exactly; no variance is left to model")
    for name, codes in terms.items():
        if int(codes.max()) + 1 >= n:
            raise ValueError(f"terms: {name!r} has as many levels as there are scores")


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """The likelihood at given variance ratios, profiled over the residual variance."""

    ratios: Floats
    inverses: tuple[Floats, ...]
    inverse: Floats
    beta: Floats
    residual: float
    deviance: float


class _Model:
    """Rows arranged for the likelihood and its derivatives by the variance ratios s_k / s."""

    def __init__(self, F: Floats, terms: tuple[Codes, ...]) -> None:
        self.n, self.p = F.shape[0], F.shape[1] - 1
        self.terms = len(terms)
        self.patterns: tuple[Pattern, ...] = patterns(F, terms)

    def state(self, ratios: Floats) -> _State:
        inverses, log_det = [], 0.0
        total = np.zeros((self.p + 1, self.p + 1))
        for pattern in self.patterns:
            V = np.eye(pattern.size)
            for ratio, kernel in zip(ratios, pattern.kernels, strict=True):
                V += ratio * kernel
            log_det += pattern.blocks * float(np.linalg.slogdet(V)[1])
            W: Floats = np.linalg.inv(V).astype(float)
            inverses.append(W)
            total += pattern.quadratic(W)
        p, free = self.p, self.n - self.p
        inverse = np.linalg.inv(total[:p, :p])
        beta = inverse @ total[:p, p]
        residual = float(total[p, p] - total[p, :p] @ beta) / free
        if residual < NO_RESIDUAL:
            raise ValueError("score: tasters and fixed effects explain every score exactly; no error is left")
        deviance = log_det - float(np.linalg.slogdet(inverse)[1])
        deviance += free * (1 + np.log(2 * np.pi * max(residual, 1e-300)))
        return _State(ratios, tuple(inverses), inverse, beta, residual, float(deviance))

    def conditional_residuals(self, at: _State) -> Floats:
        """y - X b - Z u = (relative covariance)^-1 (y - X b)."""
        out, error = np.empty(self.n), np.append(-at.beta, 1.0)
        for pattern, W in zip(self.patterns, at.inverses, strict=True):
            out[pattern.rows] = (pattern.stacked @ error) @ W
        return out

    def gradient(self, at: _State) -> Floats:
        """Derivative of the profiled deviance by each ratio: tr(P G_k) - y'P G_k P y / s."""
        slope = np.zeros(self.terms)
        error = np.append(-at.beta, 1.0)
        for k in range(self.terms):
            trace, moved = self._first(at, k)
            slope[k] = trace - np.sum(at.inverse * moved[: self.p, : self.p])
            slope[k] -= float(error @ moved @ error) / at.residual
        return slope

    def _first(self, at: _State, k: int) -> tuple[float, Floats]:
        """tr(W G_k), and F' W G_k W F with W the inverse of the relative covariance."""
        trace, moved = 0.0, np.zeros((self.p + 1, self.p + 1))
        for pattern, W in zip(self.patterns, at.inverses, strict=True):
            kernel = pattern.kernels[k]
            trace += pattern.blocks * float(np.sum(W * kernel))
            moved += pattern.quadratic(W @ kernel @ W)
        return trace, moved

    def second_order(self, at: _State, free: Codes) -> tuple[Floats, Floats]:
        """Hessian of the deviance by the free variances and the residual, and the slopes of the fixed
        effects' covariance by them.

        d2 = -tr(P G_k P G_l) + 2 y'P G_k P G_l P y, with P = W - W X C X' W and V = s (I + sum r_k G_k).
        """
        p, s, C = self.p, at.residual, at.inverse
        error = np.append(-at.beta, 1.0)
        which = [*free.tolist(), None]
        moved = [np.zeros((p + 1, p + 1)) for _ in which]
        m = len(which)
        traces = np.zeros((m, m))
        twice = np.zeros((m, m, p + 1, p + 1))
        for pattern, W in zip(self.patterns, at.inverses, strict=True):
            right = [W if k is None else pattern.kernels[k] @ W for k in which]
            for a in range(m):
                left = W @ right[a]
                moved[a] += pattern.quadratic(left)
                for b in range(a, m):
                    traces[a, b] += pattern.blocks * float(np.sum(right[a] * right[b].T))
                    twice[a, b] += pattern.quadratic(left @ right[b])
        hessian = np.zeros((m, m))
        for a in range(m):
            for b in range(a, m):
                A, B, both = moved[a], moved[b], twice[a, b]
                trace = traces[a, b] - 2 * np.sum(C * both[:p, :p])
                trace += np.sum((C @ A[:p, :p]) * (C @ B[:p, :p]).T)
                score = error @ both @ error - (A @ error)[:p] @ C @ (B @ error)[:p]
                hessian[a, b] = hessian[b, a] = (-trace + 2 * score / s) / s**2
        return hessian, np.array([C @ A[:p, :p] @ C for A in moved])


def _maximise(model: _Model) -> Floats:
    """Ratios that minimise the profiled deviance over the quadrant of non-negative ratios.

    Newton's method from the best of a few starts, on the terms off the boundary; a term at zero whose
    slope says that it wants to leave is let go again.
    """
    if model.terms == 0:
        return np.zeros(0)
    tried = [np.full(model.terms, ratio) for ratio in (0.05, 0.3, 1.0, 5.0)]
    ratios = _newton(model, min(tried, key=lambda ratios: model.state(ratios).deviance))
    for _ in range(model.terms + 1):
        slope = model.gradient(model.state(ratios))
        eager = (ratios == 0) & (slope < -1e-7)
        if not eager.any():
            break
        ratios = _newton(model, np.where(eager, 1e-3, ratios))
    return ratios


def _newton(model: _Model, ratios: Floats) -> Floats:
    """Newton steps, halved until the deviance falls, at most tenfold up or down; a ratio below the
    boundary becomes zero."""
    at = model.state(ratios)
    for _ in range(MAX_STEPS):
        free = np.flatnonzero(ratios > 0)
        if free.size == 0:
            break
        step = -_newton_direction(model, at, free, model.gradient(at)[free])
        old, taken = at, 1.0
        while taken > 1e-6:
            new = old.ratios.copy()
            new[free] = np.clip(new[free] + taken * step, new[free] / 10, new[free] * 10)
            new = np.where(new < BOUNDARY, 0.0, new)
            at = model.state(new)
            if at.deviance <= old.deviance + 1e-11 * (1 + abs(old.deviance)):
                break
            taken /= 2
        ratios = new
        if float(np.max(np.abs(new - old.ratios) / (1e-3 + new))) < 1e-10:
            break
    return ratios


def _newton_direction(model: _Model, at: _State, free: Codes, slope: Floats) -> Floats:
    """Hessian of the profiled deviance from that of the full one, by eliminating the residual."""
    full, _ = model.second_order(at, free)
    m = len(free)
    # d/d ratio = s d/d s_k; with the residual profiled out: H_kk - H_k0 H_0k / H_00 in (ratio, log s).
    jacobian = np.eye(m + 1) * at.residual
    jacobian[:m, m] = at.ratios[free]
    jacobian[m, m] = 1.0
    curved = jacobian.T @ full @ jacobian
    first = np.append(slope, 0.0)
    curved[:m, m] += slope / at.residual
    curved[m, :m] += slope / at.residual
    reduced = curved[:m, :m] - np.outer(curved[:m, m], curved[m, :m]) / curved[m, m]
    values, vectors = np.linalg.eigh(reduced)
    steepest = float(np.abs(values).max())
    if max(steepest, float(np.abs(slope).max())) < FLAT:
        raise ValueError(
            "score: too few scores to tell the variances of the random terms from the residual's"
        )
    values = np.maximum(np.abs(values), max(1e-10 * steepest, 1e-200))
    direction: Floats = vectors @ ((vectors.T @ first[:m]) / values)
    return direction


def _inverse_where_curved(hessian: Floats) -> Floats:
    """Inverse of the Hessian along the directions in which the deviance rises, as lmerTest does."""
    values, vectors = np.linalg.eigh(hessian)
    kept = values > 1e-10 * values.max()
    out: Floats = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    return out
