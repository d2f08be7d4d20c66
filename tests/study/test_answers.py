"""From what a phone sends to an answer: every scale at its ends, one step beyond, and rubbish."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.answers import ODD_ONE, Answer, check_answer, check_odd_one, check_scores
from panel.study.plan import Question
from panel.study.problems import Problem
from panel.study.scales import SCALES

LIKING = Question("q1", "How much do you like it?", "hedonic-9")
LINE = Question("q2", "How firm is it?", "line-100", low="soft", high="firm")
AGAIN = Question("q3", "Would you eat it again?", "yes-no")
COMMENT = Question("q4", "Anything else?", "comment", required=False)


@pytest.mark.parametrize(
    ("question", "raw", "value"),
    [
        (LIKING, "1", 1), (LIKING, "9", 9), (LIKING, " 5 ", 5),
        (LINE, "0", 0), (LINE, "100", 100), (LINE, "-0", 0), (LINE, "100.0", 100),
        (LINE, "37.24", 37.2), (LINE, "37.26", 37.3), (LINE, "62,5", 62.5),
        (AGAIN, "0", 0), (AGAIN, "1", 1),
        (COMMENT, "a bit dry\nbut fine", "a bit dry\nbut fine"), (COMMENT, "8", "8"), (COMMENT, "x" * 500, "x" * 500),
    ],
    ids=lambda item: item.scale if isinstance(item, Question) else str(item)[:12],
)  # fmt: skip
def test_an_answer_on_the_scale_is_kept(question: Question, raw: str, value: float | str) -> None:
    assert check_answer(question, {question.key: raw}) == Answer(question.key, value)


def test_nought_has_no_sign_in_the_data() -> None:
    answer = check_answer(LINE, {"q2": "-0"})
    assert isinstance(answer, Answer)
    assert json.dumps(answer.value) == "0.0"


@pytest.mark.parametrize(
    ("question", "raw"),
    [
        *((LIKING, raw) for raw in ("0", "10", "-1", "5.5", "nine", "nan", "inf", "1e0", "0x5", "５", "1_0", "5;")),
        *((LINE, raw) for raw in ("-0.1", "100.1", "nan", "inf", "-inf", "1e1", "4_0", "5 0", "1,2,3", "9" * 400)),
        *((AGAIN, raw) for raw in ("2", "-1", "yes", "0.5", "true")),
    ],
    ids=lambda item: item.scale if isinstance(item, Question) else str(item)[:12],
)  # fmt: skip
def test_an_answer_off_the_scale_is_refused_with_what_was_sent(question: Question, raw: str) -> None:
    found = check_answer(question, {question.key: raw})
    assert isinstance(found, Problem)
    assert (found.field, found.code) == (question.key, "off_scale")
    assert f"“{raw}”" in found.text
    assert found.text.endswith(SCALES[question.scale].missing)


@pytest.mark.parametrize("question", [LIKING, LINE, AGAIN], ids=["liking", "line", "yes or no"])
@pytest.mark.parametrize("sent", [{}, {"q1": "", "q2": " ", "q3": "\n"}], ids=["nothing", "blanks"])
def test_a_required_answer_that_is_missing_is_asked_for_in_the_scales_words(
    question: Question, sent: dict[str, str]
) -> None:
    missing = SCALES[question.scale].missing
    assert check_answer(question, sent) == Problem(question.key, "missing", missing)


def test_what_may_be_left_open_may_be_left_open() -> None:
    assert check_answer(COMMENT, {}) == Answer("q4", None)


def test_a_comment_that_is_too_long_is_not_cut_off() -> None:
    found = check_answer(COMMENT, {"q4": "x" * 501})
    assert isinstance(found, Problem)
    assert (found.code, "501" in found.text, "500" in found.text) == ("too_long", True, True)


@given(st.text(max_size=20))
def test_whatever_is_sent_is_on_the_line_or_a_problem(raw: str) -> None:
    found = check_answer(LINE, {"q2": raw})
    assert isinstance(found, Problem) or (isinstance(found.value, float) and 0 <= found.value <= 100)


@given(st.decimals(0, 100, places=1))
def test_a_line_keeps_tenths_as_they_were_tapped(tapped: object) -> None:
    assert check_answer(LINE, {"q2": str(tapped)}) == Answer("q2", float(str(tapped)))


def test_one_screen_gives_all_its_answers_and_all_its_problems() -> None:
    answers, problems = check_scores((LIKING, LINE, AGAIN, COMMENT), {"q1": "7", "q2": "101", "q4": "hm"})
    assert [answer.question for answer in answers] == ["q1", "q4"]
    assert [(problem.field, problem.code) for problem in problems] == [("q2", "off_scale"), ("q3", "missing")]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_odd_one_is_named_by_its_place(number: int) -> None:
    assert check_odd_one(3, {ODD_ONE: str(number)}) == Answer(ODD_ONE, number)


@pytest.mark.parametrize("raw", ["0", "4", "-1", "1.0", "none", "417", "²", "01"])
def test_no_other_cup_can_be_named(raw: str) -> None:
    found = check_odd_one(3, {ODD_ONE: raw})
    assert isinstance(found, Problem)
    assert (found.code, f"“{raw}”" in found.text) == ("off_scale", True)


def test_there_is_no_answer_that_means_no_difference() -> None:
    """ISO 4120:2021, clause 7: whoever is unsure guesses."""
    found = check_odd_one(3, {})
    assert isinstance(found, Problem)
    assert (found.code, "guess" in found.text) == ("missing", True)
