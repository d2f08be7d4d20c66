"""The register: what is kept of a taster, one person's data, erasure that breaks nothing, and doses."""

from __future__ import annotations

import asyncio
import io
import json
import zipfile
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlmodel import select

from panel.analysis.verification import verify_bundle
from panel.app import create_app
from panel.settings import Settings
from panel.store.database import now
from panel.store.ledger import events_of
from panel.store.people import erase_old_names
from panel.store.tables import Attempt, Person, Study
from panel.study.doses import ALCOHOL, CAFFEINE, Dose
from panel.study.seal import first_broken
from tests import own_loop
from tests.web.desk import TYPED, Desk, words

if TYPE_CHECKING:
    from pathlib import Path

REMARK = "Xolvantine grains, said Wrenbury"
NAME = "Wrenbury Quokka"
NAMED = {**TYPED, "ask_name": "yes"}


def tasted(desk: Desk) -> str:
    """A closed study of three tasters, the first of whom gave a name and wrote a remark; that one's attempt."""
    desk.draft(NAMED)
    desk.seal()
    desk.open()
    desk.taste(1, REMARK, NAME)
    desk.taste(2)
    desk.shut()
    with desk.read() as session:
        return session.exec(select(Attempt.id).join(Person).where(Person.name == NAME)).one()


def test_one_persons_data_is_theirs_whole_and_nobody_elses(desk: Desk) -> None:
    attempt = tasted(desk)
    data = json.loads(desk.ada.get(f"{desk.at}/people/{attempt}.json").text)
    assert data["name"] == NAME
    assert len(data["agreed"]) == 1
    assert len(data["answers"]) == 3
    assert REMARK in json.dumps(data, ensure_ascii=False)
    assert desk.client().get(f"{desk.at}/people/{attempt}.json", follow_redirects=False).status_code == 303
    assert desk.ada.get(f"{desk.at}/people/unknown.json").status_code == 404


def test_no_answer_of_a_person_is_given_out_while_tasting_is_open(desk: Desk) -> None:
    desk.draft(NAMED)
    desk.seal()
    desk.open()
    desk.taste(1, REMARK, NAME)
    with desk.read() as session:
        attempt = session.exec(select(Attempt.id)).one()
    assert desk.ada.get(f"{desk.at}/people/{attempt}.json").status_code == 409
    assert NAME in desk.ada.get(f"{desk.at}/people").text


def test_erasure_leaves_no_trace_in_the_folder_and_the_scores_and_the_chain_whole(
    desk: Desk, tmp_path: Path
) -> None:
    attempt = tasted(desk)
    held = b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    assert NAME.encode() in held
    assert REMARK.encode() in held
    desk.ada.post(f"{desk.at}/people/{attempt}/erase")
    desk.ada.post(f"{desk.at}/people/{attempt}/erase")
    left = b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    assert (NAME.encode() in left, REMARK.encode() in left) == (False, False)
    with desk.read() as session:
        events = events_of(session, desk.study)
    assert first_broken(events) is None
    assert [event.kind for event in events].count("person erased") == 1
    desk.sign()
    desk.reveal()
    bundle = desk.bundle()
    verification = verify_bundle(bundle)
    assert verification.holds, verification.first_failure
    with zipfile.ZipFile(io.BytesIO(bundle)) as files:
        assert files.read("answers.csv").decode().count("How much do you like it?") == 9
        assert b"Xolvantine" not in b"".join(files.read(name) for name in files.namelist())
    assert "erased; the scores stay" in desk.ada.get(f"{desk.at}/report").text


def test_names_go_once_the_days_after_the_signature_are_over(desk: Desk) -> None:
    tasted(desk)
    desk.sign()
    with desk.house.database.write() as session:
        assert erase_old_names(session, 365) == 0
        study = session.exec(select(Study)).one()
        study.signed_at = now() - timedelta(days=366)
        session.add(study)
    with desk.house.database.write() as session:
        assert erase_old_names(session, 365) == 3
    assert NAME not in desk.ada.get(f"{desk.at}/people").text


