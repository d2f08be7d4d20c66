"""The whole job through HTTP on a real server and a real database file, for each test method."""

from __future__ import annotations

import csv
import io
import json
import random
import re
import zipfile
from collections import Counter
from typing import TYPE_CHECKING

import pypdfium2

from demo import story
from demo.phone import Taster
from panel.analysis.verification import verify_bundle
from panel.store.sealing import open_key, samples_of
from panel.store.studies import study_called
from panel.study.seal import Event as SealEvent
from panel.study.seal import commitment, first_broken
from tests.journeys.site import PASSPHRASE, Browser, Site, begin, seal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from demo.phone import Screen

RATING = {**story.CLOSED, "tasters": "12"}
TRIANGLE = {**story.SEALED, "tasters": "12", "condition-1-name": "with dashi"}
Tapped = dict[tuple[str, str], str]  # (code of the cup or codes of the set, question) -> what was tapped


def test_a_rating_study_in_two_conditions_from_plan_to_export(site: Site) -> None:
    organiser = site.organiser()
    study = begin(organiser, RATING)
    seal(organiser, study)
    letters = _print_everything(organiser, study)
    tapped = _taste(site, organiser, study, 12)
    organiser.post(f"/studies/{study}/close", {})
    report = _read_sign_and_reveal(site, organiser, study)
    _verifies(organiser, study)
    files = _export(organiser, study)
    rows = list(csv.DictReader(io.StringIO(files["answers.csv"])))
    assert len(rows) == 12 * 5 * 2 * 5
    labels = _labels(site, study)
    stored = {(row["taster"], row["sample"], row["condition"], row["question"]): row["value"] for row in rows}
    expected = {}
    for (place, cup, served), answers in tapped.items():
        for question, value in answers.items():
            taster = f"T{place:02d}"
            expected[taster, labels[letters[cup]], served, question] = value
    assert stored.keys() == expected.keys()
    for key, value in expected.items():
        same = stored[key] == value if key[3] == "q5" else float(stored[key]) == float(value)
        assert same, f"{key}: tapped {value!r}, stored {stored[key]!r}"
    key = {row["blind_label"]: row["name"] for row in csv.DictReader(io.StringIO(files["key.csv"]))}
    assert sorted(key.values()) == sorted(cooker.name for cooker in story.COOKERS)
    assert key == _opened_key(site, study)
    assert all(cooker.name in report for cooker in story.COOKERS)
    _check_the_seal(files)


def test_a_triangle_study_from_plan_to_export(site: Site) -> None:
    organiser = site.organiser()
    study = begin(organiser, TRIANGLE)
    seal(organiser, study)
    letters = _print_everything(organiser, study)
    tapped = _taste(site, organiser, study, 12)
    organiser.post(f"/studies/{study}/close", {})
    report = _read_sign_and_reveal(site, organiser, study)
    _verifies(organiser, study)
    files = _export(organiser, study)
    rows = list(csv.DictReader(io.StringIO(files["choices.csv"])))
    labels = _labels(site, study)
    stored = Counter(
        (row["taster"], row["condition"], row["samples"], row["chosen"], row["correct"]) for row in rows
    )
    expected = Counter()
    for (place, cups, served), answers in tapped.items():
        samples = [labels[letters[code]] for code in cups.split()]
        named = samples[int(answers["choice"]) - 1]
        right = "yes" if samples.count(named) == 1 else "no"
        expected[f"T{place:02d}", served, " ".join(samples), answers["choice"], right] += 1
    assert stored == expected
    assert sum(stored.values()) == 24
    correct = sum(row["correct"] == "yes" for row in rows)
    assert re.search(rf"\b{correct} of (the )?24\b|\b{correct}\b", report)
    assert {row["name"] for row in csv.DictReader(io.StringIO(files["key.csv"]))} == {
        cooker.name for cooker in story.LEADERS
    }
    _check_the_seal(files)


