"""Forced-choice reports: exact figures, what a null result could have missed, pooled answers marked."""

import json

import pytest

from panel.analysis.forced_choice import ForcedAnswer, analyse_forced_choice
from panel.analysis.plain_text import text_report
from panel.analysis.view import report_view


def answers(correct, n, each=1):
    return [ForcedAnswer(f"t{i // each}", i < correct) for i in range(n)]


# ISO 4120:2021, table A.1 (least number correct, triangle, alpha = 0.05).
@pytest.mark.parametrize(
    ("n", "least"),
    [
        pytest.param(12, 8, id="ISO 4120 table A.1, n = 12"),
        pytest.param(24, 13, id="ISO 4120 table A.1, n = 24"),
        pytest.param(30, 15, id="ISO 4120 table A.1, n = 30"),
        pytest.param(60, 27, id="ISO 4120 table A.1, n = 60"),
    ],
)
def test_the_least_number_correct_decides_the_triangle_test(n, least):
    assert analyse_forced_choice("triangle", answers(least, n)).difference.significant
    below = analyse_forced_choice("triangle", answers(least - 1, n))
    assert not below.difference.significant
    assert below.difference.critical_value == least
    assert f" {least}  α = 0.05" in text_report(report_view(below, figures=False))


def test_twelve_of_twenty_four_could_have_missed_half_of_the_tasters():
    # Exact one-sided 95 % limit (Clopper & Pearson 1934): pc <= 0.6806, pd = (pc - 1/3) / (2/3) <= 0.52.
    said = analyse_forced_choice("triangle", answers(12, 24)).sentence()
    assert "up to 52\u202f% of tasters might tell them apart (one-sided 95\u202f% limit)" in said
    assert "This is no evidence that the samples are the same" in said


def test_a_limit_makes_similarity_the_question():
    report = analyse_forced_choice("triangle", answers(20, 66), pd_limit=0.3, planned=True)
    assert report.similarity.significant
    view = report_view(report, figures=False)
    assert view.headline == report.similarity.sentence()
    assert [finding.standing for finding in view.findings] == ["secondary"]
    assert view.status == "The analysis was sealed before the data were seen."


def test_pooled_answers_are_marked_and_never_used_for_similarity():
    report = analyse_forced_choice("triangle", answers(20, 66, each=3), pd_limit=0.3)
    assert (report.tasters, report.answers, report.answers_per_taster) == (22, 66, 3)
    assert report.similarity is None
    assert any("answers by one taster are pooled" in note for note in report.notes)


def test_no_answer_gives_a_sentence_instead_of_a_report():
    with pytest.raises(ValueError, match="answers: there is no answer yet"):
        analyse_forced_choice("triangle", [])


def test_the_report_is_clean_json_and_the_same_in_any_order():
    given = answers(9, 24)
    one, two = (analyse_forced_choice("triangle", order) for order in (given, given[::-1]))
    assert json.dumps(one.to_dict(), allow_nan=False) == json.dumps(two.to_dict(), allow_nan=False)


@pytest.mark.parametrize("method", ["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad", "two-out-of-five"])
@pytest.mark.parametrize("correct", [0, 5, 12])
def test_every_method_gives_a_whole_report(method, correct):
    view = report_view(analyse_forced_choice(method, answers(correct, 12)))
    assert [figure.name for figure in view.figures()] == ["chance", "missed"]
    assert f"{correct} of 12 correct" in view.lead.alt
