"""Recompute the headline figures of this study from its CSV files, with Python, NumPy and SciPy alone.

    python -m venv bare && bare/bin/pip install scipy && bare/bin/python recompute.py

Run it in the unpacked folder. It imports nothing of the program that ran the study. It counts what the signed
analysis counted (no late answers, nobody who was left out), computes the figures that the finding rests on once
more, and prints each beside the signed one with "equal" or "NOT EQUAL". It ends with status 1 where one differs.

What it recomputes: exact binomial tests (forced choice, preference), Wald's sequential test, Fisher's exact test
(same-different, A-not-A), the rank tests of Friedman and of Skillings and Mack; for scores the two-way analysis of
variance or the mixed model (restricted maximum likelihood, Satterthwaite's degrees of freedom), Cochran's Q, raw
means and corrected p-values. Not: pairs, drivers, maps, camps, limits of d' or for tasters who differ, permutation
tests; for those the signed results name method and source.
"""

from __future__ import annotations

import csv
import json
import sys
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np
from scipy import optimize, stats

GUESSING = {
    "triangle": 1 / 3, "duo-trio": 1 / 2, "2-AFC": 1 / 2, "3-AFC": 1 / 3, "tetrad": 1 / 3, "two-out-of-five": 1 / 10,
}  # fmt: skip
CLOSE = 1e-6  # relative difference that rounding may make in a formula
OPEN = ("", "cannot tell")
ITERATED = 1e-3  # the same for what an iteration finds: restricted likelihood, degrees of freedom, their p
Row = dict[str, str]


class Sheet:
    """The comparison that is printed, line by line."""

    def __init__(self) -> None:
        self.different = 0
        print(f"{'figure':58} {'signed':>16} {'recomputed':>16}")

    def hold(self, what: str, signed: float | None, again: float | None, within: float = CLOSE) -> None:
        """Print both values, and whether they agree to the relative difference `within`."""
        close = bool(np.isclose(signed or 0.0, again or 0.0, rtol=within, atol=0.0))
        same = close and (signed is None) == (again is None)
        self.different += not same
        one, two = ("none" if value is None else f"{value:.8g}" for value in (signed, again))
        print(f"{what[:58]:58} {one:>16} {two:>16}  {'equal' if same else 'NOT EQUAL'}")


def counted(name: str, folder: Path) -> list[Row]:
    """The rows of a table that the analysis counts."""
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["late"] == "no" and row["left_out"] == ""]


