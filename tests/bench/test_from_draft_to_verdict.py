"""The whole way: typed rules, entered runs, figures, verdict, in the units people chose."""

from __future__ import annotations

import pytest

from panel.bench.derived import bench_figures
from panel.bench.draws import drawn
from panel.bench.figures import Run
from panel.bench.verdict import verdict
from panel.study.drafting import check_draft
from panel.study.measuring import Bench
from panel.study.quantities import QUANTITIES
from panel.study.ready_criteria import READY_SETS, with_ready_set
from tests.bench.a_trial import exactly

DRAFT = {
    "title": "Appliances",
    "question": "Which one is liked best?",
    "method": "rating",
    "tasters": "24",
    "product-0-name": "Kettlewick",
    "product-1-name": "Morgengrau",
    "question-0-text": "How much do you like it?",
    "question-0-scale": "hedonic-9",
    "criterion-0-name": "Liking",
    "criterion-0-source": "q1",
}
NAMES = {"p1": "Kettlewick", "p2": "Morgengrau"}
# A plausible value of each entry in the quantity's first unit.
PLAUSIBLE = {
    "duration": 1800.0, "temperature": 45.0, "yield": 500.0, "capacity": 900.0, "energy": 150.0, "noise": 60.0,
    "length": 320.0, "mass": 2500.0, "price": 89.0, "count": 3.0, "check": 1.0, "rating": 4.0,
}  # fmt: skip


def bench_of(typed: dict[str, str]) -> Bench:
    drafted = check_draft(typed)
    assert drafted.plan is not None, drafted.problems
    return drafted.plan.bench


def runs_of(bench: Bench) -> list[Run]:
    """Three runs of everything for both products, the second a little different."""
    runs = []
    for measurand in bench.measurands:
        for place, product in enumerate(NAMES):
            for number in (1, 2, 3):
                key = f"{measurand.key}{product}{number}"
                entry = QUANTITIES[measurand.quantity].entry
                if entry == "series":
                    times = (0, 5, 15, 30, 60, 90, 120, 150)
                    series = tuple((float(m), 88.0 - place - 0.05 * m + 0.1 * number) for m in times)
                    run = Run(
                        key, measurand.key, product, number, None, series=series, ambient=21.0, resolution=0.1
                    )
                elif entry == "usability":
                    run = Run(
                        key, measurand.key, product, number, None, answers=(4, 2, 4, 2, 5, 1, 4, 2, 4, number)
                    )
                else:
                    value = PLAUSIBLE[measurand.quantity]
                    if entry not in ("check", "rating", "price"):
                        value *= 1 + 0.05 * place + 0.01 * number
                    run = Run(key, measurand.key, product, number, value, resolution=value / 1000)
                runs.append(run)
    return runs


@pytest.mark.parametrize("name", READY_SETS)
def test_every_ready_set_ends_in_a_verdict(name: str) -> None:
    bench = bench_of(with_ready_set(DRAFT, name))
    found = verdict(
        bench, bench_figures(bench, runs_of(bench)), exactly({"p1": 7, "p2": 6}), names=NAMES, draws=200
    )
    for card in found.cards:
        assert card.missing == ()
        assert card.total is not None
        assert len(card.gates) == sum(criterion.a_must for criterion in bench.criteria)
    assert found.price is not None
    assert len(found.price.products) == len(found.running)


def test_every_figure_comes_in_the_unit_that_its_limits_are_sealed_in() -> None:
    """One criterion to each figure of each quantity, in each unit it may be shown in."""
    for quantity in QUANTITIES.values():
        for unit in quantity.units or ("",):
            for figure in quantity.figures:
                typed = DRAFT | {
                    "measurand-0-name": "It",
                    "measurand-0-quantity": quantity.id,
                    "measurand-0-unit": unit,
                    "measurand-0-servings": "4",
                    "criterion-1-name": "It",
                    "criterion-1-source": "m1",
                    "criterion-1-figure": figure,
                    "criterion-1-worst": "0",
                    "criterion-1-best": "100",
                }
                if quantity.entry == "series":
                    low, high = ("57", "75") if unit == "°C" else ("135", "167")
                    typed |= {"measurand-0-low": low, "measurand-0-high": high, "measurand-0-threshold": low}
                bench = bench_of(typed)
                values = drawn(
                    bench, bench_figures(bench, runs_of(bench)), exactly({"p1": 7, "p2": 6}), names=NAMES
                )
                assert set(values.products) == set(NAMES)


def test_fahrenheit_and_hours_lead_to_the_same_verdict_as_celsius_and_minutes() -> None:
    """The same entries, shown in other units with the limits typed in them: 57 °C is 134.6 °F."""
    common = DRAFT | {
        "measurand-0-name": "Warm", "measurand-0-quantity": "temperature-series",
        "measurand-1-name": "Time", "measurand-1-quantity": "duration",
        "criterion-1-name": "Warmth", "criterion-1-source": "m1", "criterion-1-figure": "at 120",
        "criterion-2-name": "Safe", "criterion-2-source": "m1", "criterion-2-figure": "at 120",
        "criterion-2-curve": "none",
        "criterion-3-name": "Speed", "criterion-3-source": "m2", "criterion-3-direction": "less",
    }  # fmt: skip
    one = bench_of(common | {
        "measurand-0-unit": "°C", "measurand-1-unit": "min", "criterion-1-worst": "50", "criterion-1-best": "90",
        "criterion-2-must_least": "57", "criterion-3-worst": "60", "criterion-3-best": "20",
    })  # fmt: skip
    other = bench_of(common | {
        "measurand-0-unit": "°F", "measurand-1-unit": "h", "criterion-1-worst": "122", "criterion-1-best": "194",
        "criterion-2-must_least": "134,6", "criterion-3-worst": "1", "criterion-3-best": str(1 / 3),
    })  # fmt: skip
    taste = exactly({"p1": 7, "p2": 6})
    first = verdict(one, bench_figures(one, runs_of(one)), taste, names=NAMES, draws=400)
    second = verdict(other, bench_figures(other, runs_of(other)), taste, names=NAMES, draws=400)
    for card in first.cards:
        twin = second.card(card.product)
        assert (card.total, card.low, card.high) == pytest.approx((twin.total, twin.low, twin.high))
        assert [gate.outcome for gate in card.gates] == [gate.outcome for gate in twin.gates] == ["passed"]
        assert card.ranks == pytest.approx(twin.ranks)
