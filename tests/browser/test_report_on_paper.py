"""The report on paper, in A4 and Letter, from the machine's Chromium and from the reader's browser; and as one file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pypdfium2
import pytest
from typer.testing import CliRunner

from panel import cli
from panel.printing import browser_pdf
from panel.study import seal
from tests.browser.conftest import CHROMIUM
from tests.web.desk import PASSWORD, TYPED, Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

    from tests.browser.conftest import NewPhone, Serve

# Millimetres. A4: ISO 216; Letter: ANSI/ASME Y14.1.
PAPERS = {"A4": (210, 297), "letter": (215.9, 279.4)}
TITLE = 'Rice, “round” </style> \\ "one"'
LONG = {**TYPED, "title": TITLE, "tasters": "8"}
PRODUCTS = ("Tomoshibi", "Kumorigama", "Ricelet")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A study of eight tasters, closed."""
    patch = pytest.MonkeyPatch()
    patch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path_factory.mktemp("paper"))
    made.draft(LONG)
    made.seal()
    made.open()
    made.taste(8, "A remark")
    made.shut()
    yield made
    made.close()
    patch.undo()


def pages_of(pdf: bytes) -> tuple[list[str], tuple[float, float]]:
    """The text of each page, and the first page's size in millimetres."""
    document = pypdfium2.PdfDocument(pdf)
    size = document[0].get_size()
    texts = [re.sub(r"\s+", " ", page.get_textpage().get_text_range()) for page in document]
    document.close()
    return texts, (size[0] * 25.4 / 72, size[1] * 25.4 / 72)


def is_fit_for_paper(texts: list[str]) -> None:
    """Nothing of the screen's furniture, everything folded is open, no address, no page that is almost empty."""
    whole = " ".join(texts)
    assert "Each taster" in whole or "each taster" in whole, "a table that is folded on the screen"
    for furniture in ("Sign out", "Organisers", "To the content", "Sign the report", "Leave out", "http"):
        assert furniture not in whole, furniture
    assert all(len(text) > 150 for text in texts[:-1]), [len(text) for text in texts]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_server_draws_the_report_on_either_paper(
    browser: Browser, desk: Desk, tmp_path: Path, paper: str
) -> None:
    assert "Report as PDF (A4)" in desk.ada.get(f"{desk.at}/report").text
    reply = desk.ada.get(f"{desk.at}/report.pdf", params={"paper": paper})
    assert reply.headers["content-type"] == "application/pdf"
    texts, size = pages_of(reply.content)
    assert size == pytest.approx(PAPERS[paper], abs=0.5)
    is_fit_for_paper(texts)
    for number, text in enumerate(texts, start=1):
        assert TITLE in text, "the running title"
        assert "not signed" in text
        assert f"page {number} of {len(texts)}" in text
    assert not any(name in " ".join(texts) for name in PRODUCTS), "by blind letter before the reveal"


def test_the_readers_own_browser_prints_the_page_as_clean(
    browser: Browser, desk: Desk, serve: Serve, new_phone: NewPhone
) -> None:
    address = serve(desk.app)
    page = new_phone(address, viewport={"width": 1280, "height": 800}, is_mobile=False, color_scheme="dark")
    page.goto("/sign-in")
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto(f"{desk.at}/report")
    for paper, size in PAPERS.items():
        texts, found = pages_of(page.pdf(format=paper, print_background=False))
        assert found == pytest.approx(size, abs=0.5)
        is_fit_for_paper(texts)
        assert all(TITLE in text for text in texts)
    page.emulate_media(media="print")
    colours = page.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]"
    )
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"], "black on white, whatever the screen's look"


def test_the_one_file_opens_from_the_disk_and_asks_nobody_for_anything(
    browser: Browser, desk: Desk, tmp_path: Path
) -> None:
    file = tmp_path / "report.html"
    file.write_bytes(desk.ada.get(f"{desk.at}/report.html").content)
    context = browser.new_context(java_script_enabled=False)
    page, asked, said = context.new_page(), [], []
    page.on("request", lambda request: asked.append(request.url.split(":")[0]))
    page.on("console", lambda message: said.append(message.text))
    page.goto(file.as_uri())
    assert page.get_by_role("heading", level=1).inner_text() == TITLE
    assert page.locator("img").count() > 0
    assert set(asked) <= {"file", "data"}
    assert asked.count("file") == 1
    assert said == [], "nothing that the page's policy had to refuse"
    widths = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert widths[0] <= widths[1]
    context.close()
    text = file.read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    assert "<script" not in text
    assert not re.search(r"https?://(?!www\.w3\.org)", text)


def test_the_command_writes_both_and_finds_the_study_by_part_of_its_title(
    browser: Browser, desk: Desk, tmp_path: Path
) -> None:
    pdf, html = tmp_path / "r.pdf", tmp_path / "r.html"
    data = ["--data", str(desk.house.settings.data)]
    asked = ["report", "ROUND", *data, "--pdf", str(pdf), "--html", str(html), "--paper", "Letter"]
    done = CliRunner().invoke(cli.app, asked)
    assert done.exit_code == 0, done.output
    assert pages_of(pdf.read_bytes())[1] == pytest.approx(PAPERS["letter"], abs=0.5)
    assert "default-src 'none'" in html.read_text(encoding="utf-8")
    unknown = CliRunner().invoke(cli.app, ["report", "coconut", *data, "--html", str(html)])
    assert unknown.exit_code == 1
    assert "No study is called “coconut”. There are: " in unknown.stderr
    assert desk.study in unknown.stderr
    for wrong in (["report", "round", *data], ["report", "round", *data, "--pdf", "x", "--paper", "A3"]):
        assert CliRunner().invoke(cli.app, wrong).exit_code == 2


def test_without_chromium_a_sentence_says_what_to_do(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(browser_pdf, "NAMES", ())
    monkeypatch.setattr(browser_pdf, "PLACES", ())
    page = desk.ada.get(f"{desk.at}/report").text
    assert "Report as PDF" not in page
    assert "print this page from your browser" in page
    reply = desk.ada.get(f"{desk.at}/report.pdf")
    assert reply.status_code == 503
    assert "No Chromium was found on this machine" in words(reply)
    pdf = tmp_path / "r.pdf"
    asked = ["report", desk.study, "--data", str(desk.house.settings.data), "--pdf", str(pdf)]
    done = CliRunner().invoke(cli.app, asked)
    assert (done.exit_code, pdf.exists()) == (1, False)
    assert "No Chromium was found" in done.stderr


def test_a_browser_that_fails_is_said_and_leaves_no_file(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "chromium"
    broken.write_text("#!/bin/sh\nexit 3\n")
    broken.chmod(0o755)
    monkeypatch.setattr(browser_pdf, "NAMES", (str(broken),))
    reply = desk.ada.get(f"{desk.at}/report.pdf")
    assert reply.status_code == 503
    assert "chromium on this machine could not draw the PDF" in words(reply)
    assert str(broken) != CHROMIUM


def test_results_that_nobody_may_see_cannot_be_taken_along(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.draft()
    desk.seal()
    for what in ("report.pdf", "report.html", "report/running.css"):
        assert desk.ada.get(f"{desk.at}/{what}").status_code == 409
    desk.close()
