"""Measurements and the register: once each, nothing overwritten, names never beside blind labels, a mute log."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlmodel import SQLModel, select

from panel.store import studies
from panel.store.bench import (
    Entered,
    add_measurand,
    all_revisions,
    as_document,
    correct,
    history_of,
    judge_run,
    measurands_of,
    measurements_of,
    record,
)
from panel.store.bench_tables import Measurement, Product, StudyProduct
from panel.store.database import now
from panel.store.instruments import Described, add_instrument, instruments_for, instruments_in_use
from panel.store.ledger import events_of
from panel.store.photos import keep_photo, photos_of
from panel.store.register import (
    PAGE_SIZE,
    Wanted,
    add_product,
    describe_product,
    enter_products,
    products_of,
    search,
    set_kind,
    studies_with,
)
from panel.store.sealing import open_key, samples_of
from panel.store.shelf import DAYS_OF_GRACE, delete_study, remove_for_good
from panel.store.studies import ForbiddenMoveError
from panel.store.tables import Sample, Study
from panel.study.draft_reader import name_key
from panel.study.measuring import Measurand
from panel.study.plan import Product as Drafted
from panel.study.seal import digest, first_broken
from tests.store.rice_study import PASSPHRASE, TYPED, WHO, WORDS, Rice, at_once, drafted, sealed_rice

if TYPE_CHECKING:
    from panel.store.database import Database
    from panel.store.tokens import Tokens

pytestmark = pytest.mark.usefixtures("quick_stretching")

BENCH = {
    "measurand-0-name": "Time to done",
    "measurand-0-quantity": "duration",
    "measurand-1-name": "Ease of cleaning",
    "measurand-1-quantity": "rating",
}
NAMES = [TYPED["product-1-name"], TYPED["product-0-name"]]  # in alphabetical order; typed the other way round


def sent(number: int = 1) -> str:
    """A sender's own name for a send."""
    return f"a phone's own name {number:04}"


@pytest.fixture
def rice(database: Database, tokens: Tokens) -> Rice:
    return sealed_rice(database, tokens, TYPED | BENCH)


def ids_of(rice: Rice) -> list[str]:
    with rice.database.read() as session:
        return [product.id for product in products_of(session, rice.id)]


def keep(rice: Rice, number: int = 1, value: float = 1490.0, measurand: str = "m1", which: int = 0) -> str:
    entered = Entered(
        measurand, ids_of(rice)[which], value=value, typed="24:50", unit="min", measured_by="Mo"
    )
    with rice.database.write() as session:
        return record(session, rice.id, WHO, sent(number), entered).entry


# ---- what the seal makes known


def test_a_bench_makes_names_known_in_alphabetical_rows_and_nothing_else_of_the_products(rice: Rice) -> None:
    with rice.database.read() as session:
        assert [product.name for product in products_of(session, rice.id)] == NAMES
        rows = session.exec(select(StudyProduct).where(StudyProduct.study_id == rice.id)).all()
        written = "\n".join(
            str(tuple(row))
            for t in SQLModel.metadata.sorted_tables
            for row in session.connection().execute(t.select())
        )
    assert len(rows) == 2
    hidden = [word for field, word in WORDS.items() if not field.endswith(("name", "maker"))]
    assert [word for word in hidden if word in written] == []


def test_without_a_bench_no_product_is_known_before_the_reveal_and_all_are_after_it(
    database: Database, tokens: Tokens
) -> None:
    rice = sealed_rice(database, tokens)
    with database.read() as session:
        assert session.exec(select(Product)).all() == []
    rice.open()
    rice.close()
    with database.write() as session:
        studies.sign_report(session, rice.id, "analyst", "{}", {})
        key = json.dumps(open_key(session, rice.study(), PASSPHRASE))
        studies.reveal(session, rice.id, WHO, {}, key)
    with database.read() as session:
        assert [product.name for product in products_of(session, rice.id)] == NAMES


def test_the_key_and_the_register_meet_by_name(rice: Rice) -> None:
    with rice.database.read() as session:
        key = open_key(session, rice.study(), PASSPHRASE)["key"]
        assert {name_key(held["name"]) for held in key.values()} == {
            product.name_key for product in products_of(session, rice.id)
        }


