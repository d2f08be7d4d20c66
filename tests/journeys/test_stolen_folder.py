"""Whoever takes the stopped server's data folder and every export, but no passphrase, cannot tell the products."""

from __future__ import annotations

import io
import json
import re
import sqlite3
import zipfile
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from scipy.stats import chi2

from demo import story
from panel import randomiser
from panel.store.database import Database
from panel.store.sealing import deal_of, drawn, open_key, samples_of, seal_study
from panel.store.studies import create_study, draw_plan, plan_of, save_draft, study_called
from panel.store.tokens import Tokens
from panel.study import seal as sealing
from tests.journeys.bait import all_words, baited, random_word
from tests.journeys.leak_scanner import words_in
from tests.journeys.site import NAME, PASSPHRASE, Site, begin, seal

if TYPE_CHECKING:
    from pathlib import Path

TYPED = {**story.CLOSED, "tasters": "6"}
EXPORTS = (
    "/export", "/print/labels.pdf", "/print/labels.csv", "/print/pour-sheet.pdf", "/print/tray-maps.pdf",
    "/join.svg", "/log", "/kitchen",
)  # fmt: skip
SEALS = 200
COOKERS = 5
ONE_IN_A_MILLION = 1e-6


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Every file of the folder, the write-ahead log and the server's key among them."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_no_file_and_no_export_holds_a_word_of_any_product(site: Site) -> None:
    organiser = site.organiser()
    changed, words = baited(TYPED)
    bait = all_words(words)
    study = begin(organiser, changed)
    before = set().union(*(words_in(content, bait) for content in bytes_of(site.folder).values()))
    assert before == bait, "while it is a draft, the folder holds the words"
    recovery_code = re.search(r"[A-Z2-9]{5}(-[A-Z2-9]{5}){5}", seal(organiser, study).text)
    assert recovery_code is not None
    exports = {path: organiser.get(f"/studies/{study}{path}").body for path in EXPORTS}
    running = bytes_of(site.folder)
    site.stop()
    stopped = bytes_of(site.folder)
    assert "panel.sqlite3" in stopped
    assert "server.key" in stopped
    secret = bait | {PASSPHRASE, recovery_code[0], recovery_code[0].replace("-", "")}
    for where, content in {**exports, **running, **stopped}.items():
        assert words_in(content, secret) == set(), where
    site.start()


def test_no_recorded_number_draws_the_sealed_plan_again(site: Site) -> None:
    organiser = site.organiser()
    study_id = begin(organiser, TYPED)
    seal(organiser, study_id)
    export = organiser.get(f"/studies/{study_id}/export").body
    with site.house.database.read() as session:
        study = study_called(session, study_id)
        assert study is not None
        plan = plan_of(study)
        deal = deal_of(session, study_id)
        marks = tuple((s.blind_label, s.pour_letter) for s in samples_of(session, study_id))
        seed = int(open_key(session, study, PASSPHRASE)["seed"], 16)
    site.stop()
    dump = b"\n".join([*bytes_of(site.folder).values(), _unzipped(export)])
    site.start()
    codes = [cup["code"] for cup in deal]

    def draws_it(candidate: int) -> bool:
        labels = randomiser.blind_labels(plan.samples, seed=candidate)
        letters = randomiser.pour_letters(plan.samples, seed=candidate)
        if tuple(sorted(zip(labels, letters, strict=True))) != tuple(sorted(marks)):
            return False
        again = drawn(plan, f"{candidate:032x}")
        return [cup.code for place in again.places for cup in place.servings] == codes

    assert draws_it(seed), "the true seed would draw it again"
    recorded = _numbers_in(dump)
    assert len(recorded) > 30
    assert [candidate for candidate in recorded | set(range(2000)) if draws_it(candidate)] == []


def _unzipped(content: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as bundle:
        return b"\n".join(bundle.read(name) for name in bundle.namelist())


def _numbers_in(dump: bytes) -> set[int]:
    """Every number of up to 128 bits that the files spell, in tens or in hexadecimal, and each half of a hash."""
    found = {int(number) for number in re.findall(rb"(?<!\d)\d{1,39}(?!\d)", dump)}
    for text in re.findall(rb"[0-9a-f]{32,}", dump):
        found |= {int(text[at : at + 32], 16) for at in range(0, len(text) - 31, 8)}
    return found


Permutation = tuple[int, ...]


@pytest.fixture(scope="module")
def seals(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Permutation]]:
    """Two hundred seals of one draft: where each product, in the order typed, stands in each order a thief can see."""
    patch = pytest.MonkeyPatch()
    patch.setitem(sealing._SCRYPT, "n", 2)  # slow stretching of the passphrase plays no part here
    folder = tmp_path_factory.mktemp("seals")
    database = Database(f"sqlite:///{folder / 'panel.sqlite3'}")
    database.migrate()
    tokens = Tokens(bytes(range(32)))
    typed = {**TYPED, "tasters": "1", "condition-1-name": ""}
    found: dict[str, list[Permutation]] = {}
    for _ in range(SEALS):
        with database.write() as session:
            study = create_study(session, NAME, typed)
            save_draft(session, study.id, typed)
            draw_plan(session, study.id)
            seal_study(session, tokens, study.id, NAME, PASSPHRASE, "self")
        for order, permutation in _orders(database, study.id).items():
            found.setdefault(order, []).append(permutation)
    database.close()
    patch.undo()
    return found


