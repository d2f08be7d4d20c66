"""Correspondence analysis of a table of counts: samples and terms on one map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stats.score_table import Floats


@dataclass(frozen=True, slots=True)
class Correspondence:
    """A map of samples and terms in principal coordinates (both clouds scaled by their inertia).

    samples, terms : name and coordinates on each dimension
    inertia : principal inertias; explained : their shares of the whole, 0..1
    left_out : samples and terms that were never checked
    """

    samples: tuple[tuple[str, tuple[float, ...]], ...]
    terms: tuple[tuple[str, tuple[float, ...]], ...]
    inertia: tuple[float, ...]
    explained: tuple[float, ...]
    left_out: tuple[str, ...]


def correspondence(table: Floats, samples: Sequence[str], terms: Sequence[str]) -> Correspondence | None:
    """Singular values of the standardised residuals (Greenacre 2017, ch. 8 and appendix A).

    table : counts, (samples, terms). None where fewer than two samples or terms were ever checked. The sign
    of a dimension is arbitrary; the sample farthest from the middle is put on the positive side.
    """
    keep_row, keep_column = table.sum(axis=1) > 0, table.sum(axis=0) > 0
    N = table[np.ix_(keep_row, keep_column)]
    if min(N.shape) < 2:
        return None
    P = N / N.sum()
    r, c = P.sum(axis=1), P.sum(axis=0)
    U, singular, Vt = np.linalg.svd((P - np.outer(r, c)) / np.sqrt(np.outer(r, c)), full_matrices=False)
    size = min(N.shape) - 1
    rows = U[:, :size] * singular[:size] / np.sqrt(r)[:, None]
    columns = Vt[:size].T * singular[:size] / np.sqrt(c)[:, None]
    sign = np.where(rows[np.abs(rows).argmax(axis=0), np.arange(size)] < 0, -1.0, 1.0)
    inertia = singular[:size] ** 2
    whole = float(inertia.sum())
    if whole <= 1e-12:
        return None
    gone = [
        name for name, keep in zip([*samples, *terms], [*keep_row, *keep_column], strict=True) if not keep
    ]
    return Correspondence(
        samples=_named([s for s, keep in zip(samples, keep_row, strict=True) if keep], rows * sign),
        terms=_named([t for t, keep in zip(terms, keep_column, strict=True) if keep], columns * sign),
        inertia=tuple(map(float, inertia)),
        explained=tuple(map(float, inertia / whole)),
        left_out=tuple(gone),
    )


def _named(names: Sequence[str], points: Floats) -> tuple[tuple[str, tuple[float, ...]], ...]:
    return tuple((name, tuple(map(float, point))) for name, point in zip(names, points, strict=True))
