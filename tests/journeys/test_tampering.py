"""A bundle in which anything was changed, removed, put in or moved: verify says so, and says where."""

from __future__ import annotations

import io
import json
import zipfile
from itertools import islice
from typing import TYPE_CHECKING, Any

import pytest

from panel.analysis.verification import Check, each_check
from panel.study import bundle, seal
from panel.study.bundle import NotABundleError
from panel.study.seal import GENESIS, link
from tests.web.desk import TYPED, Desk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

Files = dict[str, str]
REMARK = "Grains that hold\u2028together"


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes]:
    """One study's bundle as exported when sealed, and after the reveal with an erasure in between."""
    patch = pytest.MonkeyPatch()
    patch.setitem(seal._SCRYPT, "n", 2)
    desk = Desk(tmp_path_factory.mktemp("data"))
    desk.draft()
    desk.seal()
    early = desk.bundle()
    desk.open()
    desk.taste(4, REMARK)
    desk.shut()
    person = desk.ada.get(f"{desk.at}/people").text.split("/erase")[0].rsplit("/", 1)[1]
    desk.ada.post(f"{desk.at}/people/{person}/erase")
    desk.ada.post(f"{desk.at}/amendments", data={"what": "Served cooler", "reason": "The pot broke"})
    desk.sign()
    desk.reveal()
    late = desk.bundle()
    desk.close()
    patch.undo()
    return early, late


@pytest.fixture
def files(bundles: tuple[bytes, bytes]) -> Files:
    return unzipped(bundles[1])


def unzipped(data: bytes) -> Files:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name).decode("utf-8", "surrogateescape") for name in archive.namelist()}


def failures(files: Files, head: str = "") -> list[Check]:
    """The first thing that does not hold; nothing where all does."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text.encode("utf-8", "surrogateescape"))
    found = (check for check in each_check(packed.getvalue(), head) if check.holds is False)
    return list(islice(found, 1))


def lines(files: Files, name: str) -> list[str]:
    return files[name].removesuffix("\n").split("\n")


def put(files: Files, name: str, rows: list[str]) -> Files:
    return {**files, name: "".join(row + "\n" for row in rows)}


def without(rows: list[str], at: int) -> list[str]:
    return rows[:at] + rows[at + 1 :]


def swapped(rows: list[str], at: int) -> list[str]:
    return [*rows[:at], rows[at + 1], rows[at], *rows[at + 2 :]]


def test_the_untouched_bundles_hold(bundles: tuple[bytes, bytes]) -> None:
    for data in bundles:
        assert failures(unzipped(data)) == []


def test_every_event_changed_removed_or_moved_is_found_at_its_number(files: Files) -> None:
    rows = lines(files, bundle.EVENTS)
    assert len(rows) > 20
    for at, row in enumerate(rows):
        event = json.loads(row)
        for name, value in (
            ("actor", "organiser Eve"), ("kind", "nothing"), ("at", "2020-01-01T00:00:00.000+00:00"),
            ("detail", {**event["detail"], "more": 1}), ("hash", "0" * 64), ("previous", "1" * 64), ("number", 999),
        ):  # fmt: skip
            changed = put(
                files, bundle.EVENTS, [*rows[:at], json.dumps({**event, name: value}), *rows[at + 1 :]]
            )
            assert f"Event {at + 1} of the log" in failures(changed)[0].text, (at, name)
        if at < len(rows) - 1:
            for moved in (without(rows, at), swapped(rows, at)):
                assert f"Event {at + 1} of the log" in failures(put(files, bundle.EVENTS, moved))[0].text, at


def test_a_line_that_is_no_event_is_named_in_plain_words(files: Files) -> None:
    rows = lines(files, bundle.EVENTS)
    for line in ({**json.loads(rows[2]), "more": 1}, {"number": 3}):
        told = failures(put(files, bundle.EVENTS, [*rows[:2], json.dumps(line), *rows[3:]]))[0].text
        assert f"{bundle.EVENTS}, line 3 is no event of a log" in told
        assert "__init__" not in told


def test_a_cut_off_end_shows_by_the_head_from_outside_and_not_without(files: Files) -> None:
    rows = lines(files, bundle.EVENTS)
    head = json.loads(rows[-1])["hash"]
    assert failures(files, head[:16]) == []
    cut = put(files, bundle.EVENTS, rows[:-1])
    assert failures(cut)[0].what == "files as exported", "an export before it put other files in"
    assert "its end was cut off" in failures(cut, head[:16])[0].text


def test_a_log_forged_anew_from_some_event_on_is_found_by_the_head(files: Files) -> None:
    rows = [json.loads(row) for row in lines(files, bundle.EVENTS)]
    forged, previous = [], GENESIS
    for row in rows:
        actor = "organiser Eve" if row["number"] == 3 else row["actor"]
        event = link(row["number"], row["at"], actor, row["kind"], row["detail"], previous)
        previous = event.hash
        forged.append(json.dumps({**row, "actor": actor, "previous": event.previous, "hash": event.hash}))
    changed = put(files, bundle.EVENTS, forged)
    assert failures(changed) == [], "a chain rewritten whole is whole: that is what the paper is for"
    assert failures(changed, rows[-1]["hash"]) != []


def each_cup(sealed: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row of the deal changed in each field, removed, and moved; with the place it belongs to."""
    deal = sealed["deal"]
    for at, cup in enumerate(deal):
        place = f"the serving order of place {cup['place']}"
        for name, value in cup.items():
            other = {**cup, name: "xx" if isinstance(value, str) else 77}
            yield (
                "number of places" if name == "place" else place,
                {**sealed, "deal": [*deal[:at], other, *deal[at + 1 :]]},
            )
        yield place, {**sealed, "deal": [*deal[:at], *deal[at + 1 :]]}
        if at and deal[at - 1]["place"] == cup["place"]:
            yield place, {**sealed, "deal": [*deal[: at - 1], cup, deal[at - 1], *deal[at + 1 :]]}


