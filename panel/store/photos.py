"""Pictures beside measurements, already encoded anew."""

from __future__ import annotations

import hashlib

from sqlmodel import Session, col, select

from panel.store.bench_tables import Measurement, Photo
from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.studies import require
from panel.study.life import Move


def keep_photo(
    session: Session, study_id: str, actor: str, measurement_id: str, content: bytes, size: tuple[int, int]
) -> Photo | None:
    """Keep a picture beside this revision, once: the same picture again changes nothing and gives None."""
    require(locked_study(session, study_id), Move.MEASURE)
    row = session.get(Measurement, measurement_id)
    if row is None or row.study_id != study_id:
        raise LookupError(f"study {study_id} has no measurement {measurement_id!r}")
    if any(kept.content == content for kept in photos_of(session, study_id, row.entry)):
        return None
    photo = Photo(measurement_id=row.id, content=content, width=size[0], height=size[1], added_at=now())
    session.add(photo)
    session.flush()
    detail = {"entry": row.entry, "digest": hashlib.sha256(content).hexdigest()}
    append(session, study_id, actor, "photo kept", detail)
    return photo


def photos_of(session: Session, study_id: str, entry: str) -> list[Photo]:
    """The pictures beside all revisions of one entry, first one first."""
    query = (
        select(Photo)
        .join(Measurement, col(Measurement.id) == Photo.measurement_id)
        .where(Measurement.study_id == study_id, Measurement.entry == entry)
    )
    return list(session.exec(query.order_by(col(Photo.added_at), col(Photo.id))))


def photo_called(session: Session, study_id: str, photo_id: str) -> Photo | None:
    """The picture with that id, if it is this study's."""
    query = select(Photo).join(Measurement, col(Measurement.id) == Photo.measurement_id)
    return session.exec(query.where(Photo.id == photo_id, Measurement.study_id == study_id)).first()


def photographed(session: Session, study_id: str) -> dict[str, int]:
    """Entry -> how many pictures it has."""
    query = select(Measurement.entry).join(Photo, col(Photo.measurement_id) == Measurement.id)
    found: dict[str, int] = {}
    for entry in session.exec(query.where(Measurement.study_id == study_id)):
        found[entry] = found.get(entry, 0) + 1
    return found
