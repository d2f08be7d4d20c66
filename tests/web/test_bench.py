"""The bench through its pages: every way to enter, every change a further revision, names and never a letter."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from panel.store.bench import history_of, measurands_of, measurements_of
from panel.store.ledger import events_of
from panel.store.register import products_of
from panel.store.rows import current_cups_of
from panel.store.sealing import samples_of
from tests.web.bench_house import BENCH, BENCH_NAMES, BenchHouse
from tests.web.desk import words

if TYPE_CHECKING:
    from httpx2 import Response
    from starlette.testclient import TestClient

    from panel.store.bench_tables import Measurement

SUS = (5, 2, 4, 1, 5, 2, 4, 2, 5, 1)


def stored(house: BenchHouse) -> list[Measurement]:
    with house.house.database.read() as session:
        return measurements_of(session, house.study)


def submission_in(page: Response) -> str:
    found = re.search(r'name="submission" value="(\w+)"', page.text)
    assert found, words(page)
    return found[1]


def enter(house: BenchHouse, key: str, client: TestClient | None = None, **fields: str) -> Response:
    """Fill the form of one measurand and send it. Names of products in field names are turned into their ids."""
    browser, ids = client or house.ada, house.products()
    page = browser.get(f"{house.bench}/measure/{key}?product={fields.get('product', '')}")
    sent = {"submission": submission_in(page) if "submission" in page.text else "0" * 32, "by": "Mo"}
    for name, text in fields.items():
        part, _, product = name.partition("_of_")
        sent[f"{part}-{ids[product]}" if product else name] = text
    return browser.post(f"{house.bench}/measure/{key}", data=sent)


def entry_of(house: BenchHouse) -> str:
    return stored(house)[0].entry


def revise(house: BenchHouse, path: str, **fields: str) -> Response:
    at = f"{house.bench}/entries/{entry_of(house)}"
    return house.ada.post(f"{at}{path}", data={"submission": submission_in(house.ada.get(at)), **fields})


# ---- what is declared, and when it opens


def test_a_draft_measures_nothing_yet(house: BenchHouse) -> None:
    house.draft({**BENCH, "title": "Another"})
    refused = house.ada.get(f"{house.bench}")
    assert (refused.status_code, "Seal first: what is measured" in words(refused)) == (409, True)


def test_the_page_before_the_seal_lists_the_rules_and_says_that_names_stay_readable(
    house: BenchHouse,
) -> None:
    house.draft({**BENCH, "title": "Another"})
    said = words(house.ada.get(f"{house.at}/plan"))
    assert "The bench needs the names" in said
    assert "Which one is which cup stays sealed" in said
    assert "Quick Time until done: mean of the runs less 0 at 60 min, 100 at 20 min Bench 50 %" in said
    assert "Keeping warm Temperature over time, in °C; window 57 to 75; too cold below 57; 3 runs" in said


def test_without_measurements_nothing_is_said_of_a_bench_and_no_name_is_kept(house: BenchHouse) -> None:
    plain = {name: text for name, text in BENCH.items() if not name.startswith(("measurand-", "criterion-"))}
    plain = {name: text + " Two" if name.endswith("-name") else text for name, text in plain.items()}
    house.draft(plain)
    assert "The bench needs the names" not in words(house.ada.get(f"{house.at}/plan"))
    house.seal()
    assert "Grainsong Two" not in house.ada.get("/products").text
    assert "its names are locked away" in words(house.ada.get(house.bench))


@pytest.mark.parametrize("key", ["m5", "m6"])
def test_handling_is_rated_after_tasting_only_and_the_page_says_why(house: BenchHouse, key: str) -> None:
    page = words(house.ada.get(f"{house.bench}/measure/{key}"))
    assert "whoever has a product in their hands knows it" in page
    field = {"m5": {"value_of_Grainsong": "4"}, "m6": {}}[key]
    assert enter(house, key, **field).status_code == 409
    assert stored(house) == []


# ---- every way to enter


PRICED = {"value_of_Grainsong": "189,90 €", "package_of_Grainsong": "one cooker", "priced_on": "2026-03-08"}
ENTRIES: list[Any] = [
    pytest.param("m1", {"value_of_Grainsong": "24:50"}, (1490.0, "24:50"), "24:50.0 (24.83 min)", id="a time"),
    pytest.param("m1", {"value_of_Grainsong": "1 h 05 min"}, (3900.0, "1 h 05 min"), "1:05:00.0 (65 min)", id="hours"),
    pytest.param("m1", {"value_of_Grainsong": "30"}, (1800.0, "30"), "30:00.0 (30 min)", id="in the plan's unit"),
    pytest.param("m3", {"value_of_Grainsong": "failed"}, (0.0, "failed"), "failed", id="a check"),
    pytest.param("m4", PRICED, (189.9, "189,90 €"), "189.90 EUR for one cooker, 2026-03-08", id="a price"),
    pytest.param("m7", {"value_of_Grainsong": "10 cups"}, (1800.0, "10 cups"), "1800 ml", id="cups of 180 ml"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "fields", "kept", "shown"), ENTRIES)
def test_what_is_typed_with_or_without_a_unit_is_kept_as_a_number_and_as_typed(
    house: BenchHouse, key: str, fields: dict[str, str], kept: tuple[float, str], shown: str
) -> None:
    """One cup is 180 ml in this study; everything else is by definition of the units."""
    saved = enter(house, key, **fields)
    assert "Saved: 1 run." in words(saved)
    row = stored(house)[0]
    assert (row.value, row.typed) == kept
    assert shown in words(saved)


def test_a_series_is_pasted_or_uploaded_and_gives_its_figures(house: BenchHouse) -> None:
    ids = house.products()
    lines = "\n".join(f"{minutes};{90 - minutes / 10:.1f}" for minutes in range(0, 130, 10))
    saved = enter(house, "m2", product=ids["Grainsong"], series_of_Grainsong=lines, ambient="21")
    assert "value at 60 minutes 84" in words(saved)
    page = house.ada.get(f"{house.bench}/measure/m2?product={ids['Ricelet']}")
    sent = {"submission": submission_in(page), "by": "Mo", "product": ids["Ricelet"]}
    logger = ("log.csv", f"Time (min),Temp (°F)\n{lines.replace(';', ',')}\n".encode("cp1252"))
    saved = house.ada.post(f"{house.bench}/measure/m2", data=sent, files={"file": logger})
    assert "Saved: 1 run." in words(saved)
    rows = {row.product_id: row for row in stored(house)}
    assert rows[ids["Grainsong"]].ambient == 21
    assert rows[ids["Grainsong"]].series.startswith("[[0.0, 90.0], [10.0, 89.0]")
    assert rows[ids["Ricelet"]].series.startswith("[[0.0, 32.2222")


def test_a_series_that_cannot_be_read_names_its_lines_and_comes_back(house: BenchHouse) -> None:
    ids = house.products()
    answer = enter(house, "m2", product=ids["Grainsong"], series_of_Grainsong="0 90\n10 hot\n20 88")
    assert answer.status_code == 422
    assert "Line 2: “hot” is no number" in words(answer)
    assert "10 hot" in answer.text
    assert stored(house) == []


def test_handling_and_the_questionnaire_by_several_testers(house: BenchHouse) -> None:
    """The questionnaire's score by hand: odd (5+4+5+4+5)-5, even 25-(2+1+2+2+1), times 2.5 (Brooke 1996)."""
    house.open()
    house.taste(4)
    house.shut()
    ids = house.products()
    for tester, rating in (("Mo", "5"), ("Ann", "3")):
        assert "Saved: 1 run." in words(enter(house, "m5", by=tester, value_of_Grainsong=rating))
    answers = {f"statement-{ids['Grainsong']}-{n}": f"{answer}" for n, answer in enumerate(SUS, start=1)}
    saved = enter(house, "m6", product=ids["Grainsong"], **answers)
    score = 2.5 * ((5 + 4 + 5 + 4 + 5) - 5 + 25 - (2 + 1 + 2 + 2 + 1))
    assert f"{score:g} of 100" in words(saved)
    assert "mean of the testers 4.0" in words(house.ada.get(f"{house.bench}/measure/m5"))
    answers.pop(f"statement-{ids['Grainsong']}-7")
    gap = enter(house, "m6", product=ids["Grainsong"], **answers)
    assert (gap.status_code, "Answer statement 7" in words(gap)) == (422, True)