@pytest.mark.parametrize("stage", [0, 1], ids=["while sealed", "revealed"])
def test_every_cup_of_the_deal_is_held_and_its_place_is_named(
    bundles: tuple[bytes, bytes], stage: int
) -> None:
    files = unzipped(bundles[stage])
    count = 0
    for place, changed in each_cup(json.loads(files[bundle.SEALED])):
        found = failures({**files, bundle.SEALED: json.dumps(changed)})
        assert place in found[0].text, (place, found[0].text)
        count += 1
    assert count > 100


@pytest.mark.parametrize("stage", [0, 1], ids=["while sealed", "revealed"])
def test_every_field_of_the_plan_and_every_label_is_held(bundles: tuple[bytes, bytes], stage: int) -> None:
    files = unzipped(bundles[stage])
    sealed = json.loads(files[bundle.SEALED])
    for name in sealed["plan"]:
        for plan in (
            {**sealed["plan"], name: "other"},
            {k: v for k, v in sealed["plan"].items() if k != name},
        ):
            found = failures({**files, bundle.SEALED: json.dumps({**sealed, "plan": plan})})
            assert "the plan" in found[0].text, name
    for sample, label in sealed["labels"].items():
        for field in label:
            labels = {**sealed["labels"], sample: {**label, field: "none such"}}
            found = failures({**files, bundle.SEALED: json.dumps({**sealed, "labels": labels})})
            assert "the blind labels" in found[0].text
    spares = failures({**files, bundle.SEALED: json.dumps({**sealed, "spare_codes": ["000"]})})
    assert "the spare codes" in spares[0].text


def test_the_key_seed_and_nonce_are_held_by_the_commitment(files: Files) -> None:
    sealed = json.loads(files[bundle.SEALED])
    for name in ("seed", "nonce"):
        found = failures({**files, bundle.SEALED: json.dumps({**sealed, name: "f" * 64})})
        assert found[0].what == "commitment"
    first, second = list(sealed["key"])[:2]
    key = {**sealed["key"], first: sealed["key"][second], second: sealed["key"][first]}
    found = failures({**files, bundle.SEALED: json.dumps({**sealed, "key": key})})
    assert found[0].what == "commitment", "two names exchanged"
    hidden = {name: value for name, value in sealed.items() if name not in ("key", "seed", "nonce")}
    assert failures({**files, bundle.SEALED: json.dumps(hidden)})[0].what == "commitment"
    assert failures({**files, bundle.COMMITMENT: "0" * 64 + "\n"})[0].what == "commitment"


@pytest.mark.parametrize("name", [bundle.ANSWERS, bundle.KEY], ids=["answers", "key"])
def test_every_row_of_a_table_changed_removed_or_moved_is_found_at_its_line(files: Files, name: str) -> None:
    rows = files[name].split("\n")
    for at in range(len(rows) - 1):
        changed = {**files, name: "\n".join([*rows[:at], rows[at].replace(",", ",9", 1), *rows[at + 1 :]])}
        assert f"at line {at + 1}" in failures(changed)[0].text
        gone = {**files, name: "\n".join(without(rows, at))}
        assert f"{name} is not" in failures(gone)[0].text, at
        if at < len(rows) - 2 and rows[at] != rows[at + 1]:
            assert f"at line {at + 1}" in failures({**files, name: "\n".join(swapped(rows, at))})[0].text


def test_every_row_of_the_choices_of_a_triangle_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    desk = Desk(tmp_path)
    two = {name: text for name, text in TYPED.items() if not name.startswith(("question-", "product-2"))}
    desk.draft({**two, "method": "triangle", "tasters": "12"})
    desk.seal()
    desk.open()
    desk.taste(4)
    desk.shut()
    desk.sign()
    whole = unzipped(desk.bundle())
    desk.close()
    assert failures(whole) == []
    rows = whole[bundle.CHOICES].split("\n")
    assert len(rows) == 4 + 2
    for at in range(1, 5):
        for cell in range(len(rows[at].split(","))):
            cells = rows[at].split(",")
            cells[cell] += "9"
            changed = "\n".join([*rows[:at], ",".join(cells), *rows[at + 1 :]])
            assert failures({**whole, bundle.CHOICES: changed}) != [], (at, cell)
        assert failures({**whole, bundle.CHOICES: "\n".join(without(rows, at))}) != [], at
        if at < 4:
            assert failures({**whole, bundle.CHOICES: "\n".join(swapped(rows, at))}) != [], at


