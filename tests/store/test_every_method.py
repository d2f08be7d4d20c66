"""Every test method from draft to judged answers, on either database."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from panel.store import studies
from panel.store.ledger import events_of
from panel.store.recording import record_screen
from panel.store.rows import choices_of, servings_of
from panel.store.sealing import open_key, samples_of
from panel.store.tables import Attempt
from panel.study.answers import Answer
from panel.study.seal import first_broken
from panel.study.set_answers import check_set, fields_of, options, set_kind
from panel.study.test_methods import TEST_METHODS, TestMethod
from tests.store.rice_study import PASSPHRASE, TYPED, Rice, sealed_rice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.store.database import Database
    from panel.store.tables import Serving
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")
IN_SETS = [method for method in TEST_METHODS.values() if method.answer != "scores"]
TASTERS = 6


def typed_for(method: TestMethod) -> dict[str, str]:
    """A complete draft for the method; the first product plays the part that the method asks for."""
    typed = {name: value for name, value in TYPED.items() if not name.startswith("question-")}
    typed |= {"method": method.id, "tasters": str(TASTERS), "replicates": "2"}
    typed |= {f"product-{number}-name": f"Cooker {number}" for number in range(2, method.fewest)}
    if method.directed or method.needs_reference:
        typed["product-0-role"] = "stronger" if method.directed else "reference"
    if method.asks_attribute == "must":
        typed["attribute"] = "firmness"
    return typed


def guess(method: TestMethod, number: int, cups: int) -> dict[str, str]:
    """What a taster who picks cups by number sends: some answer, another for each number."""
    names = fields_of(method, cups)
    match set_kind(method).form:
        case "pick":
            known = options(method, ("",) * cups)
            return {names[0]: known[number % len(known)].value}
        case "pick two":
            return {names[number % cups]: "1", names[(number + 1 + number // cups) % cups]: "1"}
        case "groups":
            first = {0, 1 + number % (cups - 1)}
            return {name: "1" if at in first else "2" for at, name in enumerate(names)}
    return {name: str((at + number) % cups + 1) for at, name in enumerate(names)}


def taste(rice: Rice, method: TestMethod, attempt_id: str, number: int) -> bool:
    """Answer every screen of the attempt; whether it is finished."""
    finished = False
    with rice.database.read() as session:
        served = servings_of(session, session.get_one(Attempt, attempt_id))
    for task, cups in served:
        answers: list[Answer] = []
        sent: dict[str, str] = {}
        if task.scored:
            sent = guess(method, number + task.number, len(cups))
            answer = check_set(method.id, len(cups), sent)
            assert isinstance(answer, Answer), answer
            answers = [answer]
        with rice.database.write() as session:
            attempt = session.get_one(Attempt, attempt_id)
            name = f"{attempt_id}.{task.number}"
            finished = record_screen(session, attempt, task, name, sent, answers).finished
    return finished


@pytest.mark.parametrize("method", IN_SETS, ids=lambda method: method.id)
def test_a_study_of_every_method_can_be_sealed_tasted_and_judged(
    database: Database, tokens: Tokens, method: TestMethod
) -> None:
    rice = sealed_rice(database, tokens, typed_for(method)).open()
    attempts = [rice.join() for _ in range(TASTERS)]
    assert [taste(rice, method, attempt, number) for number, attempt in enumerate(attempts)] == [
        True
    ] * TASTERS
    with database.read() as session:
        choices = choices_of(session, rice.study())
        assert first_broken(events_of(session, rice.id)) is None
        key = open_key(session, rice.study(), PASSPHRASE)["key"]
        labels = {sample.blind_label: key[sample.id]["name"] for sample in samples_of(session, rice.id)}
        sets = scored_sets(rice, attempts)
    assert len(choices) == len(sets) >= TASTERS
    size = method.set_size or len(labels)
    assert all(len(choice.samples) == size for choice in choices)
    for choice, cups in zip(choices, sets, strict=True):
        assert [labels[label] for label in choice.samples] == [key[cup.sample_id]["name"] for cup in cups]
        if method.directed:
            assert choice.correct is (
                labels[choice.samples[int(choice.chosen) - 1]] == TYPED["product-0-name"]
            )
        if method.needs_reference:
            known = labels[choice.samples[0]] == TYPED["product-0-name"]
            assert choice.correct is (known == (choice.chosen == "yes"))
        assert (choice.correct is None) is (method.analysis in ("preference", "ranking"))


def scored_sets(rice: Rice, attempts: Sequence[str]) -> list[list[Serving]]:
    """The cups of each scored screen, by place and screen."""
    with rice.database.read() as session:
        return [
            cups
            for attempt in attempts
            for task, cups in servings_of(session, session.get_one(Attempt, attempt))
            if task.scored
        ]


@pytest.mark.parametrize("method", TEST_METHODS.values(), ids=lambda method: method.id)
def test_the_plan_of_every_method_names_no_product(
    database: Database, tokens: Tokens, method: TestMethod
) -> None:
    typed = TYPED | {"method": "rating"} if method.answer == "scores" else typed_for(method)
    rice = sealed_rice(database, tokens, typed)
    assert studies.plan_of(rice.study()).method == method.id
    assert not any(name in rice.study().plan for name in ("Quxlavorimba", "Brömmelkarsch", "Zophtrenkel"))
