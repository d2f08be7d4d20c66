"""Copying a study as the next round, putting it away, and deleting it after days of grace."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Table, delete, or_, select
from sqlmodel import Session, SQLModel, col
from sqlmodel import select as select_rows

from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import ForbiddenMoveError, draft_of, require
from panel.store.tables import Attempt, Consent, Person, Study
from panel.study.draft_reader import name_key
from panel.study.life import Move

if TYPE_CHECKING:
    from datetime import datetime

DAYS_OF_GRACE = 30
_PRODUCT = ("name", "maker", "lot", "price", "note", "role")


def copy_study(session: Session, study_id: str, actor: str) -> Study:
    """A new draft with everything that was typed for this study, as its next round.

    The products come along from a draft or once the names are revealed; in between they are sealed, and stay so.
    """
    study = locked_study(session, study_id)
    if study.brought_back_at is not None:
        raise ForbiddenMoveError(
            "This study was brought back from its files, which do not hold the form it was planned in. Plan anew."
        )
    typed = {name: value for name, value in draft_of(study).items() if not name.startswith("product-")}
    if study.state == "draft":
        typed = draft_of(study)
    elif study.key:
        typed |= _typed_products(json.loads(study.key)["key"])
    typed["title"] = f"{study.title}, next round"
    copied = Study(
        title=typed["title"],
        draft=json.dumps(typed, ensure_ascii=False, sort_keys=True),
        created_at=now(),
    )
    session.add(copied)
    session.flush()
    append(session, copied.id, actor, "study created", {"copied from": study.id})
    return copied


def put_away(session: Session, study_id: str, actor: str) -> None:
    """Archive the study: it leaves the list, and the links of kitchen and analyst end."""
    study = locked_study(session, study_id)
    require(study, Move.DELETE)
    study.archived_at = study.archived_at or now()
    session.add(study)
    append(session, study_id, actor, "study archived", {})


def delete_study(session: Session, study_id: str, actor: str) -> datetime:
    """Delete the study after the days of grace; the day on which it will be gone."""
    study = locked_study(session, study_id)
    require(study, Move.DELETE)
    study.deleted_at = study.deleted_at or now()
    session.add(study)
    append(session, study_id, actor, "study deleted", {"gone after days": DAYS_OF_GRACE})
    return study.deleted_at + timedelta(days=DAYS_OF_GRACE)


def bring_back(session: Session, study_id: str, actor: str) -> None:
    """Put the study back on the list, out of the archive or the bin."""
    study = locked_study(session, study_id)
    if study.archived_at is None and study.deleted_at is None:
        return
    study.archived_at = study.deleted_at = None
    session.add(study)
    append(session, study_id, actor, "study brought back", {})


def studies_on_the_shelf(session: Session) -> list[Study]:
    """Archived and deleted studies, newest first."""
    query = select_rows(Study).where(
        or_(col(Study.archived_at).is_not(None), col(Study.deleted_at).is_not(None))
    )
    return list(session.exec(query.order_by(col(Study.created_at).desc(), col(Study.id))))


def remove_for_good(session: Session, at: datetime | None = None) -> int:
    """Remove every study whose days of grace are over, with all its rows; how many.

    The caller must call `Database.forget_deleted` where there were any.
    """
    limit = (at or now()) - timedelta(days=DAYS_OF_GRACE)
    gone = list(session.exec(select_rows(Study.id).where(col(Study.deleted_at) < limit)))
    for study_id in gone:
        _remove(session, study_id)
    return len(gone)


def _remove(session: Session, study_id: str) -> None:
    study_table: Any = Study.__table__  # type: ignore[attr-defined]
    owned: dict[str, ColumnElement[bool]] = {study_table.name: study_table.c.id == study_id}
    tables = list(SQLModel.metadata.sorted_tables)
    for table in tables:
        if table.name not in owned and (condition := _belongs(table, owned)) is not None:
            owned[table.name] = condition
    for table in reversed(tables):
        if table.name in owned:
            session.execute(delete(table).where(owned[table.name]))
    has_attempt = select(col(Attempt.person_id))
    has_consent = select(col(Consent.person_id))
    strangers = col(Person.id).not_in(has_attempt) & col(Person.id).not_in(has_consent)
    session.execute(delete(Person).where(strangers))


def _belongs(table: Table, owned: dict[str, ColumnElement[bool]]) -> ColumnElement[bool] | None:
    """Which rows of the table hang on the study, over one of its foreign keys; None where none can."""
    conditions = []
    for key in table.foreign_keys:
        parent = key.column.table
        if parent.name in owned and parent is not table:
            conditions.append(key.parent.in_(select(key.column).where(owned[parent.name])))
    return or_(*conditions) if conditions else None


def _typed_products(key: dict[str, dict[str, Any]]) -> dict[str, str]:
    """The products as the form takes them; a blind duplicate, which the key holds twice, once."""
    typed: dict[str, str] = {}
    products = {name_key(product["name"]): product for product in key.values()}
    for row, (_name, product) in enumerate(sorted(products.items())):
        at = f"product-{row}-"
        typed |= {f"{at}{name}": str(product[name]) for name in _PRODUCT if product[name]}
        typed |= {f"{at}allergen_{allergen}": "yes" for allergen in product["allergens"]}
        typed |= {f"{at}twice": "yes"} if product["twice"] else {}
    return typed
