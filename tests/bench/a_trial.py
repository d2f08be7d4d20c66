"""Four invented appliances, measured and tasted: small enough to reckon by hand, for tests of plumbing."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from panel.bench.figures import Figure
from panel.study.measuring import Bench, Criterion, Group, Measurand

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

NAMES = {"p1": "Kettlewick", "p2": "Morgengrau", "p3": "Bramble", "p4": "Tidewater"}
LIKING = Criterion("c1", "Liking", "q1", worst=1, best=9)
SPEED = Criterion("c2", "Speed", "m1", "mean", "", "min", "less", worst=60, best=20, group="Use", weight=2)
WARMTH = Criterion("c3", "Warmth", "m2", "at 120", "", "°C", worst=50, best=75, group="Use")
SAFE = Criterion("c4", "Safe", "m2", "at 120", "", "°C", must_least=57, curve="none", group="Use")
DRY = Criterion("c5", "Does not boil over", "m3", "mean", direction="pass", curve="none", group="Use")
BENCH = Bench(
    measurands=(
        Measurand("m1", "Time", "duration", "min"),
        Measurand("m2", "Warm", "temperature-series", "°C"),
        Measurand("m3", "Clean", "check"),
        Measurand("m4", "Price", "price", runs=1),
    ),
    criteria=(LIKING, SPEED, WARMTH, SAFE, DRY),
    groups=(Group("Taste", 1.0), Group("Use", 1.0)),
)


def figure(
    product: str,
    measurand: str,
    name: str,
    value: float | None,
    *,
    u: float | None = 0.5,
    df: float = 2.0,
    unit: str = "",
    runs: tuple[float, ...] = (),
) -> Figure:
    """A figure whose interval is that of t with its degrees of freedom."""
    from scipy.stats import norm, t

    half = None
    if u is not None and value is not None:
        half = u * float(t.ppf(0.975, df) if math.isfinite(df) else norm.ppf(0.975))
    low = None if half is None or value is None else value - half
    high = None if half is None or value is None else value + half
    return Figure(product, measurand, name, unit, 3, value, u, df if u is not None else 0, low, high, runs)


def figures(
    minutes: Mapping[str, float | None] | None = None,
    warm: Mapping[str, float | None] | None = None,
    checks: Mapping[str, tuple[float, ...]] | None = None,
    prices: Mapping[str, float] | None = None,
    u: float | None = 0.5,
) -> list[Figure]:
    """Figures of all four; what is not given is the same for all."""
    found = []
    for product in NAMES:
        runs = (checks or {}).get(product, (1.0, 1.0, 1.0))
        found += [
            figure(product, "m1", "mean", (minutes or {}).get(product, 40.0), u=u, unit="min"),
            figure(product, "m2", "at 120", (warm or {}).get(product, 65.0), u=u, unit="°C"),
            figure(product, "m3", "mean", float(np.mean(runs)), u=0.1, runs=runs),
        ]
        if prices:
            found.append(figure(product, "m4", "mean", prices[product], u=0.0, df=math.inf, unit="EUR"))
    return found


def tasted(
    means: Mapping[str, float], tasters: int = 20, spread: float = 0.8, seed: int = 1, question: str = "q1"
) -> pd.DataFrame:
    """Complete blocks of normal scores about these means, each taster with a level of their own."""
    rng = np.random.default_rng(seed)
    rows = []
    for taster in range(tasters):
        level = rng.normal(0, 0.5)
        for product, mean in means.items():
            score = mean + level + rng.normal(0, spread)
            rows.append((f"T{taster:02d}", product, question, "as served", score))
    return pd.DataFrame(rows, columns=["taster", "sample", "question", "condition", "score"])


def exactly(means: Mapping[str, float], tasters: int = 10, question: str = "q1") -> pd.DataFrame:
    """Tasters who all say the same."""
    return tasted(means, tasters, spread=0.0, question=question).assign(
        score=lambda frame: frame["sample"].map(dict(means)).astype(float)
    )


def with_criteria(*criteria: Criterion, groups: Sequence[Group] = BENCH.groups) -> Bench:
    """The trial's bench with these criteria."""
    return replace(BENCH, criteria=tuple(criteria), groups=tuple(groups))