def forced_choice(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """P(at least so many right | everybody guesses), and the exact limits of Clopper and Pearson."""
    guess, n = GUESSING[report["test"]], len(rows)
    right = sum(row["correct"] == "yes" for row in rows)
    for what, found in (("answers", n), ("correct", right)):
        sheet.hold(what, report[what], found)
    judged = [_right(report["test"], row["samples"].split(), row["chosen"]) for row in rows]
    if None not in judged:
        sheet.hold("right ones, judged anew from samples and choice", right, sum(map(bool, judged)))
    difference, test = report["difference"], stats.binomtest(right, n, guess, alternative="greater")
    sheet.hold("p of a difference, exact binomial", difference["p_value"], float(test.pvalue))
    limits = stats.binomtest(right, n).proportion_ci(difference["confidence"], method="exact")
    for name, share in (("estimate", right / n), ("low", limits.low), ("high", limits.high)):
        again = max(0.0, (share - guess) / (1 - guess))
        sheet.hold(f"share told apart, {name}", difference["pd"][name], again)
    if report["similarity"] is not None:
        limit = report["pd_limit"]
        p = float(stats.binom.cdf(right, n, limit + (1 - limit) * guess))
        sheet.hold(f"p of similarity, limit {limit:g}", report["similarity"]["p_value"], p)


def sequential(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """Wald's ratio of likelihoods after each answer, in order of arrival, until it passes one of its two limits."""
    guess, a, b = GUESSING[report["test"]], report["alpha"], report["beta"]
    apart = guess + (1 - guess) * report["pd_limit"]
    right = [row["correct"] == "yes" for row in sorted(rows, key=lambda row: int(row["arrived"]))]
    ratio = np.cumsum([np.log(apart / guess if yes else (1 - apart) / (1 - guess)) for yes in right])
    passed = np.flatnonzero((ratio <= np.log(b / (1 - a)) + 1e-9) | (ratio >= np.log((1 - b) / a) - 1e-9)) + 1
    ends = {int(n): "difference" if ratio[n - 1] > 0 else "similar" for n in passed}
    after = next((n for n in (*ends, report["most"]) if n <= min(len(right), report["most"])), None)
    said = "continue" if after is None else ends.get(after, "undecided")
    sheet.hold("right ones", report["correct"], sum(right))
    sheet.hold("tasters until the decision", report["found"]["decided_after"], after)
    sheet.hold(f"decision “{report['found']['decision']}”", 1.0, float(said == report["found"]["decision"]))


def _right(test: str, samples: list[str], chosen: str) -> bool | None:
    """Whether it is right, where that follows from what stood there; None where from what was expected."""
    if test == "tetrad":
        return len({*zip(samples, chosen.split(), strict=True)}) == 2
    picked = [samples[int(cup) - 1] for cup in chosen.split()]
    if test == "two-out-of-five":
        return picked[0] == picked[1] and samples.count(picked[0]) == 2
    return {"triangle": samples.count(picked[0]) == 1, "duo-trio": picked[0] == samples[0]}.get(test)


def two_kinds(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """Same-different and A-not-A: are the one kind of servings called so more often? Fisher's exact test."""
    said = "different" if report["kind"] == "same-different" else "yes"
    table = [[0, 0], [0, 0]]  # by kind of serving: answered so, answered otherwise
    for row in rows:
        so, correct = row["chosen"] == said, row["correct"] == "yes"
        table[0 if so == correct else 1][0 if so else 1] += 1
    result = report["result"]
    sheet.hold(f"answered “{said}”, truly so", result["target_yes"], table[0][0])
    sheet.hold(f"answered “{said}”, not so", result["other_yes"], table[1][0])
    sheet.hold("p, Fisher's exact test", result["p_value"], float(stats.fisher_exact(table, "greater")[1]))


def preference(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """Exact binomial test, two-sided; who has no preference is split, an odd one to the smaller side."""
    votes = Counter(r["samples"].split()[int(r["chosen"]) - 1] if r["chosen"].isdigit() else "" for r in rows)
    first, second = sorted({sample for row in rows for sample in row["samples"].split()})
    half, odd = divmod(votes[""], 2)
    a, b = votes[first] + half, votes[second] + half
    a, b = (a + odd, b) if votes[first] < votes[second] else (a, b + odd)
    for sample, signed in ((first, "prefer_a"), (second, "prefer_b")):
        sheet.hold(f"votes for {sample}", report["result"][signed], votes[sample])
    test = stats.binomtest(a, a + b, 0.5)
    sheet.hold("p of a preference, exact", report["result"]["p_value"], float(test.pvalue))


def ranking(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """Friedman's test where everybody ranked everything, else Skillings and Mack's, a block for each ranking."""
    samples = sorted({sample for row in rows for sample in row["samples"].split()})
    whole = report["result"]["method"].startswith("Friedman")
    ranks: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for number, row in enumerate(rows):
        for sample, rank in zip(row["samples"].split(), row["chosen"].split(), strict=True):
            ranks[row["taster"] if whole else str(number)][sample].append(float(rank))
    cells = [[_mean(ranks[block].get(sample)) for sample in samples] for block in ranks]
    rank_test(report["result"], np.array(cells), sheet, "rankings: ")


def rank_test(signed: dict[str, Any], cells: Any, sheet: Sheet, what: str) -> None:
    """cells : tasters by samples, nan where a sample was not had."""
    if signed["method"].startswith("Friedman"):
        found = stats.friedmanchisquare(*cells[~np.isnan(cells).any(axis=1)].T)
        sheet.hold(f"{what}Friedman's chi-square", signed["statistic"], float(found.statistic))
        sheet.hold(f"{what}its p", signed["p_value"], float(found.pvalue))
    elif signed["method"].startswith("Skillings-Mack"):
        statistic, df = skillings_mack(cells)
        sheet.hold(f"{what}Skillings and Mack's statistic", signed["statistic"], statistic)
        sheet.hold(f"{what}its p", signed["p_value"], float(stats.chi2.sf(statistic, df)))
    else:
        print(f"{what}{signed['method']} is a check beside the headline and is not recomputed")


def skillings_mack(cells: Any) -> tuple[float, int]:
    """Weighted sums of centred ranks over their covariance (Skillings & Mack 1981, Technometrics 23, 171-177)."""
    kept = cells[(~np.isnan(cells)).sum(axis=1) > 1]
    there, sums = ~np.isnan(kept), np.zeros(kept.shape[1])
    for row, present, k in zip(kept, there, there.sum(axis=1), strict=True):
        sums[present] += (stats.rankdata(row[present]) - (k + 1) / 2) * np.sqrt(12 / (k + 1))
    together = there.T.astype(float) @ there
    np.fill_diagonal(together, 0.0)
    covariance = np.diag(together.sum(axis=1)) - together
    return float(sums @ np.linalg.pinv(covariance) @ sums), kept.shape[1] - 1


def scores(report: dict[str, Any], rows: list[Row], sheet: Sheet) -> None:
    """Each attribute by the analysis that was sealed for it; then the correction over attributes."""
    p_values: dict[str, list[tuple[str, float | None, float]]] = defaultdict(list)
    for one in report["attributes"]:
        name = one["attribute"]
        print(f"\n{name}: {one['title']}")
        mine = [r for r in rows if r["question"] == name and r["sample"] and r["value"] not in OPEN]
        sheet.hold("scores", one["shape"]["scores"], len(mine))
        for raw in one["raw"]:
            again = _mean([float(r["value"]) for r in mine if r["sample"] == raw["sample"]])
            sheet.hold(f"raw mean of {raw['sample']}", _mean(raw["scores"]), again)
        p = _attribute(one, mine, sheet)
        if p is not None:
            p_values[one["standing"]].append((name, one["p_adjusted"], p))
    for standing, found in p_values.items():
        print(f"\nattributes that are {standing}, correction: {report['correction']}")
        adjusted = corrected([p for _, _, p in found], report["correction"])
        for (name, signed, _), again in zip(found, adjusted, strict=True):
            sheet.hold(f"corrected p of {name}", signed, again, 0.02)


def _attribute(one: dict[str, Any], rows: list[Row], sheet: Sheet) -> float | None:
    """The test that the finding rests on; its p."""
    if one["shares"] is not None:
        return cochran(one["shares"]["terms"][0], rows, sheet)
    if one["main"] is None:
        return None
    main = one["main"]
    way, within = (two_way, CLOSE) if main["method"].startswith("two-way") else (mixed, ITERATED)
    f, df, df_error = way(rows)
    p = float(stats.f.sf(f, df, df_error))
    sheet.hold("F of samples", main["f"], f, within)
    sheet.hold("its degrees of freedom, between", main["df_num"], df)
    sheet.hold("its degrees of freedom, error", main["df_den"], df_error, within)
    sheet.hold("its p", main["p_value"], p, within if within == CLOSE else 0.02)
    if one["ranks"] is not None:
        rank_test(one["ranks"], _cells(rows), sheet, "check by ranks: ")
    return p


def cochran(signed: dict[str, Any], rows: list[Row], sheet: Sheet) -> float | None:
    """Cochran's Q over blocks (a taster in one condition and repeat) that have every sample."""
    samples = sorted({row["sample"] for row in rows})
    blocks: dict[tuple[str, str, str], dict[str, float]] = defaultdict(dict)
    for row in rows:
        blocks[row["taster"], row["condition"], row["replicate"]][row["sample"]] = float(row["value"])
    whole = np.array([[found[s] for s in samples] for found in blocks.values() if len(found) == len(samples)])
    k, columns, lines = len(samples), whole.sum(axis=0), whole.sum(axis=1)
    spread = float((lines * (k - lines)).sum())
    q = (k - 1) * k * float(((columns - columns.mean()) ** 2).sum()) / spread if spread else None
    p = None if q is None else float(stats.chi2.sf(q, k - 1))
    sheet.hold("Cochran's Q", signed["cochran_q"], q)
    sheet.hold("its p, chi-square form", signed["p_value"], p)
    if signed["p_permutation"] is not None:
        print("  the finding's p is by permutation, exact or sampled: taken as signed below")
    return p if signed["p_permutation"] is None else float(signed["p_permutation"])


def two_way(rows: list[Row]) -> tuple[float, float, float]:
    """Tasters as blocks, everybody having scored everything equally often.

    Once each: samples over the residual. More often: over taster by sample, so that it holds for other tasters.
    """
    cells = _cells(rows)
    (tasters, samples), by_taster, by_sample = cells.shape, cells.mean(axis=1), cells.mean(axis=0)
    between = tasters * float(((by_sample - cells.mean()) ** 2).sum())
    left = float(((cells - by_taster[:, None] - by_sample + cells.mean()) ** 2).sum())
    df, df_error = float(samples - 1), float((samples - 1) * (tasters - 1))
    return between / df / (left / df_error), df, df_error


def mixed(rows: list[Row]) -> tuple[float, float, float]:
    """Samples (and conditions) fixed, tasters random: restricted likelihood, F with Satterthwaite's degrees of freedom.

    Where a taster has several scores of one sample, or in one condition, their interaction is random too.
    F over orthogonal parts: Fai & Cornelius 1996, J. Statistical Computation and Simulation 54, 363-378.
    """
    model = Mixed(rows)
    variances = model.fitted()
    free = variances > 0
    C, beta, slopes = model.fixed(variances, free)
    spread = 2 * np.linalg.pinv(model.curvature(variances, free), rcond=1e-8)
    L = np.zeros((model.samples - 1, len(beta)))
    L[:, 1 : model.samples] = np.eye(model.samples - 1)
    values, vectors = np.linalg.eigh(L @ C @ L.T)
    along = vectors.T @ L
    f = float(((along @ beta) ** 2 / values).mean())
    steps = np.array([[row @ slope @ row for slope in slopes] for row in along])
    df = 2 * values**2 / np.einsum("rk,kl,rl->r", steps, spread, steps)
    if np.ptp(df) < 1e-6 * df.mean():
        return f, float(len(df)), float(df.mean())
    mean = float((df / (df - 2)).sum())
    return f, float(len(df)), 2.0 if (df <= 2).any() else 2 * mean / (mean - len(df))


class Mixed:
    """y = X b + random terms + error. Every random term stands within a taster, so V is a block for each taster.

    groups : tasters with equally many scores, stacked: X (tasters, n, p), y (tasters, n), and for each term, the
        error last, what it adds to V (tasters, n, n)
    """

    def __init__(self, rows: list[Row]) -> None:
        who, sample, condition = ([row[name] for row in rows] for name in ("taster", "sample", "condition"))
        factors = [sample, condition] if len(set(condition)) > 1 else [sample]
        self.samples, self.rows = len(set(sample)), len(rows)
        X = np.hstack([np.ones((len(rows), 1)), *map(_dummies, factors)])
        y = np.array([float(row["value"]) for row in rows])
        terms, sizes = [who], {len(set(who))}
        for factor in factors:
            levels = [f"{t}\n{level}" for t, level in zip(who, factor, strict=True)]
            if len(set(levels)) < len(rows) and len(set(levels)) not in sizes:
                terms.append(levels)
                sizes.add(len(set(levels)))
        self.terms = len(terms)
        by_size: dict[int, list[Any]] = defaultdict(list)
        for taster in sorted(set(who)):
            at = np.flatnonzero(np.array(who) == taster)
            by_size[len(at)].append(at)
        self.groups = []
        for size, ats in by_size.items():
            adds = [
                np.array([np.equal.outer(t[at], t[at]) for at in ats], float) for t in map(np.array, terms)
            ]
            error = np.tile(np.eye(size), (len(ats), 1, 1))
            self.groups.append((X[ats], y[ats], [*adds, error]))

    def sums(self, variances: Any) -> tuple[float, Any, Any, float, list[Any]]:
        """log |V|, X'WX, X'Wy, y'Wy, and W = V^-1 group by group."""
        log_det, inverses, p = 0.0, [], self.groups[0][0].shape[2]
        A, b, c = np.zeros((p, p)), np.zeros(p), 0.0
        for X, y, adds in self.groups:
            V = sum(v * add for v, add in zip(variances, adds, strict=True))
            W = np.linalg.inv(V)
            log_det += float(np.linalg.slogdet(V)[1].sum())
            WX, Wy = W @ X, np.einsum("tij,tj->ti", W, y)
            A, b = A + np.einsum("tip,tiq->pq", X, WX), b + np.einsum("tip,ti->p", X, Wy)
            c += float((y * Wy).sum())
            inverses.append(W)
        return log_det, A, b, c, inverses

    def deviance(self, variances: Any) -> float:
        """Minus twice the restricted log-likelihood, but for a constant."""
        log_det, A, b, c, _ = self.sums(variances)
        return log_det + float(np.linalg.slogdet(A)[1]) + c - float(b @ np.linalg.solve(A, b))

    def fitted(self) -> Any:
        """The variances of the terms and, last, of the error; a term that wants to vanish is 0."""

        def profiled(ratios: Any) -> tuple[float, float]:
            log_det, A, b, c, _ = self.sums([*ratios, 1.0])
            df = self.rows - len(b)
            error = (c - float(b @ np.linalg.solve(A, b))) / df
            return error, log_det + float(np.linalg.slogdet(A)[1]) + df * float(np.log(error))

        options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20_000, "maxfev": 20_000}
        tried = [
            optimize.minimize(lambda sd: profiled(sd**2)[1], [start] * self.terms, (), "Nelder-Mead", options=options)
            for start in (0.2, 1.0)
        ]  # fmt: skip
        sd = min(tried, key=lambda found: found.fun).x
        ratios = np.where(sd**2 < 1e-8, 0.0, sd**2)
        return np.append(ratios, 1.0) * profiled(ratios)[0]

    def fixed(self, variances: Any, free: Any) -> tuple[Any, Any, list[Any]]:
        """Covariance of b, b, and the slope of the covariance by each variance that is not 0."""
        _, A, b, _, inverses = self.sums(variances)
        C, slopes = np.linalg.inv(A), []
        for k in np.flatnonzero(free):
            moved = [(X, W @ X, adds[k]) for (X, _, adds), W in zip(self.groups, inverses, strict=True)]
            slopes.append(C @ sum(np.einsum("tip,tij,tjq->pq", WX, add, WX) for _, WX, add in moved) @ C)
        return C, C @ b, slopes

    def curvature(self, variances: Any, free: Any) -> Any:
        """Second differences of the deviance by the variances that are not 0."""
        steps = [2e-3 * variances * (np.arange(len(variances)) == k) for k in np.flatnonzero(free)]
        signs = ((1, 1), (1, -1), (-1, 1), (-1, -1))

        def bent(one: Any, two: Any) -> float:
            corners = [a * b * self.deviance(variances + a * one + b * two) for a, b in signs]
            return sum(corners) / (4 * float(one.sum()) * float(two.sum()))

        return np.array([[bent(one, two) for two in steps] for one in steps])


def corrected(p: list[float], how: str) -> list[float]:
    """Holm's step-down or Benjamini and Hochberg's step-up over these p-values."""
    order, m = np.argsort(p), len(p)
    out = np.array(p, dtype=float)
    if how == "holm":
        out[order] = np.maximum.accumulate(out[order] * (m - np.arange(m)))
    elif how == "benjamini-hochberg":
        out[order] = np.minimum.accumulate((out[order] * m / np.arange(1, m + 1))[::-1])[::-1]
    return [min(1.0, float(value)) for value in out]


def _dummies(levels: list[str]) -> Any:
    return np.array([[float(one == level) for level in sorted(set(levels))[1:]] for one in levels])


def _cells(rows: list[Row]) -> Any:
    """Tasters by samples, each cell the mean of its scores; nan where there is none."""
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    for row in rows:
        found[row["taster"], row["sample"]].append(float(row["value"]))
    tasters, samples = sorted({t for t, _ in found}), sorted({s for _, s in found})
    return np.array([[_mean(found.get((t, s))) for s in samples] for t in tasters])


def _mean(values: list[float] | None) -> float:
    return float(np.mean(values)) if values else float("nan")


def main(folder: Path = Path()) -> int:
    """Compare everything; 0 where all is equal, else 1."""
    signed = json.loads((folder / "report.json").read_text(encoding="utf-8"))["report"]
    if not signed:
        print("The signed report holds no results: there was too little to analyse.")
        return 0
    sheet = Sheet()
    kind = signed.get("kind", signed["result"] if isinstance(signed["result"], str) else "")
    ways = {
        "ScoreReport": scores, "ForcedChoiceReport": forced_choice, "SequentialReport": sequential,
        "same-different": two_kinds, "A-not-A": two_kinds, "preference": preference, "ranking": ranking,
    }  # fmt: skip
    ways[kind](signed, counted("answers.csv" if kind == "ScoreReport" else "choices.csv", folder), sheet)
    print(f"\n{sheet.different} figures differ." if sheet.different else "\nEvery figure is equal.")
    return 1 if sheet.different else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent))