def test_what_was_acknowledged_is_there_after_a_restart(site: Site) -> None:
    organiser = site.organiser()
    study = begin(organiser, RATING)
    seal(organiser, study)
    organiser.post(f"/studies/{study}/open", {})
    taster = Taster(site.address, _join_path(organiser, study))
    first, *others = taster.screens
    taster.answer(first, {"q1": "9", "q2": "12.5", "q3": "0", "q4": "1", "q5": "before the restart"})
    site.stop()
    site.start()
    for screen in others:
        taster.answer(screen, {"q1": "1", "q2": "100", "q3": "50", "q4": "0", "q5": ""})
    assert "1 finished, 0 tasting, 11 free" in organiser.get(f"/studies/{study}/room").text
    organiser.post(f"/studies/{study}/close", {})
    rows = list(csv.DictReader(io.StringIO(_export(organiser, study)["answers.csv"])))
    assert len(rows) == 50
    assert Counter(row["value"] for row in rows if row["question"] == "q1") == {"9.0": 1, "1.0": 9}
    assert [row["value"] for row in rows if row["question"] == "q5" and row["value"]] == [
        "before the restart"
    ]


def test_while_tasting_is_open_nobody_sees_a_result(site: Site) -> None:
    organiser = site.organiser()
    study = begin(organiser, RATING)
    seal(organiser, study)
    organiser.post(f"/studies/{study}/open", {})
    taster = Taster(site.address, _join_path(organiser, study))
    taster.answer(taster.screens[0], {"q1": "9", "q2": "1", "q3": "2", "q4": "1", "q5": "unmistakable"})
    report = organiser.get(f"/studies/{study}/report")
    assert (report.status, "Results open when the sitting is closed" in report.text) == (409, True)
    assert "answers.csv" not in _export(organiser, study)
    for page in ("", "/room", "/log", "/poster"):
        assert "unmistakable" not in organiser.get(f"/studies/{study}{page}").text


def _print_everything(organiser: Browser, study: str) -> dict[str, str]:
    """All prints come out; code -> pour letter, read from the kitchen's page."""
    labels = _pdf_text(organiser.get(f"/studies/{study}/print/labels.pdf").body)
    kitchen = organiser.get(f"/studies/{study}/kitchen").text
    cups = re.findall(r'<span class="code">(\d{3})</span> <span class="letter">(\w+)</span>', kitchen)
    letters = dict(cups)
    assert letters
    for code in letters:
        assert code in labels
    pour = _pdf_text(organiser.get(f"/studies/{study}/print/pour-sheet.pdf").body)
    assert all(code in pour for code in letters)
    sheet = organiser.post(f"/studies/{study}/print/fill-sheet.pdf", {"passphrase": PASSPHRASE})
    assert story.LEADERS[0].name in _pdf_text(sheet.body)
    assert organiser.get(f"/studies/{study}/print/tray-maps.pdf").status == 200
    return letters


def _taste(
    site: Site, organiser: Browser, study: str, tasters: int
) -> dict[tuple[int, str, str], Mapping[str, str]]:
    """Everyone comes and answers at random; (place, codes, served) -> the fields tapped."""
    organiser.post(f"/studies/{study}/open", {})
    join_path = _join_path(organiser, study)
    draw = random.Random(4)
    tapped: dict[tuple[int, str, str], Mapping[str, str]] = {}
    for place in range(1, tasters + 1):
        taster = Taster(site.address, join_path)
        for screen in taster.screens:
            answers = _tap(draw, screen)
            tapped[place, " ".join(screen.codes), screen.served] = answers
            taster.answer(screen, answers)
    room = organiser.get(f"/studies/{study}/room").text
    assert f"{tasters} finished, 0 tasting, 0 free" in room
    return tapped