def test_every_send_changed_removed_or_moved_is_found_at_its_event(files: Files) -> None:
    rows = lines(files, bundle.SENDS)
    numbers = [
        event["number"]
        for event in map(json.loads, lines(files, bundle.EVENTS))
        if event["kind"] == "answers received"
    ]
    assert len(rows) == len(numbers) == 12
    for at, row in enumerate(rows):
        send = json.loads(row)
        changes: list[dict[str, Any]] = [
            {**send, "sent": {**send["sent"], "q1": "1.0"}},
            {**send, "late": True},
        ]
        changes += [{**send, "task": 9}, {**send, "attempt": "x"}, {**send, "outcome": "kept aside"}]
        changes += [{**send, "erased": {**send["erased"], "q1": "0" * 64}}]
        for other in changes:
            changed = put(files, bundle.SENDS, [*rows[:at], json.dumps(other), *rows[at + 1 :]])
            assert f"event {numbers[at]} " in failures(changed)[0].text
        assert f"event {numbers[at]} " in failures(put(files, bundle.SENDS, without(rows, at)))[0].text
        if at < len(rows) - 1:
            assert f"event {numbers[at]} " in failures(put(files, bundle.SENDS, swapped(rows, at)))[0].text
    assert "put in later" in failures(put(files, bundle.SENDS, [*rows, rows[0]]))[0].text


def test_words_that_vanish_without_an_erasure_in_the_log_are_missed(files: Files) -> None:
    from panel.study.answers import field_digest

    rows = [json.loads(row) for row in lines(files, bundle.SENDS)]
    at = next(number for number, row in enumerate(rows) if row["sent"].get("q2"))
    words = rows[at]["sent"].pop("q2")
    rows[at]["erased"] = {"q2": field_digest(rows[at]["submission"], "q2", words)}
    found = failures(put(files, bundle.SENDS, [json.dumps(row) for row in rows]))
    assert "the log knows of no erasure" in found[0].text


def test_each_result_and_what_is_said_of_the_signature_is_held(files: Files) -> None:
    report = json.loads(files[bundle.REPORT])
    for name in report:
        changed = {**report, name: {"other": 1} if name == "report" else "other"}
        assert failures({**files, bundle.REPORT: json.dumps(changed)})[0].what == "results", name
    for name in report["report"]:
        results = {**report["report"], name: "other"}
        assert (
            failures({**files, bundle.REPORT: json.dumps({**report, "report": results})})[0].what == "results"
        )


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda files: {**files, "notes.txt": "an extra file"}, "files"),
        (lambda files: {k: v for k, v in files.items() if k != bundle.SENDS}, "answers sent"),
        (lambda files: {k: v for k, v in files.items() if k != bundle.ANSWERS}, "answers"),
        (lambda files: {k: v for k, v in files.items() if k != bundle.REPORT}, "results"),
        (lambda files: {k: v for k, v in files.items() if k != bundle.KEY}, "key"),
        (lambda files: {**files, bundle.EVENTS: files[bundle.EVENTS] + "not a record\n"}, "files"),
        (lambda files: {**files, bundle.SEALED: "[]"}, "files"),
        (lambda files: {**files, bundle.SENDS: "7\n"}, "files"),
    ],
    ids=["extra file", "no sends", "no answers", "no report", "no key", "no record", "a list", "a number"],
)
def test_a_file_missing_put_in_or_unreadable_is_named(
    files: Files, change: Callable[[Files], Files], what: str
) -> None:
    assert failures(change(files))[0].what == what


@pytest.mark.parametrize(
    "name", [bundle.PAGE, bundle.WORKBOOK, bundle.DICTIONARY, bundle.RECOMPUTE, bundle.README], ids=str
)
def test_a_file_made_for_readers_is_held_by_its_fingerprint_in_the_log(files: Files, name: str) -> None:
    assert failures({**files, name: files[name] + " "}) != [], "changed"
    assert name in failures({**files, name: files[name] + " "})[0].text
    gone = failures({other: text for other, text in files.items() if other != name})
    assert (gone[0].what, gone[0].text) == ("files as exported", f"{name} was exported and is missing.")
    rows = [json.loads(row) for row in lines(files, bundle.EVENTS)]
    del rows[-1]["detail"]["files"]
    last = rows[-1]
    event = link(last["number"], last["at"], last["actor"], last["kind"], last["detail"], last["previous"])
    unnamed = put(
        files, bundle.EVENTS, [json.dumps(row) for row in [*rows[:-1], {**last, "hash": event.hash}]]
    )
    assert failures(unnamed)[0].what == "files as exported", "a log that names no files"


@pytest.mark.parametrize("name", [bundle.SEALED, bundle.COMMITMENT, bundle.EVENTS], ids=str)
def test_without_its_seal_and_log_it_is_no_bundle(files: Files, name: str) -> None:
    with pytest.raises(NotABundleError, match=name):
        failures({other: text for other, text in files.items() if other != name})
