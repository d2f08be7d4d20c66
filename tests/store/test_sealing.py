"""Sealing: the names are gone, the commitment holds what was decided, and labels tell nothing of the entry."""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text
from sqlmodel import SQLModel, col, select

from panel.store import studies
from panel.store.ledger import events_of
from panel.store.sealing import (
    PlanChangedError,
    UnfitDraftError,
    deal_of,
    drawn,
    open_key,
    samples_of,
    seal_study,
    sealed_contents,
)
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Place, Sample, Serving, Study
from panel.study.plan import product_from_dict
from panel.study.seal import WrongPassphraseError
from tests.store.rice_study import PASSPHRASE, TYPED, WHO, WORDS, Rice, drafted, sealed_rice

if TYPE_CHECKING:
    from pathlib import Path

    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens)


def written_in(database: Database) -> str:
    """Every row of every table as text."""
    with database.read() as session:
        tables = SQLModel.metadata.sorted_tables
        return "\n".join(
            str(tuple(row)) for table in tables for row in session.connection().execute(table.select())
        )


def forms_of(word: str) -> list[bytes]:
    """How a word may stand in a file."""
    escaped = json.dumps(word).strip('"')
    return [word.encode(), word.encode("utf-16-le"), word.encode("latin-1", "ignore"), escaped.encode()]


# ---- nothing is left of the names


def test_no_row_holds_a_name_after_sealing(database: Database, tokens: Tokens) -> None:
    drafted(database)
    assert all(word in written_in(database) for word in WORDS.values())
    with database.write() as session:
        study = session.exec(select(Study)).one()
        seal_study(session, tokens, study.id, WHO, PASSPHRASE, "self-attested")
    written = written_in(database)
    assert [word for word in WORDS.values() if word in written] == []


def test_no_byte_of_the_running_servers_folder_holds_a_name_after_sealing(
    sqlite: Database, tokens: Tokens, tmp_path: Path
) -> None:
    """Database, write-ahead log and freed pages, while other connections stay open."""
    with sqlite.read() as one, sqlite.read() as other:
        assert (one.exec(select(Study)).all(), other.exec(select(Study)).all()) == ([], [])
    study_id = drafted(sqlite)
    for round_number in range(20):  # drafts of changing length, so that pages are freed and used again
        with sqlite.write() as session:
            studies.save_draft(session, study_id, TYPED | {"product-0-note": "wixforde " * 50 * round_number})
    with sqlite.write() as session:
        studies.save_draft(session, study_id, TYPED)
        studies.draw_plan(session, study_id)
    assert all(word in everything_in(tmp_path) for word in map(str.encode, WORDS.values()))
    with sqlite.write() as session:
        seal_study(session, tokens, study_id, WHO, PASSPHRASE, "self-attested")
    sqlite.forget_deleted()
    found = everything_in(tmp_path)
    assert [word for word in WORDS.values() if any(form in found for form in forms_of(word))] == []


