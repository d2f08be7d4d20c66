"""By blind label and by name the same object is shown twice: numbers and order stay, labels alone differ."""

import dataclasses

import pytest

from panel.analysis.drawing import Figure
from panel.analysis.view import report_view
from tests.analysis.every_report import REPORTS, report

# Against the alphabet, so that an order by name would come out otherwise than one by label.
NAMES = {
    label: f"Kettle {chr(90 - at)}" for at, label in enumerate([*"ABCD", *(f"S{n:02}" for n in range(20))])
}
NAMES |= {f"S{n:02}": f"Urn {99 - n}" for n in range(20, 40)}


def strings_of(part, back):
    """Every text of a view in order, names turned back into labels by `back`."""
    if isinstance(part, str):
        return [back(part)]
    if isinstance(part, Figure):
        return strings_of((part.name, part.title, part.alt, part.data), back)
    if isinstance(part, tuple):
        return [text for one in part for text in strings_of(one, back)]
    if dataclasses.is_dataclass(part):
        return [
            text for field in dataclasses.fields(part) for text in strings_of(getattr(part, field.name), back)
        ]
    return [part]


def to_labels(text):
    for label, name in NAMES.items():
        text = text.replace(f"{name} ({label})", label)
    return text


@pytest.mark.parametrize("kind", list(REPORTS))
def test_names_come_in_the_place_of_labels_and_nothing_else_changes(kind):
    blind, named = (report_view(report(kind), names, title="Rice") for names in (None, NAMES))
    shown = strings_of(dataclasses.replace(named, status=blind.status), to_labels)
    assert shown == strings_of(blind, str)


def test_the_comparison_would_find_a_number_that_changed():
    blind = report_view(report("rating, found"), title="Rice")
    other = dataclasses.replace(blind, headline=blind.headline.replace("1", "2"))
    assert strings_of(other, to_labels) != strings_of(blind, str)


@pytest.mark.parametrize(
    "kind",
    [
        kind
        for kind in REPORTS
        if kind.startswith(("rating", "preference", "ranking")) and "forty" not in kind
    ],
)
def test_names_do_show_after_the_reveal(kind):
    assert "Kettle Z (A)" in " ".join(map(str, strings_of(report_view(report(kind), NAMES), str)))


@pytest.mark.parametrize("kind", list(REPORTS))
def test_every_figure_of_every_report_has_words_and_its_numbers(kind):
    view = report_view(report(kind))
    for figure in view.figures():
        assert figure.svg.startswith("<svg")
        assert len(figure.alt) > 20
        assert figure.data is not None, figure.name
        assert {len(row) for row in figure.data.rows} == {len(figure.data.columns)}, figure.name
    names = [figure.name for figure in view.figures()]
    assert len(set(names)) == len(names)
