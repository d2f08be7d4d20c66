"""Analysis of liking scores: independent libraries, properties, checks, and the alternatives beside it."""

import json
import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats as scipy_stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import AnovaRM

from stats import hedonic_anova, ordinal_check, permutation_anova


def scores(seed=1, tasters=10, samples=4, drop=0.0, lift=0.5, conditions=1, whole=False):
    rng = np.random.default_rng(seed)
    level = rng.normal(size=tasters)
    rows = [
        (f"t{t:02d}", f"s{s}", f"c{c}", lift * s + level[t] + rng.normal())
        for t in range(tasters)
        for s in range(samples)
        for c in range(conditions)
        if rng.random() >= drop
    ]
    frame = pd.DataFrame(rows, columns=["taster", "sample", "condition", "score"])
    if whole:
        frame["score"] = np.clip(np.rint(5 + 1.5 * frame["score"]), 1, 9)
    return frame if conditions > 1 else frame.drop(columns="condition")


def row_of(result, term):
    return next(row for row in result.table if row.term == term)


@pytest.mark.parametrize("seed", range(3))
def test_complete_blocks_agree_with_statsmodels_repeated_measures(seed):
    frame = scores(seed)
    theirs = AnovaRM(frame, "score", "taster", within=["sample"]).fit().anova_table.iloc[0]
    ours = hedonic_anova(frame)
    wanted = (theirs["F Value"], theirs["Num DF"], theirs["Den DF"], theirs["Pr > F"])
    assert (ours.f, ours.df_num, ours.df_den, ours.p_value) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_two_factors_agree_with_statsmodels_repeated_measures(seed):
    frame = scores(seed, conditions=2)
    theirs = AnovaRM(frame, "score", "taster", within=["sample", "condition"]).fit().anova_table
    ours = hedonic_anova(frame, interaction=True)
    for term, name in (
        ("sample", "sample"),
        ("condition", "condition"),
        ("sample × condition", "sample:condition"),
    ):
        found = row_of(ours, term)
        wanted = tuple(theirs.loc[name, ["F Value", "Num DF", "Den DF"]])
        assert (found.f, found.df, found.df_den) == pytest.approx(wanted, rel=1e-9), term


@pytest.mark.parametrize("method", ["two-way", "mixed"])
def test_complete_tables_give_each_condition_its_raw_means_when_the_interaction_is_fitted(method):
    result = hedonic_anova(scores(2, conditions=2), interaction=True, method=method)
    places = [(row.sample, row.condition) for row in result.condition_means]
    assert places == [(f"s{s}", f"c{c}") for s in range(4) for c in range(2)]
    for row in result.condition_means:
        assert row.mean == pytest.approx(row.raw_mean, rel=1e-9)
        assert row.low < row.mean < row.high
    for row in result.means:
        parts = [one.mean for one in result.condition_means if one.sample == row.sample]
        assert row.mean == pytest.approx(np.mean(parts), rel=1e-9)


def test_without_interaction_conditions_shift_all_samples_alike():
    cells = hedonic_anova(scores(2, conditions=2, drop=0.2)).condition_means
    gaps = [cells[i + 1].mean - cells[i].mean for i in range(0, 8, 2)]
    assert gaps == pytest.approx([gaps[0]] * 4, rel=1e-9)


def test_tasters_who_scored_once_each_cannot_be_random():
    frame = {"taster": ["a", "b", "c", "d"], "sample": ["A", "B", "A", "B"], "score": [1.0, 2, 3, 5]}
    with pytest.raises(ValueError, match="every taster scored once only"):
        hedonic_anova(frame, method="mixed")


def test_samples_told_apart_completely_have_no_log_odds():
    frame = {"taster": list("aabbcc"), "sample": ["A", "B"] * 3, "score": [1, 9, 1, 9, 1, 9]}
    result = ordinal_check(frame)
    assert set(result.standard_errors.values()) == {None}
    assert any("told apart completely" in note for note in result.notes)


@pytest.mark.parametrize("seed", range(3))
def test_incomplete_blocks_agree_with_statsmodels_type_ii(seed):
    frame = scores(seed, drop=0.3)
    theirs = sm.stats.anova_lm(ols("score ~ C(taster) + C(sample)", frame).fit(), typ=2)
    ours = row_of(hedonic_anova(frame), "sample")
    wanted = theirs.loc["C(sample)", ["sum_sq", "F", "PR(>F)"]]
    assert (ours.sum_of_squares, ours.f, ours.p_value) == pytest.approx(tuple(wanted), rel=1e-9)


