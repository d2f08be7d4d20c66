"""Brings a bundle back into an empty house and holds what it becomes against what it was."""

from __future__ import annotations

import io
import json
import zipfile
from typing import TYPE_CHECKING

from panel.analysis.verification import verify_bundle
from panel.app import create_app
from panel.settings import Settings
from panel.study import bundle
from panel.web.bringing_back import brought_back
from panel.web.exports import take_away
from panel.web.study_report import build_report

if TYPE_CHECKING:
    from pathlib import Path

# What is the same, byte by byte, when a study that was brought back is taken away again.
SAME = (
    bundle.SEALED, bundle.COMMITMENT, bundle.SENDS, bundle.ANSWERS, bundle.CHOICES, bundle.DICTIONARY, bundle.REPORT,
    bundle.KEY,
)  # fmt: skip


def files_in(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def comes_back_the_same(data: bytes, folder: Path) -> None:
    """In a house of its own: the same files, the same data hash, a log that goes on, and verify passes."""
    house = create_app(Settings(data=folder / "other", database="", base_url="http://elsewhere")).state.house
    study = brought_back(house, data, "organiser Eve")
    again = take_away(house, study, "organiser Eve")
    assert [check for check in verify_bundle(again).checks if check.holds is False] == []
    was, now = files_in(data), files_in(again)
    assert was.keys() == now.keys()
    for name in SAME:
        assert was.get(name) == now.get(name), name
    lines, more = (files[bundle.EVENTS].decode("utf-8").splitlines() for files in (was, now))
    assert more[: len(lines)] == lines, "the log goes on where it ended"
    added = [json.loads(line)["kind"] for line in more[len(lines) :]]
    assert added == ["study brought back from its files", "exported"]
    if study.report:
        assert build_report(house, study).fingerprint()["data"] == json.loads(study.report)["data"]
    house.database.close()