def test_a_wrong_value_is_named_at_its_field_everything_comes_back_and_nothing_is_stored(
    house: BenchHouse,
) -> None:
    answer = enter(
        house, "m1", value_of_Grainsong="24:50", value_of_Ricelet="about half", note_of_Ricelet="no lid"
    )
    assert answer.status_code == 422
    assert "“about half” is not understood" in words(answer)
    assert f'href="#value-{house.products()["Ricelet"]}"' in answer.text
    assert 'value="24:50"' in answer.text
    assert 'value="no lid"' in answer.text
    assert stored(house) == []


@pytest.mark.parametrize(
    ("key", "fields", "said"),
    [
        ("m1", {}, "Nothing was typed"),
        ("m1", {"value_of_Grainsong": "20", "by": " "}, "Write who has measured"),
        (
            "m1",
            {"value_of_Grainsong": "20:00", "laps_of_Grainsong": "10:00; 5:00"},
            "rising, and none after the end",
        ),
        ("m1", {"value_of_Grainsong": "20", "servings_of_Grainsong": "0"}, "a number above 0"),
        ("m1", {"value_of_Grainsong": "20", "measured_at": "soon"}, "Write day and time"),
        ("m4", {"value_of_Grainsong": "20"}, "Write the day of the price"),
        ("m4", {"value_of_Grainsong": "20 $", "priced_on": "2026-03-08"}, "another currency"),
        ("m4", {"value_of_Grainsong": "20", "priced_on": "2126-03-08"}, "still to come"),
    ],
)
def test_what_is_missing_or_cannot_be_is_said_in_a_sentence(
    house: BenchHouse, key: str, fields: dict[str, str], said: str
) -> None:
    answer = enter(house, key, **fields)
    assert (answer.status_code, said in words(answer)) == (422, True), words(answer)
    assert stored(house) == []


