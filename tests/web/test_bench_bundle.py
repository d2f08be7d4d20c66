"""The bench in a study's bundle: nothing before the reveal, all of it after, held by the log, and back again."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from typing import TYPE_CHECKING

import pytest

from panel.analysis.verification import verify_bundle
from panel.store.bench import measurements_of
from panel.store.register import products_of
from panel.study import bundle, dictionary
from tests.web.bench_house import BenchHouse
from tests.web.test_bench import enter, entry_of, revise

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BenchHouse]:
    made = BenchHouse(tmp_path / "one", monkeypatch)
    yield made
    made.close()


def measured(house: BenchHouse) -> None:
    """A corrected time with an instrument, a run left out, a price, a series, and something that was not sealed."""
    described = {"name": "Watch", "quantity": "duration", "resolution": "0.1"}
    page = house.ada.post(f"{house.bench}/instruments", data=described).text
    watch = page.split("change=")[1][:16]
    enter(house, "m1", value_of_Grainsong="24:50", instrument=watch)
    revise(house, "", value="25:40", by="Mo", reason="misread", instrument=watch)
    revise(house, "/judge", counts="no", why="the lid stood open")
    enter(house, "m4", value_of_Ricelet="39", priced_on="2026-03-08", package_of_Ricelet="one cooker")
    enter(
        house, "m2", product=house.products()["Ricelet"], series_of_Ricelet="0 90\n10 85\n20 80", ambient="21"
    )
    further = {"measurand-0-name": "Noise", "measurand-0-quantity": "noise", "reason": "a reader asked"}
    house.ada.post(f"{house.bench}/further", data=further)
    enter(house, "x1", value_of_Velsund="41.5")


def all_the_way(house: BenchHouse) -> None:
    house.open()
    house.taste(4)
    house.shut()
    house.sign()
    house.reveal()


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, bytes]]:
    """Id and bundle of a study that was measured, tasted and revealed."""
    with pytest.MonkeyPatch.context() as patch:
        house = BenchHouse(tmp_path_factory.mktemp("taken"), patch)
        measured(house)
        all_the_way(house)
        yield house.study, house.bundle()
        house.close()


def files_in(data: bytes) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return {name: packed.read(name).decode("utf-8", "replace") for name in packed.namelist()}


def packed(files: dict[str, str], data: bytes) -> bytes:
    """The bundle with other texts in it."""
    written = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(written, "w") as new:
        for name in old.namelist():
            new.writestr(name, files[name] if name not in bundle.BINARY else old.read(name))
    return written.getvalue()


def said_of_the_bench(data: bytes) -> tuple[bool | None, str]:
    check = next(check for check in verify_bundle(data).checks if check.what == "measurements")
    return check.holds, check.text


def test_no_measurement_is_in_the_bundle_before_the_reveal_and_verify_says_so(house: BenchHouse) -> None:
    measured(house)
    data = house.bundle()
    assert not {bundle.BENCH, bundle.REVISIONS} & set(files_in(data))
    assert said_of_the_bench(data) == (
        None,
        "The names are not revealed yet: measurements leave the house after the reveal.",
    )


def test_after_the_reveal_every_revision_is_there_and_fits_the_log(taken: tuple[str, bytes]) -> None:
    _study, data = taken
    files = files_in(data)
    rows = list(csv.DictReader(io.StringIO(files[bundle.BENCH])))
    assert list(rows[0]) == list(dictionary.COLUMNS[bundle.BENCH])
    times = [
        (row["product"], row["measurand"], row["value"], row["sealed"]) for row in rows if not row["minutes"]
    ]
    assert times == [
        ("Grainsong", "Time until done", "1540.0", "yes"),
        ("Ricelet", "Price", "39.0", "yes"),
        ("Velsund", "Noise", "41.5", "no"),
    ]
    assert [row["value"] for row in rows if row["minutes"]] == ["90.0", "85.0", "80.0"]
    assert said_of_the_bench(data) == (True, "All 6 measurements and changes to them are those of the log.")
    assert verify_bundle(data).holds


def other_value(line: dict[str, object]) -> None:
    line["value"] = 1480.0


def other_product(line: dict[str, object]) -> None:
    line["product"] = "Ricelet"


def no_reason(line: dict[str, object]) -> None:
    line["reason"] = ""


@pytest.mark.parametrize("tamper", [other_value, other_product, no_reason])
def test_a_changed_measurement_is_found(
    taken: tuple[str, bytes], tamper: Callable[[dict[str, object]], None]
) -> None:
    _study, data = taken
    files = files_in(data)
    lines = [json.loads(line) for line in files[bundle.REVISIONS].splitlines()]
    tamper(next(line for line in lines if line["kind"] == "revision" and line["revision"] == 2))
    files[bundle.REVISIONS] = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)
    holds, text = said_of_the_bench(packed(files, data))
    assert holds is False
    assert "is not the one that was recorded" in text


def test_a_measurement_taken_out_or_put_in_is_found(taken: tuple[str, bytes]) -> None:
    _study, data = taken
    files = files_in(data)
    lines = files[bundle.REVISIONS].splitlines(keepends=True)
    assert "is missing" in said_of_the_bench(packed(files | {bundle.REVISIONS: "".join(lines[:-1])}, data))[1]
    more = json.dumps(json.loads(lines[-1]) | {"entry": "another"}) + "\n"
    assert (
        "put in later"
        in said_of_the_bench(packed(files | {bundle.REVISIONS: "".join([*lines, more])}, data))[1]
    )


def test_a_study_brought_back_in_another_house_has_its_bench_again(
    taken: tuple[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other house knows one of the products already, under an id of its own."""
    study, data = taken
    other = BenchHouse(tmp_path / "two", monkeypatch)
    back = other.ada.post("/bring-back", files={"file": ("study.zip", data)})
    assert str(back.url).endswith(study), back.text
    with other.house.database.read() as session:
        rows = measurements_of(session, study)
        names = {product.id: product.name for product in products_of(session, study)}
    assert sorted((names[row.product_id], row.measurand, row.revision) for row in rows) == [
        ("Grainsong", "m1", 3),
        ("Ricelet", "m2", 1),
        ("Ricelet", "m4", 1),
        ("Velsund", "x1", 1),
    ]
    other.close()


def test_the_first_entry_is_the_one_that_was_corrected(house: BenchHouse) -> None:
    """Bait of the tests above: the revision that they change is the correction of a time."""
    measured(house)
    with house.house.database.read() as session:
        found = {row.entry: row.revision for row in measurements_of(session, house.study)}
    assert found[entry_of(house)] == 3
