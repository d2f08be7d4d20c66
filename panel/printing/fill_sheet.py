"""The one sheet that ties names to pour letters: for whoever fills the containers, and nobody else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable

from panel.printing import lettering
from panel.printing.document import Marks, TickBox, gap, heading, paragraph, render, signature_line, table
from panel.printing.page import PrintedSheet

_STEPS = (
    "Work alone and out of sight. Check each package against name, maker and lot.",
    "Fill, cover, and mark each container with its pour letter only. Remove or hide everything else that tells.",
    "Put packages away. Whoever pours, serves, tastes or analyses must not see this sheet.",
    "Lock this sheet away or destroy it, and say so below. Printing it was recorded.",
)


@dataclass(frozen=True, slots=True)
class FillEntry:
    """One sample by its name, and the letter its container gets."""

    name: str
    maker: str
    lot: str
    note: str
    pour_letter: str


def fill_sheet(
    heading_text: str,
    entries: Sequence[FillEntry],
    commitment: str,
    *,
    rehearsal: bool = False,
    paper: str = "A4",
) -> PrintedSheet:
    """Names to pour letters, in the letters' order, which says nothing. KITCHEN ONLY; holds names.

    heading_text : the study's heading; commitment : of the seal, its first 16 characters are printed
    Warnings name what the paper cannot show as typed. Raises ValueError for no entries or a letter used twice.
    """
    letters = [entry.pour_letter for entry in entries]
    if not entries:
        raise ValueError("There are no samples to put on the fill sheet.")
    if len(set(letters)) < len(letters):
        raise ValueError(f"Each sample needs a pour letter of its own; got {', '.join(letters)}.")

    def story(wide: float) -> list[Flowable]:
        rows: list[list[object]] = [["Letter", "Sample", "Lot", "Note", "Filled"]]
        for entry in sorted(entries, key=lambda one: (len(one.pour_letter), one.pour_letter)):
            sample = [paragraph(entry.name, 12, bold=True, after=0)]
            if entry.maker:
                sample.append(paragraph(entry.maker, 9, after=0))
            letter = paragraph(entry.pour_letter, 26, bold=True, after=0)
            rows.append([letter, sample, entry.lot, entry.note, TickBox(5)])
        rest = wide - 24 - 16
        return [
            heading(heading_text, 15),
            paragraph(
                "Which container holds what. Fill by this sheet, then take it out of the kitchen.", after=3
            ),
            table(rows, [24, rest * 0.46, rest * 0.22, rest * 0.32, 16]),
            gap(5),
            *(paragraph(f"{number}. {step}") for number, step in enumerate(_STEPS, start=1)),
            gap(4),
            signature_line(("Filled by", "Date and time", "Sheet locked away or destroyed by"), wide),
        ]

    texts = [heading_text, *(text for e in entries for text in (e.name, e.maker, e.lot, e.note))]
    marks = Marks("Fill sheet", commitment, kitchen_only=True, rehearsal=rehearsal)
    return render(story, marks, paper=paper, warnings=lettering.doubts(texts))
