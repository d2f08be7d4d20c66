"""Codes in rows: the kitchen's and the server's lists."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from panel.printing import lettering

_LEAD = 16.0  # mm


class CodeRow(Flowable):  # type: ignore[misc]
    """Codes side by side, each with a small line below; drawn at once, since a sitting may hold thousands.

    lead : what the codes belong to, in large and small type, again on each row: it may stand on the next page
    """

    def __init__(
        self, lead: tuple[str, str], cells: Sequence[tuple[str, str]], across: int, wide: float
    ) -> None:
        super().__init__()
        self.lead, self.cells, self.step = lead, cells, (wide - _LEAD) * mm / across
        self.width, self.height = wide * mm, 13.5 * mm

    def draw(self) -> None:
        canvas = self.canv
        for index, (code, small) in enumerate(self.cells):
            left = _LEAD * mm + index * self.step
            canvas.setFont(lettering.BOLD, 16)
            canvas.drawString(left, 6.5 * mm, code, charSpace=1)
            canvas.setLineWidth(0.8)
            canvas.line(left, 5.6 * mm, left + lettering.width(code, 16, bold=True, spacing=1), 5.6 * mm)
            _fitted(canvas, left, 2.4 * mm, small, 7, self.step - 2 * mm)
        _fitted(canvas, 0, 6.5 * mm, self.lead[0], 13, (_LEAD - 2) * mm)
        _fitted(canvas, 0, 2.4 * mm, self.lead[1], 7, (_LEAD - 2) * mm)


def _fitted(canvas: Any, left: float, baseline: float, text: str, largest: float, room: float) -> None:
    size = lettering.fitted(text, largest, room)
    for font, piece in lettering.runs(lettering.shortened(text, size, room)):
        canvas.setFont(font, size)
        canvas.drawString(left, baseline, piece)
        left += canvas.stringWidth(piece, font, size)


def code_rows(
    lead: tuple[str, str], cells: Sequence[tuple[str, str]], wide: float, across: int = 7
) -> list[Flowable]:
    """`cells` of code and small line in rows of `across` over `wide` mm, each row led by `lead`."""
    return [
        CodeRow(lead, cells[start : start + across], across, wide) for start in range(0, len(cells), across)
    ]
