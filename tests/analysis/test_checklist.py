"""The list of each standard: every item is filled from the report, from the study, or shown as missing."""

import pytest

from panel.analysis.checklist import FORCED_CHOICE, MISSING, RANKING, SCORES, TWO_PRODUCTS, checklist
from panel.study.statements import TO_STATE
from tests.analysis.every_report import REPORTS, report

# Kind of report -> its list and the standard in its caption. What the lists hold is from memory of the standards.
LISTS = {
    "rating, found": (SCORES, "ISO 11136:2014"),
    "triangle, null": (FORCED_CHOICE, "ISO 4120:2021"),
    "duo-trio": (FORCED_CHOICE, "ISO 10399"),
    "2-AFC": (FORCED_CHOICE, "ISO 5495"),
    "A-not-A, null": (TWO_PRODUCTS, "ISO 8588"),
    "same-different, null": (TWO_PRODUCTS, "ASTM E2139"),
    "preference, null": (TWO_PRODUCTS, "ISO 5495"),
    "ranking, null": (RANKING, "ISO 8587"),
}
BY_ITSELF = {"tasters", "result", "standard"}


@pytest.mark.parametrize("kind", list(LISTS))
def test_the_list_is_that_of_the_methods_standard(kind):
    items, standard = LISTS[kind]
    table = checklist(report(kind), {}).tables[0]
    assert standard in table.caption
    assert [row[0] for row in table.rows] == [item.text for item in items]


@pytest.mark.parametrize("kind", list(REPORTS))
def test_without_a_study_only_what_the_report_knows_is_filled(kind):
    section = checklist(report(kind), {})
    filled = [row for row in section.tables[0].rows if row[1] != MISSING]
    missing = len(section.tables[0].rows) - len(filled)
    assert len(filled) >= len(BY_ITSELF)
    assert section.gist == f"{missing} of {len(section.tables[0].rows)} not stated"


@pytest.mark.parametrize("kind", list(LISTS))
def test_every_item_can_be_filled(kind):
    items, _ = LISTS[kind]
    section = checklist(report(kind), {item.key: f"stated: {item.key}" for item in items})
    assert section.gist == "everything is stated"
    assert all(row[1].startswith("stated: ") for row in section.tables[0].rows)


@pytest.mark.parametrize("kind", list(LISTS))
def test_blanks_state_nothing(kind):
    rows = dict(checklist(report(kind), {"environment": "  "}).tables[0].rows)
    assert rows[TO_STATE["environment"]] == MISSING


def test_the_levels_of_a_similarity_test_are_all_there():
    rows = dict(checklist(report("triangle, similar"), {}).tables[0].rows)
    assert rows["α, β and pd"].replace("\u202f", " ") == "α = 0.05, β = 0.05, pd = 30 %"
