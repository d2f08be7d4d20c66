"""Studies: creating, drafting, drawing the plan, and moving through life."""

from __future__ import annotations

import hashlib
import json
import secrets
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.register import enter_revealed
from panel.store.tables import Sitting, Study
from panel.study.draft_reader import renumbered, tidy
from panel.study.draft_words import parts_in, word_fields
from panel.study.life import Move, State, after, refusal
from panel.study.plan import Plan, plan_from_dict

if TYPE_CHECKING:
    from collections.abc import Mapping


READING = (Move.READ_REPORT, Move.EXPORT, Move.DELETE)


class DraftChangedError(ValueError):
    """Somebody else has saved the draft since it was opened."""


class ForbiddenMoveError(ValueError):
    """The study is in a state that does not allow this; the message says what to do instead."""


def create_study(session: Session, actor: str, typed: Mapping[str, str]) -> Study:
    """A new draft with what has been typed so far."""
    study = Study(title=_title(typed), draft=_as_text(typed), created_at=now())
    session.add(study)
    session.flush()
    append(session, study.id, actor, "study created", {})
    return study


def study_called(session: Session, study_id: str) -> Study | None:
    """The study with that id, or None."""
    return session.get(Study, study_id)


def all_studies(session: Session) -> list[Study]:
    """All studies that are neither archived nor deleted, newest first."""
    query = select(Study).where(col(Study.archived_at).is_(None), col(Study.deleted_at).is_(None))
    return list(session.exec(query.order_by(col(Study.created_at).desc(), col(Study.id))))


def require(study: Study, move: Move) -> None:
    """ForbiddenMoveError, with what to do instead, when the study's state does not allow `move`."""
    reason = refusal(State(study.state), move)
    if reason is None and study.brought_back_at is not None and move not in READING:
        reason = (
            "This study was brought back from its files. It can be read and taken away, but not gone on with."
        )
    if reason is not None:
        raise ForbiddenMoveError(reason)


def may(study: Study, move: Move) -> bool:
    """Whether `require` lets `move` pass."""
    try:
        require(study, move)
    except ForbiddenMoveError:
        return False
    return True


def require_results(study: Study) -> None:
    """ForbiddenMoveError while nobody may see a result. Whoever works alone sees them once they are signed."""
    require(study, Move.READ_REPORT)
    if study.state == State.CLOSED and plan_of(study).alone:
        raise ForbiddenMoveError(
            "You work alone: write down the dots under the cups first. Then the sealed analysis runs once and is "
            "signed in the same moment."
        )


def save_draft(session: Session, study_id: str, typed: Mapping[str, str], as_of: str = "") -> Study:
    """Keep the form exactly as typed. A change makes the drawn plan void, since it may no longer fit.

    as_of : `draft_mark` of the draft that the form was filled from; DraftChangedError, and nothing stored, when
        another form was saved since. "" asks for no such check.
    """
    study = locked_study(session, study_id)
    require(study, Move.EDIT)
    kept = _as_text({**word_fields(draft_of(study)), **typed})
    if as_of and as_of != draft_mark(study) and kept != study.draft:
        raise DraftChangedError(
            "Somebody else saved this draft while you were typing. Theirs stands; what you typed is below and not "
            "stored. Save again to put yours in its place, or open the draft anew to see theirs."
        )
    if kept != study.draft:
        study.draft, study.seed, study.title = kept, "", _title(typed)
    session.add(study)
    return study


def save_words(session: Session, study_id: str, typed: Mapping[str, str], as_of: str = "") -> Study:
    """Keep the own words of a draft as typed, beside the rest of it. The drawn plan stays: no order depends on them.

    Words for what this draft does not ask, as after a change of its test, stay for when it does.
    as_of : `words_mark` of the words that the form was filled from; DraftChangedError as for `save_draft`
    """
    study = locked_study(session, study_id)
    require(study, Move.EDIT)
    draft = draft_of(study)
    asked = {line.field for part in parts_in(draft) for line in part.lines}
    rest = {
        name: value for name, value in draft.items() if name not in word_fields(draft) or name not in asked
    }
    kept = _as_text({**rest, **{name: value for name, value in word_fields(typed).items() if value.strip()}})
    if as_of and as_of != words_mark(study) and kept != study.draft:
        raise DraftChangedError(
            "Somebody else saved words of this study while you were typing. Theirs stand; what you typed is below and "
            "not stored. Save again to put yours in their place, or open this page anew to see theirs."
        )
    study.draft = kept
    session.add(study)
    return study


