"""Other people's tables: bytes and a file name -> a checked table of scores.

    raw = read_table(data, "scores.csv")        cells as text; what was assumed is said
    mapping = complete_mapping(raw, wishes)     which column is what: as told, the rest guessed
    table = read_scores(data, "scores.csv")     both, and the checked long frame

Nothing is repaired silently: an assumption is said in `assumptions`, a fault in `problems`.
"""

from __future__ import annotations

from panel.analysis.mapping import Mapping, complete_mapping
from panel.analysis.reading_text import cells, decode
from panel.analysis.reading_xlsx import is_workbook, workbook_cells
from panel.analysis.scores import ScoreTable, scores_of
from panel.analysis.table import LIMIT_BYTES, Problem, RawTable, UnreadableTable, clean, decimal_mark

__all__ = [
    "LIMIT_BYTES",
    "Mapping",
    "Problem",
    "RawTable",
    "ScoreTable",
    "UnreadableTable",
    "complete_mapping",
    "read_scores",
    "read_table",
]


def read_scores(data: bytes, name: str, wishes: Mapping | None = None, *, guess: bool = True) -> ScoreTable:
    """The checked table of scores in a CSV, TSV or XLSX file, in long form.

    wishes : columns that the user names; what they leave open is guessed and shown, with guess=False it
        stays open
    A file that is no table at all gives an empty table with the one problem, never an exception.
    """
    try:
        raw = read_table(data, name)
    except UnreadableTable as error:
        return ScoreTable.unreadable(name, error.problem)
    if raw.problems:
        return ScoreTable.unreadable(name, *raw.problems, assumptions=raw.assumptions)
    mapping, said, problems = complete_mapping(raw, wishes, guess=guess)
    if mapping is None:
        return ScoreTable.unreadable(name, *problems, assumptions=(*raw.assumptions, *said))
    return scores_of(raw, mapping, said)


def read_table(data: bytes, name: str) -> RawTable:
    """The cells of a file as text. UnreadableTable (a ValueError) where there is no table to read."""
    _refuse_size(data)
    if is_workbook(data):
        lines, assumptions = workbook_cells(data)
    else:
        text, assumptions = decode(data)
        lines, more = cells(text)
        assumptions = [*assumptions, *more]
    if not lines:
        raise UnreadableTable("The file is empty. It should hold a line of headings and a line per score.")
    numbered = [(line, [clean(cell) for cell in row]) for line, row in lines]
    return _with_headings(name, numbered, assumptions)


def _refuse_size(data: bytes) -> None:
    if len(data) > LIMIT_BYTES:
        raise UnreadableTable(
            f"The file holds {len(data) / 1e6:.1f} MB; at most {LIMIT_BYTES / 1e6:.0f} MB are read. "
            "Keep only the columns with tasters, samples and scores."
        )
    if not data.strip():
        raise UnreadableTable("The file is empty. It should hold a line of headings and a line per score.")


def _with_headings(name: str, numbered: list[tuple[int, list[str]]], assumptions: list[str]) -> RawTable:
    (top, heads), body = numbered[0], numbered[1:]
    while heads and not heads[-1]:
        heads = heads[:-1]
    if not body:
        raise UnreadableTable(f"The file has headings in row {top}, but no scores below them.", row=top)
    if all(len(row) == len(heads) + 1 for _, row in body):
        heads = ["", *heads]  # as R's write.table does with row names
        assumptions = [*assumptions, "The first column has no heading and is taken as row names."]
    problems = _heading_problems(top, heads)
    rows, shape = _even_rows(len(heads), body)
    decimal, said = decimal_mark(rows)
    columns = tuple(head or f"column {place}" for place, head in enumerate(heads, start=1))
    return RawTable(
        name=name,
        columns=columns,
        rows=tuple(tuple(row) for row in rows),
        lines=tuple(line for line, _ in body),
        decimal=decimal,
        assumptions=(*assumptions, *([said] if said else [])),
        problems=(*problems, *shape),
    )


def _heading_problems(line: int, heads: list[str]) -> list[Problem]:
    twice = sorted({head for head in heads if head and heads.count(head) > 1})
    return [
        Problem(line, head, f'Row {line}: {heads.count(head)} columns are called "{head}". Rename them.')
        for head in twice
    ]


def _even_rows(width: int, body: list[tuple[int, list[str]]]) -> tuple[list[list[str]], list[Problem]]:
    """Rows as wide as the headings. Missing cells at the end count as empty; surplus ones are a fault."""
    rows, problems = [], []
    for line, row in body:
        if any(row[width:]):
            text = (
                f"Row {line} has {len(row)} cells, but there are {width} headings. "
                "Is a comma or separator inside a name? Put the name in quotation marks."
            )
            problems.append(Problem(line, None, text))
        rows.append((row + [""] * width)[:width])
    return rows, problems
