"""The method follows the table, the finding follows the correction, and a null result never says "the same"."""

import json

import numpy as np
import pandas as pd
import pytest

from panel.analysis.analysis import analyse_scores
from panel.analysis.reading import read_scores
from panel.analysis.view import report_view
from panel.study.plan import Plan, Question
from tests.analysis.rice_scores import scores, yes_no


def gaps(frame, share=0.7):
    return frame.sample(frac=share, random_state=2)


def balanced_blocks():
    """Every taster has two of three samples, every pair equally often."""
    frame = scores(tasters=12)
    left_out = frame["taster"].str[1:].astype(int) % 3
    return frame[frame["sample"].map({"A": 0, "B": 1, "C": 2}) != left_out]


@pytest.mark.parametrize(
    ("frame", "formula", "ranks"),
    [
        pytest.param(scores(), "score ~ taster + sample", "FriedmanTest", id="complete"),
        pytest.param(scores(samples=2), "score ~ taster + sample", "FriedmanTest", id="two samples"),
        pytest.param(
            scores(replicates=2), "score ~ taster + sample + taster:sample", "FriedmanTest", id="replicated"
        ),
        pytest.param(balanced_blocks(), "score ~ sample + (1 | taster)", "DurbinTest", id="balanced blocks"),
        pytest.param(gaps(scores()), "score ~ sample + (1 | taster)", "SkillingsMackTest", id="gaps"),
        pytest.param(
            scores(conditions=2),
            "score ~ condition + sample + (1 | taster) + (1 | taster:sample) + (1 | taster:condition)",
            "FriedmanTest",
            id="two conditions",
        ),
    ],
)
def test_the_method_follows_the_shape_of_the_table(frame, formula, ranks):
    one = analyse_scores(frame).attributes[0]
    assert one.main.formula == formula
    assert type(one.ranks).__name__ == ranks
    assert one.not_done == ()


def test_replicated_samples_are_tested_over_the_taster_by_sample_interaction():
    one = analyse_scores(scores(replicates=2)).attributes[0]
    line = next(line for line in one.main.table if line.term == "sample")
    assert line.error == "taster × sample"
    assert (line.df, line.df_den) == (2, 22)


def test_incomplete_blocks_are_checked_within_tasters_too():
    one = analyse_scores(balanced_blocks()).attributes[0]
    assert one.check.formula == "score ~ taster + sample"


def test_conditions_are_asked_whether_samples_rank_alike_under_them():
    one = analyse_scores(scores(conditions=2)).attributes[0]
    assert [line.term for line in one.interaction.table] == ["condition", "sample", "sample × condition"]


def test_a_difference_that_depends_on_the_condition_is_said():
    frame = scores(tasters=20, conditions=2, effect=0.5)
    turned = (frame["condition"] == "with dashi") & (frame["sample"] == "C")
    frame.loc[turned, "score"] -= 3
    view = report_view(analyse_scores(frame), figures=False)
    assert any("the differences between samples depend on the condition" in one.text for one in view.findings)
    table = next(t for s in view.sections for t in s.tables if "under each condition" in t.caption)
    assert [row[0] for row in table.rows] == ["plain", "with dashi"]


def test_a_null_result_against_a_reference_speaks_of_the_reference():
    said = analyse_scores(scores(samples=4), reference="B").sentence()
    assert "from the reference B a difference of up to" in said
    assert "all comparisons together" in said


def test_a_reference_is_what_the_others_are_compared_with():
    report = analyse_scores(scores(samples=4, effect=1.5), reference="A")
    one = report.attributes[0]
    assert one.main.adjust == "dunnett"
    assert {frozenset((pair.a, pair.b)) for pair in one.main.pairs} == {frozenset(("A", x)) for x in "BCD"}
    assert "D scored" in report.sentence()
    assert "points higher than A" in report.sentence()


def test_an_unknown_reference_is_refused_with_the_known_samples():
    with pytest.raises(ValueError, match="reference: 'Z' is no sample; there are A, B, C"):
        analyse_scores(scores(), reference="Z")


def test_a_null_result_says_what_it_could_have_missed_and_never_the_same():
    said = analyse_scores(scores(effect=0)).sentence()
    assert "no difference between the 3 samples was shown" in said
    assert "This does not show that the samples are the same" in said
    assert "could have been missed" in said


def test_without_a_plan_everything_is_exploratory_and_corrected_together():
    report = analyse_scores(scores(attributes=("a", "b", "c"), effect=0.4))
    assert {one.standing for one in report.attributes} == {"exploratory"}
    assert {one.family for one in report.attributes} == {3}
    by_p = sorted(report.attributes, key=lambda one: one.p_value)
    assert by_p[0].p_adjusted == pytest.approx(min(1, 3 * by_p[0].p_value))  # Holm (1979): smallest p times m


def plan(primary):
    questions = (
        Question("b", "How salty is it?", "line-100"),
        Question("a", "How do you like it?", "hedonic-9"),
    )
    return Plan(
        title="Rice",
        heading="Tasting",
        question="Which rice is liked best?",
        method="rating",
        samples=3,
        tasters=12,
        questions=questions,
        primary=primary,
        alpha=0.01,
    )


def test_the_primary_question_of_the_plan_comes_first_and_stands_alone():
    report = analyse_scores(scores(attributes=("b", "a", "c"), effect=1.0), plan=plan("a"))
    assert [(one.attribute, one.standing, one.family) for one in report.attributes] == [
        ("a", "primary", 1),
        ("b", "secondary", 2),
        ("c", "secondary", 2),
    ]
    assert report.alpha == 0.01
    assert report.attributes[0].p_adjusted == report.attributes[0].p_value
    assert report.sentence().startswith("“How do you like it?”: C scored highest")
    assert report_view(report, figures=False).status.startswith("The analysis was sealed before")


