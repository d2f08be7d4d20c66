"""Figures: the same bytes for the same data, a white card of their own, and words for who cannot see them."""

import base64
import re
import xml.etree.ElementTree as ElementTree

import pytest

from panel.analysis.figures import MeanRow, chance_figure, consistency_grid, means_figure, rank_sum_figure

HARD_NAMES = ("plain", "with dashi, $2 & <b>more</b> of a very long name indeed", "米飯 ごはん")
ROWS = [
    MeanRow(name, mean, mean - 0.7, mean + 0.7, "ab", (4.0, 5.0, 5.0, 9.0))
    for name, mean in zip(HARD_NAMES, (6.2, 5.5, 4.1), strict=True)
]


def all_figures():
    return [
        means_figure(ROWS, title="Liking", axis="liking, 1 to 9"),
        means_figure([MeanRow("A", 5, 4, 6, "", tuple(i / 7 for i in range(500)))], title="Many", axis="x"),
        rank_sum_figure(dict(zip(HARD_NAMES, (30.0, 22.5, 12), strict=True)), title="Liking", expected=21.5),
        chance_figure(12, 24, 1 / 3, 13, title="Triangle test"),
        chance_figure(3, 3, 0.1, None, title="Two-out-of-five test"),
        consistency_grid(
            {"ann": {"salt": 0.61, "soft": None}, "bob": {"salt": -0.2, "soft": 1.0}},
            {"bob": ["salt"]},
            title="Panel",
        ),
    ]


@pytest.mark.parametrize("place", range(6))
def test_a_figure_is_well_formed_and_comes_out_the_same_again(place):
    figure = all_figures()[place]
    root = ElementTree.fromstring(figure.svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert figure.svg == all_figures()[place].svg
    assert base64.b64decode(figure.data_uri().split(",")[1]).decode() == figure.svg


@pytest.mark.parametrize("place", range(6))
def test_a_figure_carries_no_date_and_asks_nothing_of_the_network(place):
    svg = all_figures()[place].svg
    assert not re.search(r"20\d\d-\d\d-\d\d|<metadata|<!DOCTYPE|<script", svg)
    assert set(re.findall(r'https?://[^"<> ]+', svg)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


@pytest.mark.parametrize("place", range(6))
def test_a_figure_is_grey_on_its_own_white_card(place):
    svg = all_figures()[place].svg
    shades = set(re.findall(r"#[0-9a-f]{6}", svg))
    assert "#ffffff" in shades
    assert all(shade[1:3] == shade[3:5] == shade[5:7] for shade in shades)


def test_the_text_alternative_gives_the_figures():
    means, _, ranks, triangle, _, grid = all_figures()
    assert "plain 6.20 (5.50 to 6.90)" in means.alt
    assert "plain 30; " in ranks.alt
    assert "12 of 24 correct, 13 are needed" in triangle.alt
    assert "Flagged: bob" in grid.alt


def test_names_are_drawn_as_they_are():
    assert "米飯 ごはん" in all_figures()[0].svg
    row = MeanRow("$2 & <b>more</b>, $3", 5, 4, 6)
    assert "$2 &amp; &lt;b&gt;more&lt;/b&gt;, $3" in means_figure([row], title="Liking", axis="x").svg


def test_a_long_name_keeps_its_end_which_tells_it_from_the_next():
    assert "with dashi, $2 &amp;…name indeed" in all_figures()[0].svg


def test_no_number_would_suffice_where_alpha_cannot_be_reached():
    assert "no number would suffice" in all_figures()[4].alt
