"""Entering runs of one measurand: for all products at once, or for one product where a run is a series or a person."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.datastructures import UploadFile

from panel.bench.checks import check_runs
from panel.bench.usability import ACKNOWLEDGEMENT, ENDS, STATEMENTS
from panel.store import studies
from panel.store.bench import LEAST_NAME, further_measurands, measurands_of, measurements_of, record
from panel.store.instruments import instrument_names, instruments_for
from panel.store.photos import photographed
from panel.store.register import products_of
from panel.study.cautions import BENCH_CAUTIONS
from panel.study.life import Move
from panel.study.problems import Problem
from panel.study.quantities import QUANTITIES
from panel.web.access import AsBench, BenchsStudy
from panel.web.bench import waits_for
from panel.web.bench_form import BY_PEOPLE, RATINGS, BenchReader
from panel.web.bench_rows import run_of, units_chosen
from panel.web.bench_rules import measurand_words
from panel.web.bench_shown import FigureLine, RunLine, figure_lines, told_once, value_words
from panel.web.pages import InHouse, SentForm, page, see_other
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.bench.figures import Run
    from panel.store.bench import Entered
    from panel.store.bench_tables import Measurement, Product
    from panel.store.tables import Study
    from panel.study.measuring import Bench, Measurand
    from panel.study.quantities import Quantity
    from panel.web.access import Visitor
    from panel.web.house import House

router = APIRouter()

PERSON_COOKIE = "bench-by"
ONE_BY_ONE = ("series", "usability")


@dataclass(frozen=True, slots=True)
class ProductRow:
    """One product with its runs, what they give, and what looks wrong."""

    id: str
    name: str
    maker: str
    runs: tuple[RunLine, ...]
    done: int
    figures: tuple[FigureLine, ...]
    flags: tuple[str, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MeasurePage:
    """The form of one measurand, and everything entered so far.

    product : the one chosen, where one is needed; reason : why it is measured although it was not sealed
    """

    head: StudyHead
    measurand: Measurand
    kind: Quantity
    how: str
    further: bool
    reason: str
    rows: tuple[ProductRow, ...]
    product: ProductRow | None
    instruments: tuple[tuple[str, str], ...]
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    submission: str
    waits: str
    kept: int
    currency: str
    by_people: bool
    one_by_one: bool
    ratings: tuple[tuple[str, str], ...] = RATINGS
    statements: tuple[str, ...] = STATEMENTS
    ends: tuple[str, str] = ENDS
    acknowledgement: str = ACKNOWLEDGEMENT
    cautions: tuple[str, ...] = BENCH_CAUTIONS


@dataclass(frozen=True, slots=True)
class OneMeasurand:
    """What every handler about one measurand needs. measurand: with its limits in the unit shown."""

    bench: Bench
    measurand: Measurand
    products: tuple[Product, ...]


@router.get("/studies/{study_id}/bench/measure/{key}")
def show_measurand(
    request: Request, house: InHouse, study: BenchsStudy, key: str, product: str = "", kept: int = 0
) -> Response:
    studies.require(study, Move.MEASURE)
    one = measurand_called(request, house, study, key)
    typed = {"by": unquote(request.cookies.get(PERSON_COOKIE, ""))[:120]}
    return _measure_page(request, house, study, one, product=product, kept=kept, typed=typed)


@router.post("/studies/{study_id}/bench/measure/{key}")
def enter_runs(
    request: Request, house: InHouse, who: AsBench, study: BenchsStudy, key: str, form: SentForm
) -> Response:
    """Keep every run that was typed, or none and say what is wrong with which."""
    studies.require(study, Move.MEASURE)
    one = measurand_called(request, house, study, key)
    typed = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    waits = waits_for(study, one.measurand)
    if waits:
        raise studies.ForbiddenMoveError(waits)
    reader = BenchReader(typed, one.measurand, one.bench, house.local.zone)
    typed |= _uploaded_series(form, reader)
    reader.typed = typed
    chosen = [p for p in one.products if typed.get("product", p.id) == p.id]
    entered = [run for p in chosen if (run := reader.run_of(p.id, f"-{p.id}")) is not None]
    if not entered and not reader.problems:
        first = f"{'series' if reader.entry == 'series' else 'value'}-{chosen[0].id}" if chosen else ""
        reader.wrong(first, "Nothing was typed. Write at least one value.")
    if entered:
        reader.require_person()
    if len(typed.get("submission", "")) < LEAST_NAME:
        typed.pop("submission", None)
        reader.wrong("", "This form came without its own name, by which it is kept only once. Save again.")
    if reader.problems:
        return _measure_page(
            request, house, study, one,
            product=typed.get("product", ""), typed=typed, problems=tuple(reader.problems), status=422,
        )  # fmt: skip
    _keep(house, who, study, typed["submission"], entered)
    where = f"&product={typed['product']}" if typed.get("product") else ""
    response = see_other(f"/studies/{study.id}/bench/measure/{key}?kept={len(entered)}{where}")
    response.set_cookie(
        PERSON_COOKIE, quote(typed.get("by", "")[:120]), httponly=True, samesite="lax", path="/"
    )
    return response


def measurand_called(request: Request, house: House, study: Study, key: str) -> OneMeasurand:
    """The measurand of the address in the unit that the visitor chose, with the study's products; 404 otherwise."""
    with house.database.read() as session:
        measurands = measurands_of(session, study)
        products = tuple(products_of(session, study.id))
    found = next((one for one in measurands if one.key == key), None)
    if found is None:
        raise HTTPException(404)
    bench = studies.plan_of(study).bench
    shown = units_chosen(request).measurand(found, bench.cup_ml)
    return OneMeasurand(replace(bench, measurands=measurands), shown, products)