def test_what_all_products_share_is_asked_for_once(house: BenchHouse) -> None:
    answer = enter(house, "m4", value_of_Grainsong="20", value_of_Ricelet="30")
    assert words(answer).count("Write the day of the price") == 2, "in the summary, and at the field"


def test_a_form_sent_twice_is_kept_once(house: BenchHouse) -> None:
    sent = {"submission": "5" * 32, "by": "Mo"}
    sent |= {f"value-{product}": "20:00" for product in house.products().values()}
    for _ in range(2):
        assert house.ada.post(f"{house.bench}/measure/m1", data=sent).status_code == 200
    assert [row.run for row in stored(house)] == [1] * 5


def test_a_form_without_a_name_of_its_own_is_not_kept(house: BenchHouse) -> None:
    answer = enter(house, "m1", value_of_Grainsong="20:00", submission="short")
    assert (answer.status_code, "Save again" in words(answer)) == (422, True)
    assert len(submission_in(answer)) == 32
    assert stored(house) == []


def test_runs_done_and_asked_for_stand_in_the_matrix_with_what_is_to_be_looked_at(house: BenchHouse) -> None:
    for value in ("20:00", "20:30", "0:20"):
        enter(house, "m1", value_of_Grainsong=value)
    said = words(house.ada.get(house.bench))
    assert "Time until done 3 of 15 runs" in said
    assert "Grainsong 3 of 3" in said
    assert "Grainsong, Time until done: run 3 is" in said
    assert re.findall(r"<th scope=\"row\">(\w+)", house.ada.get(house.bench).text) == list(BENCH_NAMES)