def test_no_table_of_the_bench_refers_to_a_sample() -> None:
    """Bait: the tables of the tasting do."""
    targets = {
        table.name: {key.column.table.name for key in table.foreign_keys}
        for table in SQLModel.metadata.sorted_tables
    }
    assert "sample" in targets["serving"]
    bench = ("product", "studyproduct", "measurement", "photo", "instrument", "furthermeasurand")
    assert {target for name in bench for target in targets[name]} == {
        "study",
        "product",
        "instrument",
        "measurement",
    }


def test_a_product_known_from_an_earlier_study_is_the_same_one(rice: Rice, tokens: Tokens) -> None:
    typed = (
        TYPED
        | BENCH
        | {"product-0-name": TYPED["product-0-name"].upper() + "  ", "product-1-name": "Another"}
    )
    other = sealed_rice(rice.database, tokens, typed)
    with rice.database.read() as session:
        both = {product.id for product in products_of(session, rice.id)} & {
            product.id for product in products_of(session, other.id)
        }
        assert len(both) == 1
        assert [study.id for study in studies_with(session, both)[both.pop()]] == [other.id, rice.id]


# ---- measuring


def test_nothing_is_measured_before_the_seal(database: Database) -> None:
    study_id = drafted(database, TYPED | BENCH)
    with database.write() as session:
        enter_products(session, study_id, [Drafted("Quxlavorimba")])
        product = products_of(session, study_id)[0]
        with pytest.raises(ForbiddenMoveError, match="Seal first"):
            add_measurand(session, study_id, WHO, Measurand("", "Noise", "noise"), "asked for")
        study = session.get_one(Study, study_id)
        sealed = {"title": "", "heading": "", "question": "", "method": "rating", "samples": 2, "tasters": 1}
        sealed["bench"] = {"measurands": [{"key": "m1", "name": "Time", "quantity": "duration"}]}
        study.plan = json.dumps(sealed)
        with pytest.raises(ForbiddenMoveError, match="comes before the data"):
            record(session, study_id, WHO, sent(), Entered("m1", product.id, value=1.0))


def test_what_is_sent_twice_is_one_run_and_further_sends_are_further_runs(rice: Rice) -> None:
    assert keep(rice, 1) == keep(rice, 1, value=99.0)
    keep(rice, 2, value=1500.0)
    with rice.database.read() as session:
        assert [(row.run, row.value) for row in measurements_of(session, rice.id)] == [
            (1, 1490.0),
            (2, 1500.0),
        ]


