"""What happens in the room: pauses, further sittings, places left and given again, cups poured again or exchanged."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from sqlmodel import col, select

from panel.store.dealing import PlaceTakenError, deal_place, mark_gone, place_numbered, step_out
from panel.store.incidents import answer_call, call_for_help, note_wrong_cup, open_calls
from panel.store.ledger import events_of
from panel.store.reissue import REASONS, give_again, replace_cup, spares_left
from panel.store.rows import scores_of, servings_of
from panel.store.sealing import open_key
from panel.store.served import meter_of, note_order
from panel.store.sittings import end_sitting, is_paused, open_next_sitting, pause, resume
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Attempt, Call, Place, Serving
from panel.study.seal import first_broken
from tests.store.rice_study import PASSPHRASE, WHO, Rice, at_once, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens).open()


def kinds(rice: Rice) -> list[str]:
    with rice.database.read() as session:
        events = events_of(session, rice.id)
    assert first_broken(events) is None
    return [event.kind for event in events][3:]


def left(rice: Rice, attempt_id: str) -> None:
    with rice.database.write() as session:
        step_out(session, session.get_one(Attempt, attempt_id))


def place(session: Any, rice: Rice, number: int) -> Place:
    found = place_numbered(session, rice.id, number)
    assert found is not None
    return found


def tray(rice: Rice, attempt_id: str) -> list[Serving]:
    with rice.database.read() as session:
        served = servings_of(session, session.get_one(Attempt, attempt_id))
    return [cup for _, cups in served for cup in cups]


def poured_again(rice: Rice, tokens: Tokens, serving: Serving, reason: str = "spilled") -> str:
    with rice.database.write() as session:
        return replace_cup(session, tokens, session.get_one(Serving, serving.id), WHO, reason)


def still_opens(rice: Rice) -> bool:
    """Whether the sealed plan still fits its commitment."""
    with rice.database.read() as session:
        return bool(open_key(session, rice.study(), PASSPHRASE))


# ---- pauses and sittings


def test_a_pause_is_noted_once_and_lifted_once(rice: Rice) -> None:
    for change, paused in ((pause, True), (pause, True), (resume, False), (resume, False)):
        rice.move(change)
        with rice.database.read() as session:
            assert is_paused(session, rice.id) is paused
    assert kinds(rice) == ["sitting paused", "sitting resumed"]


def test_answers_on_their_way_are_taken_during_a_pause(rice: Rice) -> None:
    attempt = rice.join()
    rice.move(pause)
    recorded = rice.answer(attempt, 1, "one")
    assert (recorded.outcome, recorded.late) == ("stored", False)


def test_nobody_joins_between_two_sittings_and_the_next_goes_on_in_the_design(rice: Rice) -> None:
    first = rice.join()
    with pytest.raises(ForbiddenMoveError, match="still open"):
        rice.move(open_next_sitting)
    rice.move(end_sitting)
    with pytest.raises(ForbiddenMoveError, match="next one is not open yet"):
        rice.join()
    with pytest.raises(ForbiddenMoveError, match="Open the next sitting first"):
        rice.move(pause)
    rice.move(open_next_sitting)
    second = rice.join()
    with rice.database.read() as session:
        numbers = {a.id: session.get_one(Place, a.place_id).number for a in session.exec(select(Attempt))}
        sittings = {a.id: a.sitting_id for a in session.exec(select(Attempt))}
    assert (numbers[first], numbers[second]) == (1, 2)
    assert sittings[first] != sittings[second]


# ---- places


def test_a_card_out_of_turn_is_dealt_and_recorded(rice: Rice) -> None:
    with rice.database.write() as session:
        deal_place(session, place(session, rice, 3), "wording")
    with rice.database.read() as session:
        last = events_of(session, rice.id)[-1]
    assert (last.detail["place"], last.detail["out of dealing order"]) == (3, True)


def test_a_card_is_dealt_to_one_of_those_who_hold_it_at_once(rice: Rice) -> None:
    def come(_: int) -> str:
        try:
            with rice.database.write() as session:
                return deal_place(session, place(session, rice, 2), "wording").id
        except PlaceTakenError:
            return ""

    assert sum(bool(attempt) for attempt in at_once(6, come)) == 1


def test_a_place_that_was_left_is_given_again_with_fresh_codes_and_the_same_samples(
    rice: Rice, tokens: Tokens
) -> None:
    first = rice.join()
    rice.answer(first, 1, "one")
    left(rice, first)
    before = tray(rice, first)
    with rice.database.write() as session:
        assert give_again(session, tokens, place(session, rice, 1), WHO) == 2
    second = rice.join()
    after = tray(rice, second)
    assert [cup.sample_id for cup in after] == [cup.sample_id for cup in before]
    assert {cup.code for cup in after}.isdisjoint(cup.code for cup in before)
    assert {cup.token for cup in after}.isdisjoint(cup.token for cup in before)
    for screen in (1, 2):
        rice.answer(second, screen, f"again-{screen}")
    with rice.database.read() as session:
        found = {(score.taster, score.position) for score in scores_of(session, rice.study())}
    assert found == {("T01", 1), ("T01b", 1), ("T01b", 2)}
    assert still_opens(rice)


def test_a_place_in_use_or_waiting_is_not_given_again(rice: Rice, tokens: Tokens) -> None:
    rice.join()
    for number, words in ((1, "Only a place that was left"), (2, "waits for its taster already")):
        with rice.database.write() as session, pytest.raises(ForbiddenMoveError, match=words):
            give_again(session, tokens, place(session, rice, number), WHO)


def test_two_organisers_who_give_a_place_again_at_once_do_it_once(rice: Rice, tokens: Tokens) -> None:
    left(rice, rice.join())

    def give(_: int) -> bool:
        try:
            with rice.database.write() as session:
                give_again(session, tokens, place(session, rice, 1), WHO)
        except ForbiddenMoveError:
            return False
        return True

    assert sorted(at_once(2, give)) == [False, True]


def test_whoever_is_done_cannot_be_noted_as_gone(rice: Rice) -> None:
    attempt_id = rice.join()
    for screen in (1, 2):
        rice.answer(attempt_id, screen, f"send {screen}")
    with rice.database.write() as session, pytest.raises(ForbiddenMoveError, match="not tasting any more"):
        mark_gone(session, session.get_one(Attempt, attempt_id), WHO)


# ---- cups


def test_a_spilled_cup_gets_a_sealed_spare_code_and_keeps_its_sample(rice: Rice, tokens: Tokens) -> None:
    attempt = rice.join()
    cup = tray(rice, attempt)[1]
    spares = json_spares(rice)
    code = poured_again(rice, tokens, cup)
    again = tray(rice, attempt)[1]
    assert (again.code, again.sample_id, again.position) == (code, cup.sample_id, cup.position)
    assert code in spares
    assert again.token != cup.token
    with rice.database.read() as session:
        last = events_of(session, rice.id)[-1]
        assert spares_left(session, rice.study()) == len(spares) - 1
    assert (last.kind, last.detail["was"], last.detail["code"]) == ("cup replaced", cup.code, code)
    assert still_opens(rice)


def json_spares(rice: Rice) -> list[str]:
    found: list[str] = json.loads(rice.study().spare_codes)
    return found


def test_a_cup_can_be_spilled_again_and_again_without_a_code_coming_back(rice: Rice, tokens: Tokens) -> None:
    attempt = rice.join()
    seen = [tray(rice, attempt)[0].code]
    for _ in range(20):
        seen.append(poured_again(rice, tokens, tray(rice, attempt)[0]))
    assert len(set(seen)) == 21
    assert still_opens(rice)


@pytest.mark.parametrize("reason", ["", "because", "SPILLED"])
def test_a_reason_that_is_not_known_is_refused(rice: Rice, tokens: Tokens, reason: str) -> None:
    with pytest.raises(ValueError, match="reason must be one of"):
        poured_again(rice, tokens, tray(rice, rice.join())[0], reason)
    assert reason not in REASONS


def test_an_answered_cup_is_not_poured_again(rice: Rice, tokens: Tokens) -> None:
    attempt = rice.join()
    rice.answer(attempt, 1, "one")
    with pytest.raises(ForbiddenMoveError, match="An answer stands"):
        poured_again(rice, tokens, tray(rice, attempt)[0])


def test_cups_served_in_each_others_place_are_counted_as_served(rice: Rice) -> None:
    attempt = rice.join()
    for screen in (1, 2):
        rice.answer(attempt, screen, f"send {screen}")
    first, second = tray(rice, attempt)
    with rice.database.read() as session:
        before = {score.sample: score.position for score in scores_of(session, rice.study())}
    with rice.database.write() as session:
        cups = [session.get_one(Serving, cup.id) for cup in (first, second)]
        note_order(session, cups[0], cups[1], WHO, "")
    with rice.database.read() as session:
        after = {score.sample: score.position for score in scores_of(session, rice.study())}
        meter = meter_of(session, rice.study())
    assert after == {sample: 3 - position for sample, position in before.items()}
    assert (meter.places, meter.free, meter.answered.places) == (6, 5, 1)
    assert still_opens(rice)


def test_cups_of_two_tasters_cannot_have_been_exchanged(rice: Rice) -> None:
    one, other = (tray(rice, rice.join())[0] for _ in range(2))
    with rice.database.write() as session:
        cups = [session.get_one(Serving, cup.id) for cup in (one, other)]
        with pytest.raises(ForbiddenMoveError, match="one tray"):
            note_order(session, cups[0], cups[1], WHO, "")
        with pytest.raises(ForbiddenMoveError, match="two different cups"):
            note_order(session, cups[0], cups[0], WHO, "")


# ---- calls


def test_a_call_stays_open_until_somebody_came_and_is_made_once(rice: Rice) -> None:
    attempt_id = rice.join()
    for _ in range(2):
        with rice.database.write() as session:
            attempt = session.get_one(Attempt, attempt_id)
            call_for_help(session, attempt)
            note_wrong_cup(session, attempt, "417")
    with rice.database.read() as session:
        calls = open_calls(session, rice.id)
    assert [(call.place, call.kind, call.code) for call in calls] == [
        (1, "help", ""),
        (1, "wrong cup", "417"),
    ]
    for _ in range(2):
        rice.move(answer_call, calls[0].id)
    with rice.database.read() as session:
        assert [call.kind for call in open_calls(session, rice.id)] == ["wrong cup"]
        assert session.exec(select(Call.kind).where(col(Call.answered_at).is_not(None))).all() == ["help"]
    assert kinds(rice)[1:] == ["help called", "wrong cup noted", "call answered"]
    with pytest.raises(LookupError, match="no call"):
        rice.move(answer_call, "none")