def test_means_of_incomplete_blocks_are_those_at_the_average_taster():
    frame = scores(4, drop=0.3)
    fit = ols("score ~ C(taster) + C(sample)", frame).fit()
    grid = pd.DataFrame([(t, s) for s in sorted(set(frame["sample"])) for t in sorted(set(frame["taster"]))])
    predicted = (
        fit.predict(grid.set_axis(["taster", "sample"], axis=1)).to_numpy().reshape(4, -1).mean(axis=1)
    )
    assert [row.mean for row in hedonic_anova(frame).means] == pytest.approx(predicted, rel=1e-9)


def test_partial_eta_squared_inverts_the_noncentral_f():
    result = hedonic_anova(scores(2))
    eta = result.partial_eta_squared
    assert eta.estimate == pytest.approx(result.f * 3 / (result.f * 3 + 27))
    total = result.df_num + result.df_den + 1
    for limit, chance in ((eta.low, 0.025), (eta.high, 0.975)):
        shift = limit / (1 - limit) * total
        upper = scipy_stats.ncf.sf(result.f, 3, 27, shift)
        assert upper == pytest.approx(chance, abs=1e-6), "Steiger 2004"


@settings(max_examples=25, deadline=None)
@given(st.permutations(range(4)), st.permutations(range(10)), st.sampled_from(["two-way", "mixed"]))
def test_names_carry_no_information(samples, tasters, method):
    frame = scores(5, drop=0.15)
    moved = frame.assign(
        sample=[f"s{samples[int(name[1:])]}" for name in frame["sample"]],
        taster=[f"t{tasters[int(name[1:])]:02d}" for name in frame["taster"]],
    )
    ours, theirs = hedonic_anova(frame, method=method), hedonic_anova(moved, method=method)
    assert theirs.f == pytest.approx(ours.f, rel=1e-7)
    # Which level comes first moves Satterthwaite's df in the last digits, as in lmerTest.
    assert theirs.df_den == pytest.approx(ours.df_den, rel=1e-3)
    for row in ours.means:
        twin = next(one for one in theirs.means if one.sample == f"s{samples[int(row.sample[1:])]}")
        assert (twin.mean, twin.low, twin.high) == pytest.approx((row.mean, row.low, row.high), rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 100), st.floats(-50, 50), st.sampled_from(["two-way", "mixed"]))
def test_the_unit_of_the_scale_does_not_matter(scale, shift, method):
    frame = scores(6, drop=0.15)
    ours = hedonic_anova(frame, method=method)
    theirs = hedonic_anova(frame.assign(score=frame["score"] * scale + shift), method=method)
    assert theirs.f == pytest.approx(ours.f, rel=1e-5)  # how far a REML search is driven
    assert theirs.letters == ours.letters
    gaps = [pair.difference * scale for pair in ours.pairs]
    assert [pair.difference for pair in theirs.pairs] == pytest.approx(gaps, rel=1e-6, abs=1e-7)
    assert [p.effect_size for p in theirs.pairs] == pytest.approx(
        [p.effect_size for p in ours.pairs], rel=1e-5
    )


@pytest.mark.parametrize("method", ["two-way", "mixed"])
def test_the_order_of_rows_does_not_matter(method):
    frame = scores(7, drop=0.1)
    shuffled = frame.sample(frac=1, random_state=3)
    assert hedonic_anova(shuffled, method=method).to_dict() == hedonic_anova(frame, method=method).to_dict()


def test_p_values_are_uniform_when_nothing_differs():
    rng = np.random.default_rng(12)
    base = scores(0, tasters=8, samples=3)
    p = [hedonic_anova(base.assign(score=rng.normal(size=24)), adjust="none").p_value for _ in range(600)]
    assert scipy_stats.kstest(p, "uniform").pvalue > 0.01, "seeded"


def test_intervals_of_tukey_cover_all_differences_together():
    rng = np.random.default_rng(13)
    base = scores(0, tasters=6, samples=4)
    covered = [
        all(
            pair.low <= 0 <= pair.high for pair in hedonic_anova(base.assign(score=rng.normal(size=24))).pairs
        )
        for _ in range(400)
    ]
    # Three standard errors of 400 draws around 95 %.
    assert np.mean(covered) == pytest.approx(0.95, abs=3 * (0.95 * 0.05 / 400) ** 0.5)


def test_samples_never_compared_within_a_taster_are_refused():
    frame = {
        "taster": ["a", "a", "b", "b", "c", "c", "d", "d"],
        "sample": ["A", "B", "A", "B", "C", "D", "C", "D"],
        "score": [1.0, 2, 3, 1, 2, 5, 4, 4],
    }
    with pytest.raises(ValueError, match="do not connect all samples"):
        hedonic_anova(frame)
    assert math.isfinite(hedonic_anova(frame, method="mixed").f), "tasters are random: their means inform"


@pytest.mark.parametrize("method", ["two-way", "mixed"])
def test_scores_without_variation_are_refused(method):
    with pytest.raises(ValueError, match="score"):
        hedonic_anova(scores().assign(score=5.0), method=method)


