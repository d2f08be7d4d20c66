"""Drivers, map, duplicates, exclusions and corrections in the report of scores."""

import numpy as np
import pandas as pd
import pytest

from panel.analysis.analysis import analyse_scores
from panel.analysis.plain_text import text_report
from panel.analysis.view import report_view
from tests.analysis import kind_tables
from tests.analysis.rice_scores import scores, yes_no


def long(text, attributes):
    import io

    wide = pd.read_csv(io.StringIO(text))
    return wide.melt(["taster", "sample"], list(attributes), "attribute", "score").astype({"score": float})


def text_of(report):
    return " ".join(text_report(report_view(report, figures=False)).replace("\u202f", " ").split())


def section(report, name, figures=False):
    found = [one for one in report_view(report, figures=figures).sections if one.id == name]
    return found[0] if found else None


def just_right():
    frame = long(kind_tables.just_right(), ("liking", "saltiness", "softness"))
    return analyse_scores(frame, kinds={"saltiness": "jar-5", "softness": "just-about-right"})


def test_just_about_right_scales_are_drivers_and_not_compared_by_their_means():
    report = just_right()
    assert [one.attribute for one in report.attributes] == ["liking"]
    assert {(one.attribute, one.sample) for one in report.drivers.penalties} == {
        (scale, sample) for scale in ("saltiness", "softness") for sample in ("plain", "with dashi")
    }
    assert "Liking is lower among those who find: plain “saltiness” too little" in text_of(report)


def test_drivers_go_by_name_after_the_reveal():
    view = report_view(just_right(), {"plain": "Steamwell 3", "with dashi": "Kamado"}, figures=True)
    drivers = next(one for one in view.sections if one.id == "drivers")
    assert "Steamwell 3 (plain) “saltiness”" in drivers.paragraphs[0]
    assert drivers.figures[0].title == "Penalties of Steamwell 3 (plain)"


def test_ticked_terms_are_analysed_together_beside_liking():
    frame = long(kind_tables.ticked(), ("liking", "savoury", "sticky", "sweet", "stale"))
    kinds = dict.fromkeys(("savoury", "sticky", "sweet", "stale"), "check-all")
    report = analyse_scores(frame, kinds=kinds)
    assert [one.attribute for one in report.attributes] == ["liking"]
    assert len(report.drivers.terms.liking) == 4
    assert [figure.name for figure in section(report, "drivers", figures=True).figures] == ["check-all-map"]


def test_without_liking_just_about_right_scales_say_why_there_are_no_penalties():
    frame = long(kind_tables.just_right(), ("saltiness", "softness"))
    report = analyse_scores(frame, kinds={"saltiness": "jar", "softness": "jar"})
    assert len(report.attributes) == 2
    assert "there is no liking to set against the scales" in text_of(report)


def test_three_intensities_of_three_samples_give_a_map_and_lines():
    report = analyse_scores(scores(attributes=("salty", "soft", "sweet"), effect=0.8))
    found = section(report, "profile", figures=True)
    assert [figure.name for figure in found.figures] == ["profile-map", "profiles"]
    assert found.paragraphs[0].startswith("The map shows ")


@pytest.mark.parametrize(
    "frame",
    [
        pytest.param(scores(attributes=("salty", "soft")), id="two intensities"),
        pytest.param(scores(samples=2, attributes=("salty", "soft", "sweet")), id="two samples"),
        pytest.param(scores(attributes=("liking", "soft", "sweet")), id="liking is no intensity"),
    ],
)
def test_too_little_for_a_map_gives_none(frame):
    assert analyse_scores(frame).profile is None


def test_a_blind_duplicate_is_set_against_itself_by_a_paired_t_test():
    from scipy.stats import ttest_rel

    frame = scores(samples=4, effect=0.6)
    report = analyse_scores(frame, roles={"A": "duplicate", "C": "duplicate"})
    found = report.duplicates[0]
    wide = frame.pivot(index="taster", columns="sample", values="score")
    by_scipy = ttest_rel(wide[found.first], wide[found.second])
    limits = by_scipy.confidence_interval(0.95)
    assert found.p_value == pytest.approx(by_scipy.pvalue)
    assert (found.low, found.high) == pytest.approx((limits.low, limits.high))
    assert "are one product, served twice" in text_of(report)


