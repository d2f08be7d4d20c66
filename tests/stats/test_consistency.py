"""What consistency says of tasters, and what must not change it."""

import json

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from stats import panel_consistency

EFFECTS = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])


def panel(tasters=8, samples=6, replicates=2, noise=0.7, seed=1, position=False):
    rng = np.random.default_rng(seed)
    rows = []
    for t in range(tasters):
        level = rng.normal()
        for r in range(replicates):
            order = rng.permutation(samples)
            for place, s in enumerate(order):
                score = 5 + level + EFFECTS[s] + rng.normal() * noise
                rows.append((f"t{t}", f"s{s}", r, place + 1 + r * samples, score))
    frame = pd.DataFrame(rows, columns=["taster", "sample", "replicate", "position", "score"])
    return frame if position else frame.drop(columns="position")


def of(result, name):
    return next(row for row in result.tasters if row.taster == name)


def about(result, name):
    return {flag.about for flag in result.flags if flag.taster == name}


def test_a_taster_who_turns_the_scale_round_is_flagged_for_agreement():
    frame = panel()
    turned = frame["taster"] == "t3"
    frame.loc[turned, "score"] = 12 - frame.loc[turned, "score"]
    found = panel_consistency(frame)
    assert "agreement" in about(found, "t3")
    assert {flag.taster for flag in found.flags if flag.about == "agreement"} == {"t3"}
    assert found.without_flagged[0].panel.f > found.panel.f


def test_a_taster_with_much_noise_is_flagged_for_repeatability():
    frame = panel(seed=4)
    mine = frame["taster"] == "t5"
    frame.loc[mine, "score"] += np.random.default_rng(0).normal(size=int(mine.sum())) * 5
    found = panel_consistency(frame)
    assert "repeatability" in about(found, "t5")
    assert all("ISO 5725-2" in flag.rule for flag in found.flags if flag.about == "repeatability")


def test_a_constant_taster_is_flagged_and_has_neither_agreement_nor_discrimination():
    frame = panel()
    frame.loc[frame["taster"] == "t2", "score"] = 6.0
    found = panel_consistency(frame)
    row = of(found, "t2")
    assert (row.agreement, row.discrimination_f, row.discrimination_p) == (None, None, None)
    assert "same score" in row.agreement_reason
    assert "same score" in row.discrimination_reason
    assert row.repeatability_sd == 0.0
    assert "scale use" in about(found, "t2")


def test_a_taster_who_scores_everything_higher_is_flagged_for_level_and_loses_no_agreement():
    frame = panel(tasters=10, seed=3)
    before = of(panel_consistency(frame), "t1")
    frame.loc[frame["taster"] == "t1", "score"] += 20
    found = panel_consistency(frame)
    assert "bias" in about(found, "t1")
    assert of(found, "t1").agreement == pytest.approx(before.agreement, rel=1e-9)


def test_a_taster_who_drifts_is_flagged_for_drift():
    frame = panel(tasters=8, replicates=3, noise=0.3, position=True)
    mine = frame["taster"] == "t0"
    frame.loc[mine, "score"] += 0.4 * frame.loc[mine, "position"]
    found = panel_consistency(frame)
    assert "drift" in about(found, "t0")
    assert of(found, "t0").drift == pytest.approx(0.4, abs=0.1)


def test_nothing_is_estimable_from_repeats_where_there_are_none_and_the_reason_is_given():
    found = panel_consistency(panel(replicates=1))
    for row in found.tasters:
        assert (row.discrimination_f, row.discrimination_p, row.repeatability_sd) == (None, None, None)
        assert "scored twice" in row.discrimination_reason
        assert "scored twice" in row.repeatability_reason
        assert row.agreement is not None


def test_a_perfectly_repeating_taster_has_no_f_and_a_reason_instead_of_infinity():
    frame = panel()
    mine = frame["taster"] == "t4"
    frame.loc[mine, "score"] = frame.loc[mine, "sample"].str[1:].astype(float)
    row = of(panel_consistency(frame), "t4")
    assert row.discrimination_f is None
    assert "zero" in row.discrimination_reason
    assert row.repeatability_sd == 0.0


