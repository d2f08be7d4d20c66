"""What people state for the report's list: appended to the log, the last word on an item stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.store.ledger import append, events_of, locked_study
from panel.store.studies import ForbiddenMoveError, require_results
from panel.study.life import State
from panel.study.statements import AFTER_THE_REVEAL, STATED, TO_STATE, stated_in

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlmodel import Session


def state_items(session: Session, study_id: str, actor: str, typed: Mapping[str, str]) -> None:
    """Keep what was typed, item by item; what is unchanged is not kept again.

    ForbiddenMoveError while results may not be seen, and for what would tell the samples apart before the reveal.
    """
    study = locked_study(session, study_id)
    require_results(study)
    known = stated_in(events_of(session, study_id))
    for item in TO_STATE:
        text = typed.get(item, known.get(item, ""))
        if text == known.get(item, ""):
            continue
        if item in AFTER_THE_REVEAL and study.state != State.REVEALED:
            raise ForbiddenMoveError("What the samples are is stated after the reveal, not before.")
        append(session, study_id, actor, STATED, {"item": item, "text": text})
