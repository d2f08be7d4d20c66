"""Which cup came before which: the order of serving, rebuilt from positions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.score_table import read_scores

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from stats.score_table import Codes, Floats, Frame, ScoreTable


@dataclass(frozen=True, slots=True)
class Served:
    """The scored cups in their sequences; one entry per score.

    sequence : code of the serving sequence; sequence_is : what a sequence is, in words
    sample : code into samples; condition : code, of `conditions` many
    place : code into places (positions, as text); previous : code of the sample before, -1 if none is known
    unknown_before : cups beyond the lowest position whose predecessor is not in the frame
    """

    sequence: Codes
    sequence_is: str
    samples: tuple[str, ...]
    sample: Codes
    conditions: int
    condition: Codes
    places: tuple[str, ...]
    place: Codes
    previous: Codes
    score: Floats
    unknown_before: int


def served_cups(frame: Frame) -> Served:
    """Rebuild the sequences of a long frame with a column `position` (and `sitting` where present).

    A sequence is the coarsest of taster; taster, condition; taster, replicate; taster, condition, replicate
    (each within a sitting) in which no position occurs twice. Cups without a score keep their place.
    Raises ValueError for positions that are absent, fractional, or repeated even so.
    """
    import pandas as pd

    data = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    if "position" not in data.columns:
        raise ValueError(
            "frame: column 'position' is missing; order effects need each cup's place in the order"
        )
    # Row numbers stand in for the scores, so that cups without a score are read too.
    table = read_scores(data.assign(score=np.arange(len(data), dtype=np.float64)))
    row = table.score.astype(np.int64)
    score = pd.to_numeric(data["score"]).to_numpy(dtype=np.float64, na_value=np.nan)[row]
    position = _whole(table, row)
    sequence, words = _sequences(table, position, _sitting(data, row))
    previous = _previous(sequence, position, table.sample)
    kept = ~np.isnan(score)
    samples, sample, before = _only_scored(table, kept, previous)
    places, place = np.unique(position[kept], return_inverse=True)
    condition = table.codes.get("condition", np.zeros_like(table.taster))[kept]
    _, condition = np.unique(condition, return_inverse=True)
    return Served(
        sequence=np.unique(sequence[kept], return_inverse=True)[1],
        sequence_is=words,
        samples=samples,
        sample=sample,
        conditions=int(condition.max()) + 1,
        condition=condition,
        places=tuple(str(one) for one in places),
        place=place,
        previous=before,
        score=score[kept],
        unknown_before=int(((previous < 0) & (position > position.min()))[kept].sum()),
    )


def _whole(table: ScoreTable, row: Codes) -> Codes:
    position = table.position
    if position is None:
        raise ValueError(
            "frame: column 'position' is missing; order effects need each cup's place in the order"
        )
    bad = np.flatnonzero(np.isnan(position) | (position != np.round(position)))
    if bad.size:
        first = int(bad[np.argmin(row[bad])])
        raise ValueError(
            f"position: row {int(row[first]) + 1} holds {float(position[first])!r}; positions are whole numbers "
            "1, 2, 3, …, one for every cup"
        )
    return position.astype(np.int64)


def _sitting(data: pd.DataFrame, row: Codes) -> Codes | None:
    import pandas as pd

    if "sitting" not in data.columns:
        return None
    absent = np.flatnonzero(data["sitting"].isna().to_numpy())
    if absent.size:
        raise ValueError(f"sitting: row {absent[0] + 1} has no sitting; give every row its sitting")
    codes, _ = pd.factorize(data["sitting"].to_numpy(dtype=object))
    return codes.astype(np.int64)[row]


def _sequences(table: ScoreTable, position: Codes, sitting: Codes | None) -> tuple[Codes, str]:
    base, words = table.taster, "taster"
    if sitting is not None:
        base, words = base * (int(sitting.max()) + 1) + sitting, "taster in one sitting"
    attempts: list[tuple[str, ...]] = [(), ("condition",), ("replicate",), ("condition", "replicate")]
    for extra in attempts:
        if any(name not in table.codes for name in extra):
            continue
        key = base
        for name in extra:
            key = key * len(table.levels[name]) + table.codes[name]
        _, key = np.unique(key, return_inverse=True)
        span = int(position.max()) - int(position.min()) + 1
        if len(np.unique(key * span + position)) == len(key):
            return key, " by ".join([words, *extra])
    seen, first = np.unique(np.stack([base, position]), axis=1, return_index=True)
    again = int(np.setdiff1d(np.arange(len(base)), first)[0])
    who = table.tasters[int(table.taster[again])]
    raise ValueError(
        f"position: taster {who!r} has position {int(position[again])} more than once "
        f"({len(base)} rows, {seen.shape[1]} places); "
        "give each cup its own place, or name the sitting in a column 'sitting'"
    )


def _previous(sequence: Codes, position: Codes, sample: Codes) -> Codes:
    order = np.lexsort([position, sequence])
    follows = (np.diff(sequence[order]) == 0) & (np.diff(position[order]) == 1)
    previous = np.full(len(sample), -1, dtype=np.int64)
    previous[order[1:][follows]] = sample[order[:-1][follows]]
    return previous


def _only_scored(
    table: ScoreTable, kept: NDArray[np.bool_], previous: Codes
) -> tuple[tuple[str, ...], Codes, Codes]:
    """Number the samples over those that were scored or came before a scored cup."""
    used = np.unique(np.concatenate([table.sample[kept], previous[kept & (previous >= 0)]]))
    before = np.where(previous[kept] >= 0, np.searchsorted(used, previous[kept]), -1)
    return tuple(table.samples[i] for i in used), np.searchsorted(used, table.sample[kept]), before
