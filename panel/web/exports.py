"""Taking a study away: one ZIP of CSV and JSON files. Answers from closing on, names from the reveal on."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response

from panel.store import studies
from panel.store.ledger import append, events_of
from panel.store.rows import choices_of, exclusions_of, scores_of
from panel.store.sealing import sealed_contents
from panel.study.life import Move, State, allowed
from panel.study.plan import product_to_dict
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse
from panel.web.study import revealed_key

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlmodel import Session

    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()

README = """\
What is in here
sealed.json    everything the commitment covers, without the secret until the reveal
commitment.txt SHA-256 over the canonical JSON of sealed.json (sorted keys, no blanks, UTF-8) once it is complete
events.jsonl   the log; each line's hash covers the one before it
answers.csv    every answer by blind letter (from closing on); choices.csv for forced choice
report.json    the signed results (from signing on)
key.csv        which blind letter was which product (from the reveal on)

To check it offline: python -m panel verify THIS.zip
"""


@router.get("/studies/{study_id}/export")
def export(house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    studies.require(study, Move.EXPORT)
    with house.database.write() as session:
        append(session, study.id, who.actor, "exported", {"state": study.state})
        files = _files(house, session, study)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bundle:
        for name, text in files.items():
            bundle.writestr(name, text)
    headers = {
        "Content-Disposition": f'attachment; filename="study-{study.id}.zip"',
        "Cache-Control": "no-store",
    }
    return Response(packed.getvalue(), media_type="application/zip", headers=headers)


def _files(house: House, session: Session, study: Study) -> dict[str, str]:
    secret: dict[str, Any] = json.loads(study.key) if study.key else {}
    files = {
        "README.txt": README,
        "sealed.json": _json(sealed_contents(session, study, secret)),
        "commitment.txt": study.commitment + "\n",
        "events.jsonl": "".join(
            json.dumps(asdict(e), ensure_ascii=False) + "\n" for e in events_of(session, study.id)
        ),
    }
    if allowed(State(study.state), Move.READ_REPORT):
        files |= _answers(session, study)
    if study.report:
        files["report.json"] = study.report
    if study.key:
        files["key.csv"] = _csv(
            {"blind_label": label, **product_to_dict(product), "allergens": " ".join(product.allergens)}
            for label, product in revealed_key(house, study)
        )
    return files


def _answers(session: Session, study: Study) -> dict[str, str]:
    left_out = exclusions_of(session, study.id)
    files = {}
    if scores := scores_of(session, study):
        wording = {question.key: question.text for question in studies.plan_of(study).questions}
        files["answers.csv"] = _csv(
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
    if choices := choices_of(session, study):
        files["choices.csv"] = _csv(
            {
                "taster": c.taster,
                "set": c.set_number,
                "condition": c.condition,
                "samples": " ".join(c.samples),
                "chosen": c.chosen,
                "correct": _yes_no(c.correct),
                "late": _yes_no(c.late),
                "left_out": left_out.get(c.attempt_id, ""),
            }
            for c in choices
        )
    return files


def _yes_no(value: bool) -> str:
    return "yes" if value else "no"


def _csv(rows: Iterable[dict[str, Any]]) -> str:
    listed = list(rows)
    text = io.StringIO()
    writer = csv.DictWriter(text, list(listed[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: _harmless(cell) for name, cell in row.items()} for row in listed)
    return text.getvalue()


def _harmless(cell: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets a leading apostrophe."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, indent=1) + "\n"
