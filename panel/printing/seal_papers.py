"""The two papers that outlive the machine: the recovery code, and the end of the chain of events."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Flowable

from panel.printing import lettering
from panel.printing.document import Marks, gap, heading, paragraph, render, signature_line
from panel.printing.page import PrintedSheet


def recovery_sheet(
    code: str, *, heading_text: str = "", commitment: str = "", paper: str = "A4"
) -> PrintedSheet:
    """The code that opens the seal when the passphrase is lost. Raises ValueError for an empty code."""
    if not code.strip():
        raise ValueError("code must not be empty: a recovery sheet without it recovers nothing")

    def story(wide: float) -> list[Flowable]:
        return [
            heading("Recovery code", 20),
            *([paragraph(heading_text, 12)] if heading_text else []),
            gap(6),
            paragraph(code, 19, bold=True, after=8),
            paragraph(
                "This code opens the sealed key as the passphrase does. Whoever holds it can learn which sample is "
                "which: fold it, close it in an envelope, sign across the flap, and give it to somebody who does "
                "not pour, serve, taste or analyse.",
                11,
            ),
            paragraph("Dashes, blanks and small letters do not matter when it is typed.", 11),
            paragraph(
                "It is shown once and kept nowhere else. Without it and without the passphrase "
                "the names of the samples cannot be recovered by anybody.",
                11,
            ),
            gap(10),
            signature_line(("Kept by", "Since", "Opened on, by, why"), wide),
        ]

    marks = Marks("Recovery sheet", commitment)
    return render(story, marks, paper=paper, warnings=lettering.doubts([heading_text]))


def closing_sheet(
    heading_text: str,
    chain_head: str,
    commitment: str,
    *,
    events: int | None = None,
    facts: Sequence[str] = (),
    paper: str = "A4",
) -> PrintedSheet:
    """Anchors the chain on paper: a cut-off end of the chain of events is invisible without it.

    chain_head, commitment : hexadecimal, in full; events : how many the chain holds; facts : lines such as counts
    Raises ValueError for an empty chain head or commitment.
    """
    if not chain_head or not commitment:
        raise ValueError("chain_head and commitment must not be empty: they are what the sheet anchors")

    def story(wide: float) -> list[Flowable]:
        count = f" ({events} events)" if events is not None else ""
        return [
            heading(heading_text, 16),
            paragraph(
                "Closing sheet: print when the sitting is closed, sign, and keep with the raw papers.", 10
            ),
            *(paragraph(fact, 10) for fact in facts),
            gap(5),
            heading(f"Last event of the chain{count}", 12),
            *(paragraph(line, 14, bold=True, after=0) for line in grouped(chain_head)),
            gap(6),
            heading("Commitment of the seal", 12),
            *(paragraph(line, 14, bold=True, after=0) for line in grouped(commitment)),
            gap(6),
            paragraph(
                "Any later change to an event, and any event taken away, gives another last line. Whoever holds "
                "this sheet can compare it with the exported files at any time.",
                10,
            ),
            gap(10),
            signature_line(("Closed by", "Date and time", "Witness"), wide),
        ]

    marks = Marks("Closing sheet", commitment)
    return render(story, marks, paper=paper, warnings=lettering.doubts([heading_text, *facts]))


def grouped(fingerprint: str) -> list[str]:
    """A fingerprint in groups of eight, four to a line, for eyes that compare."""
    groups = [fingerprint[start : start + 8] for start in range(0, len(fingerprint), 8)]
    return [" ".join(groups[start : start + 4]) for start in range(0, len(groups), 4)]
