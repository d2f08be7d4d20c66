"""What a study is taken away in: tables, dictionary, workbook, and a script that needs SciPy alone."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from typing import TYPE_CHECKING

import pytest
from openpyxl import load_workbook

from panel.study import bundle, dictionary, seal
from tests.journeys.bare_python import recomputed, run_bare
from tests.web.desk import TYPED, Desk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FOUR = {f"product-3-{name}": value for name, value in {"name": "Grainsong"}.items()}
PLANS = {
    "each sample once": {**TYPED, "tasters": "8"},
    "with repeats": {**TYPED, "tasters": "6", "replicates": "2"},
    "two conditions": {**TYPED, "tasters": "8", "condition-0-name": "plain", "condition-1-name": "with dashi"},
    "some samples each": {**TYPED, **FOUR, "tasters": "12", "per_taster": "2"},
    "two sittings": {**TYPED, "tasters": "6", "sittings": "2", "replicates": "2", "warm_up": "yes"},
}  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path / "data")
    yield made
    made.close()


def revealed(desk: Desk, typed: dict[str, str]) -> bytes:
    desk.draft(typed)
    desk.seal()
    desk.open()
    desk.taste(int(typed["tasters"]), "=1+1 is no formula; “quoted”, 味")
    if typed.get("sittings"):
        desk.ada.post(f"{desk.at}/end-sitting")
        desk.ada.post(f"{desk.at}/next-sitting")
    desk.shut()
    desk.sign()
    desk.reveal()
    return desk.bundle()


def unzipped(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rows_in(text: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.decode("utf-8"))))


@pytest.mark.parametrize("plan", PLANS)
def test_scipy_alone_finds_the_signed_figures(desk: Desk, tmp_path: Path, plan: str) -> None:
    done = recomputed(revealed(desk, PLANS[plan]), tmp_path / "bundle")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "NOT EQUAL" not in done.stdout
    assert "Every figure is equal." in done.stdout
    assert re.search(r"^F of samples +\S+ +\S+ +equal$", done.stdout, re.MULTILINE)
    assert done.stdout.count(" equal\n") >= 9


def test_a_changed_score_or_figure_is_said(desk: Desk, tmp_path: Path) -> None:
    data = revealed(desk, PLANS["each sample once"])
    folder = tmp_path / "bundle"
    assert recomputed(data, folder).returncode == 0
    answers = folder / "answers.csv"
    whole = answers.read_text(encoding="utf-8")
    answers.write_text(re.sub(r",\d\.0,no,", ",1.0,no,", whole, count=1), encoding="utf-8")
    changed = run_bare(folder / "recompute.py")
    assert changed.returncode == 1
    assert "NOT EQUAL" in changed.stdout
    answers.write_text(whole, encoding="utf-8")
    signed = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    signed["report"]["attributes"][0]["main"]["p_value"] *= 1.001
    (folder / "report.json").write_text(json.dumps(signed), encoding="utf-8")
    assert re.search(r"^its p .*NOT EQUAL$", run_bare(folder / "recompute.py").stdout, re.MULTILINE)


def test_the_bare_machine_has_nothing_else(tmp_path: Path) -> None:
    """Bait: pandas is installed here, and must not be found."""
    script = tmp_path / "wants.py"
    script.write_text(
        "import numpy, scipy.stats\nprint('first')\nimport pandas\nprint('second')\n", encoding="utf-8"
    )
    done = run_bare(script)
    assert done.stdout == "first\n"
    assert "not on a bare machine: pandas" in done.stderr


def test_the_dictionary_describes_every_column_and_every_value(desk: Desk) -> None:
    files = unzipped(revealed(desk, PLANS["two conditions"]))
    described = rows_in(files[bundle.DICTIONARY])
    for name in (bundle.ANSWERS, bundle.KEY):
        columns = next(csv.reader(io.StringIO(files[name].decode("utf-8"))))
        assert [row["column"] for row in described if row["file"] == name and row["rows"] == "all"] == columns
    assert all(row["meaning"] and row["type"] for row in described)
    allowed = {row["rows"]: row["allowed"] for row in described if row["column"] == "value"}
    assert set(allowed) == {"all", "question = q1", "question = q2"}
    assert allowed["question = q1"].startswith("1.0 Dislike extremely, 2.0 ")
    for row in rows_in(files[bundle.ANSWERS]):
        if row["question"] == "q1":
            assert f"{row['value']} " in allowed["question = q1"]
    conditions = next(row["allowed"] for row in described if row["column"] == "condition")
    assert conditions.startswith("plain, with dashi")


def test_every_table_that_can_be_exported_is_described() -> None:
    assert set(dictionary.COLUMNS) == set(bundle.TABLES)


def test_the_workbook_holds_the_tables_cell_by_cell_and_no_formula(desk: Desk) -> None:
    files = unzipped(revealed(desk, PLANS["each sample once"]))
    book = load_workbook(io.BytesIO(files[bundle.WORKBOOK]))
    assert book.sheetnames == ["answers", "key", "dictionary"]
    for name in (bundle.ANSWERS, bundle.KEY, bundle.DICTIONARY):
        wanted = list(csv.reader(io.StringIO(files[name].decode("utf-8"))))
        sheet = book[name.removesuffix(".csv")]
        found = list(sheet.iter_rows(values_only=True))
        assert len(found) == len(wanted)
        for row, texts in zip(found, wanted, strict=True):
            for cell, text in zip(row, texts, strict=True):
                same = float(text) == cell if isinstance(cell, int | float) else text == (cell or "")
                assert same, (name, text, cell)
        assert {cell.data_type for row in sheet.iter_rows() for cell in row} <= {"s", "n"}, "no formula"
    numbers = [row[7] for row in book["answers"].iter_rows(min_row=2, values_only=True) if row[2] == "q1"]
    assert numbers
    assert all(isinstance(value, float | int) for value in numbers)


def test_before_closing_no_answer_and_before_the_signature_no_script_is_in_it(desk: Desk) -> None:
    desk.draft()
    desk.seal()
    early = {bundle.README, bundle.SEALED, bundle.COMMITMENT, bundle.EVENTS}
    assert set(unzipped(desk.bundle())) == early
    desk.open()
    desk.taste(4)
    assert set(unzipped(desk.bundle())) == early
    desk.shut()
    closed = early | {bundle.SENDS, bundle.ANSWERS, bundle.DICTIONARY, bundle.WORKBOOK, bundle.PAGE}
    assert set(unzipped(desk.bundle())) == closed
    desk.sign()
    assert set(unzipped(desk.bundle())) == closed | {bundle.REPORT, bundle.RECOMPUTE}
    desk.reveal()
    files = unzipped(desk.bundle())
    assert set(files) == closed | {bundle.REPORT, bundle.RECOMPUTE, bundle.KEY}
    for name in files:
        assert name in files[bundle.README].decode("utf-8")