# ---- nothing is overwritten


def test_a_correction_shows_both_and_needs_a_reason(house: BenchHouse) -> None:
    enter(house, "m1", value_of_Grainsong="24:50")
    refused = revise(house, "", value="25:40", by="Mo")
    assert (refused.status_code, "Write what was wrong" in words(refused)) == (422, True)
    assert 'value="25:40"' in refused.text
    page = words(revise(house, "", value="25:40", by="Mo", reason="misread the display"))
    assert "24:50.0" in page
    assert "25:40.0" in page
    assert "misread the display" in page
    with house.house.database.read() as session:
        assert [row.value for row in history_of(session, house.study, entry_of(house))] == [1490.0, 1540.0]


def test_a_correction_can_send_back_what_its_form_shows(house: BenchHouse) -> None:
    """Tenths of a second as the form writes them, and an instrument that was put away since."""
    at = f"{house.bench}/instruments"
    watch = {"name": "Watch", "quantity": "duration", "unit": "s", "resolution": "0.1"}
    key = re.search(r"change=(\w+)", house.ada.post(at, data=watch).text)[1]  # type: ignore[index]
    enter(house, "m1", value_of_Grainsong="24:50", instrument=key)
    house.ada.post(f"{at}/{key}/put-away")
    form = house.ada.get(f"{house.bench}/entries/{entry_of(house)}").text
    value = re.search(r'name="value" type="text" value="([^"]+)"', form)[1]  # type: ignore[index]
    chosen = re.search(r'<option value="(\w+)" selected>Watch<', form)[1]  # type: ignore[index]
    answer = revise(house, "", value=value, instrument=chosen, by="Mo", note="lid off", reason="noted later")
    assert answer.status_code == 200, words(answer)
    row = stored(house)[0]
    assert (row.revision, row.value, row.instrument_id, row.resolution) == (2, 1490.0, key, 0.1)


def test_a_run_is_left_out_and_taken_back_with_a_reason_and_never_removed(house: BenchHouse) -> None:
    enter(house, "m1", value_of_Grainsong="24:50")
    refused = revise(house, "/judge", counts="no")
    assert (refused.status_code, "for a reason only" in words(refused)) == (422, True)
    assert "Does not count: the lid stood open" in words(
        revise(house, "/judge", counts="no", why="the lid stood open")
    )
    said = words(house.ada.get(f"{house.bench}/measure/m1"))
    assert "24:50.0" in said
    assert "Does not count: the lid stood open" in said
    assert "0 of 3" in words(house.ada.get(house.bench))
    revise(house, "/judge", counts="yes", why="it was another run")
    with house.house.database.read() as session:
        assert [row.invalid for row in history_of(session, house.study, entry_of(house))] == [
            "",
            "the lid stood open",
            "",
        ]


def test_a_photo_keeps_nothing_that_the_camera_noted_and_stands_upright(house: BenchHouse) -> None:
    """Exif orientation 6: to be turned by 90 degrees clockwise (Exif 2.32, tag 0x0112)."""
    enter(house, "m3", value_of_Grainsong="failed")
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x8825] = 6, "Secretcamera", {1: "N", 2: (48.0, 1.0, 2.0)}
    taken = io.BytesIO()
    Image.new("RGB", (3200, 1600), (180, 40, 40)).save(taken, "JPEG", exif=exif, comment=b"Secretcomment")
    assert b"Secretcamera" in taken.getvalue(), "the bait is in the picture"
    at = f"{house.bench}/entries/{entry_of(house)}"
    page = house.ada.post(f"{at}/photo", files={"file": ("IMG.jpg", taken.getvalue())})
    kept = house.ada.get(re.search(r'img src="([^"]+)"', page.text)[1])  # type: ignore[index]
    assert kept.headers["content-type"] == "image/jpeg"
    assert not any(word in kept.content for word in (b"Secret", b"Exif", b"GPS"))
    picture = Image.open(io.BytesIO(kept.content))
    assert picture.size == (800, 1600)
    assert dict(picture.getexif()) == {}


