"""Blind labels and pour letters: disjoint, independent of entry order and of each other."""

from collections import Counter
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from panel.randomiser import blind_labels, pour_letters

SEEDS = st.integers(0, 2**128 - 1)


@given(count=st.integers(1, 90), seed=SEEDS)
def test_labels_are_distinct_and_no_pour_letter_is_a_blind_label(count: int, seed: int) -> None:
    blind, pour = blind_labels(count, seed), pour_letters(count, seed)
    assert len(set(blind)) == len(set(pour)) == count
    assert not set(blind) & set(pour)
    assert (blind, pour) == (blind_labels(count, seed), pour_letters(count, seed))


def test_labels_run_from_a_without_gaps_and_go_on_with_double_letters() -> None:
    assert sorted(blind_labels(5, 3)) == ["A", "B", "C", "D", "E"]
    assert set(blind_labels(28, 3)) >= {"Z", "AA", "AB"}


def test_labels_are_independent_of_entry_order_over_seeds() -> None:
    # Each sample gets each label equally often: 16 cells of 300 expected.
    counts = Counter((i, label) for seed in range(1200) for i, label in enumerate(blind_labels(4, seed)))
    assert len(counts) == 16
    assert chisquare(list(counts.values())).pvalue > 0.001


def test_pour_letters_are_independent_of_blind_labels_over_seeds() -> None:
    rows = [(blind_labels(3, seed)[0], pour_letters(3, seed)[0]) for seed in range(3000)]
    counts = Counter(rows)
    pairs = list(product("ABC", "QRSTUVWXYZ"))
    assert chisquare([counts[pair] for pair in pairs]).pvalue > 0.001


@pytest.mark.parametrize("draw", [blind_labels, pour_letters], ids=["blind labels", "pour letters"])
@pytest.mark.parametrize("count", [0, 91], ids=["none", "too many"])
def test_a_number_of_samples_out_of_range_is_refused(draw: object, count: int) -> None:
    with pytest.raises(ValueError, match="count must be from 1 to 90"):
        draw(count, 1)  # type: ignore[operator]
