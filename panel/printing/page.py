"""One way to draw on paper: millimetres from the top left corner, black ink, nothing that names anybody."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import Any

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from panel.printing import lettering

HAIRLINE = 0.1  # mm
A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)
PAPERS: dict[str, tuple[float, float]] = {"A4": A4, "Letter": LETTER}
KITCHEN_ONLY = "KITCHEN ONLY"
REHEARSAL = "REHEARSAL"


@dataclass(frozen=True, slots=True)
class PrintedSheet:
    """A finished print. pdf : the file's bytes; pages : how many; warnings : plain sentences for the organiser."""

    pdf: bytes
    pages: int
    warnings: tuple[str, ...] = ()


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height in mm; ValueError for a paper that is not known."""
    if paper not in PAPERS:
        raise ValueError(f"paper must be one of {', '.join(PAPERS)}; got {paper!r}")
    return PAPERS[paper]


class Page:
    """A PDF being drawn. All lengths in mm, x to the right and y downwards from the top left corner.

    title : the kind of sheet, the only thing that the file says about itself
    """

    def __init__(self, size: tuple[float, float], title: str) -> None:
        lettering.ready()
        self.width, self.height = size
        self.pages = 0
        self._buffer = BytesIO()
        self.canvas: Any = Canvas(
            self._buffer,
            pagesize=(self.width * mm, self.height * mm),
            invariant=1,
            pageCompression=1,
            initialFontName=lettering.BODY,
        )
        neutral(self.canvas, title)

    def text(
        self,
        x: float,
        baseline: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        align: str = "left",
        spacing: float = 0.0,
        grey: float = 0.0,
    ) -> None:
        """Draw one line; `size` in points, `spacing` between characters in mm; x is its left, middle or right."""
        extra = spacing * mm
        wide = lettering.width(text, size, bold=bold, spacing=extra)
        left = x * mm - {"left": 0.0, "middle": wide / 2, "right": wide}[align]
        self.canvas.setFillGray(grey)
        for font, piece in lettering.runs(text, bold=bold):
            self.canvas.setFont(font, size)
            self.canvas.drawString(left, (self.height - baseline) * mm, piece, charSpace=extra)
            left += self.canvas.stringWidth(piece, font, size) + extra * len(piece)
        self.canvas.setFillGray(0)

    def fitted(
        self,
        x: float,
        baseline: float,
        text: str,
        size: float,
        room: float,
        *,
        bold: bool = False,
        align: str = "left",
    ) -> None:
        """Draw one line, smaller where `room` mm asks for it, cut with an ellipsis where even 5 pt is too wide."""
        points = lettering.fitted(text, size, room * mm, bold=bold)
        kept = lettering.shortened(text, points, room * mm, bold=bold)
        self.text(x, baseline, kept, points, bold=bold, align=align)

    def rule(
        self, x1: float, y1: float, x2: float, y2: float, thick: float = HAIRLINE, dash: bool = False
    ) -> None:
        """A line between two points, `thick` mm."""
        self.canvas.setLineWidth(thick * mm)
        self.canvas.setStrokeGray(0)
        self.canvas.setDash([2, 2] if dash else [])
        self.canvas.line(x1 * mm, (self.height - y1) * mm, x2 * mm, (self.height - y2) * mm)
        self.canvas.setDash([])

    def box(
        self,
        x: float,
        y: float,
        wide: float,
        high: float,
        *,
        thick: float = HAIRLINE,
        filled: bool = False,
        corner: float = 0.0,
    ) -> None:
        """A rectangle by its top left corner; corner : radius in mm."""
        self.canvas.setLineWidth(thick * mm)
        self.canvas.setStrokeGray(0)
        self.canvas.setFillGray(0)
        shape = (x * mm, (self.height - y - high) * mm, wide * mm, high * mm)
        if corner:
            self.canvas.roundRect(*shape, corner * mm, stroke=int(not filled), fill=int(filled))
        else:
            self.canvas.rect(*shape, stroke=int(not filled), fill=int(filled))

    def circle(self, x: float, y: float, radius: float, thick: float = HAIRLINE) -> None:
        """A circle around (x, y)."""
        self.canvas.setLineWidth(thick * mm)
        self.canvas.setStrokeGray(0)
        self.canvas.circle(x * mm, (self.height - y) * mm, radius * mm, stroke=1, fill=0)

    def watermark(self) -> None:
        """The word that keeps a rehearsal's print from being taken for the real one, behind everything else."""
        draw_watermark(self.canvas, self.width, self.height)

    def next_page(self) -> None:
        """Finish this page."""
        self.canvas.showPage()
        self.pages += 1

    def finish(self, warnings: tuple[str, ...] = ()) -> PrintedSheet:
        """The file; every page must have been finished with `next_page`."""
        self.canvas.save()
        return PrintedSheet(self._buffer.getvalue(), self.pages, warnings)


def neutral(canvas: Any, title: str) -> None:
    """Metadata that says the kind of sheet and nothing else; and no scaling when it is printed."""
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator("")
    canvas.setProducer("")
    canvas.setKeywords("")
    canvas.setViewerPreference("PrintScaling", "None")


def draw_watermark(canvas: Any, width: float, height: float) -> None:
    """REHEARSAL in light grey across a page of `width` by `height` mm."""
    canvas.saveState()
    canvas.setFillGray(0.88)
    canvas.translate(width * mm / 2, height * mm / 2)
    canvas.rotate(55 if height > width else 30)
    size = min(width, height) * mm / 5.2
    canvas.setFont(lettering.BOLD, size)
    canvas.drawCentredString(0, -size / 3, REHEARSAL)
    canvas.restoreState()
