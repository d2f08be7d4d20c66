"""Tables as people send them: every assumption is said, every fault names its row and column."""

import io

import pytest
from openpyxl import Workbook

from panel.analysis.reading import LIMIT_BYTES, Mapping, UnreadableTable, read_scores, read_table

LONG = "taster,sample,liking\nann,plain,7\nann,dashi,5.5\nbob,plain,6\nbob,dashi,8\n"


def triples(table):
    return [(r.taster, r.sample, r.score) for r in table.frame.itertuples()]


EXPECTED = [("ann", "plain", 7.0), ("ann", "dashi", 5.5), ("bob", "plain", 6.0), ("bob", "dashi", 8.0)]


def workbook(*rows, more_sheets=()):
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for title in more_sheets:
        book.create_sheet(title)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        pytest.param(LONG.encode(), "", id="comma, ASCII"),
        pytest.param(LONG.encode("utf-8-sig"), "", id="UTF-8 with mark"),
        pytest.param(LONG.replace("\n", "\r\n").encode(), "", id="Windows line ends"),
        pytest.param(LONG.replace("\n", "\r").encode(), "", id="old Mac line ends"),
        pytest.param(LONG.replace(",", "\t").encode(), "separated by tabs", id="tabs"),
        pytest.param(LONG.replace(",", ";").encode(), "separated by semicolons", id="semicolons"),
        pytest.param(
            LONG.replace(",", ";").replace(".", ",").encode(),
            '"5,5" is 5.5',
            id="semicolons and decimal comma",
        ),
        pytest.param(LONG.replace("5.5", '"5,5"').encode(), "decimal mark", id="quoted decimal comma"),
        pytest.param(LONG.encode("utf-16"), "read as UTF-16", id="UTF-16 with mark"),
        pytest.param(LONG.encode("utf-16-le"), "read as UTF-16", id="UTF-16 little-endian without mark"),
        pytest.param(LONG.encode("utf-16-be"), "read as UTF-16", id="UTF-16 big-endian without mark"),
        pytest.param(
            workbook(*[line.split(",") for line in LONG.splitlines()]), "", id="XLSX, numbers kept as text"
        ),
        pytest.param(
            workbook(
                ["taster", "sample", "liking"],
                ["ann", "plain", 7],
                ["ann", "dashi", 5.5],
                [],
                ["bob", "plain", 6],
                ["bob", "dashi", 8.0],
                more_sheets=["notes"],
            ),
            'only "Sheet" is read',
            id="XLSX with a blank row and a second sheet",
        ),
    ],
)
def test_the_same_table_is_read_from_every_usual_form_and_the_assumption_is_said(data, said):
    table = read_scores(data, "scores")
    assert table.problems == ()
    assert triples(table) == EXPECTED
    assert said in " ".join(table.assumptions)


def test_latin_1_is_read_and_said():
    table = read_scores(LONG.replace("ann", "Zoë").encode("latin-1"), "scores.csv")
    assert triples(table)[0] == ("Zoë", "plain", 7.0)
    assert any("Latin-1" in said for said in table.assumptions)


@pytest.mark.parametrize("name", ["NA", "None", "1e5", "007", "nan", "TRUE", "Ünï, quoted", "=1+1"])
@pytest.mark.parametrize("role", ["taster", "sample"])
def test_a_name_stays_the_text_it_is(name, role):
    other = {"taster": "ann", "sample": "plain"}[role]
    table = read_scores(LONG.replace(other, f'"{name}"').encode(), "scores.csv")
    assert table.problems == ()
    assert name in set(table.frame[role])


def test_a_number_in_a_workbook_is_a_name_without_a_decimal_point():
    data = workbook(["taster", "sample", "liking"], [1, 298.0, 4], [1, 493, 5], [2, 298, 6], [2, 493, 7])
    assert set(read_scores(data, "scores.xlsx").frame["sample"]) == {"298", "493"}


def test_names_that_differ_only_in_case_stay_two_and_are_pointed_out():
    table = read_scores((LONG + "Ann,plain,4\n").encode(), "scores.csv")
    assert table.counts.tasters == 3
    assert '"ann" and "Ann" differ only in case or spaces: read as two tasters.' in table.assumptions


WIDE = "who,plain,dashi\nann,7,5.5\nbob,6,8\n"


