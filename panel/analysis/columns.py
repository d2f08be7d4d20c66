"""Columns of a table that is no table of scores: found by heading or as told, read strictly, faults listed."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.analysis.mapping import ROW_NUMBER_WORDS, WORDS
from panel.analysis.scores import LISTED_PROBLEMS
from panel.analysis.table import Problem, is_missing, number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.analysis.table import RawTable

# Headings that people give, folded to letters and digits. Common practice, no source.
HEADINGS: dict[str, tuple[str, ...]] = {
    **WORDS,
    "correct": ("correct", "right", "iscorrect", "result", "success", "hit", "richtig"),
    "winner": ("winner", "preferred", "prefers", "won", "better"),
    "loser": ("loser", "other", "notpreferred", "lost", "worse"),
    "first": ("first", "sample1", "samplea", "left", "a"),
    "second": ("second", "sample2", "sampleb", "right", "b"),
    "choice": ("choice", "chosen", "preference", "prefers", "preferred", "answer"),
    "served": ("served", "truth", "stimulus", "kind", "pair", "sample", "is"),
    "answer": ("answer", "response", "said", "called", "reply"),
    "liking": ("liking", "overallliking", "hedonic", "acceptance", "overall"),
    "minutes": ("minutes", "minute", "min", "time", "timemin", "elapsed"),
    "temperature": ("temperature", "temp", "celsius", "degc", "temperaturec", "c"),
    "series": ("series", "run", "unit", "vessel", "sample", "product", "name"),
    "study": ("study", "experiment", "name", "panel", "round"),
    "method": ("method", "test", "protocol"),
    "answers": ("answers", "n", "tasters", "trials", "total"),
}
YES = frozenset({"1", "yes", "y", "true", "right", "correct", "ja", "oui", "x", "1.0", "1,0"})
NO = frozenset({"0", "no", "n", "false", "wrong", "incorrect", "nein", "non", "0.0", "0,0"})


def folded(text: str) -> str:
    """A heading or word as letters and digits only, in lower case."""
    return re.sub(r"[\W_]+", "", text.casefold())


@dataclass(slots=True)
class Columns:
    """Reads the columns of `raw` by role. What was guessed is in `said`, what is wrong in `problems`.

    told : role -> heading, as the user names them; the other roles are found by their headings
    """

    raw: RawTable
    told: Mapping[str, str]
    said: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    used: dict[str, str] = field(default_factory=dict)

    def find(self, role: str, *, needed: bool = True) -> str | None:
        """The heading of a role; a problem is kept where it is needed and not there."""
        if role in self.used:
            return self.used[role]
        told = self.told.get(role)
        if told is not None and told not in self.raw.columns:
            self.problems.append(Problem(None, told, f'There is no column "{told}". {self._has()}'))
            return None
        found = told or self._by_heading(role)
        if found is not None:
            self.used[role] = found
            if told is None:
                self.said.append(f'Column "{found}" is read as "{role}" (guessed from its heading).')
        elif needed:
            text = (
                f'No column was recognised as "{role}". Name it with --column {role}=HEADING. {self._has()}'
            )
            self.problems.append(Problem(None, None, text))
        return found

    def _by_heading(self, role: str) -> str | None:
        free = [name for name in self.raw.columns if name not in self.used.values()]
        free = [name for name in free if name not in self.told.values()]
        for word in HEADINGS[role]:
            for name in free:
                if folded(name) == folded(word):
                    return name
        return None

    def _has(self) -> str:
        return "The table has " + ", ".join(f'"{name}"' for name in self.raw.columns[:20]) + "."

    def texts(self, role: str) -> list[str]:
        """The cells of a role as they stand; an empty one is a problem."""
        said = []
        for line, cell, column in self._cells(role):
            if cell:
                said.append(cell)
            else:
                self._fault(line, column, f"the {role} is missing")
        return said

    def names(self, role: str) -> list[str]:
        """The cells of a role that the table may lack: then rows are numbered from 1."""
        if self.find(role, needed=False) is None:
            self.said.append(
                f"No column names the {role}s: each row is taken as another one, numbered from 1."
            )
            return [str(row) for row in range(1, len(self.raw.rows) + 1)]
        return self.texts(role)

    def loose(self, role: str) -> list[str]:
        """The cells of a role that may be empty."""
        return [cell for _, cell, _ in self._cells(role)]

    def truths(self, role: str) -> list[bool]:
        """Cells that say yes or no (1/0, yes/no, true/false, right/wrong)."""
        said = []
        for line, cell, column in self._cells(role):
            word = cell.casefold()
            if word in YES or word in NO:
                said.append(word in YES)
            else:
                shown = f'"{cell}" is neither yes nor no (1/0, yes/no, right/wrong)'
                self._fault(
                    line, column, shown if cell else "the answer is missing; leave out rows without one"
                )
        return said

    def numbers(self, role: str) -> list[float]:
        """Cells that hold numbers; a missing one is nan."""
        values = []
        for line, cell, column in self._cells(role):
            value = math.nan if is_missing(cell) else number(cell, self.raw.decimal)
            if value is None:
                self._fault(line, column, f'"{cell[:40]}" is not a number')
            else:
                values.append(value)
        return values

    def heading(self, name: str) -> list[float]:
        """The numbers of the column with that heading."""
        self.used.setdefault(name, name)
        return self.numbers(name)

    def left(self) -> list[str]:
        """Headings that no role has taken, without columns that only number the rows."""
        return [
            name
            for place, name in enumerate(self.raw.columns)
            if name not in self.used.values()
            and not (place < 2 and (folded(name) in ROW_NUMBER_WORDS or name.startswith("column ")))
        ]

    def stop(self) -> None:
        """Raise what is wrong, if anything is, as one WrongColumns."""
        if self.problems:
            raise WrongColumns(self.problems)

    def _cells(self, role: str) -> list[tuple[int, str, str]]:
        heading = self.find(role)
        if heading is None:
            return []
        cells = self.raw.column(heading)
        return [(line, cell, heading) for line, cell in zip(self.raw.lines, cells, strict=True)]

    def _fault(self, line: int, column: str, text: str) -> None:
        if len(self.problems) < LISTED_PROBLEMS:
            self.problems.append(Problem(line, column, f'Row {line}, column "{column}": {text}.'))


class WrongColumns(ValueError):  # noqa: N818 - named after what it is about, as it is told to people
    """A table that lacks columns or holds cells that cannot be read; carries the problems as sentences."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(problems[0].text.rstrip("."))
        self.problems = tuple(problems)
