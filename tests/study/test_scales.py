"""The words of the scales, held against their source: a changed word would be another scale."""

from __future__ import annotations

import pytest

from panel.study.scales import SCALES, TETRAD, scale_of

# Peryam, D. R. & Pilgrim, F. J. (1957). Hedonic scale method of measuring food preferences.
# Food Technology 11 (9, suppl.), 9-14: the nine phrases. Wording from memory.
HEDONIC = {
    9: "Like extremely",
    8: "Like very much",
    7: "Like moderately",
    6: "Like slightly",
    5: "Neither like nor dislike",
    4: "Dislike slightly",
    3: "Dislike moderately",
    2: "Dislike very much",
    1: "Dislike extremely",
}


def test_the_nine_points_of_liking_have_their_published_words() -> None:
    assert {point.value: point.label for point in SCALES["hedonic-9"].points} == HEDONIC


def test_just_about_right_has_its_middle_in_the_middle() -> None:
    """Five points around "just about right": ASTM MNL 63 (2009), Just-About-Right (JAR) Scales. From memory."""
    labels = [point.label for point in SCALES["just-about-right"].points]
    assert (len(labels), labels[2]) == (5, "Just about right")


def test_a_tetrad_asks_for_two_groups_and_not_for_the_most_alike() -> None:
    """Rousseau & Ennis (2013), Importance of correct instructions in the tetrad test, Journal of Sensory Studies 28."""
    asked = TETRAD.asks + TETRAD.hint
    assert "two groups of two" in asked
    assert "most" not in asked


def test_every_scale_stands_under_its_own_id() -> None:
    assert all(scale.id == name for name, scale in SCALES.items())


@pytest.mark.parametrize("scale", SCALES.values(), ids=lambda scale: scale.id)
def test_every_scale_says_what_to_do_when_nothing_was_answered(scale) -> None:
    assert scale.missing.endswith(".")
    assert len(scale.missing.split()) >= 3


@pytest.mark.parametrize("scale", SCALES.values(), ids=lambda scale: scale.id)
def test_every_scale_can_be_answered(scale) -> None:
    values = [point.value for point in scale.points]
    assert len(set(values)) == len(values)
    assert len({point.label for point in scale.points}) == len(values)
    match scale.kind:
        case "line":
            assert scale.low < scale.high
        case "text":
            assert (scale.longest > 0, scale.numeric) == (True, False)
        case "number":
            assert "limits" in scale.asks
        case _:
            assert len(values) >= 2 or "points" in scale.asks


def test_a_point_is_found_by_its_value() -> None:
    assert SCALES["hedonic-9"].label_of(9) == "Like extremely"
    assert SCALES["line-100"].label_of(50) == ""


def test_an_unknown_scale_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"'hedonic-7'.*hedonic-9"):
        scale_of("hedonic-7")
