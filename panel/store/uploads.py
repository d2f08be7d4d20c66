"""Tables of scores from elsewhere, kept as uploaded until somebody throws them away."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.tables import UploadedTable

if TYPE_CHECKING:
    from collections.abc import Mapping


def keep_table(session: Session, organiser: str, file_name: str, content: bytes) -> UploadedTable:
    """Keep the file as it came."""
    kept = UploadedTable(uploaded_by=organiser, file_name=file_name, content=content, uploaded_at=now())
    session.add(kept)
    session.flush()
    return kept


def tables_kept(session: Session) -> list[UploadedTable]:
    """All kept tables, newest first."""
    return list(session.exec(select(UploadedTable).order_by(col(UploadedTable.uploaded_at).desc())))


def table_called(session: Session, table_id: str) -> UploadedTable | None:
    """The table with that id, or None."""
    return session.get(UploadedTable, table_id)


def name_columns(session: Session, table_id: str, columns: Mapping[str, str]) -> None:
    """Remember which columns hold what."""
    kept = session.get_one(UploadedTable, table_id)
    kept.columns = json.dumps(dict(columns), ensure_ascii=False, sort_keys=True)
    session.add(kept)


def throw_away(session: Session, table_id: str) -> None:
    """Delete the table; nothing else refers to it."""
    kept = session.get(UploadedTable, table_id)
    if kept is not None:
        session.delete(kept)
