"""The form for what only people know and the report must state: who tasted, where, how it was served."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.store.statements import state_items
from panel.study.problems import Problem
from panel.study.statements import LONGEST, TO_STATE
from panel.web.access import AnalystsStudy, AsAnalyst
from panel.web.analyst import report_page
from panel.web.pages import InHouse, Sent, see_other

router = APIRouter()


@router.post("/studies/{study_id}/statements")
def keep_statements(
    request: Request, house: InHouse, who: AsAnalyst, study: AnalystsStudy, sent: Sent
) -> Response:
    studies.require_results(study)
    typed = {item: " ".join(sent[f"state-{item}"].split()) for item in TO_STATE if f"state-{item}" in sent}
    problems = tuple(
        Problem(
            f"state-{item}", "long", f"{TO_STATE[item]}: at most {LONGEST} characters. This has {len(text)}."
        )
        for item, text in typed.items()
        if len(text) > LONGEST
    )
    if problems:
        return report_page(request, house, study, problems, 422, typed=sent)
    with house.database.write() as session:
        state_items(session, study.id, who.actor, typed)
    return see_other(f"/studies/{study.id}/report#checklist")
