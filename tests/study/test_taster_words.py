"""The organiser's own words: what can be changed, what cannot, and what own words must hold."""

from __future__ import annotations

import pytest

from panel.study.cautions import ALLERGENS, ALWAYS, CAUTIONS, CONSENT
from panel.study.draft_reader import Reader
from panel.study.draft_words import parts_in, read_words
from panel.study.drafting import check_draft
from panel.study.plan import plan_from_dict, plan_to_dict
from panel.study.scales import SCALES, TETRAD, TRIANGLE
from panel.study.taster_words import LABEL, Line, changed, field_of, parts_of
from panel.study.test_methods import TEST_METHODS

RATING = {
    "title": "Rice",
    "question": "Which rice is liked best?",
    "method": "rating",
    "tasters": "4",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "product-0-name": "Tomoshibi",
    "product-1-name": "Kumorigama",
}
WRONG_CUP = "That is not the cup for now. Put it back untasted and look for {code}; if it is not there, call for help."


def typed(text: str, said: str, **more: str) -> dict[str, str]:
    return RATING | more | {field_of(text): said}


def problems(fields: dict[str, str]) -> list[tuple[str, str]]:
    return [(one.field, one.code) for one in check_draft(fields).problems]


def test_own_words_are_part_of_the_plan_and_come_back_from_it() -> None:
    plan = check_draft(typed("Like extremely", "  I love \t it ")).plan
    assert plan is not None
    assert plan.words == {"Like extremely": "I love it"}
    assert plan_to_dict(plan)["words"] == {"Like extremely": "I love it"}
    assert plan_from_dict(plan_to_dict(plan)) == plan


@pytest.mark.parametrize("said", ["", "   ", "Like extremely"], ids=["empty", "blanks", "as it is anyway"])
def test_a_field_left_empty_means_the_built_in_words(said: str) -> None:
    plan = check_draft(typed("Like extremely", said)).plan
    assert plan is not None
    assert plan.words == {}


def test_what_the_program_fills_in_must_stay() -> None:
    field = field_of(WRONG_CUP)
    assert problems(typed(WRONG_CUP, "Wrong cup! You need {code}.")) == []
    assert problems(typed(WRONG_CUP, "Wrong cup!")) == [(field, "placeholder_missing")]
    (problem,) = check_draft(typed(WRONG_CUP, "Wrong cup!")).problems
    assert problem.text == (
        "“Wrong cup!” must keep {code}: the program puts the code of the cup there. Write {code} where it belongs."
    )


def test_what_nothing_is_filled_into_is_refused() -> None:
    assert problems(typed("Save and go on", "Save {code}")) == [
        (field_of("Save and go on"), "placeholder_unknown")
    ]
    (problem,) = check_draft(typed("{step} of {steps}", "{step} von {steps}, {code}")).problems
    assert problem.text.startswith(
        "“{step} von {steps}, {code}” holds {code}, but only {step} and {steps} can stand"
    )


def test_own_words_have_a_limit_and_what_is_too_long_is_said() -> None:
    assert problems(typed("Save and go on", "x" * LABEL)) == []
    assert problems(typed("Save and go on", "x" * (LABEL + 1))) == [(field_of("Save and go on"), "too_long")]


def test_two_points_of_a_scale_cannot_read_the_same() -> None:
    assert problems(typed("Like extremely", "LIKE very much")) == [(field_of("Like extremely"), "same_point")]
    swapped = typed("Like extremely", "Like very much") | typed("Like very much", "Like extremely")
    assert problems(swapped) == [], "both differ"


def test_own_words_must_not_name_a_sample() -> None:
    assert problems(typed("Taste", "Taste Tomoshibi")) == [(field_of("Taste"), "names_a_sample")]


def test_words_of_a_scale_that_is_not_asked_are_left_out() -> None:
    plan = check_draft(typed("Just about right", "Spot on")).plan
    assert plan is not None
    assert plan.words == {}
    asked = typed(
        "Just about right", "Spot on", **{"question-1-text": "Salt?", "question-1-scale": "just-about-right"}
    )
    plan = check_draft(asked).plan
    assert plan is not None
    assert plan.words == {"Just about right": "Spot on"}


def test_the_tetrads_words_are_shown_and_locked_with_the_reason() -> None:
    parts = parts_of(TEST_METHODS["tetrad"], ())
    lines = {line.text: line for part in parts for line in part.lines}
    for text in (TETRAD.asks, TETRAD.hint, TETRAD.missing):
        assert "two groups of two" in lines[text].locked
    reader = Reader({"method": "tetrad", field_of(TETRAD.asks): "Which two are most alike?"})
    assert read_words(reader) == {}


def test_the_words_of_other_methods_can_be_changed() -> None:
    reader = Reader({"method": "triangle", field_of(TRIANGLE.asks): "Which cup is the odd one out?"})
    assert read_words(reader) == {TRIANGLE.asks: "Which cup is the odd one out?"}
    assert reader.problems == []


@pytest.mark.parametrize("text", [CONSENT, ALWAYS, CAUTIONS["hot"], ALLERGENS["peanuts"]])
def test_what_keeps_tasters_safe_or_says_what_is_kept_is_locked(text: str) -> None:
    lines = {line.text: line for part in parts_in(RATING) for line in part.lines}
    assert lines[text].locked
    assert read_words(Reader(typed(text, "Nothing to mind."))) == {}


@pytest.mark.parametrize("method", list(TEST_METHODS))
def test_every_sentence_stands_once_and_its_field_is_its_own(method: str) -> None:
    lines = [line for part in parts_of(TEST_METHODS[method], SCALES.values()) for line in part.lines]
    assert len({line.text for line in lines}) == len(lines)
    assert len({line.field for line in lines}) == len(lines)
    assert all(len(line.text) <= line.longest or line.locked for line in lines), (
        "the default itself would fit"
    )


def test_what_was_changed_is_told_by_part() -> None:
    parts = parts_of(TEST_METHODS["rating"], [SCALES["hedonic-9"]])
    found = changed({"Like extremely": "Love it", "Thank you": "Cheers"}, parts)
    assert found == {
        "Answers: Liking, nine points": (("Like extremely", "Love it"),),
        "Thank you": (("Thank you", "Cheers"),),
    }


def test_a_placeholder_is_found_once() -> None:
    assert Line("{step} of {steps}, {step}").placeholders == ("step", "steps")
