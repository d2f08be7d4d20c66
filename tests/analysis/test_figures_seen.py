"""Figures in grey and as colour-blind readers see them: what must be kept apart differs in lightness, mark or dash.

Simulation of full dichromacy: matrices of Machado, Oliveira and Fernandes (2009), A physiologically-based model for
simulation of color vision deficiency, IEEE Transactions on Visualization and Computer Graphics 15, 1291-1298,
severity 1.0, in linear RGB; from memory, their rows sum to 1, which is checked. Lightness: CIE 1976 L*, sRGB as in
IEC 61966-2-1.
"""

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from panel.analysis.drawing import GREY, INK, LINES, PALE
from panel.analysis.figures import (
    MeanRow,
    bars_figure,
    chance_figure,
    consistency_grid,
    means_figure,
    rank_sum_figure,
)
from panel.analysis.figures_maps import MOST_LINES, profile_lines
from panel.analysis.figures_plots import (
    DifferenceRow,
    PenaltyPoint,
    differences_figure,
    penalty_figure,
    serving_grid,
)
from panel.analysis.figures_power import Mark, PowerCurve, power_figure

SEEN_BY = {
    "everybody": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
    "grey": np.tile([0.2126, 0.7152, 0.0722], (3, 1)),
}
APART = (
    15.0  # L* between two shades that stand for different things; about 1 is just noticeable: common practice
)
WHITE = "#ffffff"


def lightness(shade, seen_by):
    rgb = np.array([int(shade[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    luminance = float(np.clip(SEEN_BY[seen_by] @ linear, 0, 1) @ [0.2126, 0.7152, 0.0722])
    return 116 * np.cbrt(luminance) - 16 if luminance > (6 / 29) ** 3 else luminance * (29 / 3) ** 3


def figures():
    scores = (4.0, 5.0, 5.0, 9.0)
    curve = PowerCurve("24 answers", (0.0, 0.5, 1.0), (0.05, 0.6, 1.0))
    more = PowerCurve("48", curve.sizes, (0.05, 0.9, 1.0))
    grid = {"ann": {"salt": 0.6, "soft": None}, "bob": {"salt": -0.2, "soft": 1.0}}
    return [
        means_figure([MeanRow(name, 5, 4, 6, "a", scores) for name in "AB"], title="Liking", axis="liking"),
        rank_sum_figure({"A": 12.0, "B": 20.0}, title="Ranks", expected=16.0),
        bars_figure([("A", 12.0), ("B", 4.0)], title="Votes", axis="tasters", name="votes"),
        chance_figure(12, 24, 1 / 3, 13, title="Triangle"),
        consistency_grid(grid, {"bob": ["salt"]}, title="Panel"),
        profile_lines(
            {n: {"salt": 4.0 + i, "soft": 5.0} for i, n in enumerate("ABCDEFGH")}, axis="m", title="P"
        ),
        differences_figure(
            [DifferenceRow(("A", "over", "B"), 1, -0.2, 2)], title="D", axis="points", name="d"
        ),
        penalty_figure([PenaltyPoint("salt", 0.3, 1.2, 0.4, 2)], cut_off=0.2, title="Penalties", name="p"),
        serving_grid({"A": {1: (0.4, 6), 2: (-0.4, 6)}}, title="Serving"),
        power_figure([curve, more], axis="size", title="Power", marks=(Mark(0.5, "m"),)),
    ]


FIGURES = {figure.name: figure for figure in figures()}


@pytest.mark.parametrize("seen_by", list(SEEN_BY))
def test_the_matrices_leave_white_and_greys_as_they_are(seen_by):
    assert SEEN_BY[seen_by].sum(axis=1) == pytest.approx(1, abs=2e-6)
    assert lightness("#767676", seen_by) == pytest.approx(lightness("#767676", "everybody"), abs=1e-3)


def test_the_simulation_would_find_two_colours_that_look_alike():
    """Red and green of one lightness are nearly one shade to whoever lacks the green cones."""
    red, green = "#c00000", "#5c7a00"
    assert abs(lightness(red, "deuteranopia") - lightness(green, "deuteranopia")) < APART


@pytest.mark.parametrize("seen_by", list(SEEN_BY))
@pytest.mark.parametrize(
    ("one", "other"), [(INK, GREY), (GREY, PALE), (INK, PALE), (GREY, WHITE), (INK, WHITE), (PALE, WHITE)]
)
def test_the_shades_of_figures_stay_apart_for_every_reader(one, other, seen_by):
    """Pale fills are always edged in grey or ink: a smaller step from the paper will do."""
    least = 10 if one == PALE else APART
    assert abs(lightness(one, seen_by) - lightness(other, seen_by)) >= least


@pytest.mark.parametrize("name", list(FIGURES))
def test_a_figure_uses_no_colour_that_only_some_readers_see(name):
    for shade in set(re.findall(r"#[0-9a-f]{6}", FIGURES[name].svg)):
        seen = [lightness(shade, seen_by) for seen_by in SEEN_BY]
        assert max(seen) - min(seen) < 0.01, f"{name} draws {shade}, whose lightness depends on who looks"


def test_lines_beside_each_other_differ_in_dash_and_mark_and_not_by_shade_alone():
    looks = [(LINES[at % len(LINES)], at // len(LINES)) for at in range(MOST_LINES)]
    assert len({dash if isinstance(dash, str) else dash[1] for dash, _ in LINES}) == len(LINES)
    assert len({mark for _, mark in LINES}) == len(LINES)
    assert len(set(map(str, looks))) == MOST_LINES


def test_what_shows_a_difference_is_hatched_and_what_was_seen_is_darker():
    root = ElementTree.fromstring(FIGURES["chance"].svg)
    patterns = root.findall(".//{http://www.w3.org/2000/svg}pattern")
    assert patterns
    assert GREY in FIGURES["chance"].svg


@pytest.mark.parametrize("name", list(FIGURES))
def test_every_figure_has_words_and_its_numbers(name):
    figure = FIGURES[name]
    assert len(figure.alt) > len(figure.title)
    assert figure.data is not None
    assert figure.data.rows
    assert {len(row) for row in figure.data.rows} == {len(figure.data.columns)}
