"""The verdict as readers take it: a table in plain CSV, and a page of its own without anything else."""

from __future__ import annotations

import csv
import dataclasses
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.verdict_words import headline
from panel.web.pages import make_environment
from panel.web.verdict_inputs import has_verdict, inputs_of
from panel.web.verdict_parts import RESTS
from panel.web.verdict_view import criteria_table, totals_table

if TYPE_CHECKING:
    from panel.analysis.view_parts import Table
    from panel.bench.verdict import Verdict
    from panel.store.tables import Study
    from panel.web.house import House


@dataclass(frozen=True, slots=True)
class TablePage:
    """The table for readers."""

    title: str
    said: tuple[str, ...]
    tables: tuple[Table, ...]
    rests: str


def table_file(house: House, study: Study) -> str:
    """Places, totals and criteria as a whole page; "" before the reveal and without criteria."""
    if not has_verdict(study):
        return ""
    verdict = inputs_of(house, study).verdict()
    said = tuple(statement.text for statement in headline(verdict))
    tables = (totals_table(verdict), criteria_table(verdict))
    shown = TablePage(study.title, house.local.part(said), house.local.part(tables), RESTS)
    template = make_environment(house.local).get_template("verdict/table.html")
    return template.render({field.name: getattr(shown, field.name) for field in dataclasses.fields(shown)})


def as_csv(verdict: Verdict) -> str:
    """One line for each product and criterion, with the product's total; plain numbers, decimal points."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    heads = "product,standing,place_low,place_high,letters,total,total_low,total_high,chance_first,criterion,group"
    lines.writerow([*heads.split(","), "share", "value", "low", "high", "unit", "n", "score", "missing"])
    for card in verdict.cards:
        total = (card.total, card.low, card.high, card.first if card.ranks else None)
        for one in card.criteria:
            found = (one.value, one.low, one.high, one.unit, one.n, one.score, one.missing)
            row = (
                card.name,
                card.standing,
                card.place_low or "",
                card.place_high or "",
                card.letters,
                *total,
            )
            lines.writerow([_cell(cell) for cell in (*row, one.name, one.group, one.share, *found)])
    return out.getvalue()


def _cell(value: object) -> object:
    """Numbers with what they hold; text that a spreadsheet would take for a formula is kept as text."""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@"):
        return f"'{value}"
    return "" if value is None else value
