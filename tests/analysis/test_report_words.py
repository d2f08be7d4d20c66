"""The words of reports: what no report may say, what every null result must, and numbers that read as words do."""

import re
from pathlib import Path

import pytest

from panel.analysis.numbers import in_order
from panel.analysis.plain_text import text_report
from tests.analysis import kind_tables
from tests.analysis.every_report import REPORTS, report, table_view, view

ROOT = Path(__file__).parents[2]
NULL = [name for name in REPORTS if "null" in name]
COUNTED = (
    "taster|sample|answer|score|point|pair|comparison|attribute|term|side|test|vote|item|condition|place|row|"
    "remark|entr|share|serving|set"
)


def plain(text):
    return " ".join(text.replace("\u202f", " ").replace("\u00a0", " ").split())


def texts():
    """Everything that is said: reports of every kind, the texts that were read against R, and the templates."""
    for name in REPORTS:
        yield f"report: {name}", text_report(view(name))
    for kind in kind_tables.TABLES:
        yield f"table: {kind}", text_report(table_view(kind))
    for path in sorted((ROOT / "tests/published/golden").glob("*.txt")):
        yield f"golden: {path.stem}", path.read_text(encoding="utf-8")
    for path in sorted([*(ROOT / "templates/report").glob("*.html"), ROOT / "templates/analyst/report.html"]):
        without_marks = re.sub(
            r"\{[#%{].*?[#%}]\}|<[^>]+>", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL
        )
        yield f"template: {path.name}", without_marks


SAID = {name: plain(text.partition("To repeat this")[0]) for name, text in texts()}


def sentences(text):
    return re.split(r"(?<=[.:;])\s+", text)


@pytest.mark.parametrize("name", list(SAID))
def test_not_shown_to_differ_is_never_called_the_same(name):
    for said in sentences(SAID[name]):
        if re.search(
            r"\b(samples|products|they|two|both|shares?) (are|is|were|taste) (the same|equal|identical|alike)",
            said,
        ):
            assert re.search(
                r"does not (thereby )?show|That does not show|no evidence|\bIf the |when nothing|not thereby",
                said,
            ), said
        found = re.search(r"\b[Nn]o (significant )?difference\b(.*)", said)
        if found:
            assert re.search(r"shown|claimed|at all|lies inside|however large", said), said


@pytest.mark.parametrize("name", list(SAID))
@pytest.mark.parametrize(
    ("banned", "why"),
    [
        (r"\*", "nothing is starred"),
        (r"(?<!least )(?<!Least )\bsignifican", "“significant” means “important” to readers: say “shown”"),
        (r"\binsignifican", "a null result is not a finding of nothing"),
        (r"\b(prove[sdn]?|proof)\b(?! that the program)", "statistics prove nothing"),
        (r"\bthe best\b|\bbest (sample|product)", "liking by these tasters is not being best"),
        (r"\baccept(ed|s)? the null|null hypothesis", "not a reader's words"),
        (r"\bhighly\b|\bvery (clear|strong)|\btrend towards", "no grades of significance"),
        (r"\bnan\b|\bNone\b(?! of)|\binf\b|Traceback", "a value that was not there"),
        (r"\bholm\b|\btukey\b|\bdunnett\b|\bbenjamini", "names of people have capitals"),
        (r"d'", "d′ has a prime"),
        (r"(?<=[\s(])-\d", "a minus sign is no hyphen"),
        (r"\d\.\d{6,}", "digits beyond what anybody can use"),
        (r"[+−]0(\.0+)?(?![.\d])(?= )", "zero has no sign"),
    ],
    ids=lambda value: value[:24] if isinstance(value, str) else "",
)  # fmt: skip
def test_no_report_says(name, banned, why):
    said = SAID[name]
    if name.startswith("template") and "prove" in banned:
        return  # the words of the seal say what it proves and what it does not
    found = re.search(banned, said)
    assert found is None, f"{why}: …{said[max(0, found.start() - 60) : found.end() + 60]}…"