def test_sends_that_come_together_are_each_kept_once(rice: Rice) -> None:
    """Sixteen phones, each send twice at the same moment."""
    entries = at_once(16, lambda number: keep(rice, number // 2, value=float(number // 2)))
    with rice.database.read() as session:
        rows = measurements_of(session, rice.id)
    assert sorted(row.run for row in rows) == list(range(1, 9))
    assert {row.entry for row in rows} == set(entries)


def test_a_product_or_measurand_of_another_study_is_refused(rice: Rice, tokens: Tokens) -> None:
    other = sealed_rice(rice.database, tokens, TYPED | BENCH | {"product-0-name": "Elsewhere"})
    foreign = next(i for i in ids_of(other) if i not in ids_of(rice))
    for entered in (Entered("m1", foreign, value=1.0), Entered("m9", ids_of(rice)[0], value=1.0)):
        with rice.database.write() as session, pytest.raises(LookupError):
            record(session, rice.id, WHO, sent(), entered)


def test_handling_waits_until_tasting_is_over(rice: Rice) -> None:
    with pytest.raises(ForbiddenMoveError, match="once tasting is closed"):
        keep(rice, measurand="m2", value=4.0)
    rice.open()
    with pytest.raises(ForbiddenMoveError, match="can no longer taste it blind"):
        keep(rice, measurand="m2", value=4.0)
    rice.close()
    keep(rice, measurand="m2", value=4.0)


def test_a_correction_and_a_judgement_are_further_revisions_and_all_are_kept(rice: Rice) -> None:
    entry = keep(rice)
    with rice.database.write() as session:
        entered = Entered("other", "other", value=1400.0, typed="23:20", unit="min", measured_by="Mo")
        correct(session, rice.id, WHO, sent(2), entry, entered, "misread the display")
        judge_run(session, rice.id, WHO, sent(3), entry, "the lid stood open", "")
        judge_run(session, rice.id, WHO, sent(3), entry, "sent again", "")
        judge_run(session, rice.id, WHO, sent(4), entry, "", "it was another run")
    with rice.database.read() as session:
        history = history_of(session, rice.id, entry)
        latest = measurements_of(session, rice.id)
    assert [(r.revision, r.value, r.invalid, r.reason) for r in history] == [
        (1, 1490.0, "", ""),
        (2, 1400.0, "", "misread the display"),
        (3, 1400.0, "the lid stood open", ""),
        (4, 1400.0, "", "it was another run"),
    ]
    assert {(r.measurand, r.product_id, r.run) for r in history} == {("m1", ids_of(rice)[0], 1)}
    assert [row.revision for row in latest] == [4]


def test_a_correction_changes_neither_whether_a_run_counts_nor_when_it_was_measured(rice: Rice) -> None:
    noted = datetime(2026, 3, 8, 14, 30, tzinfo=UTC)
    for number, moment in ((1, noted), (2, None)):
        entered = Entered("m1", ids_of(rice)[0], value=1490.0, measured_at=moment)
        with rice.database.write() as session:
            entry = record(session, rice.id, WHO, sent(number), entered).entry
            judge_run(session, rice.id, WHO, sent(10 * number), entry, "the lid stood open", "")
            entered = Entered("m1", ids_of(rice)[0], value=1400.0)
            correct(session, rice.id, WHO, sent(10 * number + 1), entry, entered, "misread the display")
        with rice.database.read() as session:
            history = history_of(session, rice.id, entry)
        assert [row.invalid for row in history] == ["", "the lid stood open", "the lid stood open"]
        assert {row.measured_at for row in history[1:]} == {moment or history[0].recorded_at}


def test_the_log_tells_no_value_and_no_product_and_each_row_fits_its_fingerprint(rice: Rice) -> None:
    """The chain can be exported before the reveal: it must not tell what was measured of which product."""
    entry = keep(rice, value=1234.56789)
    keep(rice, 2, value=777.125, which=1)
    with rice.database.write() as session:
        judge_run(session, rice.id, WHO, sent(3), entry, "wixforde smell", "")
        keep_photo(session, rice.id, WHO, history_of(session, rice.id, entry)[0].id, b"a picture", (4, 3))
    with rice.database.read() as session:
        events = events_of(session, rice.id)
        rows = all_revisions(session, rice.id)
        documents = [as_document(session, row) for row in rows]
    written = json.dumps([event.detail for event in events], ensure_ascii=False)
    assert "1234.56789" in json.dumps(documents)
    tell = [
        "1234.56789",
        "777.125",
        "24:50",
        "wixforde",
        "Mo",
        *ids_of(rice),
        *NAMES,
        *(row.nonce for row in rows),
    ]
    assert [word for word in tell if word in written] == []
    fingerprints = [event.detail["digest"] for event in events if "revision" in event.detail]
    assert fingerprints == [digest(document) for document in documents]
    assert first_broken(events) is None


def test_two_equal_measurements_have_different_fingerprints(rice: Rice) -> None:
    keep(rice, 1)
    keep(rice, 2)
    with rice.database.read() as session:
        found = [e.detail["digest"] for e in events_of(session, rice.id) if e.kind == "measured"]
    assert len(set(found)) == 2


def test_a_send_needs_a_name_of_its_own(rice: Rice) -> None:
    with rice.database.write() as session, pytest.raises(ValueError, match="Open the page again"):
        record(session, rice.id, WHO, "", Entered("m1", ids_of(rice)[0], value=1.0))


def test_what_is_measured_after_the_reveal_is_kept_and_marked(rice: Rice) -> None:
    keep(rice, 1)
    rice.open()
    rice.close()
    with rice.database.write() as session:
        studies.sign_report(session, rice.id, "analyst", "{}", {})
        key = json.dumps(open_key(session, rice.study(), PASSPHRASE))
        studies.reveal(session, rice.id, WHO, {}, key)
    keep(rice, 2)
    with rice.database.read() as session:
        assert [row.after_reveal for row in measurements_of(session, rice.id)] == [False, True]


def test_more_can_be_measured_after_the_seal_with_a_reason(rice: Rice) -> None:
    noise = Measurand("", "Noise at one metre", "noise", "dB(A)")
    with rice.database.write() as session:
        with pytest.raises(ValueError, match="Write why"):
            add_measurand(session, rice.id, WHO, noise, "")
        key = add_measurand(session, rice.id, WHO, noise, "a reader asked")
    with rice.database.read() as session:
        assert [m.key for m in measurands_of(session, rice.study())] == ["m1", "m2", key]
    keep(rice, measurand=key, value=41.5)


# ---- instruments and pictures


def test_a_changed_instrument_is_a_new_one_and_a_run_keeps_what_it_was_measured_with(rice: Rice) -> None:
    watch = Described("Watch", "duration", "s", resolution=0.1, accuracy=0.3)
    with rice.database.write() as session:
        first = add_instrument(session, rice.id, WHO, watch)
        entered = Entered("m1", ids_of(rice)[0], value=10.0, instrument_id=first.id)
        record(session, rice.id, WHO, sent(), entered)
        finer = Described("Watch", "duration", "s", resolution=0.01)
        second = add_instrument(session, rice.id, WHO, finer, replaces=first.id)
    with rice.database.read() as session:
        row = measurements_of(session, rice.id)[0]
        assert (row.instrument_id, row.resolution, row.accuracy) == (first.id, 0.1, 0.3)
        assert [one.id for one in instruments_in_use(session)] == [second.id]
        assert [one.id for one in instruments_for(session, "duration")] == [second.id]
        assert instruments_for(session, "noise") == []


def test_a_picture_is_kept_once_and_stays_with_its_entry(rice: Rice) -> None:
    entry = keep(rice)
    with rice.database.write() as session:
        at = history_of(session, rice.id, entry)[0].id
        assert keep_photo(session, rice.id, WHO, at, b"one", (4, 3)) is not None
        assert keep_photo(session, rice.id, WHO, at, b"one", (4, 3)) is None
        judge_run(session, rice.id, WHO, sent(2), entry, "no lid", "")
        with pytest.raises(LookupError):
            keep_photo(session, rice.id, WHO, "none", b"two", (4, 3))
    with rice.database.read() as session:
        assert [photo.content for photo in photos_of(session, rice.id, entry)] == [b"one"]


# ---- the register


def test_a_study_removed_for_good_takes_its_measurements_along_and_leaves_the_register(rice: Rice) -> None:
    entry = keep(rice)
    with rice.database.write() as session:
        keep_photo(session, rice.id, WHO, history_of(session, rice.id, entry)[0].id, b"one", (4, 3))
        add_measurand(session, rice.id, WHO, Measurand("", "Noise", "noise"), "asked for")
        delete_study(session, rice.id, WHO)
        assert remove_for_good(session, now() + timedelta(days=DAYS_OF_GRACE + 1)) == 1
    with rice.database.read() as session:
        assert session.exec(select(Measurement)).all() == []
        assert session.exec(select(StudyProduct)).all() == []
        assert session.exec(select(Sample)).all() == []
        assert len(session.exec(select(Product)).all()) == 2


def test_hundreds_of_products_are_found_page_by_page_by_words_kind_maker_and_whether_tested(
    rice: Rice,
) -> None:
    with rice.database.write() as session:
        added = [
            add_product(session, f"Cooker {n:03}", "Ångström" if n % 2 else "Örsted", "rice cooker", "").id
            for n in range(300)
        ]
        set_kind(session, added[:10], "kettle")
        describe_product(session, added[0], "Örsted", "kettle", "100% brass", reference=True)
        with pytest.raises(ValueError, match="in the register already"):
            add_product(session, " COOKER  007", "", "", "")
    with rice.database.read() as session:
        first = search(session, Wanted(kind="rice cooker"))
        last = search(session, Wanted(kind="rice cooker", page=99))
        assert (first.total, first.pages, len(first.products)) == (290, -(-290 // PAGE_SIZE), PAGE_SIZE)
        assert last.page == first.pages
        assert not {p.id for p in first.products} & {p.id for p in last.products}
        assert search(session, Wanted(words="ÖRSTED cooker")).total == 150
        assert search(session, Wanted(maker="Ångström", kind="kettle")).total == 5
        assert [p.name for p in search(session, Wanted(words="100%")).products] == ["Cooker 000"]
        assert [p.name for p in search(session, Wanted(tested="yes")).products] == NAMES
        assert search(session, Wanted(tested="no")).total == 300
        assert search(session, Wanted(words="no such thing")).total == 0


def test_samples_of_a_bench_study_still_hold_no_product(rice: Rice) -> None:
    with rice.database.read() as session:
        products = {product.id for product in products_of(session, rice.id)}
        assert not products & {sample.id for sample in samples_of(session, rice.id)}
