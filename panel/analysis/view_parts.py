"""What a report shows, already in words: the one shape that the page, the file and the terminal render."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panel.analysis.figures import Figure


@dataclass(frozen=True, slots=True)
class Column:
    """A heading; numbers are set flush right."""

    heading: str
    numeric: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text cells. The first cell of a row is its heading; `detail` tables are folded away."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    detail: bool = False


def folded(table: Table | None) -> Table | None:
    """The same table, folded away until the reader asks for it."""
    return None if table is None else dataclasses.replace(table, detail=True)


@dataclass(frozen=True, slots=True)
class Finding:
    """A sentence, and whether it was planned for ("primary", "secondary") or is "exploratory"."""

    text: str
    standing: str


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the report. `notes` is the small print on method and assumptions."""

    id: str
    title: str
    paragraphs: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReportView:
    """A whole report: the answer first, then how it was found.

    headline : the answer in a sentence or two; status : by blind label or by name, planned or exploratory
    facts : term and text, who took part and what was read
    """

    title: str
    question: str
    headline: str
    status: str
    findings: tuple[Finding, ...]
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    provenance: tuple[tuple[str, str], ...] = field(default=())

    def figures(self) -> tuple[Figure, ...]:
        """Every figure of the report; their names are unique within it."""
        return tuple(figure for section in self.sections for figure in section.figures)