@pytest.mark.parametrize("content", [b"", b"no picture", b"\xff\xd8\xff\xe0 cut off", b"<svg onload='x'/>"])
def test_what_is_no_picture_is_refused_in_a_sentence(house: BenchHouse, content: bytes) -> None:
    enter(house, "m3", value_of_Grainsong="failed")
    answer = house.ada.post(
        f"{house.bench}/entries/{entry_of(house)}/photo", files={"file": ("a.jpg", content)}
    )
    assert (answer.status_code, "no picture that can be read" in words(answer)) == (422, True)


# ---- units, instruments, more to measure


def test_a_visitor_reads_and_types_in_the_units_they_chose_and_the_store_does_not_change(
    house: BenchHouse,
) -> None:
    """180 ml to the cup; 21 °C are 69.8 °F, and 194 °F are 90 °C, by definition."""
    ids = house.products()
    enter(house, "m7", value_of_Grainsong="900")
    house.ada.post(f"{house.bench}/units", data={"temperature": "°F", "volume": "cup"})
    assert "5 cup" in words(house.ada.get(f"{house.bench}/measure/m7"))
    enter(house, "m7", value_of_Ricelet="2")
    enter(house, "m2", product=ids["Ricelet"], series_of_Ricelet="0 194\n10 185\n20 176", ambient="69.8")
    rows = {(row.measurand, row.product_id): row for row in stored(house)}
    assert rows["m7", ids["Ricelet"]].value == 360
    assert rows["m2", ids["Ricelet"]].series == "[[0.0, 90.0], [10.0, 85.0], [20.0, 80.0]]"
    assert rows["m2", ids["Ricelet"]].ambient == pytest.approx(21)
    assert "194.0 to 176.0 °F" in words(house.ada.get(f"{house.bench}/measure/m2?product={ids['Ricelet']}"))


def test_an_instrument_is_described_changed_and_counts_in_the_uncertainty(house: BenchHouse) -> None:
    described = {
        "name": "Watch",
        "quantity": "duration",
        "unit": "s",
        "resolution": "0.1",
        "accuracy": "±0.3",
    }
    at = f"{house.bench}/instruments"
    page = house.ada.post(at, data=described)
    assert "Watch : duration, steps of 0.1 s, within ±0.3 s" in words(page)
    key = re.search(r"change=(\w+)", page.text)[1]  # type: ignore[index]
    enter(house, "m1", value_of_Grainsong="20:00", instrument=key)
    assert (stored(house)[0].resolution, stored(house)[0].accuracy) == (0.1, 0.3)
    house.ada.post(at, data={**described, "accuracy": "0.2", "replaces": key})
    said = words(house.ada.get(at))
    assert "within ±0.2 s" in said
    assert "±0.3 s" not in said.split("Describe")[0]
    again = house.ada.post(at, data=described)
    assert (again.status_code, "called “Watch” already" in words(again)) == (422, True)
    wrong = house.ada.post(
        at, data={"name": "", "quantity": "", "resolution": "fine", "checked_on": "yesterday"}
    )
    for said in ("Write its name", "Choose what it measures", "Write the day"):
        assert said in words(wrong)


def test_more_can_be_measured_than_was_sealed_marked_as_such_and_for_a_reason(house: BenchHouse) -> None:
    at = f"{house.bench}/further"
    typed = {"measurand-0-name": "Noise at one metre", "measurand-0-quantity": "noise"}
    refused = house.ada.post(at, data=typed)
    assert (refused.status_code, "Write why" in words(refused)) == (422, True)
    refused = house.ada.post(at, data={"reason": "a reader asked"})
    assert (refused.status_code, "Write what is measured" in words(refused)) == (422, True)
    page = house.ada.post(at, data={**typed, "reason": "a reader asked"})
    assert "not sealed" in words(page)
    assert "Saved: 1 run." in words(enter(house, "x1", value_of_Grainsong="41.5"))
    same = house.ada.post(at, data={**typed, "measurand-0-name": "time  until DONE", "reason": "again"})
    assert "is measured already" in words(same)
    with house.house.database.read() as session:
        assert len(measurands_of(session, house.row())) == 8
    assert house.measurer().get(at, follow_redirects=False).status_code == 303, "the organiser's alone"


