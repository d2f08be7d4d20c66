"""Sheets of running text and tables: wrapped, split over pages with their headings, numbered, marked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from reportlab.lib.enums import TA_CENTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph, Spacer, Table

from panel.printing import lettering
from panel.printing.page import KITCHEN_ONLY, PrintedSheet, draw_watermark, neutral, paper_size

MARGIN = 15.0  # mm
_HEAD = 24.0  # mm kept at the top of each page for its marks
_FOOT = 16.0
Story = Callable[[float], list[Flowable]]
"""The contents for a frame of so many mm; called afresh for each pass, since flowables are used up."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What every page of a document says in its margins.

    kind : the sort of sheet; commitment : its first 16 characters are printed
    kitchen_only : whether it must stay in the kitchen; rehearsal : whether it is no real print
    """

    kind: str
    commitment: str = ""
    kitchen_only: bool = False
    rehearsal: bool = False


def style(size: float, *, bold: bool = False, centred: bool = False, after: float = 0.0) -> ParagraphStyle:
    """A paragraph style of `size` points, `after` mm of room below."""
    return ParagraphStyle(
        f"{size}{bold}{centred}",
        fontName=lettering.BOLD if bold else lettering.BODY,
        fontSize=size,
        leading=size * 1.3,
        spaceAfter=after * mm,
        alignment=TA_CENTER if centred else 0,
        splitLongWords=1,
    )


def paragraph(
    text: str, size: float = 9.5, *, bold: bool = False, centred: bool = False, after: float = 1.5
) -> Paragraph:
    """`text` as one wrapped paragraph."""
    return Paragraph(
        lettering.markup(text, bold=bold) or " ", style(size, bold=bold, centred=centred, after=after)
    )


def heading(text: str, size: float = 12.0) -> Paragraph:
    """A heading that stays with what follows."""
    made = Paragraph(lettering.markup(text, bold=True) or " ", style(size, bold=True, after=1.5))
    made.keepWithNext = 1
    return made


def gap(high: float) -> Spacer:
    """Room of `high` mm."""
    return Spacer(1, high * mm)


def table(
    rows: Sequence[Sequence[Any]], widths: Sequence[float], *, head: int = 1, lines: bool = True
) -> Table:
    """A table of text or flowables, `widths` in mm; the first `head` rows are repeated on each page."""
    cells = [
        [
            paragraph(cell, 8, bold=True, after=0) if n < head and isinstance(cell, str) else _cell(cell)
            for cell in row
        ]
        for n, row in enumerate(rows)
    ]
    rules: list[tuple[Any, ...]] = [
        ("FONTNAME", (0, 0), (-1, -1), lettering.BODY),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
    ]
    if lines:
        rules.append(("LINEBELOW", (0, 0), (-1, -1), 0.3, "black"))
    if lines and head:
        rules.append(("LINEBELOW", (0, head - 1), (-1, head - 1), 0.9, "black"))
    return Table(cells, colWidths=[wide * mm for wide in widths], repeatRows=head, style=rules, hAlign="LEFT")


def _cell(cell: Any) -> Any:
    return paragraph(cell, 9, after=0) if isinstance(cell, str) else cell


class TickBox(Flowable):  # type: ignore[misc]
    """An empty square to tick."""

    def __init__(self, side: float = 4.0) -> None:
        super().__init__()
        self.width = self.height = side * mm

    def draw(self) -> None:
        self.canv.setLineWidth(0.6)
        self.canv.rect(0, 0, self.width, self.height)


def signature_line(words: Sequence[str], wide: float) -> Table:
    """A line to write on for each of `words`, side by side over `wide` mm."""
    gap_width = 6.0
    each = (wide - gap_width * (len(words) - 1)) / len(words)
    cells: list[Any] = [part for word in words for part in (paragraph(word, 8, after=0), "")][:-1]
    widths = [(each, gap_width)[column % 2] * mm for column in range(len(cells))]
    made = Table([[""] * len(cells), cells], colWidths=widths, rowHeights=[9 * mm, None], hAlign="LEFT")
    rules: list[tuple[Any, ...]] = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("TOPPADDING", (0, 1), (-1, 1), 1)]
    rules.append(("FONTNAME", (0, 0), (-1, -1), lettering.BODY))
    rules += [("LINEABOVE", (one, 1), (one, 1), 0.4, "black") for one in range(0, len(cells), 2)]
    made.setStyle(rules)
    return made


def render(
    story: Story,
    marks: Marks,
    *,
    paper: str = "A4",
    warnings: tuple[str, ...] = (),
    landscape: bool = False,
) -> PrintedSheet:
    """The document that `story` describes; laid out twice, so that each page knows how many there are."""
    lettering.ready()
    wide, high = sorted(paper_size(paper), reverse=landscape)
    _, pages = _built(story, marks, (wide, high), 0)
    pdf, pages = _built(story, marks, (wide, high), pages)
    return PrintedSheet(pdf, pages, warnings)


def _built(story: Story, marks: Marks, size: tuple[float, float], pages: int) -> tuple[bytes, int]:
    wide, high = size
    buffer = BytesIO()
    document = BaseDocTemplate(
        buffer,
        pagesize=(wide * mm, high * mm),
        invariant=1,
        pageCompression=1,
        initialFontName=lettering.BODY,
    )
    frame = Frame(
        MARGIN * mm,
        _FOOT * mm,
        (wide - 2 * MARGIN) * mm,
        (high - _HEAD - _FOOT) * mm,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )

    def mark(canvas: Canvas, laid_out: Any) -> None:
        neutral(canvas, marks.kind)
        _draw_marks(canvas, marks, size, laid_out.page, pages)

    document.addPageTemplates([PageTemplate(frames=[frame], onPage=mark)])
    document.build(story(wide - 2 * MARGIN))
    return buffer.getvalue(), int(document.page)


def _draw_marks(canvas: Any, marks: Marks, size: tuple[float, float], page: int, pages: int) -> None:
    wide, high = size
    if marks.rehearsal:
        draw_watermark(canvas, wide, high)
    canvas.saveState()
    if marks.kitchen_only:
        canvas.setFillGray(0)
        canvas.rect(MARGIN * mm, (high - 17) * mm, (wide - 2 * MARGIN) * mm, 7 * mm, stroke=0, fill=1)
        canvas.setFillGray(1)
        canvas.setFont(lettering.BOLD, 12)
        canvas.drawString((MARGIN + 3) * mm, (high - 15) * mm, KITCHEN_ONLY)
        canvas.setFont(lettering.BODY, 9)
        canvas.drawRightString((wide - MARGIN - 3) * mm, (high - 15) * mm, marks.kind)
    canvas.setFillGray(0)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.3)
    canvas.line(MARGIN * mm, 13 * mm, (wide - MARGIN) * mm, 13 * mm)
    canvas.setFont(lettering.BODY, 7.5)
    seal = f" · seal {marks.commitment[:16]}" if marks.commitment else ""
    canvas.drawString(MARGIN * mm, 9 * mm, marks.kind + seal)
    canvas.drawRightString((wide - MARGIN) * mm, 9 * mm, f"page {page} of {pages}")
    canvas.restoreState()
