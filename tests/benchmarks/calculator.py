"""How long the statistics take beside the obvious calls for the same result: prints ratios, asserts nothing.

    python tests/benchmarks/calculator.py

Against R's lmer and anova where Rscript with lmerTest is present, otherwise against statsmodels and SciPy. A ratio
under 1 means that ours is faster. Every time is the best of a few runs after a warm-up.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

TABLES = ((24, 5, 10), (500, 8, 10), (5_000, 12, 10))
_R = """
suppressPackageStartupMessages(library(lmerTest))
d <- read.csv("{file}", stringsAsFactors = TRUE)
run <- function() for (one in split(d, d$attribute)) anova(lmer(score ~ sample + (1 | taster), one))
run(); t <- Sys.time(); run(); cat(as.numeric(difftime(Sys.time(), t, units = "secs")))
"""


def ratings(tasters: int, samples: int, attributes: int, gaps: float = 0.0) -> pd.DataFrame:
    """Made-up nine-point scores, every taster in another order; a share of them missing at random."""
    rng = np.random.default_rng(3)
    who, what = (grid.ravel() for grid in np.meshgrid(np.arange(tasters), np.arange(samples), indexing="ij"))
    parts = []
    for place in range(attributes):
        value = 5.5 + rng.normal(0, 1, tasters)[who] + rng.normal(0, 0.5, samples)[what]
        score = np.clip(np.round(value + rng.normal(0, 1.2, len(who))), 1, 9)
        part = pd.DataFrame(
            {"taster": who, "sample": what, "score": score, "position": (who + what) % samples + 1}
        )
        parts.append(part.assign(attribute="liking" if place == 0 else f"attribute {place}"))
    frame = pd.concat(parts, ignore_index=True)
    frame["taster"] = "t" + frame["taster"].astype(str)
    frame["sample"] = [chr(65 + number) for number in frame["sample"]]
    return frame[rng.random(len(frame)) >= gaps]


def seconds(call: Callable[[], Any], runs: int = 3) -> float:
    """The shortest of so many runs, after one that does not count."""
    taken = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the libraries warn about convergence; only the time counts here
        for _ in range(runs + 1):
            start = time.perf_counter()
            call()
            taken.append(time.perf_counter() - start)
    return min(taken[1:])


def in_r(frame: pd.DataFrame) -> float | None:
    """Seconds that lmer and anova take over all attributes; None without R or lmerTest."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scores.csv"
        frame.to_csv(file, index=False)
        done = subprocess.run(["Rscript", "-e", _R.format(file=file)], capture_output=True, text=True)
    return float(done.stdout) if done.returncode == 0 else None


def obvious_mixed(frame: pd.DataFrame) -> None:
    """The mixed model by a library call."""
    import statsmodels.formula.api as smf

    smf.mixedlm("score ~ C(sample)", frame, groups=frame["taster"]).fit(reml=True)


def obvious(frame: pd.DataFrame, *, anova: bool) -> None:
    """The tests of samples by library calls, for every attribute."""
    from scipy.stats import friedmanchisquare
    from statsmodels.stats.anova import AnovaRM

    for _, part in frame.groupby("attribute"):
        if anova:
            AnovaRM(part, "score", "taster", within=["sample"]).fit()
        wide = part.pivot(index="taster", columns="sample", values="score")
        friedmanchisquare(*(wide[name] for name in wide))


def in_libraries(frame: pd.DataFrame, runs: int) -> tuple[float, str]:
    """Seconds of the library calls and their name; AnovaRM builds a square matrix that large tables do not fit in."""
    try:
        taken = seconds(lambda: obvious(frame, anova=True), runs)
    except MemoryError:
        return seconds(
            lambda: obvious(frame, anova=False), runs
        ), "friedmanchisquare alone (AnovaRM: no memory)"
    return taken, "AnovaRM + friedmanchisquare, the tests of samples alone"


def mixed_model() -> None:
    """The mixed model of 100 tasters by 12 samples, 10 % of the scores missing."""
    import stats

    frame = ratings(100, 12, 1, gaps=0.1)
    ours = seconds(lambda: stats.hedonic_anova(frame.drop(columns=["attribute", "position"]), method="mixed"))
    theirs, name = in_r(frame), "lmer + anova in R"
    if theirs is None:
        theirs, name = (
            seconds(lambda: obvious_mixed(frame)),
            "statsmodels MixedLM (no Satterthwaite df)",
        )
    told("mixed model, 100 x 12", ours, theirs, name)


def whole_analyses() -> None:
    """The whole report of scores, without figures: tests, pairs, checks, panel, order, camps, map."""
    from panel.analysis.analysis import analyse_scores

    for size in TABLES:
        frame, runs = ratings(*size), 3 if size[0] < 1_000 else 1
        ours = seconds(lambda frame=frame: analyse_scores(frame), runs)
        theirs, name = in_r(frame), "lmer + anova in R, the tests of samples alone"
        if theirs is None:
            theirs, name = in_libraries(frame, runs)
        told(f"whole analysis, {' x '.join(f'{number:,}' for number in size)}", ours, theirs, name)


def importing() -> None:
    """What `import stats` costs beyond Python's own start."""

    def start(code: str) -> float:
        return seconds(lambda: subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True), 10)

    bare, loaded = start("pass"), start("import stats")
    print(f"{'import stats':34} {loaded - bare:9.3f} s beyond Python's start of {bare:.3f} s")


def told(what: str, ours: float, theirs: float, name: str) -> None:
    print(f"{what:34} {ours:9.3f} s   ratio {ours / theirs:7.2f}   against {theirs:.3f} s of {name}")


if __name__ == "__main__":
    mixed_model()
    whole_analyses()
    importing()
