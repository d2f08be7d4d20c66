"""The System Usability Scale, scored as published, and what few testers can say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as scipy_stats

from panel.bench.usability import (
    ACKNOWLEDGEMENT,
    FEW_TESTERS,
    STATEMENTS,
    scores_of_testers,
    usability_score,
)

BROOKE = "Brooke (1996), SUS: a quick and dirty usability scale; from memory"
answers = st.lists(st.integers(1, 5), min_size=10, max_size=10)


@pytest.mark.parametrize(
    ("given_answers", "score", "how"),
    [
        # Brooke's scored example: 4 1 1 4 1 2 1 1 4 3 sum to 22, times 2.5.
        ((5, 4, 2, 1, 2, 3, 2, 4, 5, 2), 55.0, BROOKE),
        ((5, 1) * 5, 100.0, "by hand: ten times 4, times 2.5"),
        ((1, 5) * 5, 0.0, "by hand: ten times 0"),
        ((3,) * 10, 50.0, "by hand: ten times 2, times 2.5"),
        ((5,) * 10, 50.0, "by hand: five times 4, five times 0"),
        ((4, 2, 4, 1, 5, 2, 4, 2, 4, 3), 77.5, "by hand: 3 3 3 4 4 3 3 3 3 2 = 31, times 2.5"),
    ],
)
def test_scores_are_those_of_the_published_rule(given_answers, score, how):
    assert usability_score(given_answers) == score, how


@given(answers)
def test_scores_run_from_0_to_100_in_steps_of_two_and_a_half(given_answers):
    score = usability_score(given_answers)
    assert 0 <= score <= 100
    assert score % 2.5 == 0


@given(answers, st.integers(0, 9))
def test_agreeing_more_helps_with_odd_statements_and_harms_with_even_ones(given_answers, place):
    if given_answers[place] == 5:
        return
    more = [*given_answers]
    more[place] += 1
    assert usability_score(more) - usability_score(given_answers) == (2.5 if place % 2 == 0 else -2.5)


def test_the_ten_statements_stand_as_published_and_are_acknowledged():
    assert len(STATEMENTS) == 10
    assert STATEMENTS[0] == "I think that I would like to use this system frequently", BROOKE
    assert STATEMENTS[9] == "I needed to learn a lot of things before I could get going with this system", (
        BROOKE
    )
    assert "Brooke" in ACKNOWLEDGEMENT
    assert "Digital Equipment Corporation" in ACKNOWLEDGEMENT


@pytest.mark.parametrize(
    ("given_answers", "said"),
    [((3,) * 9, "there are 9"), ((3,) * 9 + (6,), "statement 10"), ((0,) + (3,) * 9, "statement 1 ")],
)
def test_a_questionnaire_with_gaps_is_not_scored(given_answers, said):
    with pytest.raises(ValueError, match=said):
        usability_score(given_answers)


def test_the_mean_has_the_t_interval_cut_at_the_scales_ends():
    scores = [70.0, 77.5, 82.5, 90.0]
    found = scores_of_testers(scores, 0, 100)
    low, high = scipy_stats.t.interval(0.95, 3, sum(scores) / 4, scipy_stats.sem(scores))
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high))
    assert scores_of_testers([95.0, 60.0], 0, 100).high == 100


def test_few_testers_are_called_few_and_one_is_one_opinion():
    assert "3 testers are few" in scores_of_testers([4, 5, 3], 1, 5).sentence()
    one = scores_of_testers([4], 1, 5)
    assert (one.u, one.low) == (None, None)
    assert "one person's opinion" in one.sentence()
    same = scores_of_testers([3, 3, 3], 1, 5)
    assert (same.u, same.low, same.high) == (None, None, None), "three who agree are no certainty"
    assert "interval" not in same.sentence()
    assert "few" not in scores_of_testers([4, 5] * FEW_TESTERS, 1, 5).sentence()


def test_ratings_are_counted_and_not_only_averaged():
    found = scores_of_testers([1, 5, 5], 1, 5)
    assert found.counts == ((1, 1), (2, 0), (3, 0), (4, 0), (5, 2))
    assert "1 gave 1 and 2 gave 5" in found.sentence()
    assert found.median == 5


@pytest.mark.parametrize(("scores", "said"), [([], "nobody"), ([0], "between 1 and 5")])
def test_rubbish_is_refused_in_words(scores, said):
    with pytest.raises(ValueError, match=said):
        scores_of_testers(scores, 1, 5)
