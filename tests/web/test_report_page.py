"""The report of a study as a page: the answer first, who is counted, what went otherwise, the seal, the checklist."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.store.ledger import events_of
from panel.store.tables import Attempt
from panel.study import seal
from panel.study.statements import STATED, stated_in
from panel.web.study_report import build_report
from tests.web.desk import Desk, words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from panel.analysis.view_parts import ReportView, Section

NAMES = ("Tomoshibi", "Kumorigama", "Ricelet")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """A closed study of four tasters."""
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    made = Desk(tmp_path)
    made.draft()
    made.seal()
    made.open()
    made.taste(4, remark="Shiny")
    made.shut()
    yield made
    made.close()


def page_of(desk: Desk) -> str:
    return desk.ada.get(f"{desk.at}/report").text


def view_of(desk: Desk) -> ReportView:
    view = build_report(desk.house, desk.row()).view
    assert view is not None
    return view


def part(desk: Desk, name: str) -> Section:
    return next(section for section in view_of(desk).sections if section.id == name)


def leave_out(desk: Desk, place: int = 0, reason: str = "had a cold") -> None:
    with desk.read() as session:
        attempts = session.exec(select(Attempt.id)).all()
    desk.ada.post(f"{desk.at}/exclusions", data={"attempt": attempts[place], "reason": reason})


def checklist_of(page: str) -> dict[str, str]:
    rows = re.findall(
        r'<th scope="row">([^<]*)</th>\s*<td>([^<]*)</td>', page[page.index('id="checklist"') :]
    )
    return {html.unescape(item): html.unescape(said) for item, said in rows}


def test_the_answer_stands_before_everything_and_the_rest_is_folded(desk: Desk) -> None:
    page = page_of(desk)
    order = ("headline", 'class="drawn"', 'id="sure"', "<details", 'id="checklist"', 'id="sign"')
    places = [page.index(mark) for mark in order]
    assert places[:3] == sorted(places[:3])
    assert max(places[:3]) < page.index('class="part"')
    opened = re.findall(r'<details class="part" open>\s*<summary><h2[^>]*>([^<]*)', page)
    assert opened == ["How much do you like it?"]


def test_every_part_that_the_report_of_a_study_owes_is_there(desk: Desk) -> None:
    there = [section.id for section in view_of(desk).sections]
    assert [name for name in there if name in ("counted", "comments", "deviations", "method", "checklist", "seal")] == [
        "counted", "comments", "deviations", "method", "checklist", "seal",
    ]  # fmt: skip


def test_nothing_that_went_as_planned_is_called_a_deviation(desk: Desk) -> None:
    found = part(desk, "deviations")
    assert found.gist == "none recorded"
    assert "Nothing went otherwise than planned" in found.paragraphs[1]


def test_who_is_left_out_is_said_with_the_reason_and_what_it_would_be_with_them(desk: Desk) -> None:
    before = view_of(desk).headline
    leave_out(desk)
    said = " ".join(part(desk, "counted").paragraphs)
    assert re.search(r"Left out, decided by blind label before signing: T0\d \(had a cold\)\.", said)
    assert f"With everybody and every answer counted: {before}" in said
    assert view_of(desk).headline != before
    assert part(desk, "counted").gist == "3 of 4 tasters counted"
    assert "Tasters left out (1)" in [table.caption for table in part(desk, "deviations").tables]


@pytest.mark.parametrize("more", [{"reason": "had a cold"}, {"back": "yes"}], ids=["out", "back"])
def test_a_taster_who_is_not_in_this_study_is_not_found(desk: Desk, more: dict[str, str]) -> None:
    assert desk.ada.post(f"{desk.at}/exclusions", data={"attempt": "nobody", **more}).status_code == 404


def test_an_amendment_and_a_taster_who_stopped_half_way_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    desk = Desk(tmp_path / "half")
    desk.draft()
    desk.seal()
    desk.open()
    desk.taste(3)
    desk.join()
    desk.ada.post(f"{desk.at}/amendments", data={"what": "The room was colder", "reason": "heating"})
    desk.shut()
    said = " ".join(part(desk, "counted").paragraphs)
    assert "1 taster answered some screens only; what they answered counts." in said
    lines = [cell for table in part(desk, "deviations").tables for row in table.rows for cell in row]
    assert any("The room was colder. Reason: heating" in cell for cell in lines)
    desk.close()


def test_the_same_report_by_label_and_by_name_differs_in_names_alone(desk: Desk) -> None:
    desk.sign()
    blind = view_of(desk)
    desk.reveal()
    named = view_of(desk)
    assert not any(name in words(desk.ada.get(f"{desk.at}")) for name in NAMES if name in str(blind))
    assert all(name in str(named) for name in NAMES)
    results = ("attribute-1", "missed", "robustness", "people", "counted")
    for section in blind.sections:
        if section.id in results:
            other = next(one for one in named.sections if one.id == section.id)
            for ours, theirs in zip(section.tables, other.tables, strict=True):
                assert [row[1:] for row in ours.rows] == [row[1:] for row in theirs.rows]
    assert re.findall(r"\d+", blind.headline) == re.findall(r"\d+", named.headline)


def test_the_seal_shows_what_was_fixed_and_the_hashes(desk: Desk) -> None:
    desk.sign()
    found = dict(part(desk, "seal").tables[0].rows)
    assert found["Commitment: everything sealed"] == desk.row().commitment
    assert (
        len(found["Signed results"]) == len(found["Signed data"]) == len(found["Last entry of the log"]) == 64
    )
    assert "What it does not prove" in part(desk, "seal").paragraphs[0]


def test_rows_changed_behind_the_program_are_not_hidden_by_what_was_computed_before(desk: Desk) -> None:
    desk.sign()
    assert "no longer those that were signed" not in page_of(desk)
    with desk.house.database.write() as session:
        from sqlalchemy import text

        changed = session.connection().execute(text("UPDATE answer SET value = '1.0' WHERE value LIKE '9%'"))
        assert changed.rowcount > 0
    assert "no longer those that were signed" in page_of(desk)


# ---- what only people know


def test_what_is_missing_is_shown_until_somebody_states_it(desk: Desk) -> None:
    assert checklist_of(page_of(desk))["Test environment"] == "not stated"
    desk.ada.post(f"{desk.at}/statements", data={"state-environment": "Meeting room,\r\n one table each"})
    found = checklist_of(page_of(desk))
    assert found["Test environment"] == "Meeting room, one table each"
    assert found["Place"] == "not stated"
    assert found["Number of tasters"] == "4"


def test_the_last_word_stands_and_every_word_is_kept(desk: Desk) -> None:
    for said in ("Kitchen lab", "Kitchen lab, second floor", "Kitchen lab, second floor", ""):
        desk.ada.post(f"{desk.at}/statements", data={"state-place": said})
    with desk.read() as session:
        events = events_of(session, desk.study)
    kept = [event.detail["text"] for event in events if event.kind == STATED]
    assert kept == ["Kitchen lab", "Kitchen lab, second floor", ""]
    assert stated_in(events) == {}


def test_too_long_a_statement_comes_back_as_typed(desk: Desk) -> None:
    long = "a table by the window " * 40
    reply = desk.ada.post(f"{desk.at}/statements", data={"state-place": long, "state-leader": "Ada Lovage"})
    assert reply.status_code == 422
    assert "Place: at most 600 characters. This has" in reply.text
    assert long.strip() in reply.text
    assert "Ada Lovage" in reply.text


def test_what_the_samples_are_is_not_stated_before_the_reveal(desk: Desk) -> None:
    assert 'name="state-place"' in page_of(desk)
    assert 'name="state-samples"' not in page_of(desk)
    reply = desk.ada.post(f"{desk.at}/statements", data={"state-samples": "A is the Tomoshibi"})
    assert reply.status_code == 409
    assert "after the reveal, not before" in reply.text
    assert "Tomoshibi" not in page_of(desk)