def test_leaving_a_taster_out_gives_the_analysis_of_variance_without_them():
    frame = panel(seed=2)
    mine = frame["taster"] == "t6"
    frame.loc[mine, "score"] = 10 - frame.loc[mine, "score"]
    found = panel_consistency(frame)
    left = next(one for one in found.without_flagged if one.tasters == ("t6",))
    means = frame[~mine].groupby(["taster", "sample"], as_index=False)["score"].mean()
    table = anova_lm(ols("score ~ C(taster) + C(sample)", means).fit())
    assert left.panel.f == pytest.approx(table.loc["C(sample)", "F"], rel=1e-9)
    assert left.panel.p_value == pytest.approx(table.loc["C(sample)", "PR(>F)"], rel=1e-7)
    assert dict(left.means) == pytest.approx(means.groupby("sample")["score"].mean().to_dict())


def test_leaving_out_with_gaps_gives_the_same_as_least_squares():
    frame = panel(replicates=1, seed=5)
    frame = frame.drop(index=[3, 11, 20, 33]).reset_index(drop=True)
    frame.loc[frame["taster"] == "t1", "score"] = 5.0
    found = panel_consistency(frame)
    left = next(one for one in found.without_flagged if one.tasters == ("t1",))
    rest = frame[frame["taster"] != "t1"]
    full = ols("score ~ C(taster) + C(sample)", rest).fit()
    f, p, df = full.compare_f_test(ols("score ~ C(taster)", rest).fit())
    assert (left.panel.f, left.panel.p_value, left.panel.df_num) == pytest.approx((f, p, df), rel=1e-7)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin's own use of pandas
@pytest.mark.parametrize("seed", range(4))
def test_intervals_of_the_intraclass_correlations_agree_with_pingouin(seed):
    frame = panel(tasters=6, replicates=1, noise=2.0, seed=seed)
    found = panel_consistency(frame)
    table = pingouin.intraclass_corr(frame, targets="sample", raters="taster", ratings="score").set_index(
        "Type"
    )
    pairs = {
        "ICC(A,1)": found.icc_single_interval,
        "ICC(A,k)": found.icc_average_interval,
        "ICC(C,k)": found.cronbach_interval,
    }
    for kind, mine in pairs.items():
        assert mine.estimate == pytest.approx(table.loc[kind, "ICC"], abs=1e-10)
        assert (mine.low, mine.high) == pytest.approx(tuple(table.loc[kind, "CI95"]), abs=0.0051)


def test_cronbachs_alpha_agrees_with_pingouin():
    frame = panel(replicates=1, noise=2.0, seed=9)
    wide = frame.pivot_table(index="sample", columns="taster", values="score")
    alpha, (low, high) = pingouin.cronbach_alpha(wide)
    found = panel_consistency(frame).cronbach_interval
    assert found.estimate == pytest.approx(alpha, rel=1e-10)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-4)


def test_agreement_in_incomplete_blocks_does_not_depend_on_who_scored_what():
    # Without noise every taster sees the same differences, so that r is 1 whatever levels tasters have.
    rng = np.random.default_rng(0)
    rows = [
        (f"t{t}", f"s{s}", 3.0 * t + EFFECTS[s])
        for t in range(10)
        for s in rng.choice(6, size=4, replace=False)
    ]
    found = panel_consistency(pd.DataFrame(rows, columns=["taster", "sample", "score"]))
    assert [row.agreement for row in found.tasters] == pytest.approx([1.0] * 10)
    assert [row.scale_slope for row in found.tasters] == pytest.approx([1.0] * 10)
    assert any("Henderson" in note for note in found.notes)


def test_incomplete_blocks_estimate_the_same_reliability_on_average():
    # Components 1, 0.5 and 1 give ICC(2,1) = 0.4; simulation with a fixed seed.
    rng = np.random.default_rng(11)
    singles = []
    for _ in range(150):
        sample, taster = rng.normal(size=8), rng.normal(size=12) * np.sqrt(0.5)
        rows = [
            (f"t{t:02d}", f"s{s}", sample[s] + taster[t] + rng.normal())
            for t in range(12)
            for s in rng.choice(8, size=5, replace=False)
        ]
        frame = pd.DataFrame(rows, columns=["taster", "sample", "score"])
        singles.append(panel_consistency(frame).icc_single)
    assert np.mean(singles) == pytest.approx(0.4, abs=0.05)


