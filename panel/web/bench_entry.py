"""One entry of the bench: its history, a correction, whether it counts, its pictures. Nothing is overwritten."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.datastructures import UploadFile

from panel.bench.units import shown
from panel.store import studies
from panel.store.bench import LEAST_NAME, correct, history_of, judge_run
from panel.store.instruments import instrument_names, instruments_for
from panel.store.photos import keep_photo, photo_called, photos_of
from panel.study.draft_reader import LONGEST_TEXT, tidy
from panel.study.life import Move
from panel.study.problems import Problem
from panel.study.quantities import QUANTITIES
from panel.web.access import AsBench, BenchsStudy
from panel.web.bench_form import RATINGS, BenchReader
from panel.web.bench_measure import OneMeasurand, measurand_called
from panel.web.bench_shown import clock, value_words
from panel.web.pages import InHouse, Sent, SentForm, page, see_other
from panel.web.photos import encoded_anew
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from datetime import datetime

    from panel.store.bench_tables import Measurement
    from panel.store.tables import Study
    from panel.study.measuring import Measurand
    from panel.study.quantities import Quantity
    from panel.web.house import House

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision in words. reason: why it was made; counts: "" or why the run does not count."""

    number: int
    words: str
    typed: str
    by: str
    recorded_by: str
    at: datetime
    instrument: str
    note: str
    invalid: str
    reason: str
    after_reveal: bool


@dataclass(frozen=True, slots=True)
class EntryPage:
    """One entry with all its revisions, newest last. figures: its readings, laps or answers as text."""

    head: StudyHead
    entry: str
    measurand: Measurand
    kind: Quantity
    product_id: str
    product: str
    run: int
    revisions: tuple[Revision, ...]
    counts: bool
    readings: tuple[tuple[str, str], ...]
    photos: tuple[str, ...]
    instruments: tuple[tuple[str, str], ...]
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    submission: str
    ratings: tuple[tuple[str, str], ...] = RATINGS


@router.get("/studies/{study_id}/bench/entries/{entry}")
def show_entry(request: Request, house: InHouse, study: BenchsStudy, entry: str) -> Response:
    studies.require(study, Move.MEASURE)
    return _entry_page(request, house, study, entry)


@router.post("/studies/{study_id}/bench/entries/{entry}")
def correct_entry(
    request: Request, house: InHouse, who: AsBench, study: BenchsStudy, entry: str, sent: Sent
) -> Response:
    """A further revision with what is right; the one before stays in the history."""
    studies.require(study, Move.MEASURE)
    history, one = _history(request, house, study, entry)
    reader = BenchReader(sent, one.measurand, one.bench, house.local.zone)
    entered = reader.run_of(history[-1].product_id, "")
    reason = _reason(reader, sent, "reason", "Write what was wrong: the history keeps it.")
    if entered is None and not reader.problems:
        reader.wrong("value", "Write what it should be.")
    reader.require_person()
    _require_name(reader, sent)
    if reader.problems or entered is None:
        return _entry_page(request, house, study, entry, sent, tuple(reader.problems))
    with house.database.write() as session:
        correct(session, study.id, who.actor, sent["submission"], entry, entered, reason)
    return see_other(f"/studies/{study.id}/bench/entries/{entry}")


@router.post("/studies/{study_id}/bench/entries/{entry}/judge")
def judge_entry(
    request: Request, house: InHouse, who: AsBench, study: BenchsStudy, entry: str, sent: Sent
) -> Response:
    """The run does not count, or counts after all; always with a reason, and it is kept either way."""
    studies.require(study, Move.MEASURE)
    history, one = _history(request, house, study, entry)
    reader = BenchReader(sent, one.measurand, one.bench)
    why = _reason(reader, sent, "why", "Write why: a run is left out or taken back for a reason only.")
    _require_name(reader, sent)
    if reader.problems:
        return _entry_page(request, house, study, entry, sent, tuple(reader.problems))
    out = sent.get("counts") != "yes"
    if out != bool(history[-1].invalid):
        with house.database.write() as session:
            judge_run(
                session,
                study.id,
                who.actor,
                sent["submission"],
                entry,
                why if out else "",
                "" if out else why,
            )
    return see_other(f"/studies/{study.id}/bench/entries/{entry}")


@router.post("/studies/{study_id}/bench/entries/{entry}/photo")
def add_photo(
    request: Request, house: InHouse, who: AsBench, study: BenchsStudy, entry: str, form: SentForm
) -> Response:
    studies.require(study, Move.MEASURE)
    history, _one = _history(request, house, study, entry)
    file = form.get("file")
    try:
        if not isinstance(file, UploadFile) or not file.filename:
            raise ValueError("Choose or take a picture first.")
        content, size = encoded_anew(file.file.read())
    except ValueError as error:
        problem = Problem("file", "no_picture", str(error))
        return _entry_page(request, house, study, entry, {}, (problem,))
    with house.database.write() as session:
        keep_photo(session, study.id, who.actor, history[-1].id, content, size)
    return see_other(f"/studies/{study.id}/bench/entries/{entry}#photos")


