"""The tables of answers that leave the house: one row an answer, by blind label and taster's number."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from panel.study.questions import wording_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from panel.study.answer_rows import Choice, Score
    from panel.study.plan import Plan


def answers_csv(plan: Plan, scores: Iterable[Score], left_out: Mapping[str, str]) -> str:
    """Every answer about single cups, and without a sample those given once at the end; "" where there is none.

    left_out : attempt id -> reason
    """
    wording = wording_of(plan)
    return rows_csv(
        {
            "taster": s.taster,
            "sample": s.sample,
            "question": s.question,
            "wording": wording[s.question],
            "condition": s.condition,
            "replicate": s.replicate,
            "position": s.position,
            "value": "" if s.value is None else s.value,
            "late": _yes_no(s.late),
            "left_out": left_out.get(s.attempt_id, ""),
        }
        for s in scores
    )


def choices_csv(choices: Iterable[Choice], left_out: Mapping[str, str]) -> str:
    """Every answer about a set; "" where there is none. left_out: attempt id -> reason."""
    return rows_csv(
        {
            "taster": c.taster,
            "set": c.set_number,
            "condition": c.condition,
            "samples": " ".join(c.samples),
            "chosen": c.chosen,
            "correct": "" if c.correct is None else _yes_no(c.correct),
            "arrived": c.arrived,
            "late": _yes_no(c.late),
            "left_out": left_out.get(c.attempt_id, ""),
        }
        for c in choices
    )


def rows_csv(rows: Iterable[Mapping[str, Any]]) -> str:
    """The rows as CSV with the first row's names as headings; "" for no rows."""
    listed = list(rows)
    if not listed:
        return ""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(listed[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: _harmless(cell) for name, cell in row.items()} for row in listed)
    return text.getvalue()


def _yes_no(value: bool) -> str:
    return "yes" if value else "no"


def _harmless(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets a leading apostrophe."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
