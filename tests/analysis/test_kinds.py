"""Every kind of table: read, analysed by the test it calls for, told in words, as JSON and as a page."""

import json

import pytest

from panel.analysis.command import Options, run_as
from panel.analysis.kind_report import Asked
from panel.analysis.kinds import KINDS
from panel.analysis.mapping import Mapping
from panel.analysis.numbers import typeset
from tests.analysis import kind_tables

WHOLE = [pytest.param(kind, table, said, id=kind) for kind, (table, said) in kind_tables.TABLES.items()]


def outcome(kind, table, said=None, **columns):
    text = table if isinstance(table, str) else table()
    return run_as(kind, text.encode(), "table.csv", Asked(columns=columns, **(said or {})))


def result(found, place=0):
    return found.report.results[place][1]


@pytest.mark.parametrize(("kind", "table", "said"), WHOLE)
def test_every_kind_gives_text_json_and_figures(kind, table, said):
    found = outcome(kind, table, said)
    assert found.ok, found.problems
    assert " ".join(typeset(found.report.sentence()).split()) in " ".join(found.text().split())
    told = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert told["report"]["sentence"] == found.report.sentence()
    assert all(figure.svg.startswith("<svg") and figure.alt for figure in found.view().figures())


@pytest.mark.parametrize(("kind", "table", "said"), WHOLE)
def test_every_kind_says_what_it_guessed_about_columns(kind, table, said):
    assert any("guessed" in line for line in outcome(kind, table, said).table.assumptions)


@pytest.mark.parametrize(("kind", "table", "said"), WHOLE)
def test_a_table_without_the_columns_is_refused_with_those_it_has(kind, table, said):
    found = outcome(kind, "colour,weight\nred,x\nblue,y\n", said)
    assert not found.ok
    assert "colour" in found.problems[0]
    assert "weight" in found.problems[0]


@pytest.mark.parametrize(("kind", "table", "said"), WHOLE)
def test_an_empty_file_of_any_kind_is_told_as_that(kind, table, said):
    assert "The file is empty" in outcome(kind, "", said).text()


@pytest.mark.parametrize(("kind", "table", "said"), WHOLE)
def test_no_kind_ever_concludes_that_samples_are_the_same(kind, table, said):
    text = outcome(kind, table, said).text()
    assert "are the same" not in text.replace("does not show that they are the same", "").replace(
        "no evidence that the samples are the same", ""
    ).replace("does not show that the samples are the same", "")


def test_an_unknown_kind_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="no kind of table is called 'guess'; known: scores, ranking"):
        run_as("guess", b"", "table.csv", Asked(columns={}))


def test_a_cell_that_is_neither_yes_nor_no_is_pointed_at():
    found = outcome("forced-choice", "taster,correct\na,yes\nb,perhaps\nc,\n")
    assert found.problems == (
        'Row 3, column "correct": "perhaps" is neither yes nor no (1/0, yes/no, right/wrong).',
        'Row 4, column "correct": the answer is missing; leave out rows without one.',
    )


def test_columns_go_by_the_names_that_the_user_gives():
    found = outcome("forced-choice", "who,ok\na,1\nb,0\n", correct="ok", taster="who")
    assert (found.report.tasters, found.report.correct) == (2, 1)


def test_a_column_named_by_mistake_is_told_with_those_there_are():
    found = outcome("forced-choice", "who,ok\na,1\n", correct="right?")
    assert found.problems[0] == 'There is no column "right?". The table has "who", "ok".'


def test_answers_by_the_same_tasters_allow_for_tasters_who_differ():
    found = outcome("forced-choice", kind_tables.repeated_answers)
    assert found.report.replicated.overdispersed
    assert "Tasters differ in ability" in found.report.sentence()
    assert not any("one independent answer per taster" in note for note in found.report.notes)


def test_a_limit_on_a_significant_difference_says_both():
    said = outcome("forced-choice", kind_tables.answers, {"pd_limit": 0.3}).report.sentence()
    assert "more than guessing alone explains" in said
    assert "which was to be shown, was not" in said


def test_a_sequential_test_needs_the_difference_that_matters():
    found = outcome("sequential", kind_tables.in_turn)
    assert "give --pd-limit (a share of tasters, e.g. 0.3) or --d-prime" in found.problems[0]


def test_the_sequential_table_decides_after_each_taster():
    found = outcome("sequential", kind_tables.in_turn, {"pd_limit": 0.4})
    table = found.view(figures=False).sections[0].tables[0]
    assert len(table.rows) == 20
    # Wald (1947): crossing ln((1 - beta) / alpha) = ln 19 with ln 1.8 per right and ln 0.6 per wrong answer.
    assert [row[-1] for row in table.rows[7:9]] == ["continue", "difference"]


# ISO 8587-style ranking by hand: Friedman = 12 / (n k (k + 1)) sum R² - 3 n (k + 1), no ties.
def test_ranks_are_compared_by_friedmans_test_with_rank_one_first():
    found = outcome("ranking", kind_tables.ranks)
    sums = {"with dashi": 18, "plain": 29, "steamed": 32, "old crop": 41}
    assert dict(result(found).rank_sums) == sums
    by_hand = 12 / (12 * 4 * 5) * sum(value**2 for value in sums.values()) - 3 * 12 * 5
    assert result(found).statistic == pytest.approx(by_hand)
    assert "mean ranks, first to last: with dashi 1.50" in found.report.sentence()


