"""The stopwatch for phones: several products at once, and times that arrive once whatever the network does."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from panel.store import studies
from panel.store.bench import Entered, measurands_of, record
from panel.store.instruments import instruments_for
from panel.store.register import products_of
from panel.study.cautions import BENCH_CAUTIONS
from panel.study.draft_reader import LONGEST_NAME, LONGEST_TEXT, tidy
from panel.study.life import Move
from panel.study.quantities import QUANTITIES
from panel.web.access import AsBench, BenchsStudy
from panel.web.bench_form import MOST_LAPS
from panel.web.bench_shown import clock
from panel.web.pages import InHouse, Sent, page
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from panel.store.bench_tables import Product
    from panel.study.measuring import Measurand

router = APIRouter()

TENTHS = re.compile(r"\d{1,7}(\.\d)?")
LONGEST_RUN = 7 * 86400


@dataclass(frozen=True, slots=True)
class StopwatchPage:
    """What is timed, of which products. data: the same for the script, as JSON."""

    head: StudyHead
    measurands: tuple[Measurand, ...]
    products: tuple[Product, ...]
    instruments: tuple[tuple[str, str], ...]
    chosen: str
    data: str
    cautions: tuple[str, ...] = BENCH_CAUTIONS


@router.get("/studies/{study_id}/bench/stopwatch")
def show_stopwatch(request: Request, house: InHouse, study: BenchsStudy, measurand: str = "") -> Response:
    studies.require(study, Move.MEASURE)
    with house.database.read() as session:
        timed = tuple(
            one for one in measurands_of(session, study) if QUANTITIES[one.quantity].entry == "stopwatch"
        )
        products = tuple(products_of(session, study.id))
        watches = tuple((one.id, one.name) for one in instruments_for(session, "duration"))
    data = {
        "study": study.id,
        "measurands": [{"key": one.key, "name": one.name, "runs": one.runs} for one in timed],
        "products": [{"id": one.id, "name": one.name} for one in products],
        "instruments": [{"id": key, "name": name} for key, name in watches],
    }
    context = StopwatchPage(
        head=head_of_page(study),
        measurands=timed,
        products=products,
        instruments=watches,
        chosen=measurand,
        data=json.dumps(data, ensure_ascii=False),
    )
    return page(request, "bench/stopwatch.html", context)


@router.post("/studies/{study_id}/bench/stopwatch")
def take_time(house: InHouse, who: AsBench, study: BenchsStudy, sent: Sent) -> Response:
    """One stopped time from a phone, under the phone's own name for it. A repeat is success and changes nothing."""
    studies.require(study, Move.MEASURE)
    entered, problem = _read(sent)
    if entered is None:
        return JSONResponse({"saved": False, "problem": problem}, status_code=422)
    try:
        with house.database.write() as session:
            kept = record(session, study.id, who.actor, sent.get("submission", ""), entered)
    except (LookupError, ValueError):
        text = "The server knows no such measurement or product. Write the time down and tell the organiser."
        return JSONResponse({"saved": False, "problem": text}, status_code=422)
    told = {"saved": True, "entry": kept.entry, "run": kept.run, "repeated": kept.repeated}
    return JSONResponse(told, headers={"Cache-Control": "no-store"})


def _read(sent: dict[str, str]) -> tuple[Entered | None, str]:
    """The run, or what is wrong. Times are tenths of a second, as the phone showed them."""
    seconds = sent.get("seconds", "")
    laps = sent.get("laps", "").split()
    if not TENTHS.fullmatch(seconds) or not 0 < float(seconds) <= LONGEST_RUN:
        return None, "This time is out of reach: it must lie between 0.1 seconds and seven days."
    times = [float(lap) for lap in laps if TENTHS.fullmatch(lap)]
    rising = all(a < b for a, b in pairwise(times))
    if (
        len(times) != len(laps)
        or len(laps) > MOST_LAPS
        or not rising
        or (times and times[-1] > float(seconds))
    ):
        return None, "The laps do not rise towards the end of the run."
    by = tidy(sent.get("by", ""))[:LONGEST_NAME]
    if not by:
        return None, "Write who has measured, then send again."
    entered = Entered(
        measurand=sent.get("measurand", ""),
        product_id=sent.get("product", ""),
        value=float(seconds),
        typed=clock(float(seconds)),
        unit="s",
        laps=tuple(times),
        instrument_id=sent.get("instrument") or None,
        measured_by=by,
        measured_at=_moment(sent.get("stopped_at", "")),
        note=tidy(sent.get("note", ""))[:LONGEST_TEXT],
    )
    return entered, ""


def _moment(text: str) -> datetime | None:
    """When the phone says it stopped; None where that is no moment."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found.astimezone(UTC) if found.tzinfo else None