def _tap(draw: random.Random, screen: Screen) -> dict[str, str]:
    if len(screen.codes) == 3:
        return {"choice": str(draw.randint(1, 3))}
    return {
        "q1": str(draw.randint(1, 9)),
        "q2": f"{draw.uniform(0, 100):.1f}",
        "q3": f"{draw.uniform(0, 100):.1f}",
        "q4": str(draw.randint(0, 1)),
        "q5": draw.choice(["", "plain", "a, b; “c”\nd", "дәм 味 🍚", "x" * 500]),
    }


def _join_path(organiser: Browser, study: str) -> str:
    found = re.search(r"/J/[A-Z2-7]{26}", organiser.get(f"/studies/{study}/poster").text)
    assert found is not None
    return found[0]


def _read_sign_and_reveal(site: Site, organiser: Browser, study: str) -> str:
    """The analyst reads by blind letter and signs; then the organiser reveals. The report by name."""
    link = organiser.post(f"/studies/{study}/links", {"role": "analyst"})
    found = re.search(r"/in/[\w-]+", link.text)
    assert found is not None
    analyst = site.browser()
    blind = analyst.get(found[0])
    assert (blind.status, "Sign the report" in blind.text) == (200, True)
    assert not any(cooker.name in blind.text for cooker in story.COOKERS)
    early = organiser.post(f"/studies/{study}/reveal", {"passphrase": PASSPHRASE})
    assert (early.status, "signs the report first" in early.text) == (409, True)
    signed = analyst.post(f"/studies/{study}/sign", {"signed_by": "Bo"})
    assert "The results are fixed" in signed.text
    wrong = organiser.post(f"/studies/{study}/reveal", {"passphrase": "not this one"})
    assert (wrong.status, "does not open the seal" in wrong.text) == (422, True)
    revealed = organiser.post(f"/studies/{study}/reveal", {"passphrase": PASSPHRASE})
    assert revealed.status == 200
    return revealed.text


def _export(organiser: Browser, study: str) -> dict[str, str]:
    reply = organiser.get(f"/studies/{study}/export")
    with zipfile.ZipFile(io.BytesIO(reply.body)) as bundle:
        texts = [name for name in bundle.namelist() if not name.endswith(".xlsx")]
        return {name: bundle.read(name).decode("utf-8") for name in texts}


def _verifies(organiser: Browser, study: str) -> None:
    """Every check of the exported bundle holds, the log's end included, as it was noted elsewhere beforehand."""
    log = organiser.get(f"/studies/{study}/log").text
    noted = re.findall(r'class="fingerprint small">([0-9a-f]{16})<', log)[-1]
    verification = verify_bundle(organiser.get(f"/studies/{study}/export").body, noted)
    assert [check for check in verification.checks if check.holds is not True] == []


def _labels(site: Site, study: str) -> dict[str, str]:
    """Pour letter -> blind label, which only the database holds together."""
    with site.house.database.read() as session:
        return {sample.pour_letter: sample.blind_label for sample in samples_of(session, study)}


def _opened_key(site: Site, study_id: str) -> dict[str, str]:
    with site.house.database.read() as session:
        study = study_called(session, study_id)
        assert study is not None
        key = open_key(session, study, PASSPHRASE)["key"]
        return {sample.blind_label: key[sample.id]["name"] for sample in samples_of(session, study_id)}


def _check_the_seal(files: Mapping[str, str]) -> None:
    """From the exported files alone: the commitment is what was sealed, and the chain of events is whole."""
    assert commitment(json.loads(files["sealed.json"])) == files["commitment.txt"].strip()
    events = [SealEvent(**json.loads(line)) for line in files["events.jsonl"].splitlines()]
    assert first_broken(events) is None
    assert [event.kind for event in events if event.kind != "exported"][-1] == "names revealed"
    sealed = next(event for event in events if event.kind == "study sealed")
    assert sealed.detail["commitment"] == files["commitment.txt"].strip()


def _pdf_text(content: bytes) -> str:
    document = pypdfium2.PdfDocument(content)
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return text
