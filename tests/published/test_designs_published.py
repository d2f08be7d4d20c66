"""Designs of print, by their parameters: what the handbooks tabulate is drawn with the same figures."""

from dataclasses import dataclass
from itertools import combinations

import pytest

from panel.randomiser import balance_of, incomplete_blocks, williams


@dataclass(frozen=True)
class Williams:
    samples: int
    rows: int
    times: int  # each sample at each place, and each succession
    source: str


WILLIAMS = [
    Williams(n, n if n % 2 == 0 else 2 * n, 1 if n % 2 == 0 else 2, source)
    for n, source in [
        (3, "Williams 1949, two squares"),
        (4, "Williams 1949, one square"),
        (5, "Williams 1949, two squares"),
        (6, "Williams 1949, one square; example seen in print"),
        (7, "Williams 1949, two squares; example seen in print"),
        (8, "MacFie and others 1989"),
        (9, "MacFie and others 1989"),
        (10, "MacFie and others 1989"),
        (11, "MacFie and others 1989"),
        (12, "MacFie and others 1989"),
        (15, "MacFie and others 1989 (range 4 to 16)"),
        (16, "MacFie and others 1989 (range 4 to 16)"),
    ]
]


@pytest.mark.parametrize("row", WILLIAMS, ids=lambda row: f"{row.samples} samples")
def test_williams_designs_have_the_published_size_and_balance(row: Williams) -> None:
    assert row.source
    design = williams(row.samples, seed=11)
    assert len(design.orders) == row.rows
    assert {count for line in design.balance.position for count in line} == {row.times}
    pairs = combinations(range(row.samples), 2)
    counts = {design.balance.carry_over[a][b] for i, j in pairs for a, b in ((i, j), (j, i))}
    assert counts == {row.times}


# The row of six as printed (worked_examples: first row 1 2 6 3 5 4, then cyclic): both are Williams squares.
PRINTED_SIX = [[1, 2, 6, 3, 5, 4], [2, 3, 1, 4, 6, 5], [3, 4, 2, 5, 1, 6], [4, 5, 3, 6, 2, 1]]
PRINTED_SIX += [[5, 6, 4, 1, 3, 2], [6, 1, 5, 2, 4, 3]]


def test_the_printed_square_of_six_has_the_same_balance_as_ours() -> None:
    printed = balance_of([[sample - 1 for sample in row] for row in PRINTED_SIX], 6)
    assert printed == williams(6, seed=5).balance


@dataclass(frozen=True)
class Blocks:
    samples: int
    size: int
    blocks: int
    meetings: int
    efficiency: float
    source: str
    sittings: int = 1


COCHRAN_COX = "Cochran and Cox 1957, table 11.3 (plans of chapter 11), parameters from memory, recomputed"
BLOCKS = [
    Blocks(4, 2, 6, 1, 0.67, COCHRAN_COX),
    Blocks(4, 3, 4, 2, 0.89, COCHRAN_COX),
    Blocks(5, 3, 10, 3, 0.83, COCHRAN_COX),
    Blocks(6, 3, 10, 2, 0.80, COCHRAN_COX),
    Blocks(7, 3, 7, 1, 0.78, COCHRAN_COX),
    Blocks(7, 4, 7, 2, 0.88, COCHRAN_COX),
    Blocks(8, 4, 14, 3, 0.86, COCHRAN_COX),
    Blocks(9, 3, 12, 1, 0.75, COCHRAN_COX),
    Blocks(9, 4, 18, 3, 0.84, COCHRAN_COX),
    Blocks(9, 6, 12, 5, 0.94, COCHRAN_COX),
    Blocks(10, 3, 30, 2, 0.74, COCHRAN_COX),
    Blocks(10, 4, 15, 2, 0.83, COCHRAN_COX),
    Blocks(10, 5, 18, 4, 0.89, COCHRAN_COX),
    Blocks(11, 5, 11, 2, 0.88, COCHRAN_COX),
    Blocks(13, 3, 26, 1, 0.72, COCHRAN_COX),
    Blocks(13, 4, 13, 1, 0.81, COCHRAN_COX),
    Blocks(15, 3, 35, 1, 0.71, COCHRAN_COX),
    Blocks(15, 7, 15, 3, 0.92, COCHRAN_COX),
    Blocks(
        15, 5, 42, 4, 0.86, "Hall 1986, table of block designs: 15, 42, 14, 5, 4, from memory, recomputed"
    ),
    Blocks(16, 4, 20, 1, 0.80, COCHRAN_COX),
    Blocks(16, 6, 16, 2, 0.89, COCHRAN_COX),
    Blocks(19, 3, 57, 1, 0.70, COCHRAN_COX),
    Blocks(19, 9, 19, 4, 0.94, COCHRAN_COX),
    Blocks(21, 5, 21, 1, 0.84, COCHRAN_COX),
    Blocks(25, 5, 30, 1, 0.83, COCHRAN_COX),
    Blocks(15, 3, 7, 1, 0.714, "Kirkman 1850: fifteen in threes on seven days", sittings=5),
    Blocks(9, 3, 4, 1, 0.75, "Yates 1936, balanced lattice of nine", sittings=3),
    Blocks(16, 4, 5, 1, 0.80, "Yates 1936, balanced lattice of sixteen", sittings=4),
    Blocks(25, 5, 6, 1, 0.833, "Yates 1936, balanced lattice of twenty-five", sittings=5),
    Blocks(8, 4, 7, 3, 0.857, "Bose 1942, affine resolvable, 8 in fours", sittings=2),
]


@pytest.mark.parametrize(
    "row", BLOCKS, ids=lambda row: f"{row.samples} in {row.size}s, {row.sittings} sittings"
)
def test_balanced_plans_have_the_published_parameters(row: Blocks) -> None:
    assert row.source
    design = incomplete_blocks(row.samples, row.size, row.blocks, seed=3, sittings=row.sittings)
    meetings = {design.concurrence[i][j] for i, j in combinations(range(row.samples), 2)}
    uses = {design.concurrence[i][i] for i in range(row.samples)}
    assert meetings == {row.meetings}
    assert uses == {row.blocks * row.sittings * row.size // row.samples}
    assert design.efficiency == pytest.approx(row.efficiency, abs=0.006)
    assert design.efficiency == pytest.approx(design.efficiency_bound, abs=1e-8)
    assert design.bound.concurrence_reached


def test_fifteen_samples_in_three_sittings_of_five_or_seven_each_are_as_efficient_as_computed() -> None:
    # Trade notes, computed: sittings of 5 reach .857, sittings of 7 .918 (upper bounds, balanced plans).
    assert incomplete_blocks(15, 5, 42, 1).efficiency == pytest.approx(0.857, abs=5e-4)
    assert incomplete_blocks(15, 7, 15, 1).efficiency == pytest.approx(0.918, abs=5e-4)
