"""The one door for scores: a long frame is checked here, once, and becomes plain arrays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from stats.phrasing import count

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Codes = NDArray[np.int64]
    Frame = pd.DataFrame | Mapping[str, Sequence[Any]]

FACTORS = ("taster", "sample", "condition", "replicate", "attribute")


class ByName(dict[str, Any]):
    """A read-only mapping from a sample's name to its value, in the order of the samples."""

    @classmethod
    def of(cls, names: Sequence[str], values: Iterable[Any]) -> ByName:
        """Names with values (numbers become plain Python numbers)."""
        return cls(
            (name, getattr(value, "item", lambda v=value: v)())
            for name, value in zip(names, values, strict=True)
        )

    def _refuse(self, *_: object, **__: object) -> NoReturn:
        raise TypeError("results are frozen: copy with dict(...) to change a value")

    __setitem__ = __delitem__ = clear = pop = popitem = setdefault = update = _refuse
    __ior__ = _refuse

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(tuple(self.items()))

    def __reduce__(self) -> tuple[Any, ...]:
        return (type(self), (dict(self),))


@dataclass(frozen=True, slots=True, eq=False)
class ScoreTable:
    """Checked scores, one entry per row, rows sorted by taster, sample, condition and replicate.

    score : float (n,)
    codes : factor name -> int (n,), indices into `levels[factor]`; holds taster and sample, and
        condition, replicate where the frame had them
    levels : factor name -> names as text, sorted
    position : serving position (n,) or None
    dropped : rows left out because their score was missing
    notes : what was left out, in words
    """

    score: Floats
    codes: dict[str, Codes]
    levels: dict[str, tuple[str, ...]]
    position: Floats | None = None
    dropped: int = 0
    notes: tuple[str, ...] = field(default=())

    @property
    def tasters(self) -> tuple[str, ...]:
        return self.levels["taster"]

    @property
    def samples(self) -> tuple[str, ...]:
        return self.levels["sample"]

    @property
    def taster(self) -> Codes:
        return self.codes["taster"]

    @property
    def sample(self) -> Codes:
        return self.codes["sample"]

    @property
    def rows(self) -> int:
        return len(self.score)

    def has(self, factor: str) -> bool:
        """Whether the factor is present with at least two levels."""
        return len(self.levels.get(factor, ())) > 1

    def cell_counts(self) -> Codes:
        """Rows per taster and sample, int (tasters, samples)."""
        shape = (len(self.tasters), len(self.samples))
        flat = np.bincount(self.taster * shape[1] + self.sample, minlength=shape[0] * shape[1])
        return flat.reshape(shape)

    def cell_means(self) -> Floats:
        """Mean score per taster and sample, float (tasters, samples); nan where there is none."""
        counts = self.cell_counts()
        flat = self.taster * counts.shape[1] + self.sample
        sums = np.bincount(flat, weights=self.score, minlength=counts.size).reshape(counts.shape)
        means = np.full(counts.shape, np.nan)
        np.divide(sums, counts, out=means, where=counts > 0)
        return means


def read_scores(frame: Frame, *, least_samples: int = 2, least_tasters: int = 2) -> ScoreTable:
    """Check a long frame of scores and turn it into a `ScoreTable`.

    frame : a data frame, or a mapping of equally long columns, with columns `taster, sample, score` and
        where present `condition, replicate, position, attribute`; other columns are ignored. Names are
        text (whole numbers are taken as their digits).

    Missing scores (None, nan) are dropped and said in the notes; nothing is imputed. A missing name, a
    score that is no number, two rows for one (taster, sample, condition, replicate), or scores of more
    than one attribute raise a ValueError that names the row, counted from 1.
    """
    table = _as_frame(frame)
    factors = [name for name in FACTORS if name in table.columns]
    names = {name: _names(table[name], name) for name in factors}
    score = _numbers(table["score"], "score")
    position = _numbers(table["position"], "position") if "position" in table.columns else None
    if len(names.get("attribute", ([], (1,)))[1]) > 1:
        raise ValueError(
            f"attribute: the frame holds {len(names['attribute'][1])} attributes "
            f"({', '.join(names['attribute'][1][:5])}, ...); pass the rows of one"
        )
    names.pop("attribute", None)
    _refuse_duplicates(names)
    kept = ~np.isnan(score)
    made = _build(names, score, position, kept)
    _refuse_too_few(made, least_samples, least_tasters)
    return made


