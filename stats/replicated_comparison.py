"""Products compared by replicate runs of an instrument: Welch's test, Games-Howell pairs, or runs in blocks."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from stats.comparisons import Contrasts, all_pairs, compare
from stats.comparisons_letters import compact_letters
from stats.liking import hedonic_anova
from stats.phrasing import count, listing, p_text, percent, significant
from stats.results import Result
from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from stats.comparisons import Pair
    from stats.score_table import Floats

LEAST_RUNS = 2


@dataclass(frozen=True, slots=True)
class RunMean:
    """Mean of one product's runs with its own t interval. sd : None for one run, and where runs are in blocks."""

    sample: str
    n: int
    mean: float
    sd: float | None
    standard_error: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class ReplicatedComparison(Result):
    """Do products differ by more than their runs scatter?

    means : one per product, also of those with too few runs; pairs : differences with simultaneous intervals
    letters : products that share one are not shown to differ; products without a comparison have none
    f, df_num, df_den, p_value : of equal means, None where nothing can be compared
    left_out : products with fewer than two runs; blocked : whether runs were compared within blocks; unit : of runs
    """

    means: tuple[RunMean, ...]
    pairs: tuple[Pair, ...]
    letters: ByName
    f: float | None
    df_num: float | None
    df_den: float | None
    p_value: float | None
    left_out: tuple[str, ...]
    blocked: bool
    alpha: float
    confidence: float
    unit: str
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The largest difference with its interval, then the test; or why nothing is compared."""
        if self.f is None or self.p_value is None:
            return f"Nothing is compared: {self.notes[0]}." if self.notes else "Nothing is compared."
        apart, unit = self.apart, f"\u202f{self.unit}" if self.unit else ""
        shown = f"{apart or 'none'} of {count(len(self.pairs), 'pair')} shown to be apart"
        widest = max(self.pairs, key=lambda pair: abs(pair.difference))
        first, second = (widest.a, widest.b) if widest.difference >= 0 else (widest.b, widest.a)
        ends = " to ".join(significant(end).replace("-", "−") for end in _ends(widest))
        span = f" ({percent(self.confidence)} interval {ends}{unit})" if ends else ""
        gap = significant(abs(widest.difference))
        lies = (
            f"{first} lies above {second} by {gap}{unit}"
            if float(gap)
            else f"{first} and {second} have the same mean"
        )
        return f"{lies}{span}; {shown} (equal means: {p_text(self.p_value)})."

    @property
    def apart(self) -> int:
        """How many pairs are shown to be apart."""
        return sum(pair.p_adjusted <= self.alpha for pair in self.pairs)


def replicated_comparison(
    runs: Mapping[str, Sequence[float]],
    *,
    blocks: Mapping[str, Sequence[str]] | None = None,
    least_spread: float = 0.0,
    alpha: float = 0.05,
    confidence: float = 0.95,
    unit: str = "",
) -> ReplicatedComparison:
    """Compare products whose runs are independent repeats.

    runs : product -> its valid runs; blocks : product -> the block (day, operator) of each run, None where runs
        were not blocked; least_spread : standard deviation that no product is taken to be below, such as the
        resolution / √12 of the instrument, 0 for none; alpha : of letters and sentence; unit : of the runs, in words

    Without blocks: Welch's analysis of variance (Welch 1951, Biometrika 38, 330-336), which for two products is
    Welch's t test, and pairs by Games & Howell (1976), Journal of Educational Statistics 1, 113-125. With blocks:
    mixed model, products fixed, blocks random (REML, Satterthwaite), pairs by Tukey.

    Products with fewer than two runs are named and not compared. Fewer than two such products, or runs without
    any scatter, give a result without test that says why. ValueError for numbers that are not finite, blocks that
    do not fit the runs, and alpha or confidence outside 0..1.
    """
    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    values = {name: _checked(name, found) for name, found in runs.items()}
    kept = {name: x for name, x in values.items() if len(x) >= LEAST_RUNS}
    nothing = ReplicatedComparison(
        means=tuple(_mean(name, x, least_spread, confidence) for name, x in values.items()),
        pairs=(),
        letters=ByName(),
        f=None,
        df_num=None,
        df_den=None,
        p_value=None,
        left_out=tuple(name for name in values if name not in kept),
        blocked=False,
        alpha=alpha,
        confidence=confidence,
        unit=unit,
        method="no comparison",
        notes=(),
    )
    few = _few(nothing.left_out)
    if len(kept) < 2:
        return replace(nothing, notes=("fewer than two products have two runs", *few))
    if blocks is not None:
        return _blocked(replace(nothing, notes=few), kept, blocks)
    return _welch(replace(nothing, notes=few), kept, least_spread)


def _few(left_out: tuple[str, ...]) -> tuple[str, ...]:
    if not left_out:
        return ()
    verb = "has" if len(left_out) == 1 else "have"
    return (f"{listing(left_out)} {verb} fewer than two runs and cannot be compared",)


def _welch(
    nothing: ReplicatedComparison, kept: dict[str, Floats], least_spread: float
) -> ReplicatedComparison:
    names, notes = tuple(kept), list(nothing.notes)
    n = np.array([len(x) for x in kept.values()], dtype=float)
    mean = np.array([x.mean() for x in kept.values()])
    spread = np.array([_spread(x) for x in kept.values()])
    still = [name for name, sd in zip(names, spread, strict=True) if sd <= least_spread]
    if still and least_spread == 0:
        note = (
            f"all runs of {listing(still)} gave the same value, so that nothing is known of their scatter; "
            "state the instrument's resolution"
        )
        rest = {name: x for name, x in kept.items() if name not in still}
        if len(rest) < 2:
            return replace(nothing, notes=(note, *notes))
        return _welch(replace(nothing, notes=(note, *notes)), rest, least_spread)
    if still:
        notes.append(
            f"runs of {listing(still)} scatter less than the instrument can show; its resolution is taken instead"
        )
    variance = np.maximum(spread, least_spread) ** 2 / n
    f, df_den, p = _welch_f(mean, variance, n)
    a, b = all_pairs(len(names))
    error = np.sqrt(variance[a] + variance[b])
    df = error**4 / (variance[a] ** 2 / (n[a] - 1) + variance[b] ** 2 / (n[b] - 1))
    pairs, _ = compare(Contrasts(names, a, b, mean[a] - mean[b], error, df), "tukey", nothing.confidence)
    two = len(names) == 2
    how = "Welch's t test" if two else "Welch's analysis of variance, pairs by Games and Howell"
    notes.append("runs are taken as independent repeats; scatter may differ between products")
    return _with_pairs(
        replace(
            nothing, f=f, df_num=len(names) - 1.0, df_den=df_den, p_value=p, method=how, notes=tuple(notes)
        ),
        names,
        mean,
        pairs,
    )


def _welch_f(mean: Floats, variance: Floats, n: Floats) -> tuple[float, float, float]:
    """Welch's F of equal means, its denominator degrees of freedom and p-value; variance : of the means."""
    from scipy.special import fdtrc

    k, weight = len(mean), 1 / variance
    total = weight.sum()
    centre = (weight * mean).sum() / total
    lost = float(((1 - weight / total) ** 2 / (n - 1)).sum())
    between = float((weight * (mean - centre) ** 2).sum()) / (k - 1)
    f = between / (1 + 2 * (k - 2) / (k**2 - 1) * lost)
    df_den = (k**2 - 1) / (3 * lost)
    return f, df_den, float(fdtrc(k - 1, df_den, f))


