"""Tables of scores uploaded in the browser: the bad ones get a sentence and leave nothing, the odd ones are read."""

from __future__ import annotations

import random
import re
from typing import TYPE_CHECKING

import pytest

from tests.journeys.test_bad_input import said

if TYPE_CHECKING:
    from tests.journeys.site import Browser, Site

GOOD = "taster,sample,score\n" + "".join(
    f"T{taster},{sample},{5 + (taster * place) % 4}\n"
    for taster in range(1, 7)
    for place, sample in enumerate("ABC", start=1)
)
WITHOUT_SCORES = "\n".join(line.rpartition(",")[0] for line in GOOD.splitlines())
DECIMAL_COMMAS = re.sub(r"(\d)\n", r"\1,5\n", GOOD.replace(",", ";"))
RUBBISH = random.Random(1).randbytes(30_000_000)


def tables(organiser: Browser) -> int:
    """How many tables are kept."""
    return len(re.findall(r'<a href="/tables/\w+">', organiser.get("/tables").text))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "empty"),
        (b"\x00\x01\x02" * 5000, "table"),
        (RUBBISH[:100_000], "table"),
        (b"%PDF-1.7 not a table", "table"),
    ],
    ids=["empty", "blank", "zeros", "random bytes", "pdf"],
)
def test_what_is_no_table_is_refused_and_not_kept(organiser: Browser, content: bytes, sentence: str) -> None:
    before = tables(organiser)
    said(organiser.upload("/tables", "scores.csv", content), 422, sentence)
    assert tables(organiser) == before


@pytest.mark.parametrize(
    ("text", "sentences"),
    [
        (GOOD.replace("T3,B,7", "T3,B,very good"), ("Row 9", "very good", "is not a number")),
        (WITHOUT_SCORES, ("score",)),
        (GOOD + "T3,B,2\n", ("T3", "B")),
    ],
    ids=["text for a number", "missing column", "duplicate rows"],
)  # fmt: skip
def test_a_table_with_a_mistake_says_where(organiser: Browser, text: str, sentences: tuple[str, ...]) -> None:
    assert text != GOOD
    reply = organiser.upload("/tables", "scores.csv", text.encode())
    assert reply.status in (200, 422)
    assert "Traceback" not in reply.text
    summary = re.search(r'<div class="summary-of-errors".*?</ul>', reply.text, re.DOTALL)
    assert summary is not None, "the page says what is wrong"
    for sentence in sentences:
        assert sentence in summary[0], summary[0]
    assert "<figure" not in reply.text, "no report is made of a table that is wrong"


@pytest.mark.parametrize(
    ("content", "assumed"),
    [
        (GOOD.replace("taster", "Prüfer").encode("latin-1"), "Latin-1"),
        (GOOD.encode("utf-16"), "UTF-16"),
        (GOOD.replace(",", ";").encode(), "semicolon"),
        (DECIMAL_COMMAS.encode(), "The comma is read as the decimal mark"),
        (GOOD.replace(",", "\t").encode(), "tab"),
    ],
    ids=["latin-1", "utf-16", "semicolons", "decimal commas", "tabs"],
)  # fmt: skip
def test_other_ways_of_writing_a_table_are_read_and_said(
    organiser: Browser, content: bytes, assumed: str
) -> None:
    reply = organiser.upload("/tables", "scores.csv", content)
    said(reply, 200, "Which column holds what")
    assert "summary-of-errors" not in reply.text
    assert assumed.lower() in reply.text.lower(), "what was assumed is said"
    assert "<figure" in reply.text, "the report is there"


def test_thirty_megabytes_of_rubbish_are_refused_and_the_server_goes_on(
    shared_site: Site, organiser: Browser
) -> None:
    before = tables(organiser)
    reply = organiser.upload("/tables", "rubbish.csv", RUBBISH)
    said(reply, 413, "This is larger than 10 MB")
    assert tables(organiser) == before
    said(shared_site.browser().get("/sign-in"), 200, "Sign in")


def test_an_upload_without_a_file_is_asked_for_one(organiser: Browser) -> None:
    said(organiser.upload("/tables", "", b""), 422, "Choose a file first")


def test_columns_that_do_not_fit_leave_the_table_and_its_report(organiser: Browser) -> None:
    kept = organiser.upload("/tables", "scores.csv", GOOD.encode())
    path = kept.url.removeprefix(organiser.address)
    wrong = organiser.post(
        path, {"layout": "long", "taster": "score", "sample": "score", "column-score": "yes"}
    )
    assert wrong.status == 422
    assert "summary-of-errors" in wrong.text
    assert "<figure" in organiser.get(path).text, "the columns named before still stand"
    assert organiser.post(f"{path}/delete", {}).status == 200
    said(organiser.get(path), 404, "This address leads nowhere.")