@pytest.mark.parametrize(
    ("roles", "says"),
    [
        pytest.param(
            {"A": "duplicate"}, "roles: a duplicate needs two labels, but A is named", id="one label"
        ),
        pytest.param(
            {"Z": "reference"}, "roles?: 'Z' is no sample|reference: 'Z' is no sample", id="unknown label"
        ),
    ],
)
def test_roles_that_cannot_be_are_refused(roles, says):
    with pytest.raises(ValueError, match=says):
        analyse_scores(scores(), roles=roles)


def test_the_role_of_a_reference_is_what_others_are_compared_with():
    report = analyse_scores(scores(samples=4), roles={"B": "reference"})
    assert (report.reference, report.attributes[0].main.adjust) == ("B", "dunnett")


# Benjamini & Hochberg (1995) and Holm (1979) as statsmodels has them.
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("holm", "holm"), ("benjamini-hochberg", "fdr_bh")],
    ids=["holm", "benjamini-hochberg"],
)
def test_attributes_are_corrected_as_the_plan_says(ours, theirs):
    from statsmodels.stats.multitest import multipletests

    report = analyse_scores(scores(attributes=("a", "b", "c", "d"), effect=0.25), correction=ours)
    expected = multipletests([one.p_value for one in report.attributes], method=theirs)[1]
    assert [one.p_adjusted for one in report.attributes] == pytest.approx(expected)
    assert ours.split("-")[0].capitalize() in report.sentence()


def test_without_correction_p_stays_and_the_report_says_so():
    report = analyse_scores(scores(attributes=("a", "b")), correction="none")
    assert [one.p_adjusted for one in report.attributes] == [one.p_value for one in report.attributes]
    assert "Nothing corrects for that here" in text_of(report)


def test_an_unknown_correction_is_refused():
    with pytest.raises(ValueError, match="correction: 'bonferroni' is not known; choose holm"):
        analyse_scores(scores(), correction="bonferroni")


def one_who_turns_round():
    """Eleven tasters agree, one gives the opposite."""
    rng = np.random.default_rng(5)
    rows = [
        (f"t{t}", "ABCD"[s], 5 + (2.0 if t == 0 else -2.0) * (s - 1.5) / 1.5 + rng.normal(0, 0.5))
        for t in range(12)
        for s in range(4)
    ]
    return pd.DataFrame(rows, columns=["taster", "sample", "score"])


def test_leaving_a_flagged_taster_out_is_shown_and_never_done():
    report = analyse_scores(one_who_turns_round())
    one = report.attributes[0]
    assert [row.tasters for row in one.without] == [("t0",)]
    assert report.tasters == 12
    import stats

    frame = one_who_turns_round()
    assert one.without[0].f == pytest.approx(stats.hedonic_anova(frame[frame["taster"] != "t0"]).f)
    assert "without taster t0" in text_of(report)
    assert "Nobody is left out of the findings" in text_of(report)


def test_the_checks_stand_beside_the_finding():
    found = section(analyse_scores(scores(effect=1.0)), "robustness")
    assert found.paragraphs[0] == "Every check agrees with the finding at α = 0.05 for “liking”."
    assert [row[1] for row in found.tables[0].rows][:2] == [
        "the finding: analysis of variance",
        "Friedman's chi-square",
    ]


def test_yes_or_no_under_two_conditions_counts_judgements_and_not_tasters():
    frame = pd.concat([yes_no().assign(condition=name) for name in ("plain", "with dashi")])
    frame["score"] = np.random.default_rng(2).integers(0, 2, len(frame)).astype(float)
    said = text_of(analyse_scores(frame))
    assert "in 24 judgements of each sample by 12 tasters a difference of up to about" in said
    assert "12 tasters gave several each" in said


def test_raw_and_adjusted_means_and_a_heat_map_show_the_serving():
    found = section(analyse_scores(scores(effect=0.5)), "serving", figures=True)
    assert [figure.name for figure in found.figures] == ["serving"]
    assert [column.heading for column in found.tables[0].columns] == ["Sample", "Raw", "Adjusted", "Interval"]
    assert "could have been missed" in found.paragraphs[0] or "moved the scores" in found.paragraphs[0]
