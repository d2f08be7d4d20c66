"""The people and the serving: who scores consistently, and whether the order of serving moved the scores."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panel.analysis.figures import consistency_grid
from panel.analysis.figures_plots import serving_grid
from panel.analysis.numbers import (
    ABSENT,
    as_sentence,
    decimals_for,
    fixed,
    interval,
    natural,
    p_cell,
    p_equals,
    signed,
    typeset,
)
from panel.analysis.view_parts import Column, Section, Table
from stats.phrasing import count, listing, percent, significant

if TYPE_CHECKING:
    from panel.analysis.figures import Figure
    from panel.analysis.score_report import AttributeReport, ScoreReport
    from panel.analysis.wording import Called
    from stats.camps import Camps
    from stats.consistency import PanelConsistency
    from stats.order_effects import OrderEffects

MANY_FLAGS = 12  # rows that are read at a glance
GRID_NOTE = (
    "A reliability of 0 means that scores say nothing about the samples, one of 1 that all tasters say the same. "
    "Agreement is the correlation of a taster's scores with the mean of the other tasters; a frame marks a flag. "
    "With few samples it is uncertain: read it as a hint, not as a verdict on a person."
)


def people_section(report: ScoreReport, *, figures: bool) -> Section | None:
    """Panel consistency over all attributes; None where no attribute allows it."""
    known = [one for one in report.attributes if one.consistency is not None]
    if not known:
        return None
    paragraphs = [_panel_sentence(one, one.consistency) for one in known if one.consistency]
    if report.patterns is not None:
        paragraphs.append(report.patterns.sentence())
    flags = _flags_table(known)
    drawn = (_grid(known),) if figures else ()
    tables = [_tasters_table(known[0]), *([flags] if flags else [])]
    notes = [GRID_NOTE, *(note for one in known if one.consistency for note in one.consistency.notes)]
    flagged = len({flag.taster for one in known if one.consistency for flag in one.consistency.flags})
    told = {text.casefold() for table in tables for text in re.split(r"(?<=\.) ", table.note)}
    return Section(
        "people",
        "Who tasted: can the panel be trusted?",
        paragraphs=tuple(map(typeset, paragraphs)),
        figures=drawn,
        tables=tuple(tables),
        notes=tuple(
            dict.fromkeys(text for note in notes if (text := as_sentence(note)).casefold() not in told)
        ),
        gist=f"{flagged} of {count(report.tasters, 'taster')} flagged" if flagged else "nobody is flagged",
    )


def _panel_sentence(one: AttributeReport, panel: PanelConsistency) -> str:
    """Reliability, and who is flagged; what leaving them out does stands under robustness."""
    names = sorted({flag.taster for flag in panel.flags}, key=natural)
    if not names:
        return f"“{one.title}”: {panel.reliability()}; no taster is flagged."
    who = listing(names if len(names) <= 4 else [*names[:3], f"{len(names) - 3} more"])
    noun, verb = ("taster", "is") if len(names) == 1 else ("tasters", "are")
    return f"“{one.title}”: {panel.reliability()}; {noun} {who} {verb} flagged."


def _grid(known: list[AttributeReport]) -> Figure:
    values: dict[str, dict[str, float | None]] = {}
    flagged: dict[str, list[str]] = {}
    for one in known:
        assert one.consistency is not None
        for row in sorted(one.consistency.tasters, key=lambda row: natural(row.taster)):
            values.setdefault(row.taster, {})[one.title] = row.agreement
        for flag in one.consistency.flags:
            flagged.setdefault(flag.taster, []).append(one.title)
    return consistency_grid(values, flagged, title="Agreement of each taster with the rest")


def _tasters_table(one: AttributeReport) -> Table:
    assert one.consistency is not None
    rows = sorted(one.consistency.tasters, key=lambda row: natural(row.taster))
    reasons = [row.repeatability_reason for row in rows if row.repeatability_sd is None]
    discrimination = [row.discrimination_reason for row in rows if row.discrimination_f is None]
    notes = []
    if len(discrimination) == len(rows):
        notes.append(f"Discrimination is not estimable: {discrimination[0]}.")
    if len(reasons) == len(rows):
        notes.append(f"Repeatability is not estimable: {reasons[0]}.")
    columns = [("Scores", [str(row.n) for row in rows]), ("Mean", [significant(row.mean) for row in rows])]
    columns += [("Agreement", [fixed(row.agreement, 2) for row in rows])]
    if len(discrimination) < len(rows):
        columns += [
            ("F of samples", [_figure(row.discrimination_f) for row in rows]),
            ("p", [p_cell(row.discrimination_p) for row in rows]),
        ]
    if len(reasons) < len(rows):
        columns += [("SD of repeats", [_figure(row.repeatability_sd) for row in rows])]
    return Table(
        caption=f"“{one.title}”: each taster",
        columns=(Column("Taster", numeric=False), *(Column(heading) for heading, _ in columns)),
        rows=tuple((row.taster, *(cells[place] for _, cells in columns)) for place, row in enumerate(rows)),
        note=" ".join(notes),
        detail=True,
    )


def _figure(value: float | None) -> str:
    return ABSENT if value is None else significant(value)


def _flags_table(known: list[AttributeReport]) -> Table | None:
    """Who is flagged where and for what; each rule is said once, below."""
    flags = [(one, flag) for one in known if one.consistency for flag in one.consistency.flags]
    if not flags:
        return None
    rules = dict.fromkeys(f"{flag.about}: {flag.rule}" for _, flag in flags)
    columns = tuple(Column(heading, numeric=False) for heading in ("Taster", "Attribute", "About", "Seen"))
    return Table(
        caption="Tasters that a rule flags; nobody is left out of the results",
        columns=columns,
        rows=tuple((flag.taster, one.title, flag.about, typeset(flag.seen)) for one, flag in flags),
        note=f"Rules. {'. '.join(typeset(rule[:1].upper() + rule[1:]) for rule in rules)}. A rule can flag somebody "
        "by chance, the more easily the more tasters and attributes there are.",
        detail=len(flags) > MANY_FLAGS,
    )


def serving_section(report: ScoreReport, called: Called, *, figures: bool) -> Section | None:
    """Position and carry-over; None where the table does not tell the order of serving."""
    known = [(one, one.order) for one in report.attributes if one.order is not None]
    if not known:
        return None
    return Section(
        "serving",
        "The serving: did its order move the scores?",
        paragraphs=tuple(_order_sentence(one, order, called) for one, order in known),
        gist=_order_gist([order for _, order in known]),
        figures=tuple(_serving_figure(one, called) for one, _ in known[:1]) if figures else (),
        tables=tuple(table for one, order in known for table in _order_tables(one, order, called)),
        notes=tuple(dict.fromkeys(as_sentence(note) for _, order in known for note in order.notes)),
    )


def _order_gist(known: list[OrderEffects]) -> str:
    moved = sum(
        test.p_value is not None and test.p_value < order.alpha
        for order in known
        for test in (order.position, order.carry_over)
    )
    tested = sum(test.p_value is not None for order in known for test in (order.position, order.carry_over))
    if not tested:
        return "cannot be tested"
    return f"shown in {moved} of {count(tested, 'test')}" if moved else "not shown"


def _serving_figure(one: AttributeReport, called: Called) -> Figure:
    cells: dict[str, dict[int, tuple[float, int]]] = {}
    for row in one.serving:
        cells.setdefault(called(row.sample), {})[row.position] = (row.deviation, row.n)
    return serving_grid(cells, title=f"“{one.title}”: mean points from the sample's own mean, by position")


def _order_sentence(one: AttributeReport, order: OrderEffects, called: Called) -> str:
    parts = []
    for test, rows, what, at in (
        (order.position, order.positions, "the position in the serving order", "position "),
        (order.carry_over, order.previous, "the sample tasted just before", "after "),
    ):
        if test.f is None or test.p_value is None:
            parts.append(f"the effect of {what} cannot be tested ({test.reason})")
            continue
        evidence = f"F({test.df_num:g}, {test.df_den:g}) = {significant(test.f)}, {p_equals(test.p_value)}"
        sized = [row for row in rows if row.effect.estimate is not None]
        if test.p_value >= order.alpha or not sized:
            verb = "moved the scores" if test.p_value < order.alpha else "was not shown to move the scores"
            ends = [abs(end) for row in sized for end in (row.effect.low, row.effect.high) if end is not None]
            missed = (
                f"; effects of up to {significant(max(ends), 2)} points could have been missed"
                if ends
                else ""
            )
            parts.append(f"{what} {verb} ({evidence}{missed if test.p_value >= order.alpha else ''})")
            continue
        top = max(sized, key=lambda row: abs(row.effect.estimate or 0.0))
        level = called(top.level) if at == "after " else top.level
        size = signed(top.effect.estimate, 2)
        parts.append(
            f"{what} moved the scores ({evidence}), most {at}{level}: {size} points from the average"
        )
    return f"“{one.title}”: {'; '.join(parts)}."


def _order_tables(one: AttributeReport, order: OrderEffects, called: Called) -> list[Table]:
    effects = [
        *((f"position {row.level}", row) for row in order.positions),
        *((f"after {called(row.level)}", row) for row in order.previous),
    ]
    widths = [
        (row.effect.high - row.effect.low) / 2
        for _, row in effects
        if row.effect.low is not None and row.effect.high is not None
    ]
    decimals = decimals_for(widths)
    effects_table = Table(
        caption=f"“{one.title}”: effects of position and of the sample before, in points from the average",
        columns=(Column("Served", numeric=False), Column("Effect"), Column("Interval"), Column("Scores")),
        rows=tuple(
            (
                name,
                signed(row.effect.estimate, decimals),
                interval(row.effect.low, row.effect.high, decimals),
                str(row.n),
            )
            for name, row in effects
        ),
        detail=True,
    )
    means = Table(
        caption=f"“{one.title}”: means adjusted for the order of serving beside the raw ones",
        columns=(Column("Sample", numeric=False), Column("Raw"), Column("Adjusted"), Column("Interval")),
        rows=tuple(
            (
                called(row.sample),
                fixed(row.raw, decimals),
                fixed(row.adjusted.estimate, decimals),
                interval(row.adjusted.low, row.adjusted.high, decimals),
            )
            for row in order.means
        ),
        note="Adjusted to the average position after the average sample.",
    )
    return [means, effects_table]


def camps_section(report: ScoreReport, called: Called) -> Section | None:
    """Camps of liking: what the average may hide; None where they were not looked for."""
    known = [(one, one.camps) for one in report.attributes if one.camps is not None]
    if not known:
        return None
    return Section(
        "camps",
        "Camps: does the average hide two tastes?",
        paragraphs=tuple(camps_sentence(one, camps, called) for one, camps in known),
        tables=tuple(_camps_table(one, camps, called) for one, camps in known if camps.warning),
        gist="camps were found" if any(camps.warning for _, camps in known) else "no good evidence for camps",
        notes=tuple(dict.fromkeys(as_sentence(note) for _, camps in known for note in camps.notes)),
    )


def camps_sentence(one: AttributeReport, camps: Camps, called: Called) -> str:
    """Whether the average hides camps, and who likes what."""
    evidence = f"{p_equals(camps.p_value)}, stability {significant(camps.stability, 2)}"
    if not camps.warning:
        return f"“{one.title}”: no good evidence for separate camps was found ({evidence}); there may still be some."
    told = [f"{percent(camp.share)} of tasters put {called(camp.favourite)} first" for camp in camps.camps]
    return (
        f"“{one.title}”: the average hides camps: {listing(told)} ({evidence}). Read the means camp by camp."
    )


def _camps_table(one: AttributeReport, camps: Camps, called: Called) -> Table:
    samples = [name for name, _ in camps.means]
    return Table(
        caption=f"“{one.title}”: mean scores by camp",
        columns=(
            Column("Camp", numeric=False),
            Column("Tasters"),
            *(Column(called(name)) for name in samples),
        ),
        rows=tuple(
            (f"camp {place}", str(len(camp.tasters)), *(fixed(dict(camp.means)[name], 2) for name in samples))
            for place, camp in enumerate(camps.camps, start=1)
        ),
        note="Camps were looked for in the same scores: whether they hold needs other tasters.",
    )
