"""A study brought back on either kind of database: its rows give its files again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from panel.analysis.verification import verify_bundle
from panel.settings import Settings
from panel.store.bringing_back import CannotComeBackError
from panel.store.members import add_member, forget_member, members, take_off
from panel.web.bringing_back import brought_back
from panel.web.exports import take_away
from panel.web.house import House
from tests.journeys.coming_back import SAME, files_in
from tests.web.desk import TYPED, Desk

if TYPE_CHECKING:
    from pathlib import Path

    from panel.store.database import Database
    from panel.store.tokens import Tokens

PLANS = {
    "same cup": {**TYPED, "condition-0-name": "plain", "condition-1-name": "with dashi", "condition_mode": "same cup"},
    "sittings": {**TYPED, "sittings": "2", "replicates": "2", "warm_up": "yes"},
}  # fmt: skip


@pytest.mark.usefixtures("quick_stretching")
@pytest.mark.parametrize("plan", PLANS)
def test_the_rows_give_the_files_again(database: Database, tokens: Tokens, tmp_path: Path, plan: str) -> None:
    desk = Desk(tmp_path / "was")
    desk.draft(PLANS[plan])
    desk.seal()
    desk.open()
    desk.taste(3, "a remark")
    desk.shut()
    desk.sign()
    data = desk.bundle()
    desk.close()
    house = House(Settings(data=tmp_path), database, tokens, "http://elsewhere")
    study = brought_back(house, data, "organiser Eve")
    again = take_away(house, study, "organiser Eve")
    assert verify_bundle(again).holds
    was, now = files_in(data), files_in(again)
    assert [name for name in SAME if was.get(name) != now.get(name)] == []
    with pytest.raises(CannotComeBackError, match="is here already in the archive"):
        brought_back(house, data, "organiser Eve")


def test_the_register_knows_each_name_once(database: Database) -> None:
    with database.write() as session:
        ida = add_member(session, "Ada", "Ida", "wording")
        add_member(session, "Ada", "Ole", "wording")
        with pytest.raises(ValueError, match="is on the register already"):
            add_member(session, "Ada", " IDA", "wording")
    with database.write() as session:
        take_off(session, ida.id)
        take_off(session, ida.id)
        forget_member(session, "ole")
        forget_member(session, "")
    with database.read() as session:
        assert members(session) == []
