"""Compact letter display: samples that share a letter are not shown to differ."""

from __future__ import annotations

from itertools import count as counting
from typing import TYPE_CHECKING

from stats.score_table import ByName

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


def compact_letters(
    names: Sequence[str], values: Sequence[float], different: Sequence[tuple[str, str]]
) -> ByName:
    """Letters for each name: two names share a letter exactly when their pair is not in `different`.

    names : the samples; values : what to order them by (the highest gets "a"); different : the pairs
    found different. Result: name -> letters, in the order of `names`. Unknown names are a ValueError.
    Source: insert-and-absorb, Piepho (2004), Journal of Computational and Graphical Statistics 13,
    456-466, with the sweep that removes superfluous letters.
    """
    index = {name: i for i, name in enumerate(names)}
    for pair in different:
        for name in pair:
            if name not in index:
                raise ValueError(f"different: {name!r} is no sample; there are {', '.join(names)}")
    columns = [frozenset(range(len(names)))]
    split = {(min(index[a], index[b]), max(index[a], index[b])) for a, b in different}
    for i, j in sorted(split):
        columns = _insert(columns, i, j)
    columns = _sweep(columns)
    rank = {i: place for place, i in enumerate(sorted(range(len(names)), key=lambda i: (-values[i], i)))}
    columns.sort(key=lambda column: sorted(rank[i] for i in column))
    letters = dict(zip(columns, _alphabet(), strict=False))
    return ByName(
        {name: "".join(letters[column] for column in columns if i in column) for i, name in enumerate(names)}
    )


def _insert(columns: list[frozenset[int]], i: int, j: int) -> list[frozenset[int]]:
    """Split every column that still joins i and j; drop columns contained in another."""
    made: list[frozenset[int]] = []
    for column in columns:
        made += [column - {i}, column - {j}] if i in column and j in column else [column]
    kept: list[frozenset[int]] = []
    for column in sorted(set(made), key=len, reverse=True):
        if not any(column <= other for other in kept):
            kept.append(column)
    return kept


def _sweep(columns: list[frozenset[int]]) -> list[frozenset[int]]:
    """Drop columns whose every pair is joined elsewhere; a lone name keeps its only column."""
    kept = sorted(columns, key=lambda column: (len(column), sorted(column)))
    for column in list(kept):
        others = [other for other in kept if other != column]
        joined = all(any(i in o and j in o for o in others) for i in column for j in column)
        if joined:
            kept = others
    return kept


def _alphabet() -> Iterator[str]:
    """a ... z, then a1 ... z1, a2 ..."""
    plain = "abcdefghijklmnopqrstuvwxyz"
    for turn in counting():
        for letter in plain:
            yield letter if turn == 0 else f"{letter}{turn}"
