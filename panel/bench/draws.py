"""Joint draws of every criterion's value for every product: whole tasters resampled, measurements over their error."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from panel.bench.scoring import Value
from stats.taster_means import TasterSums, means_under, resampled_tasters, taster_sums

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from panel.bench.figures import Figure
    from panel.study.measuring import Bench, Criterion

    Floats = NDArray[np.float64]

FEWEST_TASTERS = 2
CONFIDENCE = 0.95
# Figures that are one reading divided by a known number: their errors are the same error.
SAME_READING = {"per serving": "mean"}


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The values of all criteria for all products, drawn once; weights can then be moved without drawing again.

    bench : as declared; names : product -> its name, in the order shown; values : (product, criterion key) -> value
    figures : as given; tasters : whose scores count; draws, seed : of the resampling
    """

    bench: Bench
    names: Mapping[str, str]
    values: Mapping[tuple[str, str], Value]
    figures: tuple[Figure, ...]
    tasters: int
    draws: int
    seed: int

    @property
    def products(self) -> tuple[str, ...]:
        return tuple(self.names)


def drawn(
    bench: Bench,
    figures: Sequence[Figure],
    taste: pd.DataFrame | None,
    *,
    names: Mapping[str, str] | None = None,
    draws: int = 4000,
    seed: int = 0,
) -> Drawn:
    """Draw every criterion's value for every product.

    figures : of the bench, in the units the criteria were sealed in (ValueError otherwise)
    taste : columns taster, sample (the product's key), question, score and where present condition; None without
    names : product -> name, of those that count and in their order; all products found where None
    draws : at least 100; seed : public. The same input gives the same draws, in whatever order its rows come.
    """
    if draws < 100:
        raise ValueError(f"draws must be at least 100, but got {draws!r}")
    known = names if names is not None else {key: key for key in _found(figures, taste)}
    products = tuple(known)
    asked = [criterion for criterion in bench.criteria if not criterion.figure]
    tasted, tasters = _Tasted.of(asked, taste, products, draws, seed)
    values: dict[tuple[str, str], Value] = {}
    by_key = {(figure.product, figure.measurand, figure.figure): figure for figure in figures}
    for criterion in bench.criteria:
        for place, product in enumerate(products):
            if criterion.figure:
                figure = by_key.get((product, criterion.source, criterion.figure))
                values[product, criterion.key] = _measured(criterion, figure, draws, seed)
            else:
                values[product, criterion.key] = tasted.value(criterion, place)
    return Drawn(bench, dict(known), values, tuple(figures), tasters, draws, seed)


def _found(figures: Sequence[Figure], taste: pd.DataFrame | None) -> list[str]:
    tasted = set() if taste is None else {str(name) for name in taste["sample"]}
    return sorted(tasted | {figure.product for figure in figures})


def _measured(criterion: Criterion, figure: Figure | None, draws: int, seed: int) -> Value:
    """A figure over its uncertainty: value + u t, with t of its degrees of freedom.

    Source: JCGM 101:2008 (GUM Supplement 1), 6.4.9: a scaled and shifted t distribution for a mean of repeats.
    """
    if figure is None:
        return _nothing("it was not measured", draws)
    if figure.value is None:
        return _nothing("; ".join(flag.rstrip(".") for flag in figure.flags) or "no valid run", draws)
    if figure.unit != criterion.unit:
        raise ValueError(
            f"{criterion.name}: the limits are in {criterion.unit or 'no unit'}, the measurement in "
            f"{figure.unit or 'no unit'}; convert the measurement first"
        )
    values = np.full(draws, figure.value)
    if figure.u:
        values = values + figure.u * _deviates(figure, draws, seed)
    return Value(
        value=figure.value,
        low=figure.low if figure.u is not None else None,
        high=figure.high if figure.u is not None else None,
        n=figure.n,
        drawn=values,
        bound=figure.bound,
        runs=figure.runs,
        flags=figure.flags,
    )


def _deviates(figure: Figure, draws: int, seed: int) -> Floats:
    """t deviates that depend on seed, product and reading alone, so that other criteria do not move them."""
    from scipy.stats import t

    reading = SAME_READING.get(figure.figure, figure.figure)
    key = zlib.crc32(f"{figure.product}\n{figure.measurand}\n{reading}".encode())
    chance = np.random.default_rng([seed, key]).uniform(size=draws)
    found: Floats = t.ppf(chance, max(figure.df, 1.0) if np.isfinite(figure.df) else 1e9)
    return found


