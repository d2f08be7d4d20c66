"""The report as page, as one file, and as text: the answer first, by label or by name from the same object."""

import functools
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from panel.analysis.analysis import analyse_scores
from panel.analysis.command import Options, run
from panel.analysis.forced_choice import ForcedAnswer, analyse_forced_choice
from panel.analysis.mapping import Mapping
from panel.analysis.numbers import typeset
from panel.analysis.plain_text import text_report
from panel.analysis.view import report_view
from tests.analysis.rice_scores import scores, yes_no

ROOT = Path(__file__).parents[2]
NAMES = {"A": "Steamwell 3", "B": "Old <Pot> & Lid", "C": "Kamado No. 7"}


def page(view, figure_src=lambda figure: figure.data_uri()):
    environment = Environment(
        loader=FileSystemLoader(ROOT / "templates"), autoescape=True, undefined=StrictUndefined
    )
    template = environment.get_template("report/alone.html")
    return template.render(view=view, figure_src=figure_src, stylesheet="body { color: black }")


@functools.cache
def reports():
    return {
        "several attributes": analyse_scores(scores(attributes=("liking", "salty"), effect=0.8)),
        "conditions and replicates": analyse_scores(scores(replicates=2, conditions=2)),
        "yes or no": analyse_scores(yes_no()),
        "equal scores": analyse_scores(scores().assign(score=5.0)),
        "triangle": analyse_forced_choice("triangle", [ForcedAnswer(f"t{i}", i < 12) for i in range(24)]),
    }


