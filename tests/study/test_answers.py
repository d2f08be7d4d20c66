"""From what a phone sends to an answer: every scale at its ends, one step beyond, and rubbish."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.answers import Answer, cannot_field, check_answer, check_scores, sent_digest
from panel.study.plan import Question
from panel.study.problems import Problem
from panel.study.questions import terms_of
from panel.study.scales import CANNOT_TELL, SCALES

LIKING = Question("q1", "How much do you like it?", "hedonic-9")
LINE = Question("q2", "How firm is it?", "line-100", low="soft", high="firm")
AGAIN = Question("q3", "Would you eat it again?", "yes-no")
COMMENT = Question("q4", "Anything else?", "comment", required=False)
SALT = Question("q5", "How salty is it?", "just-about-right")
OWN = Question("q6", "How sticky is it?", "category", points=("not", "a little", "very"))
TICKS = Question("q7", "What does it smell of?", "check-all", points=("popcorn", "hay", "rubber"))
LIST = Question("q8", "Is it …?", "yes-no-list", points=("firm", "sticky"))
GRAMS = Question("q9", "How much did you leave?", "number", least=0, most=250, unit="g")
ANY = Question("q10", "Which number?", "number")
WORDS = Question("q11", "In a word?", "short-text", longest=12)


def value_of(found: list[Answer] | Problem) -> float | str | None:
    assert isinstance(found, list), found
    (answer,) = found
    return answer.value


@pytest.mark.parametrize(
    ("question", "raw", "value"),
    [
        (LIKING, "1", 1), (LIKING, "9", 9), (LIKING, " 5 ", 5),
        (LINE, "0", 0), (LINE, "100", 100), (LINE, "-0", 0), (LINE, "100.0", 100),
        (LINE, "37.24", 37.2), (LINE, "37.26", 37.3), (LINE, "62,5", 62.5),
        (AGAIN, "0", 0), (AGAIN, "1", 1),
        (SALT, "1", 1), (SALT, "5", 5), (OWN, "1", 1), (OWN, "3", 3),
        (GRAMS, "0", 0), (GRAMS, "250", 250), (GRAMS, "12,5", 12.5), (ANY, "-3.25", -3.25), (WORDS, "dry", "dry"),
        (COMMENT, "a bit dry\nbut fine", "a bit dry\nbut fine"), (COMMENT, "8", "8"), (COMMENT, "x" * 500, "x" * 500),
    ],
    ids=lambda item: item.scale if isinstance(item, Question) else str(item)[:12],
)  # fmt: skip
def test_an_answer_on_the_scale_is_kept(question: Question, raw: str, value: float | str) -> None:
    assert check_answer(question, {question.key: raw}) == [Answer(question.key, value)]


def test_nought_has_no_sign_in_the_data() -> None:
    assert json.dumps(value_of(check_answer(LINE, {"q2": "-0"}))) == "0.0"


@pytest.mark.parametrize(
    ("question", "raw"),
    [
        *((LIKING, raw) for raw in ("0", "10", "-1", "5.5", "nine", "nan", "inf", "1e0", "0x5", "５", "1_0", "5;")),
        *((LINE, raw) for raw in ("-0.1", "100.1", "nan", "inf", "-inf", "1e1", "4_0", "5 0", "1,2,3", "9" * 400)),
        *((SALT, raw) for raw in ("0", "6", "2.5")),
        *((OWN, raw) for raw in ("0", "4", "very")),
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
    assert check_answer(COMMENT, {}) == [Answer("q4", None)]


def test_a_comment_that_is_too_long_is_not_cut_off() -> None:
    found = check_answer(COMMENT, {"q4": "x" * 501})
    assert isinstance(found, Problem)
    assert (found.code, "501" in found.text, "500" in found.text) == ("too_long", True, True)


@given(st.text(max_size=20))
def test_whatever_is_sent_is_on_the_line_or_a_problem(raw: str) -> None:
    found = check_answer(LINE, {"q2": raw})
    if not isinstance(found, Problem):
        value = value_of(found)
        assert isinstance(value, float)
        assert 0 <= value <= 100


@given(st.decimals(0, 100, places=1))
def test_a_line_keeps_tenths_as_they_were_tapped(tapped: object) -> None:
    assert check_answer(LINE, {"q2": str(tapped)}) == [Answer("q2", float(str(tapped)))]


def test_one_screen_gives_all_its_answers_and_all_its_problems() -> None:
    answers, problems = check_scores((LIKING, LINE, AGAIN, COMMENT), {"q1": "7", "q2": "101", "q4": "hm"})
    assert [answer.question for answer in answers] == ["q1", "q4"]
    assert [(problem.field, problem.code) for problem in problems] == [("q2", "off_scale"), ("q3", "missing")]


# ---- words to tick, lists of yes and no, numbers, and not being able to tell


@pytest.mark.parametrize(
    ("ticked", "values"),
    [({}, [0, 0, 0]), ({"q7.2": "1"}, [0, 1, 0]), ({"q7.1": "1", "q7.2": "1", "q7.3": "1"}, [1, 1, 1])],
    ids=["none", "one", "all"],
)
def test_every_word_of_a_list_to_tick_is_an_answer(ticked: dict[str, str], values: list[float]) -> None:
    expected = [Answer(f"q7.{number}", value) for number, value in enumerate(values, start=1)]
    assert check_answer(TICKS, ticked) == expected
    assert list(terms_of(TICKS).values()) == ["popcorn", "hay", "rubber"]


@pytest.mark.parametrize("rubbish", ["0", "yes", "2", "on"])
def test_a_word_is_ticked_or_not(rubbish: str) -> None:
    found = check_answer(TICKS, {"q7.1": rubbish})
    assert isinstance(found, Problem)
    assert found.code == "off_scale"


def test_every_word_of_a_list_of_yes_and_no_needs_its_answer() -> None:
    assert check_answer(LIST, {"q8.1": "1", "q8.2": "0"}) == [Answer("q8.1", 1.0), Answer("q8.2", 0.0)]
    for sent, code in (
        ({}, "missing"),
        ({"q8.1": "1"}, "missing"),
        ({"q8.1": "1", "q8.2": "2"}, "off_scale"),
    ):
        found = check_answer(LIST, sent)
        assert isinstance(found, Problem)
        assert (found.field, found.code) == ("q8", code)


def test_a_list_that_may_be_left_open_keeps_what_was_answered() -> None:
    open_list = replace(LIST, required=False)
    assert check_answer(open_list, {"q8.2": "1"}) == [Answer("q8.1", None), Answer("q8.2", 1.0)]


@pytest.mark.parametrize("question", [LIKING, LINE, AGAIN, SALT, OWN, GRAMS], ids=lambda q: q.scale)
def test_not_being_able_to_tell_is_an_answer_only_where_it_is_offered(question: Question) -> None:
    sent = {cannot_field(question.key): "1"}
    offered = replace(question, cannot_tell=True)
    assert check_answer(offered, sent) == [Answer(question.key, CANNOT_TELL)]
    assert check_answer(offered, {question.key: CANNOT_TELL}) == [Answer(question.key, CANNOT_TELL)]
    assert isinstance(check_answer(question, sent), Problem)
    assert isinstance(check_answer(question, {question.key: CANNOT_TELL}), Problem)


def test_the_limits_of_a_number_are_said() -> None:
    found = check_answer(GRAMS, {"q9": "251"})
    assert isinstance(found, Problem)
    assert "from 0 to 250 g" in found.text


@given(st.text(max_size=12), st.sampled_from([LIKING, LINE, AGAIN, SALT, OWN, GRAMS, ANY]))
def test_whatever_is_sent_for_a_number_is_a_number_or_a_problem(raw: str, question: Question) -> None:
    found = check_answer(question, {question.key: raw})
    assert isinstance(found, Problem) or math.isfinite(float(str(value_of(found))))


def test_the_fingerprint_of_a_send_changes_with_every_part_of_it() -> None:
    sends = [
        ("one", {"q1": "7"}),
        ("two", {"q1": "7"}),
        ("one", {"q1": "8"}),
        ("one", {"q2": "7"}),
        ("one", {}),
    ]
    assert len({sent_digest(submission, sent) for submission, sent in sends}) == len(sends)
