"""The picture of series over time: well formed, the same again, with words, for one product and for many."""

import math
import re
import xml.etree.ElementTree as ElementTree

import pytest

from panel.analysis.figures_series import MOST_MARKS, MOST_PANELS, series_figure


def cooled(start=95.0, rate=0.01, minutes=range(0, 121, 5)):
    return [(float(m), 22 + (start - 22) * math.exp(-rate * m)) for m in minutes]


def held():
    return [(float(m), 70 + 25 * math.exp(-0.05 * m)) for m in range(121)]


TWO = [
    ("Aster 5, $2 & <b>", cooled(), cooled()),
    ("Aster 5, $2 & <b>", cooled(93), cooled(93)),
    ("Birch 3 米飯", held(), ()),
]


def drawn(series):
    return series_figure(series, unit="°C", title="Holding warm", window=(60, 85), threshold=65)


@pytest.mark.parametrize(
    "series",
    [TWO, TWO[:1], [], [("Cedar", [], ())], [(f"Product {n}", cooled(90 + n / 10), ()) for n in range(40)]],
    ids=["two", "one", "none", "no readings", "forty"],
)
def test_it_is_well_formed_grey_and_the_same_again(series):
    figure = drawn(series)
    root = ElementTree.fromstring(figure.svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert figure.svg == drawn(series).svg
    assert not re.search(r"20\d\d-\d\d-\d\d|<metadata|<script", figure.svg)
    shades = set(re.findall(r"#[0-9a-f]{6}", figure.svg))
    assert all(shade[1:3] == shade[3:5] == shade[5:7] for shade in shades)


def test_words_say_what_is_drawn_to_those_who_do_not_see_it():
    alt = drawn(TWO).alt
    assert (
        "Aster 5, $2 & <b>, 2 runs, with fitted curves: from 93.0–95.0 °C to 43.4–44.0 °C after 120 minutes"
        in alt
    )
    assert "Birch 3 米飯, 1 run, no curve fitted: from 95.0 °C to 70.1 °C" in alt
    assert "Window 60.0 to 85.0 °C. Threshold 65.0 °C." in alt


def test_each_product_has_a_panel_with_its_name_up_to_the_most():
    forty = drawn([(f"Product {n}", cooled(), ()) for n in range(40)])
    assert forty.svg.count("Product ") == MOST_PANELS
    assert f"The first {MOST_PANELS} of 40 products." in forty.alt


def test_a_loggers_many_readings_are_thinned():
    bare = drawn([("Aster", [], ())]).svg.count("<use")
    many = drawn([("Aster", cooled(minutes=range(3001)), ())]).svg.count("<use")
    assert many - bare <= MOST_MARKS + 10  # the axes have other ticks