def test_a_predicted_order_makes_pages_trend_the_question():
    said = outcome("ranking", kind_tables.ranks, {"order": ("with dashi", "plain", "steamed", "old crop")})
    assert said.report.sentence().startswith("The ranks follow the predicted order, first to last with dashi")


def test_an_order_that_lacks_a_sample_is_refused():
    found = outcome("ranking", kind_tables.ranks, {"order": ("plain", "steamed")})
    assert not found.ok
    assert "order" in found.problems[0]


def test_ranks_may_stand_in_a_wide_table():
    text = "taster,plain,dashi,old\na,2,1,3\nb,2,1,3\nc,1,2,3\n"
    asked = Asked(columns={})
    found = run_as("ranking", text.encode(), "w.csv", asked, Options(Mapping(layout="wide")))
    assert dict(result(found).rank_sums) == {"plain": 5, "dashi": 4, "old": 9}


def test_incomplete_rankings_go_to_the_tests_for_gaps():
    text = "taster,sample,rank\na,X,1\na,Y,2\nb,Y,1\nb,Z,2\nc,X,1\nc,Z,2\n"
    assert type(result(outcome("ranking", text))).__name__ == "DurbinTest"


def test_a_preference_of_two_samples_names_them():
    found = outcome("preference", kind_tables.two_samples)
    assert "9 preferred plain, 21 preferred with dashi and 5 had no preference" in found.report.sentence()
    assert found.view(figures=False).sections[0].tables[0].rows[0][0] == "Share preferring plain"
    # 5 undecided split as 2 and 3: 12 of 35, exact two-sided (scipy.stats.binomtest).
    from scipy.stats import binomtest

    assert result(found).p_value == pytest.approx(binomtest(12, 35).pvalue)


def test_dropping_the_undecided_leaves_their_votes_out():
    from scipy.stats import binomtest

    found = outcome("preference", kind_tables.two_samples, {"drop": True})
    assert result(found).p_value == pytest.approx(binomtest(9, 30).pvalue)


def test_more_than_two_samples_get_strengths_and_circular_triads():
    found = outcome("preference", kind_tables.pairs_of_four)
    assert [type(one).__name__ for _, one in found.report.results] == ["BradleyTerry", "CircularTriads"]
    assert result(found).n == 48


def test_a_choice_may_stand_beside_the_two_samples_shown():
    text = "taster,first,second,choice\na,X,Y,X\nb,Y,Z,Z\nc,X,Z,no preference\nd,Y,X,X\ne,Z,X,Z\n"
    found = outcome("preference", text)
    assert result(found).n == 4
    assert any("1 comparison without a preference left out" in said for said in found.table.assumptions)


def test_a_choice_of_a_sample_not_shown_is_refused():
    found = outcome("preference", "taster,first,second,choice\na,X,Y,Z\n")
    assert 'column "choice": "Z" is neither of the two samples shown' in found.problems[0]


def test_other_words_than_two_are_refused_in_an_a_not_a_table():
    found = outcome("a-not-a", "served,answer\nA,A\nnot A,perhaps\n")
    assert "must hold the same two words, but hold A, not A, perhaps" in found.problems[0]


def test_ticked_terms_must_be_one_or_nought():
    found = outcome("check-all", "taster,sample,soft,amount\na,X,1,12\na,Y,0,9\nb,X,1,3\nb,Y,0,4\n")
    assert 'column "amount" holds 12: a term is 1 (ticked) or 0' in found.problems[0]


def test_ticked_terms_are_mapped_and_set_against_liking():
    found = outcome("check-all", kind_tables.ticked)
    assert [figure.name for figure in found.view().figures()] == ["check-all-map"]
    captions = [table.caption for section in found.view(figures=False).sections for table in section.tables]
    assert any("Liking where a term was ticked" in caption for caption in captions)


def test_penalties_follow_the_mean_drop_by_hand():
    found = outcome("just-right", kind_tables.just_right)
    one = result(found)
    # Mean drop: mean liking of just about right less that of the side (ASTM MNL63).
    assert one.low.mean_drop == pytest.approx(one.just_right_mean - one.low.mean)
    assert "“saltiness” too little" in found.report.sentence()
    assert [figure.name for figure in found.view().figures()] == ["penalties-1", "penalties-2"]


def test_penalties_without_liking_are_refused_with_what_to_name():
    found = outcome("just-right", "taster,sample,salt\na,X,3\na,Y,2\n")
    assert "name it with --column liking=HEADING" in found.problems[0]


def test_cooling_series_recover_the_rate_they_were_made_with():
    found = outcome("cooling", kind_tables.cooling, {"window": (55.0, 65.0)})
    rates = {name: one.rate for name, one in found.report.results if type(one).__name__ == "Cooling"}
    assert rates["Steamwell 3"] == pytest.approx(0.012, rel=0.1)
    assert rates["Kamado No. 7"] == pytest.approx(0.021, rel=0.1)
    assert "no panel was asked" in found.view(figures=False).status


def test_the_kinds_are_those_that_the_table_of_examples_covers():
    assert set(KINDS) == {"scores", *kind_tables.TABLES}
