"""The bench's first page: what is measured of which product, how far it has come, and what looks wrong.

The bench knows products by name. No page of it may show a blind label, a pour letter or a code.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.bench.checks import check_runs
from panel.store import studies
from panel.store.bench import add_measurand, measurands_of, measurements_of
from panel.store.instruments import instrument_names
from panel.store.register import products_of
from panel.study.cautions import BENCH_CAUTIONS
from panel.study.draft_measurands import read_measurands
from panel.study.draft_reader import Reader, name_key, tidy
from panel.study.life import Move, State, refusal
from panel.study.problems import Problem
from panel.study.quantities import QUANTITIES, Quantity
from panel.web.access import AsBench, AsOrganiser, BenchsStudy, OrganisersStudy
from panel.web.bench_rows import TEMPERATURES, UNITS_COOKIE, VOLUMES, ShownIn, as_cookie, run_of, units_chosen
from panel.web.bench_rules import measurand_words
from panel.web.draft_bench import LOADS, Options, units_of
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.bench.checks import Remark
    from panel.store.bench_tables import Measurement, Product
    from panel.store.tables import Study
    from panel.study.measuring import Bench, Measurand

router = APIRouter()

NO_NAMES = (
    "This study was sealed without anything to measure, so its names are locked away. Once they are revealed, more can "
    "be measured here, marked as not sealed."
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One product and one measurand. flags: how many remarks there are."""

    done: int
    asked: int
    invalid: int
    flags: int


@dataclass(frozen=True, slots=True)
class MeasurandLine:
    """One measurand with how far it has come. waits: why it is not open yet, "" where it is."""

    key: str
    name: str
    words: str
    entry: str
    further: bool
    done: int
    asked: int
    waits: str


@dataclass(frozen=True, slots=True)
class BenchPage:
    """Products by name against measurands. late: whether the names are revealed already."""

    head: StudyHead
    products: tuple[Product, ...]
    measurands: tuple[MeasurandLine, ...]
    cells: dict[tuple[str, str], Cell]
    remarks: tuple[tuple[str, str], ...]
    shown_in: ShownIn
    families: frozenset[str]
    timed: bool
    late: bool
    organiser: bool
    cautions: tuple[str, ...] = BENCH_CAUTIONS
    no_names: str = NO_NAMES


@dataclass(frozen=True, slots=True)
class FurtherPage:
    """The form for something that is measured although it was not sealed."""

    head: StudyHead
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    quantities: tuple[Quantity, ...]
    units: Options
    loads: Options = LOADS


@router.get("/studies/{study_id}/bench")
def show_bench(request: Request, house: InHouse, who: AsBench, study: BenchsStudy) -> Response:
    studies.require(study, Move.MEASURE)
    with house.database.read() as session:
        products = products_of(session, study.id)
        measurands = measurands_of(session, study)
        rows = measurements_of(session, study.id)
        instruments = instrument_names(session)
    bench = replace(studies.plan_of(study).bench, measurands=measurands)
    names = {product.id: product.name for product in products}
    known = [run_of(row, instruments) for row in rows if row.product_id in names]
    remarks = check_runs(bench, known, names)
    context = BenchPage(
        head=head_of_page(study),
        products=tuple(products),
        measurands=tuple(_line(study, one, rows, len(products)) for one in measurands),
        cells=_cells(bench, rows, names, remarks),
        remarks=tuple((remark.measurand, remark.text) for remark in remarks),
        shown_in=units_chosen(request),
        families=_families(bench),
        timed=any(QUANTITIES[one.quantity].entry == "stopwatch" for one in measurands),
        late=study.state == State.REVEALED,
        organiser=who.role == "organiser",
    )
    return page(request, "bench/bench.html", context)


@router.post("/studies/{study_id}/bench/units")
def choose_units(study: BenchsStudy, sent: Sent) -> Response:
    """Show temperatures and volumes in other units on this device. Nothing that is stored changes."""
    response = see_other(f"/studies/{study.id}/bench")
    chosen = as_cookie(sent.get("temperature", ""), sent.get("volume", ""))
    response.set_cookie(UNITS_COOKIE, chosen, max_age=365 * 86400, httponly=True, samesite="lax", path="/")
    return response


@router.get("/studies/{study_id}/bench/further")
def show_further(request: Request, study: OrganisersStudy) -> Response:
    studies.require(study, Move.MEASURE)
    return _further_page(request, study, {}, ())


@router.post("/studies/{study_id}/bench/further")
def add_further(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    """Measure something that was not sealed. It is marked as such everywhere and decides nothing."""
    studies.require(study, Move.MEASURE)
    reader = Reader({name: value for name, value in sent.items() if name.startswith("measurand-0-")})
    measurand = next(iter(read_measurands(reader)), None)
    if measurand is None:
        reader.wrong("measurand-0-name", "missing", "Write what is measured.")
    reason = tidy(sent.get("reason", ""))
    if not reason:
        reader.wrong("reason", "missing", "Write why this is measured as well; the report prints it.")
    if reader.problems or measurand is None:
        return _further_page(request, study, sent, tuple(reader.problems))
    with house.database.write() as session:
        names = {name_key(one.name) for one in measurands_of(session, study)}
        if name_key(measurand.name) not in names:
            key = add_measurand(session, study.id, who.actor, measurand, reason)
            return see_other(f"/studies/{study.id}/bench/measure/{key}")
    text = f"“{measurand.name}” is measured already. Name this one otherwise."
    return _further_page(request, study, sent, (Problem("measurand-0-name", "same_name", text),))


def _further_page(
    request: Request, study: Study, typed: dict[str, str], problems: tuple[Problem, ...]
) -> Response:
    context = FurtherPage(
        head=head_of_page(study),
        typed=typed,
        problems=problems,
        quantities=tuple(QUANTITIES.values()),
        units=units_of(typed.get("measurand-0-quantity", "")),
    )
    return page(request, "bench/further.html", context, status=422 if problems else 200)


def waits_for(study: Study, measurand: Measurand) -> str:
    """Why this cannot be measured yet; "" where it can."""
    handled = QUANTITIES[measurand.quantity].after_tasting
    return refusal(State(study.state), Move.RATE_HANDLING if handled else Move.MEASURE) or ""


def _line(study: Study, measurand: Measurand, rows: list[Measurement], products: int) -> MeasurandLine:
    done = Counter(row.product_id for row in rows if row.measurand == measurand.key and not row.invalid)
    return MeasurandLine(
        key=measurand.key,
        name=measurand.name,
        words=measurand_words(measurand),
        entry=QUANTITIES[measurand.quantity].entry,
        further=measurand.key.startswith("x"),
        done=sum(min(count, measurand.runs) for count in done.values()),
        asked=measurand.runs * products,
        waits=waits_for(study, measurand),
    )


def _cells(
    bench: Bench, rows: list[Measurement], names: dict[str, str], remarks: tuple[Remark, ...]
) -> dict[tuple[str, str], Cell]:
    valid = Counter((row.product_id, row.measurand) for row in rows if not row.invalid)
    invalid = Counter((row.product_id, row.measurand) for row in rows if row.invalid)
    flags = Counter((remark.product, remark.measurand) for remark in remarks)
    return {
        (product, one.key): Cell(valid[at], one.runs, invalid[at], flags[at])
        for product in names
        for one in bench.measurands
        for at in [(product, one.key)]
    }


def _families(bench: Bench) -> frozenset[str]:
    """Which choices of units there are anything to choose for."""
    units = {one.unit for one in bench.measurands}
    found = {"temperature": TEMPERATURES, "volume": VOLUMES}
    return frozenset(name for name, family in found.items() if units & set(family))
