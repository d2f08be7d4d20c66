"""Taking a study away: one ZIP of CSV and JSON files. Answers from closing on, names from the reveal on."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response

from panel.analysis.answer_tables import answers_csv, choices_csv
from panel.analysis.verification import key_csv
from panel.store import studies
from panel.store.end_answers import end_answers_of
from panel.store.ledger import append, events_of
from panel.store.rows import choices_of, exclusions_of, scores_of, sends_of
from panel.store.sealing import sealed_contents
from panel.study import bundle
from panel.study.life import Move
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlmodel import Session

    from panel.store.rows import Send
    from panel.store.tables import Study

router = APIRouter()


@router.get("/studies/{study_id}/export")
def export(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EXPORT)
    with house.database.write() as session:
        append(session, study.id, who.actor, "exported", {"state": study.state})
        files = _files(session, study)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    headers = {
        "Content-Disposition": f'attachment; filename="study-{study.id}.zip"',
        "Cache-Control": "no-store",
    }
    return Response(packed.getvalue(), media_type="application/zip", headers=headers)


def _files(session: Session, study: Study) -> dict[str, str]:
    secret: dict[str, Any] = json.loads(study.key) if study.key else {}
    sealed = sealed_contents(session, study, secret)
    files = {
        bundle.README: bundle.ABOUT,
        bundle.SEALED: _json(sealed),
        bundle.COMMITMENT: study.commitment + "\n",
        bundle.EVENTS: _json_lines(asdict(event) for event in events_of(session, study.id)),
    }
    if _results_are_open(study):
        files[bundle.SENDS] = _json_lines(asdict(send) for send in _in_log_order(session, study.id))
        files |= _answers(session, study)
    if study.report:
        files[bundle.REPORT] = study.report
    if study.key:
        files[bundle.KEY] = key_csv(sealed)
    return files


def _results_are_open(study: Study) -> bool:
    try:
        studies.require_results(study)
    except studies.ForbiddenMoveError:
        return False
    return True


def _in_log_order(session: Session, study_id: str) -> list[Send]:
    received = [e.detail["submission"] for e in events_of(session, study_id) if e.kind == "answers received"]
    order = {submission: number for number, submission in enumerate(received)}
    return sorted(sends_of(session, study_id), key=lambda send: order[send.submission])


def _answers(session: Session, study: Study) -> dict[str, str]:
    left_out = exclusions_of(session, study.id)
    scores = [*scores_of(session, study), *end_answers_of(session, study)]
    tables = {
        bundle.ANSWERS: answers_csv(studies.plan_of(study), scores, left_out),
        bundle.CHOICES: choices_csv(choices_of(session, study), left_out),
    }
    return {name: text for name, text in tables.items() if text}


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, indent=1) + "\n"


def _json_lines(rows: Iterable[dict[str, Any]]) -> str:
    return "".join(json.dumps(row, ensure_ascii=False, sort_keys=True) + "\n" for row in rows)
