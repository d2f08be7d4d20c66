"""What a report shows, already in words: the one shape that the page, the file and the terminal render."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

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


def table_of(
    caption: str, headings: tuple[str, ...], rows: Iterable[tuple[str, ...]], *, words: tuple[str, ...] = ()
) -> Table:
    """A table whose first column is words and whose others are numbers. words : headings of further words."""
    columns = tuple(
        Column(heading, numeric=place > 0 and heading not in words) for place, heading in enumerate(headings)
    )
    return Table(caption=caption, columns=columns, rows=tuple(rows))


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
    """A part of the report. `notes` is the small print on method and assumptions.

    gist : what it comes to in a few words, read beside the title while the part is folded
    opened : whether it is unfolded from the start
    """

    id: str
    title: str
    paragraphs: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    gist: str = ""
    opened: bool = False


@dataclass(frozen=True, slots=True)
class ReportView:
    """A whole report: the answer first, then how it was found.

    headline : the answer in a sentence or two; lead : the figure that shows it, None where none can
    sure : how sure that is, in sentences: against other methods, chance findings, and what no panel can say
    status : by blind label or by name, planned or exploratory
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
    lead: Figure | None = None
    sure: tuple[str, ...] = ()

    def figures(self) -> tuple[Figure, ...]:
        """Every figure of the report; their names are unique within it."""
        lead = () if self.lead is None else (self.lead,)
        return (*lead, *(figure for section in self.sections for figure in section.figures))

    def with_sections(self, *further: Section) -> ReportView:
        """The same report with further parts, before the part on method and what follows it."""
        at = next((n for n, one in enumerate(self.sections) if one.id == "method"), len(self.sections))
        return dataclasses.replace(self, sections=(*self.sections[:at], *further, *self.sections[at:]))


def unfolded(view: ReportView) -> ReportView:
    """The same report with every part and table open, for paper and for whoever wants to read all of it."""
    return dataclasses.replace(
        view,
        sections=tuple(
            dataclasses.replace(
                one,
                opened=True,
                tables=tuple(dataclasses.replace(table, detail=False) for table in one.tables),
            )
            for one in view.sections
        ),
    )