def test_an_interaction_with_an_empty_cell_is_refused():
    frame = scores(1, conditions=2)
    holed = frame[(frame["sample"] != "s1") | (frame["condition"] != "c1")]
    with pytest.raises(ValueError, match="never scored in some condition"):
        hedonic_anova(holed, interaction=True)


def test_an_odd_residual_is_flagged_with_who_and_what():
    frame = scores(8, tasters=30)
    frame.loc[17, "score"] += 15
    result = hedonic_anova(frame)
    assert any("taster t04, sample s1" in note for note in result.notes)
    assert result.checks.p_normal < 0.01
    assert any("not normal" in flag for flag in result.checks.flags)


def test_the_checks_are_scipy_s():
    frame = scores(9, tasters=20)
    residuals = ols("score ~ C(taster) + C(sample)", frame).fit().resid.to_numpy()
    groups = [residuals[(frame["sample"] == name).to_numpy()] for name in sorted(set(frame["sample"]))]
    checks = hedonic_anova(frame).checks
    assert checks.p_normal == pytest.approx(scipy_stats.shapiro(residuals).pvalue, rel=1e-6)
    assert checks.p_equal == pytest.approx(scipy_stats.levene(*groups, center="median").pvalue, rel=1e-9)


@pytest.mark.parametrize(
    ("lift", "opening"),
    [(3.0, "The mean scores of the 4 samples differ (F(3, 27) ="), (0.0, "No significant difference")],
)
def test_the_sentence_says_what_was_shown(lift, opening):
    said = hedonic_anova(scores(3, lift=lift)).sentence()
    assert said.startswith(opening)
    if lift:
        assert "p < 0.0001; 10 tasters, 40 scores" in said
        assert "s3 scored highest" in said
        assert "above every other sample" in said
    else:
        assert "this does not show that they are the same" in said


def test_small_panels_list_every_shuffle():
    frame = {"taster": ["a"] * 3 + ["b"] * 3, "sample": ["A", "B", "C"] * 2, "score": [1, 2, 3, 1, 2, 3]}
    result = permutation_anova(frame)
    assert (result.exact, result.draws) == (True, 36)
    assert result.p_value == pytest.approx(1 / 6), "6 of 36 pairs of orders agree completely"


def test_shuffles_agree_with_f_on_a_larger_panel_and_repeat_by_seed():
    frame = scores(10, tasters=25, drop=0.1, lift=0.2)
    one, two = permutation_anova(frame, seed=4), permutation_anova(frame, seed=4)
    assert one.p_value == two.p_value
    assert one.p_value == pytest.approx(hedonic_anova(frame).p_value, abs=0.02)
    assert one.statistic == pytest.approx(row_of(hedonic_anova(frame), "sample").sum_of_squares, rel=1e-9)


def test_shuffled_p_values_never_fall_below_alpha_more_often_than_alpha():
    rng = np.random.default_rng(14)
    base = scores(0, tasters=5, samples=3)
    p = [
        permutation_anova(base.assign(score=rng.integers(1, 6, 15).astype(float))).p_value for _ in range(800)
    ]
    for alpha in (0.05, 0.2):
        assert np.mean(np.array(p) <= alpha + 1e-12) <= alpha + 3 * (alpha * (1 - alpha) / 800) ** 0.5


def test_the_ordinal_check_agrees_with_the_means_on_clear_data():
    result = ordinal_check(scores(11, tasters=40, lift=0.8, whole=True))
    assert result.converged
    assert result.same_order
    assert result.p_value < 1e-6
    assert sum(result.log_odds.values()) == pytest.approx(0, abs=1e-6)
    assert "in the same order as by their means" in result.sentence()
    json.dumps(result.to_dict(), allow_nan=False)


def test_two_categories_are_a_logistic_regression():
    frame = scores(12, tasters=60, samples=5, lift=0.4)
    frame["score"] = (frame["score"] > 0.5).astype(float)
    ours = ordinal_check(frame)
    level = frame.groupby("taster")["score"].transform("mean")
    level = (level - level.mean()) / level.std(ddof=0)
    own = np.column_stack([frame["sample"] == f"s{i}" for i in range(4)]).astype(float)
    X = np.column_stack([np.ones(len(frame)), own - (frame["sample"] == "s4").to_numpy()[:, None], level])
    theirs = sm.Logit(frame["score"].to_numpy(), X).fit(disp=False)
    assert ours.log_odds["s0"] == pytest.approx(theirs.params[1], abs=1e-4)
    assert ours.standard_errors["s0"] == pytest.approx(theirs.bse[1], rel=1e-3)


def test_a_line_scale_has_no_categories():
    with pytest.raises(ValueError, match="40 distinct scores"):
        ordinal_check(scores())