def _orders(database: Database, study_id: str) -> dict[str, Permutation]:
    with database.read() as session:
        study = study_called(session, study_id)
        assert study is not None
        key = open_key(session, study, PASSPHRASE)["key"]
        samples = samples_of(session, study_id)
        deal = deal_of(session, study_id)
    by_name = {held["name"]: sample for sample, held in key.items()}
    typed = [by_name[cooker.name] for cooker in story.COOKERS]
    with sqlite3.connect(database.url.removeprefix("sqlite:///")) as raw:
        stored = [
            row[0]
            for row in raw.execute("SELECT id FROM sample WHERE study_id = ? ORDER BY rowid", [study_id])
        ]
        batches = [
            row[0] for row in raw.execute("SELECT sample_id FROM batch ORDER BY rowid") if row[0] in stored
        ]
    raw.close()
    seen = {
        "blind label": [s.id for s in sorted(samples, key=lambda s: s.blind_label)],
        "pour letter": [s.id for s in sorted(samples, key=lambda s: s.pour_letter)],
        "sample id": sorted(s.id for s in samples),
        "row of the sample": stored,
        "row of the batch": batches,
        "serving order": [cup["sample"] for cup in deal],
        "code": [cup["sample"] for cup in sorted(deal, key=lambda cup: cup["code"])],
    }
    orders = {name: tuple(order.index(sample) for sample in typed) for name, order in seen.items()}
    by_label, letters = seen["blind label"], seen["pour letter"]
    orders["label against letter"] = tuple(letters.index(sample) for sample in by_label)
    return orders


def chance_of(permutations: list[Permutation]) -> float:
    """P value of independence between two orders of k things over many draws.

    (k-1)/k times the chi-square of the table of counts is chi-square with (k-1)^2 df when orders are drawn at
    random: Anderson (1959), Use of contingency tables in the analysis of consumer preference studies,
    Biometrics 15, 582-590 (title and pages from memory).
    """
    k, draws = len(permutations[0]), len(permutations)
    counts = Counter((item, place) for order in permutations for item, place in enumerate(order))
    expected = draws / k
    statistic = sum((counts[i, j] - expected) ** 2 / expected for i in range(k) for j in range(k))
    return float(chi2.sf((k - 1) / k * statistic, (k - 1) ** 2))


@pytest.mark.parametrize(
    "order",
    ["blind label", "pour letter", "sample id", "row of the sample", "row of the batch", "serving order", "code"],
)  # fmt: skip
def test_no_order_in_the_files_follows_the_order_of_typing(
    seals: dict[str, list[Permutation]], order: str
) -> None:
    assert len(seals[order]) == SEALS
    assert chance_of(seals[order]) > ONE_IN_A_MILLION
    assert all(sorted(permutation) == list(range(COOKERS)) for permutation in seals[order])


def test_labels_and_letters_are_drawn_independently(seals: dict[str, list[Permutation]]) -> None:
    assert chance_of(seals["label against letter"]) > ONE_IN_A_MILLION


@pytest.mark.parametrize("one_in", [1, 2, 4], ids=["always", "every second seal", "every fourth seal"])
def test_the_check_itself_sees_a_weak_link(seals: dict[str, list[Permutation]], one_in: int) -> None:
    told = tuple(range(COOKERS))
    planted = [told if n % one_in == 0 else order for n, order in enumerate(seals["blind label"])]
    assert chance_of(planted) < ONE_IN_A_MILLION


def test_two_seals_of_one_draft_share_nothing(seals: dict[str, list[Permutation]]) -> None:
    repeats = sum(first == second for first, second in pairwise(seals["blind label"]))
    assert repeats < 20, "by chance 199 / 120, so some two of them"


def test_a_short_guess_at_the_names_does_not_open_the_commitment(site: Site) -> None:
    """Few products make few keys: only the random number under the seal keeps a thief from trying all 120."""
    organiser = site.organiser()
    study_id = begin(organiser, TYPED)
    seal(organiser, study_id)
    with site.house.database.read() as session:
        study = study_called(session, study_id)
        assert study is not None
        secret = open_key(session, study, PASSPHRASE)
        assert len(bytes.fromhex(secret["nonce"])) * 8 >= 128
        assert len(bytes.fromhex(secret["seed"])) * 8 == 128
        locked = json.loads(study.locked)
    assert secret["nonce"] not in json.dumps(locked)
    with pytest.raises(sealing.WrongPassphraseError, match="does not open the seal"):
        sealing.unlock(locked, random_word())
