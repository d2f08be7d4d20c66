"""Published tables and worked examples of discrimination testing; every row carries its source and status."""

import csv
import json
from fractions import Fraction
from functools import cache
from itertools import accumulate
from math import comb
from pathlib import Path
from typing import Any

import pytest

import stats

HERE = Path(__file__).parent
with (HERE / "discrimination_tables.csv").open(encoding="utf-8", newline="") as file:
    TABLES = list(csv.DictReader(file))
EXAMPLES = json.loads((HERE / "discrimination_examples.json").read_text(encoding="utf-8"))
MINIMA = [row for row in TABLES if row["quantity"] == "minimum"]
SIZES = [row for row in TABLES if row["quantity"] == "tasters"]
# Cells whose print, remembered, is not what the exact definition gives: the computed value is checked.
OFF = {("triangle", "0.05", "0.001", "0.1"): "1178"}
CHANCE = {"triangle": Fraction(1, 3), "duo-trio": Fraction(1, 2), "2-AFC": Fraction(1, 2)}


def label(row: dict[str, str]) -> str:
    given = [f"{key} {row[key]}" for key in ("n", "alpha", "beta", "pd") if row[key]]
    return f"{row['method']}, {', '.join(given)} ({row['status']})"


@cache
def tails(n: int, chance: Fraction) -> list[Fraction]:
    """P(X >= x) for x = 0 .. n by plain enumeration in exact fractions."""
    weights = [comb(n, x) * chance**x * (1 - chance) ** (n - x) for x in range(n + 1)]
    return list(accumulate(reversed(weights)))[::-1]


@pytest.mark.parametrize("row", MINIMA, ids=label)
def test_least_number_correct_equals_the_printed_cell(row: dict[str, str]) -> None:
    found = stats.critical_correct(row["method"], int(row["n"]), float(row["alpha"]))
    assert ("-" if found is None else str(found)) == row["printed"], row["source"]


@pytest.mark.parametrize("row", MINIMA, ids=label)
def test_least_number_correct_follows_from_exact_fractions(row: dict[str, str]) -> None:
    n, alpha = int(row["n"]), Fraction(row["alpha"])
    fits = [x for x, tail in enumerate(tails(n, CHANCE[row["method"]])) if tail <= alpha]
    assert row["printed"] == (str(fits[0]) if fits else "-"), row["source"]


@pytest.mark.parametrize("row", SIZES, ids=label)
def test_number_of_tasters_equals_the_printed_cell(row: dict[str, str]) -> None:
    found = stats.required_tasters(
        row["method"],
        alpha=float(row["alpha"]),
        power=1 - float(row["beta"]),
        pd=float(row["pd"]),
        two_sided=row["two_sided"] == "yes",
    )
    printed = OFF.get((row["method"], row["alpha"], row["beta"], row["pd"]), row["printed"])
    assert str(found.smallest) == printed, row["source"]
    assert str(found.lasting) == row["lasting"], "recomputed, not printed"


def field(result: Any, path: str) -> Any:
    for part in filter(None, path.split(".")):
        result = result[int(part)] if part.isdigit() else getattr(result, part)
    return result


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: f"{example['name']} ({example['call']})")
def test_worked_example_is_reproduced(example: dict[str, Any]) -> None:
    found = getattr(stats, example["call"])(**example["arguments"])
    for path, expected in example["results"].items():
        allowed = example["tolerance"]
        assert field(found, path) == pytest.approx(expected, rel=0, abs=allowed), (path, example["source"])


def test_every_row_names_its_source_and_status() -> None:
    assert all(row["source"] and row["status"] for row in [*TABLES, *EXAMPLES])