# ---- who sees what


def test_whoever_measures_sees_names_and_no_letter_and_nothing_else_of_the_study(house: BenchHouse) -> None:
    measurer = house.measurer()
    enter(house, "m1", client=measurer, value_of_Grainsong="24:50")
    assert stored(house)[0].recorded_by == "bench"
    said = words(measurer.get(house.bench))
    assert all(name in said for name in BENCH_NAMES)
    assert "must not taste" in said
    for path in ("", "/report", "/kitchen", "/room", "/log", "/export"):
        assert "/sign-in" in str(measurer.get(f"{house.at}{path}").url), path
    assert "/sign-in" in str(measurer.get("/products").url)


def bench_pages(house: BenchHouse) -> dict[str, str]:
    ids = house.products()
    paths = ["", "/stopwatch", "/instruments", "/further", "/table.csv", f"/entries/{entry_of(house)}"]
    paths += [f"/measure/m{n}" for n in range(1, 8)] + [f"/measure/m2?product={ids['Grainsong']}"]
    pages = {path: house.ada.get(f"{house.bench}{path}").text for path in paths}
    return pages | {f"/products/{key}": house.ada.get(f"/products/{key}").text for key in ids.values()}


def test_no_page_of_the_bench_holds_a_sample_a_code_or_a_letter_before_the_reveal(house: BenchHouse) -> None:
    """Bait: the kitchen's page holds codes and pour letters."""
    enter(house, "m1", value_of_Grainsong="24:50")
    with house.house.database.read() as session:
        samples = samples_of(session, house.study)
        products = [product.id for product in products_of(session, house.study)]
    kitchen = house.ada.get(f"{house.at}/kitchen").text
    with house.house.database.read() as session:
        codes = {cup.code for cup in current_cups_of(session, house.study)}
    letters = {sample.blind_label for sample in samples} | {sample.pour_letter for sample in samples}
    assert all(code in kitchen for code in codes)
    assert letters & set(re.findall(r">\s*([A-Z])\s*<", kitchen))
    shown = re.compile(r'class="code"')
    for path, text in bench_pages(house).items():
        plain = re.sub(r"<[^>]+>", " ", text)
        assert not [sample.id for sample in samples if sample.id in text], path
        assert not shown.search(text), path
        assert not codes & set(re.findall(r"(?<![\w.:])\d{3}(?![\w.:])", plain)), path
        assert not letters & set(re.findall(r">\s*([A-Z])\s*<", text)), path
    assert not [product for product in products if product in kitchen]


def test_the_table_holds_every_run_by_name_also_the_ones_left_out(house: BenchHouse) -> None:
    enter(house, "m1", value_of_Grainsong="24:50")
    revise(house, "/judge", counts="no", why="=the lid stood open")
    rows = list(csv.DictReader(io.StringIO(house.ada.get(f"{house.bench}/table.csv").text)))
    assert [(row["product"], row["measurand"], row["value"], row["unit"]) for row in rows] == [
        ("Grainsong", "Time until done", "1490.0", "s")
    ]
    assert rows[0]["does_not_count"] == "'=the lid stood open", "no spreadsheet takes it for a formula"


def test_the_log_says_that_something_was_measured_and_not_what(house: BenchHouse) -> None:
    enter(house, "m1", value_of_Grainsong="24:50")
    with house.house.database.read() as session:
        event = events_of(session, house.study)[-1]
    assert (event.kind, sorted(event.detail)) == ("measured", ["digest", "entry", "revision"])
    said = words(house.ada.get(f"{house.at}/log"))
    assert "measured" in said
    assert not [word for word in (*BENCH_NAMES, *house.products().values(), "24:50") if word in said]
