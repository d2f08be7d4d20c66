"""A mapped table -> the long frame of scores that the statistics take, checked row by row."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.mapping import Mapping
from panel.analysis.table import Problem, is_missing, number

if TYPE_CHECKING:
    import pandas as pd

    from panel.analysis.table import RawTable

LISTED_PROBLEMS = 50
COLUMNS = ("taster", "sample", "score", "attribute", "replicate", "position", "condition")


@dataclass(frozen=True, slots=True)
class Counts:
    """What a table holds. `missing` counts cells of scores without a number."""

    rows: int = 0
    tasters: int = 0
    samples: int = 0
    attributes: int = 0
    replicates: int = 0
    conditions: int = 0
    scores: int = 0
    missing: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class ScoreTable:
    """A checked table of scores.

    frame : long; columns taster, sample, attribute (text), score (float) and, where mapped, replicate,
        condition (text) and position (integer from 1). A missing score is nan: the cup was served, and
        keeps its place in the serving order.
    problems : why it cannot be analysed as it stands; empty for a sound table
    """

    name: str
    frame: pd.DataFrame
    mapping: Mapping
    assumptions: tuple[str, ...]
    problems: tuple[Problem, ...]
    counts: Counts

    @property
    def ok(self) -> bool:
        """Whether the table can be analysed."""
        return not self.problems

    @classmethod
    def unreadable(cls, name: str, *problems: Problem, assumptions: tuple[str, ...] = ()) -> ScoreTable:
        import pandas as pd

        return cls(name, pd.DataFrame(columns=list(COLUMNS[:4])), Mapping(), assumptions, problems, Counts())


@dataclass(slots=True)
class _Row:
    line: int
    taster: str
    sample: str
    attribute: str
    cell: str
    column: str
    extra: dict[str, str]


def scores_of(raw: RawTable, mapping: Mapping, said: list[str]) -> ScoreTable:
    """The table of scores of `raw` under `mapping`; faults are listed, never repaired."""
    rows = list(_wide_rows(raw, mapping) if mapping.layout == "wide" else _long_rows(raw, mapping))
    problems: list[Problem] = []
    records: list[dict[str, Any]] = []
    missing = 0
    for row in rows:
        fault = _name_fault(row, mapping)
        if fault:
            problems.append(fault)
        else:
            missing += is_missing(row.cell)
            _read_row(row, raw.decimal, mapping, records, problems)
    problems += _duplicates(rows, mapping)
    frame = _frame(records, mapping)
    counts = _counts(raw, frame, missing)
    problems += _too_little(frame, bool(problems))
    return ScoreTable(
        name=raw.name,
        frame=frame,
        mapping=mapping,
        assumptions=(*raw.assumptions, *said, *_about_missing(rows, missing), *_about_names(frame)),
        problems=_listed(problems),
        counts=counts,
    )


def _long_rows(raw: RawTable, mapping: Mapping) -> Any:
    at = {name: place for place, name in enumerate(raw.columns)}
    extras = [(role, at[name]) for role, name in _extras(mapping)]
    taster, sample = at[mapping.taster or ""], at[mapping.sample or ""]
    for line, cells in zip(raw.lines, raw.rows, strict=True):
        extra = {role: cells[place] for role, place in extras}
        for score in mapping.scores:
            attribute = cells[at[mapping.attribute]] if mapping.attribute else score
            yield _Row(line, cells[taster], cells[sample], attribute, cells[at[score]], score, extra)


def _wide_rows(raw: RawTable, mapping: Mapping) -> Any:
    at = {name: place for place, name in enumerate(raw.columns)}
    extras = [(role, at[name]) for role, name in _extras(mapping)]
    for order, (line, cells) in enumerate(zip(raw.lines, raw.rows, strict=True), start=1):
        taster = cells[at[mapping.taster]] if mapping.taster else str(order)
        attribute = cells[at[mapping.attribute]] if mapping.attribute else "score"
        extra = {role: cells[place] for role, place in extras}
        for sample in mapping.samples:
            yield _Row(line, taster, sample, attribute, cells[at[sample]], sample, extra)


def _extras(mapping: Mapping) -> list[tuple[str, str]]:
    pairs = ((role, getattr(mapping, role)) for role in ("replicate", "position", "condition"))
    return [(role, name) for role, name in pairs if name]


def _name_fault(row: _Row, mapping: Mapping) -> Problem | None:
    named = {
        "taster": (row.taster, mapping.taster),
        "sample": (row.sample, mapping.sample),
        "attribute": (row.attribute, mapping.attribute),
        "replicate": (row.extra.get("replicate", "-"), mapping.replicate),
        "condition": (row.extra.get("condition", "-"), mapping.condition),
    }
    for role, (text, column) in named.items():
        if not text:
            return Problem(row.line, column, f'Row {row.line}, column "{column}": the {role} is missing.')
    return None


def _read_row(
    row: _Row, decimal: str, mapping: Mapping, records: list[dict[str, Any]], problems: list[Problem]
) -> None:
    where = f'Row {row.line}, column "{row.column}"'
    value = math.nan if is_missing(row.cell) else number(row.cell, decimal)
    if value is None:
        shown = row.cell if len(row.cell) <= 40 else row.cell[:39] + "…"
        text = f'{where}: "{shown}" is not a number. Correct it, or empty the cell if there is no score.'
        problems.append(Problem(row.line, row.column, text))
        return
    record: dict[str, Any] = {"taster": row.taster, "sample": row.sample, "score": value}
    record |= {"attribute": row.attribute, **row.extra}
    if mapping.position:
        place = number(row.extra["position"], decimal)
        if place is None or place < 1 or not place.is_integer():
            text = (
                f'Row {row.line}, column "{mapping.position}": "{row.extra["position"]}" is not a serving '
                "position (a whole number from 1)."
            )
            problems.append(Problem(row.line, mapping.position, text))
            return
        record["position"] = int(place)
    records.append(record)


def _duplicates(rows: list[_Row], mapping: Mapping) -> list[Problem]:
    seen: dict[tuple[str, ...], int] = {}
    told: set[int] = set()
    problems = []
    extra = [role for role in ("replicate", "condition") if getattr(mapping, role)]
    for row in rows:
        key = (row.taster, row.sample, row.attribute, *(row.extra[role] for role in extra))
        first = seen.setdefault(key, row.line)
        if first != row.line and row.line not in told:
            told.add(row.line)
            of = "".join(f', {role} "{row.extra[role]}"' for role in extra)
            hint = "" if mapping.replicate else " If it is a replicate, name the column that numbers them."
            text = (
                f'Rows {first} and {row.line} both give taster "{row.taster}", sample "{row.sample}"{of}. '
                f"Remove one.{hint}"
            )
            problems.append(Problem(row.line, mapping.sample, text))
    return problems


def _frame(records: list[dict[str, Any]], mapping: Mapping) -> pd.DataFrame:
    import pandas as pd

    optional = [role for role, _ in _extras(mapping)]
    frame = pd.DataFrame.from_records(records, columns=["taster", "sample", "score", "attribute", *optional])
    frame["score"] = frame["score"].astype(float)
    for column in frame.columns.difference(["score", "position"]):
        frame[column] = frame[column].astype(str)
    return frame


def _counts(raw: RawTable, frame: pd.DataFrame, missing: int) -> Counts:
    scored = frame[frame["score"].notna()]

    def levels(column: str) -> int:
        return int(scored[column].nunique()) if column in scored else 0

    names = ("taster", "sample", "attribute", "replicate", "condition")
    tasters, samples, attributes, replicates, conditions = (levels(name) for name in names)
    rows, scores = len(raw.rows), len(scored)
    return Counts(rows, tasters, samples, attributes, replicates, conditions, scores, missing)


def _too_little(frame: pd.DataFrame, faulty: bool) -> list[Problem]:
    if faulty:
        return []  # faults in single rows would be reported twice over
    frame = frame[frame["score"].notna()]
    if frame.empty:
        return [
            Problem(None, None, "The table has no score in it: every cell of the score columns is empty.")
        ]
    if frame["sample"].nunique() < 2:
        only = frame["sample"].iloc[0]
        return [Problem(None, None, f'There is only one sample, "{only}": a comparison needs two.')]
    if frame["taster"].nunique() < 2:
        only = frame["taster"].iloc[0]
        return [Problem(None, None, f'There is only one taster, "{only}": a panel needs at least two.')]
    return []


def _about_missing(rows: list[_Row], missing: int) -> list[str]:
    if not missing:
        return []
    words = sorted({row.cell for row in rows if row.cell and is_missing(row.cell)})
    quoted = ", ".join(f'"{word}"' for word in words)
    also = f" (among them cells with {quoted})" if words else ""
    plural = "1 score is" if missing == 1 else f"{missing} scores are"
    return [f"{plural} missing of {len(rows)}{also}; nothing is filled in for them."]


def _about_names(frame: pd.DataFrame) -> list[str]:
    said = []
    for role in ("sample", "taster"):
        names: dict[str, str] = {}
        for name in frame[role].unique():
            other = names.setdefault(" ".join(name.casefold().split()), name)
            if other != name:
                said.append(f'"{other}" and "{name}" differ only in case or spaces: read as two {role}s.')
    return said


def _listed(problems: list[Problem]) -> tuple[Problem, ...]:
    if len(problems) <= LISTED_PROBLEMS:
        return tuple(problems)
    more = len(problems) - LISTED_PROBLEMS
    last = Problem(
        None, None, f"And {more} more problems of this kind. Correct these first, then read again."
    )
    return (*problems[:LISTED_PROBLEMS], last)