@router.get("/studies/{study_id}/bench/photos/{photo_id}")
def show_photo(house: InHouse, study: BenchsStudy, photo_id: str) -> Response:
    with house.database.read() as session:
        photo = photo_called(session, study.id, photo_id)
    if photo is None:
        raise HTTPException(404)
    return Response(photo.content, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


def _history(
    request: Request, house: House, study: Study, entry: str
) -> tuple[list[Measurement], OneMeasurand]:
    """All revisions of the entry, the one that counts last, and what it measures; 404 where there is none."""
    with house.database.read() as session:
        history = history_of(session, study.id, entry)
    if not history:
        raise HTTPException(404)
    return history, measurand_called(request, house, study, history[-1].measurand)


def _reason(reader: BenchReader, sent: dict[str, str], name: str, missing: str) -> str:
    reason = tidy(sent.get(name, ""))
    if not reason:
        reader.wrong(name, missing)
    elif len(reason) > LONGEST_TEXT:
        reader.wrong(name, f"Shorten this to {LONGEST_TEXT} characters.")
    return reason


def _require_name(reader: BenchReader, sent: dict[str, str]) -> None:
    if len(sent.get("submission", "")) < LEAST_NAME:
        reader.wrong("", "This form came without its own name, by which it is kept only once. Save again.")


def _entry_page(
    request: Request,
    house: House,
    study: Study,
    entry: str,
    typed: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> Response:
    history, one = _history(request, house, study, entry)
    latest = history[-1]
    with house.database.read() as session:
        names = instrument_names(session)
        photos = tuple(photo.id for photo in photos_of(session, study.id, entry))
        offered = {each.id: each.name for each in instruments_for(session, one.measurand.quantity)}
    if latest.instrument_id:  # also one that was put away since: what was measured with it keeps it
        offered.setdefault(latest.instrument_id, names[latest.instrument_id])
    product = next((p.name for p in one.products if p.id == latest.product_id), "")
    context = EntryPage(
        head=head_of_page(study),
        entry=entry,
        measurand=one.measurand,
        kind=QUANTITIES[one.measurand.quantity],
        product_id=latest.product_id,
        product=product,
        run=latest.run,
        revisions=tuple(_revision(row, one, names) for row in history),
        counts=not latest.invalid,
        readings=_readings(latest, one),
        photos=photos,
        instruments=tuple(offered.items()),
        typed=_as_typed(latest, one) | dict(typed or {}),
        problems=problems,
        submission=secrets.token_hex(16),
    )
    return page(request, "bench/entry.html", context, status=422 if problems else 200)


def _revision(row: Measurement, one: OneMeasurand, names: dict[str, str]) -> Revision:
    return Revision(
        number=row.revision,
        words=value_words(row, one.measurand, one.bench),
        typed=row.typed,
        by=row.measured_by,
        recorded_by=row.recorded_by,
        at=row.recorded_at,
        instrument=names.get(row.instrument_id or "", ""),
        note=row.note,
        invalid=row.invalid,
        reason=row.reason,
        after_reveal=row.after_reveal,
    )


def _readings(row: Measurement, one: OneMeasurand) -> tuple[tuple[str, str], ...]:
    """What a run holds beside one value: its readings, or its laps."""
    unit = one.measurand.unit
    series = tuple(
        (
            f"{minutes:g} min",
            f"{shown(value, one.measurand.quantity, unit, cup_ml=one.bench.cup_ml):.1f} {unit}",
        )
        for minutes, value in json.loads(row.series)
    )
    laps = tuple((f"Lap {n}", clock(lap)) for n, lap in enumerate(json.loads(row.laps), start=1))
    answers = tuple(
        (f"Statement {n}", f"{given} of 5") for n, given in enumerate(json.loads(row.answers), start=1)
    )
    return series or laps or answers


def _as_typed(row: Measurement, one: OneMeasurand) -> dict[str, str]:
    """The latest revision as the form would have taken it, in the unit shown here."""
    quantity, unit, cup_ml = one.measurand.quantity, one.measurand.unit, one.bench.cup_ml
    entry = QUANTITIES[quantity].entry
    typed = {"by": row.measured_by, "note": row.note, "package": row.package, "priced_on": row.priced_on}
    typed["instrument"] = row.instrument_id or ""
    typed["servings"] = f"{row.servings:g}" if row.servings else ""
    if row.value is not None:
        if entry == "check":
            typed["value"] = "passed" if row.value else "failed"
        elif entry == "stopwatch":
            typed["value"] = clock(row.value)
        else:
            typed["value"] = f"{shown(row.value, quantity, unit, cup_ml=cup_ml):.10g}"
    typed["laps"] = "; ".join(clock(lap) for lap in json.loads(row.laps))
    typed["series"] = "\n".join(
        f"{minutes:.10g} {shown(value, quantity, unit, cup_ml=cup_ml):.6g}"
        for minutes, value in json.loads(row.series)
    )
    if row.ambient is not None:
        typed["ambient"] = f"{shown(row.ambient, quantity, unit, cup_ml=cup_ml):.6g}"
    return typed | {f"statement-{n}": f"{given}" for n, given in enumerate(json.loads(row.answers), start=1)}