def test_a_difference_that_the_correction_takes_away_is_told_as_that():
    frame = scores(tasters=20, attributes=tuple("abcdefgh"), effect=0.22, seed=5)
    lost = [one for one in analyse_scores(frame).attributes if one.p_value <= 0.05 < one.p_adjusted]
    assert lost
    assert all("but not after correction for 8 attributes" in one.sentence() for one in lost)
    assert not any(one.found for one in lost)


def test_yes_or_no_answers_are_compared_by_their_shares():
    one = analyse_scores(yes_no()).attributes[0]
    term = one.shares.terms[0]
    # Cochran (1950): Q = (k - 1)(k sum C² - N²) / (k N - sum R²), columns 8, 2, 3; rows 3 3 2 1 1 1 1 1 0 0 0 0.
    assert term.cochran_q == pytest.approx(2 * (3 * (64 + 4 + 9) - 13**2) / (3 * 13 - (9 + 9 + 4 + 5)))
    assert one.main is None
    assert (
        "the share of “yes” differs between the samples: A 67\u202f%, C 25\u202f% and B 17\u202f%"
        in one.sentence()
    )


def test_equal_scores_throughout_are_told_instead_of_analysed():
    report = analyse_scores(scores().assign(score=5.0))
    assert (
        report.sentence()
        == "“liking” could not be analysed: every score is 5, which leaves nothing to compare."
    )


def test_one_attribute_that_fails_does_not_stop_the_others():
    frame = scores(attributes=("a", "b"), effect=1.0)
    frame.loc[frame["attribute"] == "a", "score"] = 5.0
    report = analyse_scores(frame)
    assert report.attribute("a").main is None
    assert report.attribute("b").found


def test_missing_scores_are_counted_and_keep_their_place_in_the_order():
    frame = scores(effect=1.0)
    frame.loc[[0, 7], "score"] = np.nan
    report = analyse_scores(frame)
    assert (report.scores, report.missing) == (34, 2)
    assert report.attributes[0].order.n == 34


def test_the_report_does_not_depend_on_the_order_of_rows():
    frame = scores(attributes=("a", "b"), effect=0.5)
    shuffled = pd.concat([part.sample(frac=1, random_state=3) for _, part in frame.groupby("attribute")])
    assert analyse_scores(frame).to_dict() == analyse_scores(shuffled).to_dict()


def test_a_changed_score_changes_the_hash_of_the_data():
    frame = scores()
    changed = frame.copy()
    changed.loc[3, "score"] += 1
    assert analyse_scores(frame).data_hash != analyse_scores(changed).data_hash


def test_the_report_is_clean_json_with_every_result_in_it():
    told = json.loads(json.dumps(analyse_scores(scores(effect=0.5, replicates=2)).to_dict(), allow_nan=False))
    one = told["attributes"][0]
    assert {"main", "ranks", "consistency", "order", "raw", "sentence"} <= set(one)
    assert one["main"]["result"] == "HedonicAnova"


def test_a_table_with_problems_is_not_analysed():
    table = read_scores(b"taster,sample,liking\na,X,good\na,Y,3\nb,X,4\nb,Y,5\n", "scores.csv")
    with pytest.raises(ValueError, match='Row 2, column "liking": "good" is not a number'):
        analyse_scores(table)


def test_two_samples_by_two_tasters_are_analysed_without_a_claim():
    rows = [("a", "X", 1.0), ("a", "Y", 2.0), ("b", "X", 3.0), ("b", "Y", 3.5)]
    said = analyse_scores(pd.DataFrame(rows, columns=["taster", "sample", "score"])).sentence()
    assert "no difference between the 2 samples was shown" in said
    assert "a difference as large as the whole range of the scores given could have been missed" in said


def two_tastes(tasters=24):
    """Half of the tasters like A and B, the other half C and D; the averages are level."""
    rng = np.random.default_rng(3)
    return pd.DataFrame(
        [
            (
                f"t{t}",
                "ABCD"[s],
                float(round(5 + (2.5 if (t % 2 == 0) == (s < 2) else -2.5) + rng.normal(0, 0.7))),
            )
            for t in range(tasters)
            for s in range(4)
        ],
        columns=["taster", "sample", "score"],
    )


def test_an_average_that_hides_two_camps_of_liking_is_warned_about():
    view = report_view(analyse_scores(two_tastes().assign(attribute="liking")), figures=False)
    assert any(
        "“liking”: the average hides camps: 50\u202f% of tasters put" in one.text for one in view.findings
    )
    table = next(t for s in view.sections for t in s.tables if "by camp" in t.caption)
    assert [row[1] for row in table.rows] == ["12", "12"]


@pytest.mark.parametrize(
    ("frame", "why"),
    [
        pytest.param(two_tastes().assign(attribute="salty"), "not liking", id="an intensity"),
        pytest.param(two_tastes(12).assign(attribute="liking"), "too few", id="twelve tasters"),
    ],
)
def test_camps_are_not_looked_for_where_they_would_mean_nothing(frame, why):
    assert analyse_scores(frame).attributes[0].camps is None, why


def test_a_taster_who_gives_one_answer_throughout_is_pointed_out_and_kept():
    frame = scores(samples=8, effect=0.3)
    frame.loc[frame["taster"] == "t3", "score"] = 5.0
    report = analyse_scores(frame)
    assert "t3" in report.patterns.sentence()
    assert report.tasters == 12