def everything_in(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def test_the_seed_goes_with_the_names(rice: Rice) -> None:
    study = rice.study()
    with rice.database.read() as session:
        secret = open_key(session, study, PASSPHRASE)
    assert study.seed == ""
    assert json.loads(study.draft) == {name: text for name, text in TYPED.items() if name not in WORDS}
    assert len(secret["seed"]) * 4 == 128
    assert secret["seed"] not in written_in(rice.database)
    assert secret["nonce"] not in written_in(rice.database)


def test_neither_passphrase_nor_recovery_code_is_kept(rice: Rice) -> None:
    written = written_in(rice.database)
    assert PASSPHRASE not in written
    assert rice.sealed.recovery_code not in written


# ---- the key opens again, and only with its phrase


@pytest.mark.parametrize("by", ["passphrase", "recovery code"])
def test_the_key_opens_to_what_was_typed(rice: Rice, by: str) -> None:
    phrase = PASSPHRASE if by == "passphrase" else rice.sealed.recovery_code
    with rice.database.read() as session:
        key = open_key(session, rice.study(), phrase)["key"]
        assert set(key) == {sample.id for sample in samples_of(session, rice.id)}
    products = sorted((product_from_dict(stored) for stored in key.values()), key=lambda p: p.name)
    assert [(p.name, p.maker, p.lot) for p in products] == [
        ("Brömmelkarsch", "Ytterhaugsund", ""),
        ("Quxlavorimba", "Zophtrenkel", "LOT-77810-vq"),
    ]


def test_another_phrase_opens_nothing(rice: Rice) -> None:
    with rice.database.read() as session, pytest.raises(WrongPassphraseError):
        open_key(session, rice.study(), PASSPHRASE + "!")


# ---- the commitment


def test_the_commitment_can_be_recomputed_without_our_code(rice: Rice) -> None:
    """SHA-256 (FIPS 180-4) over JSON with sorted keys and no blanks, in UTF-8."""
    study = rice.study()
    with rice.database.read() as session:
        contents = sealed_contents(session, study, open_key(session, study, PASSPHRASE))
    written = json.dumps(contents, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert hashlib.sha256(written.encode()).hexdigest() == study.commitment == rice.sealed.commitment


def test_the_dealt_cups_are_the_plan_that_the_seed_gives(rice: Rice) -> None:
    study = rice.study()
    with rice.database.read() as session:
        dealt = drawn(studies.plan_of(study), open_key(session, study, PASSPHRASE)["seed"])
        rows = deal_of(session, rice.id)
    assert [row["code"] for row in rows] == [cup.code for place in dealt.places for cup in place.servings]
    index_of: dict[str, int] = {}
    for row, cup in zip(rows, (cup for place in dealt.places for cup in place.servings), strict=True):
        assert index_of.setdefault(row["sample"], cup.sample) == cup.sample
        assert (row["position"], row["task"], row["condition"]) == (cup.position, cup.task, cup.condition)


def other_code(session: Any, study: Study) -> None:
    serving = session.exec(select(Serving).order_by(col(Serving.id)).limit(1)).one()
    serving.code = "000"


def other_sample(session: Any, study: Study) -> None:
    serving = session.exec(select(Serving).order_by(col(Serving.id)).limit(1)).one()
    serving.sample_id = next(s.id for s in samples_of(session, study.id) if s.id != serving.sample_id)


def swapped_labels(session: Any, study: Study) -> None:
    one, other = samples_of(session, study.id)
    mine, theirs = one.blind_label, other.blind_label
    for sample, label in ((one, "?"), (other, mine), (one, theirs)):
        sample.blind_label = label
        session.flush()


def other_role(session: Any, study: Study) -> None:
    samples_of(session, study.id)[0].role = "reference"


def other_alpha(session: Any, study: Study) -> None:
    study.plan = json.dumps(json.loads(study.plan) | {"alpha": 0.1})


def other_spares(session: Any, study: Study) -> None:
    study.spare_codes = json.dumps(json.loads(study.spare_codes)[1:])


def a_cup_less(session: Any, study: Study) -> None:
    session.delete(session.exec(select(Serving).order_by(col(Serving.id)).limit(1)).one())


def swapped_places(session: Any, study: Study) -> None:
    first, second = session.exec(select(Place).order_by(col(Place.number)).limit(2)).all()
    for place, number in ((first, 999), (second, 1), (first, 2)):
        place.number = number
        session.flush()


@pytest.mark.parametrize(
    "tamper",
    [other_code, other_sample, swapped_labels, other_role, other_alpha, other_spares, a_cup_less, swapped_places],
    ids=lambda tamper: tamper.__name__,
)  # fmt: skip
def test_a_row_changed_after_sealing_stops_the_reveal(rice: Rice, tamper: Any) -> None:
    with rice.database.write() as session:
        tamper(session, session.get_one(Study, rice.id))
    with (
        rice.database.read() as session,
        pytest.raises(ValueError, match="does not match its commitment"),
    ):
        open_key(session, session.get_one(Study, rice.id), PASSPHRASE)


def test_a_locked_key_of_another_study_does_not_fit(rice: Rice, tokens: Tokens) -> None:
    other = sealed_rice(rice.database, tokens)
    with rice.database.write() as session:
        session.get_one(Study, rice.id).locked = other.study().locked
    with (
        rice.database.read() as session,
        pytest.raises(ValueError, match="does not match its commitment"),
    ):
        open_key(session, rice.study(), PASSPHRASE)


# ---- what cannot be sealed


def test_a_study_is_sealed_once(rice: Rice, tokens: Tokens) -> None:
    with pytest.raises(ForbiddenMoveError, match="already sealed"), rice.database.write() as session:
        seal_study(session, tokens, rice.id, WHO, PASSPHRASE, "self-attested")


def test_an_incomplete_draft_is_not_sealed_and_nothing_of_it_is_lost(
    database: Database, tokens: Tokens
) -> None:
    study_id = drafted(database, TYPED | {"title": ""})
    with pytest.raises(UnfitDraftError, match="Write a title"), database.write() as session:
        seal_study(session, tokens, study_id, WHO, PASSPHRASE, "self-attested")
    with database.read() as session:
        assert studies.draft_of(session.get_one(Study, study_id)) == TYPED | {"title": ""}


def test_a_draft_changed_since_its_plan_was_drawn_is_not_sealed(database: Database, tokens: Tokens) -> None:
    study_id = drafted(database)
    with database.write() as session:
        studies.save_draft(session, study_id, TYPED | {"tasters": "12"})
    with pytest.raises(PlanChangedError, match="look at it, then seal it"), database.write() as session:
        seal_study(session, tokens, study_id, WHO, PASSPHRASE, "self-attested")


def test_saving_an_unchanged_draft_keeps_its_plan(database: Database) -> None:
    study_id = drafted(database)
    with database.write() as session:
        seed = session.get_one(Study, study_id).seed
        assert studies.save_draft(session, study_id, TYPED).seed == seed != ""


def test_sealing_is_one_event_that_carries_the_commitment(rice: Rice) -> None:
    with rice.database.read() as session:
        events = events_of(session, rice.id)
    assert [(event.kind, event.actor) for event in events] == [("study created", WHO), ("study sealed", WHO)]
    assert events[-1].detail["commitment"] == rice.sealed.commitment


# ---- labels tell nothing of the order of entry

SEALS = 150
THREE = TYPED | {"tasters": "1", "product-2-name": "Vantherlopp"}


def test_labels_letters_and_rows_are_independent_of_the_order_of_entry(
    sqlite: Database, tokens: Tokens
) -> None:
    """Each entered sample gets each label, letter (by rank) and row equally often, and labels follow no letter.

    In n = 150 seals a cell's share has mean 1/3. By Hoeffding's inequality (Journal of the American Statistical
    Association 58, 1963, theorem 2) it strays by t or more with probability at most 2·exp(−2nt²); with 36 cells
    a false alarm stays below 10⁻⁹ for t = sqrt(ln(72·10⁹) / 2n) = 0.289. A fixed order would stray by 0.667.
    """
    entered = {THREE[f"product-{number}-name"]: number for number in range(3)}
    pairs: Counter[tuple[str, Any, Any]] = Counter()
    with sqlite.write() as session:
        for _ in range(SEALS):
            study = studies.create_study(session, WHO, THREE)
            studies.draw_plan(session, study.id)
            seal_study(session, tokens, study.id, WHO, PASSPHRASE, "self-attested")
            key = open_key(session, study, PASSPHRASE)["key"]
            rows = (
                session.connection()
                .execute(
                    select(Sample.id, Sample.blind_label, Sample.pour_letter)
                    .where(Sample.study_id == study.id)
                    .order_by(text("rowid"))
                )
                .all()
            )
            letters = sorted(letter for _, _, letter in rows)
            for row, (sample, label, letter) in enumerate(rows):
                number = entered[key[sample]["name"]]
                rank = letters.index(letter)
                pairs.update([("label", number, label), ("letter", number, rank)])
                pairs.update([("row", number, row), ("both", label, rank)])
    bound = math.sqrt(math.log(72e9) / (2 * SEALS))
    assert len(pairs) == 36
    worst = max(pairs, key=lambda pair: abs(pairs[pair] / SEALS - 1 / 3))
    assert abs(pairs[worst] / SEALS - 1 / 3) < bound, f"{worst}: {pairs[worst]} of {SEALS}"