def _blocked(
    nothing: ReplicatedComparison, kept: dict[str, Floats], blocks: Mapping[str, Sequence[str]]
) -> ReplicatedComparison:
    rows: dict[str, list[object]] = {"taster": [], "sample": [], "score": [], "replicate": []}
    seen: dict[tuple[str, str], int] = {}
    for name, x in kept.items():
        named = list(blocks.get(name, ()))
        if len(named) != len(x):
            raise ValueError(f"blocks: {name!r} has {count(len(x), 'run')}, but {count(len(named), 'block')}")
        for block, value in zip(named, x.tolist(), strict=True):
            seen[name, block] = seen.get((name, block), 0) + 1
            for column, cell in zip(rows, (block, name, value, seen[name, block]), strict=True):
                rows[column].append(cell)
    if max(seen.values()) == 1:
        del rows["replicate"]
    try:
        found = hedonic_anova(rows, method="mixed", alpha=nothing.alpha, confidence=nothing.confidence)
    except ValueError as error:
        said = str(error).replace("taster", "block").replace("score", "run").replace("sample", "product")
        return replace(nothing, notes=(f"runs cannot be compared within blocks: {said}", *nothing.notes))
    mine = {row.sample: row for row in found.means}
    means = tuple(
        replace(one, mean=row.mean, sd=None, standard_error=row.standard_error, low=row.low, high=row.high)
        if (row := mine.get(one.sample))
        else one
        for one in nothing.means
    )
    whole = replace(
        nothing,
        means=means,
        f=found.f,
        df_num=found.df_num,
        df_den=found.df_den,
        p_value=found.p_value,
        blocked=True,
        method="linear mixed model by REML, products fixed, blocks random, pairs by Tukey",
        notes=(*nothing.notes, *_singular(found.notes), "differences are taken within blocks, such as days"),
    )
    return replace(whole, pairs=found.pairs, letters=found.letters)


def _singular(notes: tuple[str, ...]) -> tuple[str, ...]:
    """What the mixed model says of variances estimated as zero, in the words of blocks."""
    return tuple(
        note.replace("taster", "block").replace("sample", "product") for note in notes if "singular" in note
    )


def _with_pairs(
    found: ReplicatedComparison, names: tuple[str, ...], mean: Floats, pairs: tuple[Pair, ...]
) -> ReplicatedComparison:
    different = [(pair.a, pair.b) for pair in pairs if pair.p_adjusted <= found.alpha]
    return replace(found, pairs=pairs, letters=compact_letters(names, mean.tolist(), different))


def _mean(name: str, x: Floats, least_spread: float, confidence: float) -> RunMean:
    from scipy.special import stdtrit

    n, mean = len(x), float(x.mean()) if len(x) else math.nan
    if n < LEAST_RUNS:
        return RunMean(name, n, mean, None, None, None, None)
    sd = max(_spread(x), least_spread)
    error = sd / math.sqrt(n)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * error
    return RunMean(name, n, mean, sd, error, mean - half, mean + half)


def _spread(x: Floats) -> float:
    """Standard deviation; 0 where it is nothing but the dust of rounding."""
    sd = float(np.std(x, ddof=1))
    return 0.0 if sd <= 1e-12 * float(np.abs(x).max()) else sd


def _checked(name: str, values: Sequence[float]) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or not np.isfinite(x).all():
        raise ValueError(f"runs: {name!r} must hold finite numbers, but holds {values!r:.80}")
    return x


def _ends(pair: Pair) -> list[float]:
    """Both limits of a difference, turned the way in which the difference is positive."""
    if pair.low is None or pair.high is None:
        return []
    return [pair.low, pair.high] if pair.difference >= 0 else [-pair.high, -pair.low]
