"""Every page that tasters meet is valid HTML: held against the Nu Html Checker, which applies the HTML Living Standard.

`.ci/run` fetches the checker (npm package vnu-jar); elsewhere PANEL_TEST_VNU may hold the path of its vnu.jar.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from typing import TYPE_CHECKING, Any

import pytest

from tests.web.sealed_sitting import (
    DASHI_PLACES,
    EVERY_PLACES,
    EVERY_QUESTION,
    RATING,
    RATING_PLACES,
    TRIANGLE,
    TRIANGLE_PLACES,
    WITH_DASHI,
    one_set,
)
from tests.web.taster_app import opened

if TYPE_CHECKING:
    from pathlib import Path

    from fastapi import FastAPI


CHECKER = os.environ.get("PANEL_TEST_VNU", "")
# htmx's own attributes, which its documentation allows with and without the prefix data-.
OURS = re.compile(r"^Attribute “hx-[a-z-]+” not allowed")
SETS = {
    "tetrad": (0, 1, 1, 0),
    "duo-trio": (0, 1, 0),
    "two-out-of-five": (0, 1, 0, 1, 0),
    "ranking": (0, 1, 2),
    "2-AFC": (0, 1),
    "paired preference": (0, 1),
    "same-different": (0, 1),
}


def complaints_of(folder: Path) -> list[str]:
    """What the checker says of the pages in `folder`: file, line and sentence."""
    if not CHECKER or shutil.which("java") is None:
        reason = "no HTML checker (PANEL_TEST_VNU with the path of vnu.jar, and Java)"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    command = ["java", "-jar", CHECKER, "--format", "json", "--stdout", "--exit-zero-always", str(folder)]
    told = subprocess.run(command, capture_output=True, text=True, check=True)
    messages: list[dict[str, Any]] = json.loads(told.stdout)["messages"]
    assert {path.suffix for path in folder.iterdir()} == {".html"}
    return [
        f"{message['url'].rpartition('/')[2]}:{message.get('lastLine')}: {message['message']}"
        for message in messages
        if message["type"] != "info" and not OURS.match(message["message"])
    ]


def test_the_checker_finds_what_is_wrong(tmp_path: Path) -> None:
    page = '<!doctype html><html lang="en"><head><title>x</title></head><body><p><div></p></body></html>'
    (tmp_path / "wrong.html").write_text(page, encoding="utf-8")
    assert complaints_of(tmp_path)


@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_every_page_of_a_taster(tmp_path: Path, language: str) -> None:
    from dataclasses import replace

    from starlette.testclient import TestClient

    from tests.web.taster_app import taster_app

    data, folder = tmp_path / "data", tmp_path / "pages"
    folder.mkdir()
    app: FastAPI = taster_app(data)
    studies = [(RATING, RATING_PLACES), (TRIANGLE, TRIANGLE_PLACES), (WITH_DASHI, DASHI_PLACES)]
    studies += [(EVERY_QUESTION, EVERY_PLACES), *(one_set(method, served) for method, served in SETS.items())]
    for number, (plan, places) in enumerate(studies):
        sitting = opened(app, replace(plan, language=language), places)
        phone = TestClient(app)
        notice = phone.get(sitting.join_path)
        fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', notice.text))
        ballot = phone.post(sitting.join_path, data={**fields, "name": ""})
        action = re.search(r'<form method="post" action="([^"]+)"', ballot.text)
        assert action is not None
        problems = phone.post(action[1], data={})
        assert problems.status_code == 422
        tried = phone.get(f"{sitting.join_path}/TRY")
        found = {"notice": notice, "ballot": ballot, "problems": problems, "trying": tried}
        for what, page in found.items():
            (folder / f"{number}-{plan.method}-{what}.html").write_text(page.text, encoding="utf-8")
    app.state.house.database.close()
    assert complaints_of(folder) == []