@pytest.mark.parametrize(
    ("text", "wishes", "said"),
    [
        pytest.param(WIDE.replace("who", "taster"), None, "read as wide", id="guessed"),
        pytest.param(WIDE, Mapping(layout="wide", taster="who"), '"plain", "dashi"', id="taster told"),
        pytest.param(WIDE, Mapping(taster="who", samples=("plain", "dashi")), "", id="all told"),
    ],
)
def test_a_wide_table_is_read_with_its_headings_as_samples(text, wishes, said):
    table = read_scores(text.encode(), "scores.csv", wishes)
    assert table.problems == ()
    assert triples(table) == EXPECTED
    assert said in " ".join(table.assumptions)


def test_a_wide_table_without_tasters_takes_each_row_as_one():
    table = read_scores(b"four,one\n7.2,5.8\n7.4,6.9\n", "scores.csv")
    assert triples(table) == [("1", "four", 7.2), ("1", "one", 5.8), ("2", "four", 7.4), ("2", "one", 6.9)]
    assert any("each row is taken as one taster" in said for said in table.assumptions)


def test_columns_are_found_by_what_they_hold_when_their_headings_tell_nothing():
    text = "wer,reis,note\na,x,1\nb,x,2\nc,x,3\na,y,4\nb,y,5\nc,y,6\n"
    table = read_scores(text.encode(), "scores.csv")
    assert (table.mapping.taster, table.mapping.sample, table.mapping.scores) == ("wer", "reis", ("note",))
    assert any('"wer" is read as the taster (guessed from its values)' in said for said in table.assumptions)


def test_several_attributes_replicates_positions_and_conditions_are_all_kept():
    head = "session,rep,order,judge,product,salt,soft\n"
    body = "".join(
        f"{s},{r},{o},{j},{p},{o},{r}\n"
        for s in ("plain", "dashi")
        for r in (1, 2)
        for j in "ab"
        for o, p in ((1, "X"), (2, "Y"))
    )
    table = read_scores((head + body).encode(), "scores.csv")
    assert table.problems == ()
    counts = table.counts
    found = (counts.rows, counts.tasters, counts.samples, counts.attributes, counts.replicates)
    assert found == (16, 2, 2, 2, 2)
    assert counts.conditions == 2
    assert counts.scores == 32
    assert table.frame["position"].tolist()[:4] == [1, 1, 2, 2]


def test_a_table_with_one_score_a_row_and_a_column_of_attribute_names_is_read():
    text = "taster,sample,attribute,value\n" + "".join(
        f"{t},{s},{a},{i}\n"
        for i, (t, s, a) in enumerate((t, s, a) for t in "ab" for s in "XY" for a in "pq")
    )
    table = read_scores(text.encode(), "scores.csv")
    assert table.counts.attributes == 2
    assert table.counts.scores == 8


def test_missing_scores_are_counted_and_nothing_is_filled_in():
    table = read_scores((LONG + "cai,plain,\ncai,dashi,NA\n").encode(), "scores.csv")
    assert table.problems == ()
    assert table.counts.missing == 2
    assert table.counts.tasters == 2
    assert '2 scores are missing of 6 (among them cells with "NA"); nothing is filled in for them.' in (
        table.assumptions
    )


