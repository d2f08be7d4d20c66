"""The report for a terminal: the same view as the page, as aligned plain text."""

from __future__ import annotations

import textwrap
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panel.analysis.view_parts import ReportView, Section, Table

_WIDTH = 100
_CELL = 44  # longest cell of a row's heading; the rest is cut with an ellipsis


def text_report(view: ReportView) -> str:
    """The whole report as text, lines of at most 100 characters where tables allow."""
    parts = [_title(view.title, "=")]
    if view.question:
        parts.append(_filled(view.question))
    parts += [_filled(view.headline), _filled(view.status)]
    parts.append("\n".join(_filled(f"{term}: {text}", hang=2) for term, text in view.facts))
    if view.sure:
        told = [_filled(f"- {text}", hang=2) for text in view.sure]
        parts.append(_title("How sure is this?", "-") + "\n" + "\n".join(told))
    if view.findings:
        listed = [_filled(f"- {finding.text} [{finding.standing}]", hang=2) for finding in view.findings]
        parts.append(_title("Findings", "-") + "\n" + "\n".join(listed))
    parts += [_section(section) for section in view.sections]
    if view.provenance:
        lines = [_filled(f"{term}: {text}", hang=2) for term, text in view.provenance]
        parts.append(_title("To repeat this", "-") + "\n" + "\n".join(lines))
    return "\n\n".join(part for part in parts if part) + "\n"


def _section(section: Section) -> str:
    parts = [_title(section.title, "-"), *(_filled(text) for text in section.paragraphs)]
    parts += [table_text(table) for table in section.tables]
    if section.notes:
        parts.append("\n".join(_filled(f"· {note}", hang=2) for note in section.notes))
    return "\n\n".join(parts)


def table_text(table: Table) -> str:
    """One table with its caption, columns aligned."""
    heads = [column.heading for column in table.columns]
    rows = [[_cut(row[0]), *row[1:]] for row in table.rows]
    widths = [max(_wide(line[place]) for line in [heads, *rows]) for place in range(len(heads))]

    def line(cells: list[str]) -> str:
        padded = [
            _pad(cell, width, right=column.numeric)
            for cell, width, column in zip(cells, widths, table.columns, strict=True)
        ]
        return "  ".join(padded).rstrip()

    rule = "  ".join("-" * width for width in widths)
    body = "\n".join([line(heads), rule, *(line(row) for row in rows)])
    return "\n".join(filter(None, [_filled(table.caption), body, _filled(table.note)]))


def _title(text: str, mark: str) -> str:
    return f"{text}\n{mark * min(_WIDTH, _wide(text))}"


def _filled(text: str, hang: int = 0) -> str:
    return textwrap.fill(text, _WIDTH, subsequent_indent=" " * hang, break_on_hyphens=False) if text else ""


def _cut(text: str) -> str:
    return text if len(text) <= _CELL else text[: _CELL - 1] + "…"


def _wide(text: str) -> int:
    """Columns that a terminal gives the text: wide scripts take two, accents none."""
    return sum(
        0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in text
    )


def _pad(text: str, width: int, *, right: bool) -> str:
    space = " " * (width - _wide(text))
    return space + text if right else text + space