def test_the_register_says_when_names_go_and_erases_what_is_due_on_demand(desk: Desk) -> None:
    tasted(desk)
    desk.sign()
    due = desk.house.local.day(now() + timedelta(days=365))
    page = words(desk.ada.get(f"{desk.at}/people"))
    assert f"365 days after the report is signed, that is on {due}" in page
    early = words(desk.ada.post(f"{desk.at}/people/outdated"))
    assert "Nothing has outlived its time" in early
    assert NAME in early
    with desk.house.database.write() as session:
        study = session.exec(select(Study)).one()
        study.signed_at = now() - timedelta(days=366)
        session.add(study)
    late = words(desk.ada.post(f"{desk.at}/people/outdated"))
    assert "remarks of 3 people had outlived their time and were erased" in late
    assert NAME not in late


def test_the_running_server_looks_after_what_has_outlived_its_time_and_stops_cleanly(tmp_path: Path) -> None:
    app = create_app(Settings(data=tmp_path, base_url="http://testserver"))

    async def tasks_while_it_runs() -> tuple[list[str], list[str]]:
        async with app.router.lifespan_context(app):
            running = [task.get_coro().__name__ for task in asyncio.all_tasks()]  # type: ignore[union-attr]
        return running, [task.get_coro().__name__ for task in asyncio.all_tasks()]  # type: ignore[union-attr]

    during, afterwards = own_loop.run(tasks_while_it_runs())
    assert "remove_outdated_daily" in during
    assert "remove_outdated_daily" not in afterwards


def test_a_plan_beyond_a_days_caffeine_is_not_sealed(desk: Desk) -> None:
    desk.draft()
    changed = {**TYPED, "caffeine_mg": "140"}
    planned = desk.ada.post(f"{desk.at}/draft", data={**changed, "go": "plan"})
    assert (planned.status_code, "420 mg of caffeine: more than 400 mg a day" in words(planned)) == (
        422,
        True,
    )
    desk.ada.get(f"{desk.at}/plan")
    refused = desk.ada.post(f"{desk.at}/seal", data={"passphrase": "x" * 12, "again": "x" * 12})
    assert (refused.status_code, "420 mg of caffeine: more than 400 mg a day" in words(refused)) == (
        422,
        True,
    )
    assert desk.row().state == "draft"


def test_the_register_adds_up_a_tasters_day_over_studies_by_name(desk: Desk) -> None:
    for _ in range(2):
        desk.draft({**NAMED, "caffeine_mg": "70"})
        desk.seal()
        desk.open()
        desk.taste(1, "", NAME)
    page = words(desk.ada.get(f"{desk.at}/people"))
    assert "Stop serving this taster. 420 mg of caffeine: more than 400 mg a day" in page
    assert "Samples contain caffeine" in page, "the caution comes with the amount"


@pytest.mark.parametrize(
    ("dose", "amount", "over", "said"),
    [
        # 15 cups of 30 ml at 0.4 mg/ml: computed by hand. Limits: EFSA 2015, 200 mg at once and 400 mg a day.
        (Dose(CAFFEINE, 15, 12.0), 180.0, False, "within 400 mg a day"),
        (Dose(CAFFEINE, 15, 14.0), 210.0, False, "more than 200 mg at once"),
        (Dose(CAFFEINE, 34, 12.0), 408.0, True, "more than 400 mg a day"),
        # 15 cups of 30 ml at 12.5 % by volume hold 44 g, 5.5 UK units of 8 g, 3.2 US drinks of 14 g: by hand.
        (Dose(ALCOHOL, 15, 30 * 0.125 * 0.789), 44.38, True, "5.5 UK units, 3.2 US drinks"),
        (Dose(ALCOHOL, 2, 3.0, 10.0), 16.0, False, "within 16 g a day"),
    ],
    ids=[
        "caffeine",
        "caffeine at once",
        "caffeine over",
        "alcohol over",
        "alcohol with the day's other cups",
    ],
)
def test_every_cup_counts_as_the_strongest(dose: Dose, amount: float, over: bool, said: str) -> None:
    assert dose.amount == pytest.approx(amount, abs=0.01)
    assert dose.over is over
    assert said in dose.in_words
