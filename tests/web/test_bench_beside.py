"""Products side by side: by name, with letters and intervals, in the visitor's units, and never a blind letter."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from panel.store.sealing import samples_of
from tests.web.bench_house import BENCH_NAMES, BenchHouse
from tests.web.desk import words

if TYPE_CHECKING:
    from httpx2 import Response


def enter(house: BenchHouse, key: str, **sent: str) -> None:
    where = f"{house.bench}/measure/{key}" + (f"?product={sent['product']}" if "product" in sent else "")
    submission = re.search(r'name="submission" value="(\w+)"', house.ada.get(where).text)
    assert submission
    answer = house.ada.post(
        f"{house.bench}/measure/{key}", data={"submission": submission[1], "by": "Mo", **sent}
    )
    assert answer.status_code in (200, 303), words(answer)


def beside(house: BenchHouse, key: str) -> Response:
    found = house.ada.get(f"{house.bench}/measure/{key}/beside")
    assert found.status_code == 200
    return found


def test_without_a_run_it_says_so_and_an_unknown_measurand_is_not_found(house: BenchHouse) -> None:
    assert "Nothing to set side by side yet" in words(beside(house, "m1"))
    assert house.ada.get(f"{house.bench}/measure/m99/beside").status_code == 404


def test_times_stand_by_name_with_letters_intervals_and_repeats(house: BenchHouse) -> None:
    ids = house.products()
    for extra in (0, 1, 2):
        typed = {f"value-{ids[name]}": f"{20 + 10 * n + extra} min" for n, name in enumerate(BENCH_NAMES[:3])}
        enter(house, "m1", **typed)
    enter(house, "m1", **{f"value-{ids[BENCH_NAMES[3]]}": "55 min"})
    said = words(beside(house, "m1"))
    # Three runs one minute apart: s = 1, t of 2 degrees of freedom 4.303, half-width 2.48.
    assert "Grainsong (21.0 ± 2.5) min 3 c" in said
    assert "Ricelet (41.0 ± 2.5) min 3 a" in said
    assert "Ricelet lies above Grainsong by 20.0 min (95 % interval" in said
    assert "Tomoshibi has fewer than two runs and cannot be compared" in said
    assert "Repeated runs of one product scatter with a standard deviation of 1.0 min" in said


def test_a_series_is_drawn_and_what_heats_has_no_rate(house: BenchHouse) -> None:
    ids = house.products()
    for name, floor in (("Grainsong", 21.0), ("Ricelet", 70.0)):
        for extra in (0, 1, 2):
            rows = ((m, floor + (95 - floor + extra) * math.exp(-0.02 * m)) for m in range(0, 121, 5))
            lines = "\n".join(f"{m};{value:.2f}" for m, value in rows)
            enter(house, "m2", product=ids[name], ambient="21", **{f"series-{ids[name]}": lines})
    page = beside(house, "m2")
    assert page.text.count('src="data:image/svg+xml;base64,') == 1
    assert "Grainsong, 3 runs, with fitted curves: from 95.0–97.0 °C" in page.text
    assert "Ricelet, 3 runs, no curve fitted" in page.text
    assert "Ricelet – 0" in words(page)
    assert re.search(r"Grainsong \(1\.200\d* ±", words(page))
    house.ada.post(f"{house.bench}/units", data={"temperature": "°F"})
    assert "Grainsong, 3 runs, with fitted curves: from 203.0–206.6 °F" in beside(house, "m2").text


def test_it_holds_no_blind_letter_and_no_sample(house: BenchHouse) -> None:
    ids = house.products()
    enter(house, "m1", **{f"value-{ids[name]}": "20 min" for name in BENCH_NAMES})
    enter(house, "m1", **{f"value-{ids[name]}": "21 min" for name in BENCH_NAMES})
    text = beside(house, "m1").text
    with house.house.database.read() as session:
        samples = samples_of(session, house.study)
    letters = {sample.blind_label for sample in samples} | {sample.pour_letter for sample in samples}
    assert all(name in text for name in BENCH_NAMES)
    assert not letters & set(re.findall(r">\s*([A-Z])\s*<", text))
    assert not [sample.id for sample in samples if sample.id in text]
