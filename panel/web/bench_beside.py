"""One measurand of the bench, all products side by side, by name: what differs by more than repeats scatter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.analysis.figures_series import series_figure
from panel.analysis.numbers import as_sentence, decimals_for, interval, p_cell, signed
from panel.analysis.view_parts import Column, Section, Table
from panel.bench.side_by_side import side_by_side
from panel.store import studies
from panel.store.bench import measurements_of
from panel.store.instruments import instrument_names
from panel.study.life import Move
from panel.study.quantities import QUANTITIES
from panel.web.access import BenchsStudy
from panel.web.bench_measure import measurand_called
from panel.web.bench_rows import run_of
from panel.web.bench_rules import measurand_words
from panel.web.pages import InHouse, page
from panel.web.study_page import StudyHead, head_of_page
from stats.phrasing import count

if TYPE_CHECKING:
    from panel.analysis.drawing import Figure
    from panel.bench.side_by_side import FigureBeside, SideBySide
    from panel.study.measuring import Measurand
    from stats.replicated_comparison import ReplicatedComparison

router = APIRouter()


@dataclass(frozen=True, slots=True)
class BesidePage:
    """Figures of all products, what is apart, how far repeats scatter."""

    head: StudyHead
    measurand: Measurand
    how: str
    sections: tuple[Section, ...]


@router.get("/studies/{study_id}/bench/measure/{key}/beside")
def show_beside(request: Request, house: InHouse, study: BenchsStudy, key: str) -> Response:
    studies.require(study, Move.MEASURE)
    one = measurand_called(request, house, study, key)
    names = {product.id: product.name for product in one.products}
    with house.database.read() as session:
        rows = measurements_of(session, study.id)
        instruments = instrument_names(session)
    runs = [run_of(row, instruments) for row in rows if row.product_id in names]
    sections = sections_of(side_by_side(one.bench, one.measurand, runs, names))
    context = BesidePage(
        head=head_of_page(study),
        measurand=one.measurand,
        how=measurand_words(one.measurand),
        sections=tuple(house.local.part(section) for section in sections),
    )
    return page(request, "bench/beside.html", context)


def sections_of(beside: SideBySide) -> tuple[Section, ...]:
    """A part for each figure that some product has; the first holds the race and the picture of a series."""
    found = []
    for place, figure in enumerate(beside.figures):
        said = [beside.race.sentence({})] if beside.race and figure.figure == "mean" else []
        if figure.comparison is not None:
            said.append(figure.comparison.sentence())
        drawing = _drawing(beside) if place == 0 else None
        found.append(
            Section(
                id=f"beside-{place}",
                title=figure.name[:1].upper() + figure.name[1:],
                paragraphs=tuple(said),
                figures=(drawing,) if drawing else (),
                tables=_tables(figure, beside.measurand),
                notes=_notes(figure),
                gist=_gist(figure.comparison),
                opened=place == 0,
            )
        )
    return tuple(found)


def _gist(comparison: ReplicatedComparison | None) -> str:
    if comparison is None or not comparison.pairs:
        return ""
    return f"{comparison.apart or 'none'} of {count(len(comparison.pairs), 'pair')} apart"


def _tables(figure: FigureBeside, measurand: Measurand) -> tuple[Table, ...]:
    whom = "Testers" if QUANTITIES[measurand.quantity].after_tasting else "Runs"
    lettered = any(letters for _, _, letters in figure.rows)
    columns = (Column("Product", numeric=False), Column("Value"), Column(whom))
    rows = tuple(
        (name, shown.value, shown.of.split()[0], letters or "–")[: 4 if lettered else 3]
        for name, shown, letters in figure.rows
    )
    means = Table(
        caption=f"{measurand.name}: {figure.name}",
        columns=(*columns, Column("Letters", numeric=False)) if lettered else columns,
        rows=rows,
        note="Products that share a letter are not shown to differ." if lettered else "",
    )
    if figure.comparison is None or not figure.comparison.pairs:
        return (means,)
    return means, _pairs(figure.name, figure.comparison)


def _pairs(name: str, comparison: ReplicatedComparison) -> Table:
    rows = []
    for pair in comparison.pairs:
        half = None if pair.low is None or pair.high is None else (pair.high - pair.low) / 2
        decimals = decimals_for([half] if half else [])
        rows.append(
            (
                f"{pair.a} minus {pair.b}",
                signed(pair.difference, decimals),
                interval(pair.low, pair.high, decimals),
                p_cell(pair.p_adjusted),
            )
        )
    return Table(
        caption=f"Differences between products: {name}",
        columns=(
            Column("Products", numeric=False),
            Column("Difference"),
            Column("95\u202f% interval"),
            Column("p, for all pairs together"),
        ),
        rows=tuple(rows),
        detail=True,
    )


def _notes(figure: FigureBeside) -> tuple[str, ...]:
    said = [] if figure.repeats is None else [figure.repeats.sentence()]
    if figure.comparison is not None and figure.comparison.f is not None:
        said += [f"Method: {figure.comparison.method}.", *map(as_sentence, figure.comparison.notes)]
    return (*said, *figure.words)


def _drawing(beside: SideBySide) -> Figure | None:
    if not beside.curves:
        return None
    measurand = beside.measurand
    window = None if measurand.low is None or measurand.high is None else (measurand.low, measurand.high)
    marks = ["the band is the window"] if window else []
    marks += ["the dashed line is the threshold"] if measurand.threshold is not None else []
    return series_figure(
        [(curve.product, curve.points, curve.fitted) for curve in beside.curves],
        unit=measurand.unit,
        title="; ".join(
            [f"{measurand.name}: every run, with the fitted law of cooling where nothing heats", *marks]
        ),
        window=window,
        threshold=measurand.threshold,
    )