@pytest.mark.parametrize("name", list(SAID))
def test_one_is_singular_and_more_are_plural(name):
    wrong = re.search(rf"(?<![\d.,])1 ({COUNTED})(s|ies)\b", SAID[name])
    assert wrong is None, f"…{SAID[name][max(0, wrong.start() - 40) : wrong.end() + 40]}…"
    wrong = re.search(rf"(?<![\d.,=])\b([2-9]|\d\d+) ({COUNTED})(?![a-z×])(?! ×)", SAID[name])
    assert wrong is None, f"…{SAID[name][max(0, wrong.start() - 40) : wrong.end() + 40]}…"


@pytest.mark.parametrize("name", NULL)
def test_a_null_result_says_what_it_could_have_missed_and_that_it_shows_no_sameness(name):
    shown = view(name)
    said = plain(" ".join([shown.headline, *(finding.text for finding in shown.findings)]))
    assert re.search(r"up to|interval \d|as large as", said)
    assert re.search(r"does not show|no evidence", said)


def test_twelve_of_twenty_four_in_a_triangle_leave_52_per_cent_open():
    """Exact: Clopper and Pearson's upper limit of 12 of 24, 0.678, is a share of 0.517 above a guess of 1/3."""
    said = plain(view("triangle, null").headline)
    assert "up to 52 % of tasters might tell them apart (one-sided 95 % limit)" in said


@pytest.mark.parametrize("name", ["rating, several", "rating, several, null"])
def test_many_attributes_say_how_many_false_findings_to_expect_and_what_controls_them(name):
    said = plain(" ".join(view(name).sure))
    assert re.search(r"[34] tests at 5 % each without correction would bring 0\.(15|2) false findings", said)
    assert "Holm's correction" in said


@pytest.mark.parametrize("name", list(REPORTS))
def test_every_report_of_a_panel_says_how_far_it_reaches(name):
    assert "editorial verdict, not an advertising claim" in view(name).sure[-1]


@pytest.mark.parametrize("name", list(REPORTS))
def test_what_was_not_planned_is_called_exploratory(name):
    if report(name).planned:
        assert "exploratory" not in view(name).status
        assert not any(finding.standing == "exploratory" for finding in view(name).findings)
    else:
        assert "every finding here is exploratory" in view(name).status


@pytest.mark.parametrize("name", list(REPORTS))
def test_estimates_with_limits_come_before_p_values_in_every_table(name):
    for section in view(name).sections:
        for table in section.tables:
            heads = [column.heading for column in table.columns]
            limits = [at for at, head in enumerate(heads) if "interval" in head.casefold()]
            p = [at for at, head in enumerate(heads) if head == "p" or head.startswith("p,")]
            if limits and p:
                assert max(limits) < min(p), table.caption


@pytest.mark.parametrize(
    ("names", "listed"),
    [
        # as the columns of a spreadsheet follow each other
        pytest.param(["B", "AB", "Z", "A", "AA", "A"], ["A", "B", "Z", "AA", "AB"], id="blind letters"),
        pytest.param(["s10", "s2", "S1"], ["S1", "s2", "s10"], id="numbered"),
        pytest.param(["UK", "Japan", "US"], ["Japan", "UK", "US"], id="names"),
    ],
)
def test_samples_are_listed_in_the_order_that_a_reader_expects(names, listed):
    assert in_order(names) == listed


@pytest.mark.parametrize(
    ("test", "said"),
    [
        pytest.param(
            test_not_shown_to_differ_is_never_called_the_same, "The samples are the same.", id="same"
        ),
        pytest.param(
            test_not_shown_to_differ_is_never_called_the_same, "No difference between them.", id="null"
        ),
        pytest.param(test_one_is_singular_and_more_are_plural, "1 tasters took part.", id="one"),
        pytest.param(test_one_is_singular_and_more_are_plural, "They made 12 comparison.", id="twelve"),
    ],
)
def test_what_is_forbidden_would_be_found(monkeypatch, test, said):
    monkeypatch.setitem(SAID, "bait", said)
    with pytest.raises(AssertionError):
        test("bait")
