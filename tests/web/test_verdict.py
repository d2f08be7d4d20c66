"""The verdict through its pages: after the reveal and not before, by name, from what counts, the same everywhere."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import TYPE_CHECKING, Any

import pytest

from panel.analysis.verification import verify_bundle
from panel.store.rows import attempts_of
from panel.study import bundle
from panel.web import verdict_inputs
from panel.web.verdict_bundle import verdict_check
from panel.web.verdict_inputs import inputs_of
from tests.web.bench_house import BENCH, BENCH_NAMES, BenchHouse
from tests.web.desk import TYPED, words
from tests.web.test_bench import enter, stored, submission_in
from tests.web.test_bench_bundle import files_in, packed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

MINUTES = dict(zip(BENCH_NAMES, ("25", "50", "30", "40", "28"), strict=True))


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BenchHouse]:
    made = BenchHouse(tmp_path, monkeypatch, BENCH | {"tasters": "8"})
    yield made
    made.close()


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BenchHouse]:
    """A house with a verdict, in which nothing is changed any more."""
    with pytest.MonkeyPatch.context() as patch:
        made = BenchHouse(tmp_path_factory.mktemp("judged"), patch, BENCH | {"tasters": "8"})
        yield judged_house(made)
        made.close()


def timed(house: BenchHouse) -> None:
    """Three runs of each product, a little apart."""
    for more in (0, 1, 2):
        sent = {f"value_of_{name}": f"{minutes}:{10 * more:02d}" for name, minutes in MINUTES.items()}
        assert enter(house, "m1", **sent).status_code == 200


def signed(house: BenchHouse, tasters: int = 6) -> None:
    house.open()
    house.taste(tasters)
    house.shut()
    house.sign()


def judged_house(house: BenchHouse) -> BenchHouse:
    timed(house)
    signed(house)
    house.reveal()
    return house


def taken(house: BenchHouse) -> list[dict[str, str]]:
    text = house.ada.get(f"{house.at}/verdict.csv").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_before_the_reveal_every_way_to_the_verdict_is_refused_with_the_reason(house: BenchHouse) -> None:
    timed(house)
    signed(house)
    analyst = house.client()
    analyst.get(house.link("analyst"))
    for visitor in (house.ada, analyst):
        for way in ("verdict", "verdict.csv", "verdict-table.html", "verdict?g-0=10"):
            refused = visitor.get(f"{house.at}/{way}")
            assert refused.status_code == 409
            assert "the two meet when the names are revealed" in words(refused)
            assert not any(name in refused.text for name in BENCH_NAMES)
    assert not {bundle.VERDICT, bundle.VERDICT_TABLE} & set(files_in(house.bundle()))
    check = verdict_check(house.bundle())
    assert check is not None
    assert check.holds is None


def test_without_criteria_there_is_nothing_to_weigh_and_the_page_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = BenchHouse(tmp_path, monkeypatch, TYPED)
    signed(plain, 4)
    plain.reveal()
    refused = plain.ada.get(f"{plain.at}/verdict")
    assert (refused.status_code, "sealed without criteria" in words(refused)) == (409, True)
    assert verdict_check(plain.bundle()) is None
    plain.close()


def test_taste_and_bench_meet_by_name(judged: BenchHouse) -> None:
    """The scores that the key gives each name, and the times typed under it, are those of the table."""
    page = judged.ada.get(f"{judged.at}/verdict")
    assert page.status_code == 200
    rows = taken(judged)
    times = {row["product"]: float(row["value"]) for row in rows if row["criterion"] == "Quick"}
    assert times == {
        name: pytest.approx(float(minutes) + 1 / 6, rel=1e-5) for name, minutes in MINUTES.items()
    }
    key = {
        row["blind_label"]: row["name"]
        for row in csv.DictReader(io.StringIO(files_in(judged.bundle())["key.csv"]))
    }
    answers = csv.DictReader(io.StringIO(files_in(judged.bundle())["answers.csv"]))
    liked: dict[str, list[float]] = {}
    for row in answers:
        if row["question"] == "q1":
            liked.setdefault(key[row["sample"]], []).append(float(row["value"]))
    found = {row["product"]: float(row["value"]) for row in rows if row["criterion"] == "Liked"}
    assert found == {name: pytest.approx(sum(v) / len(v), rel=1e-5) for name, v in liked.items()}


def test_what_comes_after_the_reveal_does_not_count_and_is_said(house: BenchHouse) -> None:
    judged_house(house)
    before = taken(house)
    enter(house, "m1", value_of_Grainsong="5:00")
    entry = stored(house)[0].entry
    at = f"{house.bench}/entries/{entry}"
    changed = house.ada.post(
        at,
        data={
            "submission": submission_in(house.ada.get(at)),
            "value": "2:00",
            "by": "Mo",
            "reason": "why not",
        },
    )
    assert changed.status_code == 200
    assert taken(house) == before, "neither a new run nor a changed one moves anything"
    said = words(house.ada.get(f"{house.at}/verdict"))
    assert "2 measurements or changes were entered after the names were revealed" in said
    check = verdict_check(house.bundle())
    assert check is not None
    assert check.holds, check.text


def test_an_excluded_taster_stays_out(house: BenchHouse) -> None:
    timed(house)
    house.open()
    house.taste(6)
    house.shut()
    with house.house.database.read() as session:
        attempt = attempts_of(session, house.study)[0].attempt_id
    out = house.ada.post(f"{house.at}/exclusions", data={"attempt": attempt, "reason": "had a cold"})
    assert out.status_code == 200, words(out)
    house.sign()
    house.reveal()
    tasters = {row[0] for row in inputs_of(house.house, house.row()).tasted}
    assert len(tasters) == 5


def test_moved_weights_are_marked_and_stored_nowhere(judged: BenchHouse) -> None:
    page = judged.ada.get(f"{judged.at}/verdict")
    sliders = re.findall(r'type="range" id="([\w-]+)"', page.text)
    assert sliders
    assert "These are not the sealed weights" not in page.text
    before = files_in(judged.bundle())
    moved = judged.ada.get(f"{judged.at}/verdict?{sliders[0]}=3")
    assert moved.status_code == 200
    assert "These are not the sealed weights. What follows is only to explore." in words(moved)
    part = judged.ada.get(f"{judged.at}/verdict?{sliders[0]}=3", headers={"HX-Request": "true"})
    assert "<html" not in part.text
    assert 'id="weighed"' in part.text
    after = files_in(judged.bundle())
    assert after[bundle.VERDICT] == before[bundle.VERDICT]
    assert "These are not the sealed weights" not in judged.ada.get(f"{judged.at}/verdict").text


@pytest.mark.parametrize("typed", ["-1", "101", "half", "1.5", pytest.param("9" * 5000, id="without end")])
def test_a_weight_that_is_none_is_refused_and_everything_stays(judged: BenchHouse, typed: str) -> None:
    slider = re.findall(r'type="range" id="([\w-]+)"', judged.ada.get(f"{judged.at}/verdict").text)[0]
    refused = judged.ada.get(f"{judged.at}/verdict", params={slider: typed})
    assert refused.status_code == 422
    assert "as a whole number from 0 to 100" in words(refused)
    assert "These are not the sealed weights" not in refused.text


def test_with_one_criterion_there_is_no_weight_to_move(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = {name: text for name, text in BENCH.items() if not name.startswith("criterion-0-")}
    alone = BenchHouse(tmp_path, monkeypatch, typed | {"tasters": "8"})
    signed(alone, 4)
    alone.reveal()
    page = alone.ada.get(f"{alone.at}/verdict")
    assert page.status_code == 200
    assert 'type="range"' not in page.text
    assert "Scorecard" in words(page)
    alone.close()


def test_the_tables_and_the_report_hold_the_numbers_of_the_page(judged: BenchHouse) -> None:
    page = words(judged.ada.get(f"{judged.at}/verdict"))
    table = words(judged.ada.get(f"{judged.at}/verdict-table.html"))
    report = words(judged.ada.get(f"{judged.at}/report"))
    for row in taken(judged):
        for place in (page, table, report):
            shown = re.search(rf"{row['product']} \S+(?: a must)? (\d+) \(", place)
            assert shown, (row["product"], place)
            assert abs(int(shown[1]) - float(row["total"])) <= 0.5001, (
                "the table has six figures, the page none"
            )
    for part in (
        "Verdict: taste and bench together",
        "Product by product",
        "Scorecard",
        "Methods in words",
        "Cautions",
    ):
        assert part in report


def test_the_same_study_gives_the_same_verdict_twice_and_in_another_house(
    judged: BenchHouse, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = judged.bundle()
    first = files_in(data)[bundle.VERDICT]
    verdict_inputs._drawn.cache_clear()  # drawn anew, not remembered
    assert files_in(judged.bundle())[bundle.VERDICT] == first
    verdict_inputs._drawn.cache_clear()
    other = BenchHouse(tmp_path / "other", monkeypatch)
    other.ada.post("/bring-back", files={"file": ("study.zip", data)})
    assert json.loads(files_in(other.ada.get(f"{judged.at}/export").content)[bundle.VERDICT]) == json.loads(
        first
    )
    other.close()


def other_limit(files: dict[str, str]) -> None:
    sealed = json.loads(files[bundle.SEALED])
    sealed["plan"]["bench"]["criteria"][0]["best"] = 1.0
    files[bundle.SEALED] = json.dumps(sealed)


def other_weight(files: dict[str, str]) -> None:
    sealed = json.loads(files[bundle.SEALED])
    sealed["plan"]["bench"]["criteria"][0]["weight"] = 9.0
    files[bundle.SEALED] = json.dumps(sealed)


def other_run(files: dict[str, str]) -> None:
    lines: list[dict[str, Any]] = [json.loads(line) for line in files[bundle.REVISIONS].splitlines()]
    lines[0]["value"] = 60.0
    files[bundle.REVISIONS] = "".join(json.dumps(line) + "\n" for line in lines)


def other_total(files: dict[str, str]) -> None:
    stored = json.loads(files[bundle.VERDICT])
    stored["verdict"]["cards"][0]["total"] += 1
    files[bundle.VERDICT] = json.dumps(stored)


def no_verdict(files: dict[str, str]) -> None:
    files[bundle.VERDICT] = "{}"


@pytest.mark.parametrize("tamper", [other_limit, other_weight, other_run, other_total, no_verdict])
def test_a_verdict_that_does_not_follow_from_its_files_is_found(
    judged: BenchHouse, tamper: Callable[[dict[str, str]], None]
) -> None:
    data = judged.bundle()
    whole = verdict_check(data)
    assert whole is not None
    assert whole.holds, whole.text
    assert verify_bundle(data).with_check(whole).holds
    files = files_in(data)
    tamper(files)
    found = verdict_check(packed(files, data))
    assert found is not None
    assert found.holds is False