class Outline(HTMLParser):
    """Tags in order, and which tables lack a caption or a scope."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.headings_without_scope, self.images = [], 0, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.append(tag)
        self.headings_without_scope += tag == "th" and "scope" not in given
        if tag == "img":
            self.images.append(given)


@pytest.mark.parametrize("kind", list(reports()))
def test_the_page_has_one_title_captions_scopes_and_text_for_every_figure(kind):
    view = report_view(reports()[kind])
    outline = Outline(page(view))
    assert outline.tags.count("h1") == 1
    tables = sum(len(section.tables) for section in view.sections)
    tables += sum(figure.data is not None for figure in view.figures())
    assert outline.tags.count("table") == outline.tags.count("caption") == tables
    assert outline.headings_without_scope == 0
    assert [image["alt"] for image in outline.images] == [figure.alt for figure in view.figures()]
    assert all(image["src"].startswith("data:image/svg+xml;base64,") for image in outline.images)


@pytest.mark.parametrize("kind", list(reports()))
def test_the_one_file_report_asks_nothing_of_the_network_and_runs_nothing(kind):
    text = page(report_view(reports()[kind]))
    assert not re.search(r"https?://|<script|<link|\sstyle=|\son\w+=", text)


@pytest.mark.parametrize("kind", list(reports()))
def test_the_answer_comes_before_everything_else_and_nothing_is_starred(kind):
    report = reports()[kind]
    text = text_report(report_view(report, figures=False))
    assert " ".join(text.split()).find(" ".join(typeset(report.sentence()).split())) < 200
    assert "*" not in text


@pytest.mark.parametrize("kind", list(reports()))
def test_every_row_is_as_wide_as_its_headings(kind):
    for section in report_view(reports()[kind], figures=False).sections:
        for table in section.tables:
            assert {len(row) for row in table.rows} == {len(table.columns)}


def test_figures_can_be_files_and_their_names_are_unique():
    view = report_view(reports()["several attributes"])
    names = [figure.name for figure in view.figures()]
    assert len(set(names)) == len(names)
    text = page(view, figure_src=lambda figure: f"figures/{figure.name}.svg")
    assert 'src="figures/means-1.svg"' in text


def test_by_label_no_name_shows_and_by_name_the_label_stays_behind():
    report = analyse_scores(scores(attributes=("liking", "salty"), effect=0.8))
    by_label, by_name = report_view(report), report_view(report, NAMES)
    assert "Steamwell" not in page(by_label) + "".join(figure.svg for figure in by_label.figures())
    assert "Kamado No. 7 (C) scored highest" in " ".join(finding.text for finding in by_name.findings)
    assert "Old &lt;Pot&gt; &amp; Lid (B)" in page(by_name)
    assert any("Kamado No. 7 (C)" in figure.svg for figure in by_name.figures())


def test_words_that_happen_to_be_a_label_are_left_alone():
    by_label, by_name = (
        report_view(analyse_scores(scores()), names, figures=False) for names in (None, NAMES)
    )
    people = [next(s for s in view.sections if s.id == "people") for view in (by_label, by_name)]
    assert people[0] == people[1]
    assert any(text.startswith("“liking”: ") for text in people[1].paragraphs)


def test_by_label_and_by_name_give_the_same_figures():
    report = analyse_scores(scores(effect=0.8))
    blind, named = (report_view(report, names, figures=False) for names in (None, NAMES))
    for one, two in zip(blind.sections, named.sections, strict=True):
        for first, second in zip(one.tables, two.tables, strict=True):
            assert [row[1:] for row in first.rows] == [row[1:] for row in second.rows]


def test_the_text_fits_a_terminal_where_tables_allow():
    text = text_report(report_view(reports()["several attributes"], figures=False))
    prose = [line for line in text.splitlines() if "  " not in line.strip()]
    assert max(map(len, prose)) <= 100


def csv(frame):
    return frame.drop(columns=["replicate", "condition"]).to_csv(index=False).encode()


def test_a_file_becomes_text_json_and_page():
    outcome = run(csv(scores(effect=0.8)), "rice.csv")
    assert outcome.ok
    assert outcome.text().startswith("rice.csv\n========\n\n“liking”: C scored highest")
    assert outcome.to_dict()["report"]["attributes"][0]["attribute"] == "liking"
    assert outcome.view().figures()


def test_options_reach_the_analysis():
    options = Options(mapping=Mapping(position="position"), reference="A", alpha=0.01)
    outcome = run(csv(scores(effect=0.8)), "rice.csv", options)
    assert (outcome.report.reference, outcome.report.alpha) == ("A", 0.01)
    assert outcome.report.attributes[0].order is not None


@pytest.mark.parametrize(
    ("data", "options", "says"),
    [
        pytest.param(b"", Options(), "The file is empty", id="empty"),
        pytest.param(
            csv(scores()), Options(reference="Z"), "reference: 'Z' is no sample", id="unknown reference"
        ),
        pytest.param(
            csv(scores()), Options(alpha=5), "alpha must lie between 0 and 1, but got 5", id="alpha"
        ),
        pytest.param(
            csv(scores()), Options(mapping=Mapping(taster="who")), 'no column "who"', id="no column"
        ),
    ],
)
def test_what_is_wrong_with_a_file_comes_back_as_a_sentence(data, options, says):
    outcome = run(data, "rice.csv", options)
    assert not outcome.ok
    assert says in outcome.text()
    assert says in str(outcome.to_dict()["problems"])
    assert outcome.to_dict()["report"] is None


@pytest.mark.parametrize("kind", ["several attributes", "triangle"])
def test_the_checklist_fills_what_is_known_and_shows_what_is_missing(kind):
    view = report_view(
        reports()[kind],
        question="Did the new pot matter?",
        stated={"serving": "60 °C, lidded", "leader": " "},
    )
    rows = dict(view.sections[-1].tables[0].rows)
    assert rows["How the samples were served: temperature, vessel, amount, carrier"] == "60 °C, lidded"
    assert rows["Who led the test"] == "not stated"
    assert rows["Number of tasters"] == str(reports()[kind].tasters)
    missing = sum(text == "not stated" for text in rows.values())
    assert view.sections[-1].paragraphs[0].startswith(f"{missing} items of {len(rows)}")