def draft_mark(study: Study) -> str:
    """A fingerprint of the draft as it is stored now."""
    return _mark(study.draft)


def words_mark(study: Study) -> str:
    """A fingerprint of the draft's own words as they are stored now."""
    return _mark(json.dumps(word_fields(draft_of(study)), sort_keys=True))


def plan_mark(study: Study) -> str:
    """A fingerprint of the plan as it would be sealed now: of the draft and of the orders drawn for it."""
    return _mark(f"{study.seed}\n{study.draft}")


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]


def draft_of(study: Study) -> dict[str, str]:
    """The typed form; of a study that is sealed, without the products."""
    typed: dict[str, str] = json.loads(study.draft or "{}")
    return typed


def draw_plan(session: Session, study_id: str) -> Study:
    """A fresh seed of 128 bits for the plan; drawing again gives another plan."""
    study = locked_study(session, study_id)
    require(study, Move.EDIT)
    study.seed = secrets.token_hex(16)
    session.add(study)
    return study


def plan_of(study: Study) -> Plan:
    """The frozen plan; the study must be sealed."""
    stored: dict[str, Any] = json.loads(study.plan)
    return plan_from_dict(stored)


def sitting_of(session: Session, study_id: str) -> Sitting:
    """The study's latest sitting: the open one, or the one that comes next or was the last."""
    return session.exec(
        select(Sitting).where(Sitting.study_id == study_id).order_by(col(Sitting.number).desc())
    ).first() or (_missing_sitting(study_id))


def open_sitting(session: Session, study_id: str, actor: str) -> Study:
    """Tasters may join from now on."""
    study = _moved(session, study_id, Move.OPEN)
    sitting = sitting_of(session, study_id)
    sitting.opened_at = now()
    session.add(sitting)
    append(session, study_id, actor, "sitting opened", {"sitting": sitting.number})
    return study


def freeze_address(session: Session, study_id: str, base_url: str) -> str:
    """The address that the study's printed codes carry: set by the first print, never changed afterwards."""
    study = locked_study(session, study_id)
    if not study.base_url:
        study.base_url = base_url
        session.add(study)
    return study.base_url


def close_sitting(session: Session, study_id: str, actor: str) -> Study:
    """Tasting is over, in this sitting and the whole study: nobody can join or open a form any more.

    Answers on their way are still taken, as late.
    """
    study = _moved(session, study_id, Move.CLOSE)
    sitting = sitting_of(session, study_id)
    sitting.closed_at, sitting.paused_at = sitting.closed_at or now(), None
    session.add(sitting)
    append(session, study_id, actor, "sitting closed", {"sitting": sitting.number})
    return study


def sign_report(session: Session, study_id: str, actor: str, report: str, summary: dict[str, Any]) -> Study:
    """Fix data, exclusions and results. report: the results as JSON text; summary: their hashes."""
    study = _moved(session, study_id, Move.SIGN)
    study.report = report
    study.signed_at = now()
    append(session, study_id, actor, "report signed", summary)
    return study


def reveal(session: Session, study_id: str, actor: str, opened: dict[str, Any], key: str) -> Study:
    """Publish the key, and put its products into the register.

    opened: what the event says; key: products, seed and nonce as JSON text
    """
    study = _moved(session, study_id, Move.REVEAL)
    study.key = key
    enter_revealed(session, study)
    study.revealed_at = now()
    append(session, study_id, actor, "names revealed", opened)
    return study


def _moved(session: Session, study_id: str, move: Move) -> Study:
    study = locked_study(session, study_id)
    require(study, move)
    study.state = after(State(study.state), move)
    session.add(study)
    return study


def _missing_sitting(study_id: str) -> Sitting:
    raise LookupError(f"study {study_id} has no sitting; only a sealed study has one")


def _title(typed: Mapping[str, str]) -> str:
    return tidy(typed.get("title", "")) or "Untitled study"


def _as_text(typed: Mapping[str, str]) -> str:
    return json.dumps(renumbered(typed), ensure_ascii=False, sort_keys=True)