def _nothing(why: str, draws: int) -> Value:
    return Value(None, None, None, 0, np.full(draws, np.nan), missing=why)


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """One question in one way of serving: adjusted means, and how many tasted each product."""

    means: Floats
    drawn: Floats
    tasters: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class _Tasted:
    """All questions' blocks, their draws made with the same tasters, so that what goes together stays together."""

    blocks: Mapping[tuple[str, str], _Block]
    draws: int

    @classmethod
    def of(
        cls,
        criteria: Sequence[Criterion],
        taste: pd.DataFrame | None,
        products: Sequence[str],
        draws: int,
        seed: int,
    ) -> tuple[_Tasted, int]:
        """The blocks, and whose scores count in how many tasters."""
        asked = {criterion.source for criterion in criteria}
        rows = None if taste is None else _rows(taste, asked, products)
        if rows is None or rows.empty:
            return cls({}, draws), 0
        tasters = sorted(rows["taster"].unique())
        if len(tasters) < FEWEST_TASTERS:
            return cls({}, draws), len(tasters)
        sums = {
            (str(question), str(condition)): _sums(part, tasters, products)
            for (question, condition), part in rows.groupby(["question", "condition"], sort=True)
        }
        return cls(_blocks(sums, len(tasters), draws, seed), draws), len(tasters)

    def value(self, criterion: Criterion, place: int) -> Value:
        """The mean over the ways of serving that the criterion asks about, each counting the same."""
        parts = [
            block
            for (question, condition), block in self.blocks.items()
            if question == criterion.source and criterion.condition in ("", condition)
        ]
        if not parts:
            return _nothing("too few tasters answered", self.draws)
        mean = float(np.mean([part.means[place] for part in parts]))
        values = np.mean([part.drawn[:, place] for part in parts], axis=0)
        if np.isnan(mean) or np.isnan(values).any():
            return _nothing("too few tasters scored it beside the others", self.draws)
        tail = (1 - CONFIDENCE) / 2
        low, high = (float(end) for end in np.quantile(values, [tail, 1 - tail]))
        return Value(mean, low, high, min(int(part.tasters[place]) for part in parts), values)


def _rows(taste: pd.DataFrame, asked: set[str], products: Sequence[str]) -> pd.DataFrame:
    """The rows that count, as text and numbers, in canonical order."""
    rows = taste.loc[taste["question"].isin(asked) & taste["sample"].isin(list(products))].copy()
    rows = rows[rows["score"].notna()]
    rows["condition"] = rows["condition"].fillna("").astype(str) if "condition" in rows else ""
    rows["score"] = rows["score"].astype(float)
    rows["taster"] = rows["taster"].astype(str)
    return rows.sort_values(["taster", "sample", "question", "condition", "score"], kind="stable")


def _sums(
    rows: pd.DataFrame, tasters: Sequence[str], products: Sequence[str]
) -> tuple[TasterSums, NDArray[np.int64]]:
    """Sums of one block without the products that fewer than two tasters scored."""
    person = {name: place for place, name in enumerate(tasters)}
    product = {name: place for place, name in enumerate(products)}
    many = rows.groupby("sample")["taster"].nunique()
    kept = rows[rows["sample"].isin(many[many >= FEWEST_TASTERS].index)]
    counts = np.array([int(many.get(name, 0)) for name in products], dtype=np.int64)
    taster = np.array([person[name] for name in kept["taster"]], dtype=np.int64)
    sample = np.array([product[name] for name in kept["sample"]], dtype=np.int64)
    return taster_sums(taster, sample, kept["score"].to_numpy(float), (len(tasters), len(products))), counts


def _blocks(
    sums: Mapping[tuple[str, str], tuple[TasterSums, NDArray[np.int64]]], tasters: int, draws: int, seed: int
) -> dict[tuple[str, str], _Block]:
    """Means and draws of all blocks; a draw of tasters that cannot compare all products is drawn again."""
    rng = np.random.default_rng([seed, 0])
    ones = np.ones((1, tasters))
    means = {key: means_under(one, ones)[0] for key, (one, _) in sums.items()}
    drawn: dict[tuple[str, str], list[Floats]] = {key: [] for key in sums}
    usable = [key for key in sums if not np.isnan(means[key]).all()]
    left = draws
    for _ in range(20):
        if left <= 0 or not usable:
            break
        weights = resampled_tasters(tasters, draws, rng)
        found = {key: means_under(sums[key][0], weights) for key in usable}
        sound = np.all([_whole(found[key], means[key]) for key in usable], axis=0)
        for key in usable:
            drawn[key].append(found[key][sound][:left])
        left -= min(left, int(sound.sum()))
    wider = _widening(tasters, draws, rng)
    return {
        key: _Block(
            means[key],
            means[key] + wider[:, None] * (np.vstack(drawn[key]) - means[key])
            if left <= 0 and key in usable
            else np.full((draws, len(means[key])), np.nan),
            sums[key][1],
        )
        for key in sums
    }


def _whole(found: Floats, means: Floats) -> NDArray[np.bool_]:
    """Whether a draw has a mean wherever all the tasters together have one."""
    return np.asarray(~np.isnan(found[:, ~np.isnan(means)]).any(axis=1))


def _widening(tasters: int, draws: int, rng: np.random.Generator) -> Floats:
    """How far each draw's deviation is widened, for few tasters: by n / (n - 1), and as the t widens the normal.

    Plain percentile intervals of few are too narrow for both reasons: Hesterberg (2015), The American
    Statistician 69, 371-386 (from memory). One factor for all of a draw, since the tasters are the same.
    """
    df = tasters - 1
    wider: Floats = np.sqrt(tasters / df) * np.sqrt(df / rng.chisquare(df, size=draws))
    return wider