def product_row(
    product: Product,
    one: OneMeasurand,
    rows: list[Measurement],
    runs: list[Run],
    photos: Mapping[str, int],
    remarks: tuple[str, ...],
) -> ProductRow:
    """One product as the page shows it."""
    lines = tuple(
        RunLine(
            entry=row.entry,
            run=row.run,
            words=value_words(row, one.measurand, one.bench),
            typed=row.typed,
            by=row.measured_by,
            note=row.note,
            invalid=row.invalid,
            revised=row.revision > 1,
            after_reveal=row.after_reveal,
            photos=photos.get(row.entry, 0),
        )
        for row in rows
        if row.product_id == product.id
    )
    mine = [run for run in runs if run.product == product.id]
    figures, flags = told_once(figure_lines(one.measurand, mine, one.bench)) if mine else ((), ())
    return ProductRow(
        id=product.id,
        name=product.name,
        maker=product.maker,
        runs=lines,
        done=sum(not line.invalid for line in lines),
        figures=figures,
        flags=flags,
        remarks=remarks,
    )


def _measure_page(
    request: Request,
    house: House,
    study: Study,
    one: OneMeasurand,
    *,
    product: str = "",
    kept: int = 0,
    typed: dict[str, str],
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    with house.database.read() as session:
        rows = [row for row in measurements_of(session, study.id) if row.measurand == one.measurand.key]
        instruments, photos = instrument_names(session), photographed(session, study.id)
        offered = instruments_for(session, one.measurand.quantity)
        added = {row.key: row.reason for row in further_measurands(session, study.id)}
    lines = _product_rows(one, rows, instruments, photos)
    kind = QUANTITIES[one.measurand.quantity]
    context = MeasurePage(
        head=head_of_page(study),
        measurand=one.measurand,
        kind=kind,
        how=measurand_words(one.measurand),
        further=one.measurand.key in added,
        reason=added.get(one.measurand.key, ""),
        rows=lines,
        product=next((line for line in lines if line.id == product), None),
        instruments=tuple((each.id, each.name) for each in offered),
        typed=typed,
        problems=problems,
        submission=typed.get("submission") or secrets.token_hex(16),
        waits=waits_for(study, one.measurand),
        kept=kept,
        currency=one.bench.currency,
        by_people=kind.entry in BY_PEOPLE,
        one_by_one=kind.entry in ONE_BY_ONE,
    )
    return page(request, "bench/measure.html", context, status=status)


def _product_rows(
    one: OneMeasurand, rows: list[Measurement], instruments: Mapping[str, str], photos: Mapping[str, int]
) -> tuple[ProductRow, ...]:
    names = {product.id: product.name for product in one.products}
    runs = [run_of(row, instruments) for row in rows if row.product_id in names]
    alone = replace(one.bench, measurands=(one.measurand,))
    found = check_runs(alone, runs, names)
    return tuple(
        product_row(
            product, one, rows, runs, photos, tuple(mark.text for mark in found if mark.product == product.id)
        )
        for product in one.products
    )


def _uploaded_series(form: Any, reader: BenchReader) -> dict[str, str]:
    """The text of a logger's file takes the place of the typed series; what cannot be read is a problem."""
    file, product = form.get("file"), form.get("product", "")
    if not isinstance(file, UploadFile) or not file.filename:
        return {}
    content = file.file.read()
    for encoding in ("utf-8-sig", "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "cp1252"):
        try:
            return {f"series-{product}": content.decode(encoding)}
        except UnicodeDecodeError:
            continue
    reader.wrong(
        f"series-{product}", "The file is not text. Export it from the logger as CSV, then choose it again."
    )
    return {}


def _keep(house: House, who: Visitor, study: Study, submission: str, entered: list[Entered]) -> None:
    """All of them or none; the form's name with each product's is the name of each send."""
    with house.database.write() as session:
        for run in entered:
            record(session, study.id, who.actor, f"{submission}-{run.product_id}", run)