@pytest.mark.parametrize(
    ("text", "wishes", "row", "column", "says"),
    [
        pytest.param(
            LONG.replace("bob,plain,6", "bob,plain,good"),
            None,
            4,
            "liking",
            'Row 4, column "liking": "good" is not a number.',
            id="text where a number should be",
        ),
        pytest.param(LONG.replace("5.5", "inf"), None, 3, "liking", '"inf" is not a number', id="infinity"),
        pytest.param(LONG.replace("5.5", "1e999"), None, 3, "liking", '"1e999" is not', id="overflow"),
        pytest.param(
            LONG, Mapping(scores=("like",)), None, "like", 'There is no column "like"', id="missing column"
        ),
        pytest.param(
            LONG,
            Mapping(taster="sample", sample="sample"),
            None,
            "sample",
            "two purposes",
            id="column named twice",
        ),
        pytest.param(
            LONG + "ann,plain,6\n",
            None,
            6,
            "sample",
            'Rows 2 and 6 both give taster "ann", sample "plain"',
            id="duplicate rows",
        ),
        pytest.param(LONG + ",plain,6\n", None, 6, "taster", "the taster is missing", id="no taster"),
        pytest.param(LONG + "cai,dashi,6,7\n", None, 6, None, "Row 6 has 4 cells", id="a cell too many"),
        pytest.param(
            "taster,sample,a,a\nx,y,1,2\n", None, 1, "a", '2 columns are called "a"', id="one heading twice"
        ),
        pytest.param("taster,sample,liking\n", None, 1, None, "no scores below", id="headings only"),
        pytest.param(
            "taster,sample,liking\na,x,\nb,y,\n",
            Mapping(scores=("liking",)),
            None,
            None,
            "no score",
            id="no score at all",
        ),
        pytest.param(
            "taster,sample,liking\na,x,1\nb,x,2\n", None, None, None, "only one sample", id="one sample"
        ),
        pytest.param(
            "taster,sample,liking\na,x,1\na,y,2\n", None, None, None, "only one taster", id="one taster"
        ),
        pytest.param("", None, None, None, "The file is empty", id="empty file"),
        pytest.param(" \n\n", None, None, None, "The file is empty", id="blank file"),
        pytest.param("liking\n3\n4\n", None, None, None, "No column was recognised", id="one column"),
        pytest.param(
            LONG.replace("taster,sample,liking", "order,taster,sample,liking")
            .replace("\nann", "\nx,ann")
            .replace("\nbob", "\n2,bob"),
            Mapping(position="order"),
            2,
            "order",
            '"x" is not a serving position',
            id="position that is no whole number",
        ),
        pytest.param(
            'taster,sample,liking\n"ann,plain,7\n', None, 2, None, "quotation marks", id="open quotation"
        ),
    ],
)
def test_a_fault_is_told_with_its_row_and_column(text, wishes, row, column, says):
    problem = read_scores(text.encode(), "scores.csv", wishes).problems[0]
    assert (problem.row, problem.column) == (row, column)
    assert says in problem.text


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param(bytes(range(256)) * 40, "binary", id="every byte"),
        pytest.param(b"%PDF-1.7 ...", "a PDF", id="PDF"),
        pytest.param(b"\x89PNG\r\n\x1a\n....", "a picture", id="PNG"),
        pytest.param(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old spreadsheet", id="XLS"),
        pytest.param(b"PK\x03\x04 broken", "compressed archive", id="broken ZIP"),
        pytest.param(b"\xff\xfea", "UTF-16", id="broken UTF-16"),
    ],
)
def test_rubbish_is_refused_with_a_sentence(data, says):
    with pytest.raises(UnreadableTable, match=says):
        read_table(data, "scores.csv")
    assert read_scores(data, "scores.csv").problems[0].text.endswith(("again.", "CSV."))


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"\x00\x01\x02" * 10_000_000, id="30 MB binary"),
        pytest.param(b"a,b\n" * 7_500_000, id="30 MB of short rows"),
    ],
)
def test_30_mb_of_rubbish_is_refused_by_its_size(data):
    assert len(data) > LIMIT_BYTES
    assert "30.0 MB; at most 10 MB are read" in read_scores(data, "scores.csv").problems[0].text


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param(b"," * (LIMIT_BYTES - 1), "cells", id="one row of commas"),
        pytest.param(b"1,2\n" * (LIMIT_BYTES // 4), "more than 200,000 rows", id="endless rows"),
        pytest.param(b"x" * (LIMIT_BYTES - 1), "far too long", id="one endless cell"),
    ],
)
def test_rubbish_below_the_limit_of_size_is_refused_too(data, says):
    assert says in read_scores(data, "scores.csv").problems[0].text


def test_many_faults_are_cut_short_and_counted():
    rows = "".join(f"t{i},{s},x{i}\n" for i in range(40) for s in "AB")
    problems = read_scores(
        b"taster,sample,liking\n" + rows.encode(), "s.csv", Mapping(scores=("liking",))
    ).problems
    assert len(problems) == 51
    assert "And 30 more" in problems[-1].text


def test_without_guessing_a_role_left_open_stays_open():
    text = "time," + LONG.replace("\nann", "\n1,ann").replace("\nbob", "\n2,bob")
    wishes = Mapping(layout="long", taster="taster", sample="sample", scores=("liking",))
    assert read_scores(text.encode(), "scores.csv", wishes).mapping.condition == "time"
    table = read_scores(text.encode(), "scores.csv", wishes, guess=False)
    assert table.problems == ()
    assert table.mapping.condition is None
    assert 'Not used: column "time".' in table.assumptions


def test_without_guessing_a_missing_part_is_asked_for():
    problem = read_scores(LONG.encode(), "scores.csv", Mapping(taster="taster"), guess=False).problems[0]
    assert problem.text.startswith("No column was recognised as holding the samples. Say which;")