def test_the_interval_of_icc_single_covers_about_its_nominal_rate():
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(300):
        table = rng.normal(size=(1, 8)) + rng.normal(size=(10, 1)) * 0.7 + rng.normal(size=(10, 8))
        rows = [(f"t{t}", f"s{s}", table[t, s]) for t in range(10) for s in range(8)]
        found = panel_consistency(
            pd.DataFrame(rows, columns=["taster", "sample", "score"])
        ).icc_single_interval
        inside += found.low <= 1 / (1 + 0.49 + 1) <= found.high
    assert 0.92 <= inside / 300 <= 0.98


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(-50, 50), scale=st.floats(0.1, 20), seed=st.integers(0, 1000))
def test_shift_and_scale_change_only_what_is_in_score_units(shift, scale, seed):
    frame = panel(tasters=5, samples=4, seed=seed)
    a, b = panel_consistency(frame), panel_consistency(frame.assign(score=frame["score"] * scale + shift))
    assert b.icc_single == pytest.approx(a.icc_single, abs=1e-7)
    assert b.kendall_w == pytest.approx(a.kendall_w)
    for one, two in zip(a.tasters, b.tasters, strict=True):
        assert two.discrimination_f == pytest.approx(one.discrimination_f, rel=1e-6)
        assert two.agreement == pytest.approx(one.agreement, abs=1e-7)
        assert two.repeatability_sd == pytest.approx(scale * one.repeatability_sd, rel=1e-6)
        assert two.bias == pytest.approx(scale * one.bias, abs=1e-6 * scale)


def test_names_and_the_order_of_rows_do_not_matter():
    frame = panel(seed=8)
    mixed = frame.sample(frac=1, random_state=3).replace({"sample": {f"s{i}": f"x{5 - i}" for i in range(6)}})
    a, b = panel_consistency(frame), panel_consistency(mixed)
    assert b.icc_single == pytest.approx(a.icc_single, rel=1e-10)
    assert [row.discrimination_f for row in b.tasters] == pytest.approx(
        [row.discrimination_f for row in a.tasters]
    )


def test_the_result_is_json_clean_with_missing_scores_and_says_what_is_left_out():
    frame = panel(replicates=1)
    frame.loc[[0, 7], "score"] = np.nan
    found = panel_consistency(frame)
    assert json.loads(json.dumps(found.to_dict(), allow_nan=False))["n_tasters"] == 8
    assert any("2 rows" in note for note in found.notes)
    assert any("2 of 48 cells" in note for note in found.notes)


def test_two_tasters_and_identical_tables_still_give_a_result():
    rows = [(t, s, 5.0) for t in "AB" for s in "xyz"]
    found = panel_consistency(pd.DataFrame(rows, columns=["taster", "sample", "score"]))
    assert (found.icc_single, found.cronbach, found.kendall_w) == (None, None, None)
    assert "cannot be estimated" in found.sentence()


def test_a_panel_that_contradicts_itself_is_said_to_agree_no_more_than_by_chance():
    rows = [("A", s, v) for s, v in zip("wxyz", (1, 2, 3, 4), strict=True)]
    rows += [("B", s, v) for s, v in zip("wxyz", (4, 3, 1, 2), strict=True)]
    found = panel_consistency(pd.DataFrame(rows, columns=["taster", "sample", "score"]))
    assert found.icc_single < 0
    assert "agree no more than chance would have it (ICC(2,1) = \u2212" in found.sentence()


@pytest.mark.parametrize("name", ["alpha", "confidence"])
def test_a_level_outside_its_range_is_refused_by_name(name):
    with pytest.raises(ValueError, match=f"{name} must lie between 0 and 1, but got 1.5"):
        panel_consistency(panel(), **{name: 1.5})