def split_attributes(frame: Frame) -> dict[str, pd.DataFrame]:
    """The rows of each attribute, by its name; ValueError without a column `attribute`."""
    table = _as_frame(frame)
    if "attribute" not in table.columns:
        raise ValueError("frame: column 'attribute' is missing; use it to tell the attributes apart")
    codes, names = _names(table["attribute"], "attribute")
    return {name: table[codes == code] for code, name in enumerate(names)}


def _as_frame(frame: Frame) -> pd.DataFrame:
    import pandas as pd

    table = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    missing = [name for name in ("taster", "sample", "score") if name not in table.columns]
    if missing:
        raise ValueError(
            f"frame: column {missing[0]!r} is missing; it has {', '.join(map(str, table.columns)) or 'none'}"
        )
    if len(table) == 0:
        raise ValueError("frame: it has no rows")
    return table


def _names(column: pd.Series[Any], which: str) -> tuple[Codes, tuple[str, ...]]:
    """Codes and sorted names of a column of text; whole numbers become their digits."""
    import pandas as pd

    values = column.to_numpy(dtype=object)
    absent = np.flatnonzero(pd.isna(values))
    if absent.size:
        raise ValueError(f"{which}: row {absent[0] + 1} has no name; give every row its {which}")
    kind = pd.api.types.infer_dtype(values, skipna=False)
    if kind != "string":
        values = np.array([_text(value, which, row) for row, value in enumerate(values)], dtype=object)
    codes, levels = pd.factorize(values, sort=True)
    if "" in levels:
        raise ValueError(f"{which}: row {int(np.argmax(values == '')) + 1} has an empty name")
    return codes.astype(np.int64), tuple(str(level) for level in levels)


def _text(value: Any, which: str, row: int) -> str:
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int | np.integer) and not isinstance(value, bool):
        return str(int(value))
    raise ValueError(
        f"{which}: names are text, but row {row + 1} holds {value!r} ({type(value).__name__}); "
        f"read the column as text"
    )


def _numbers(column: pd.Series[Any], which: str) -> Floats:
    import pandas as pd

    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    odd = np.flatnonzero((np.isnan(numbers) & ~column.isna().to_numpy()) | np.isinf(numbers))
    if odd.size:
        found = column.iloc[int(odd[0])]
        said = getattr(found, "item", lambda: found)()
        raise ValueError(f"{which}: row {odd[0] + 1} holds {said!r}, which is no finite number")
    return numbers


def _refuse_duplicates(names: dict[str, tuple[Codes, tuple[str, ...]]]) -> None:
    key = np.zeros(len(next(iter(names.values()))[0]), dtype=np.int64)
    for codes, levels in names.values():
        key = key * len(levels) + codes
    order = np.argsort(key, kind="stable")
    again = np.flatnonzero(np.diff(key[order]) == 0)
    if again.size:
        first, second = int(order[again[0]]), int(order[again[0] + 1])
        said = ", ".join(f"{name} {levels[codes[second]]!r}" for name, (codes, levels) in names.items())
        remedy = "" if "replicate" in names else "; repeated servings need a column 'replicate'"
        raise ValueError(f"frame: row {second + 1} repeats row {first + 1} ({said}){remedy}")


def _build(
    names: dict[str, tuple[Codes, tuple[str, ...]]], score: Floats, position: Floats | None, kept: Any
) -> ScoreTable:
    codes: dict[str, Codes] = {}
    levels: dict[str, tuple[str, ...]] = {}
    gone: list[str] = []
    for name, (raw, known) in names.items():
        present, new = np.unique(raw[kept], return_inverse=True)
        codes[name] = new.astype(np.int64)
        levels[name] = tuple(known[i] for i in present)
        if name in ("taster", "sample", "condition"):
            left = set(known) - set(levels[name])
            gone += [f"{name} {one!r} has no score at all and is left out" for one in sorted(left)]
    order = np.lexsort([codes[name] for name in reversed(list(codes))])
    dropped = int((~kept).sum())
    said = (f"{count(dropped, 'row')} without a score left out, none imputed",) if dropped else ()
    return ScoreTable(
        score=score[kept][order],
        codes={name: one[order] for name, one in codes.items()},
        levels=levels,
        position=None if position is None else position[kept][order],
        dropped=dropped,
        notes=(*said, *gone),
    )


def _refuse_too_few(table: ScoreTable, least_samples: int, least_tasters: int) -> None:
    for which, least in (("sample", least_samples), ("taster", least_tasters)):
        found = table.levels[which]
        if len(found) < least:
            named = ", ".join(map(repr, found)) or "none"
            raise ValueError(f"{which}: at least {least} with scores are needed, but there is {named}")
