"""Sign-ins that are under way. Each is a row, so that signing out ends it on the server, whoever holds its cookie."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import delete
from sqlmodel import Session, col, select

from panel.store.access import live_link
from panel.store.database import now
from panel.store.tables import Organiser, SignIn, SignInLink

if TYPE_CHECKING:
    from datetime import datetime

SIGN_IN_DAYS = 30


def begin_sign_in(session: Session, holder: Organiser | SignInLink) -> str:
    """The random id of a new sign-in by an organiser, or by a link."""
    link_id = holder.id if isinstance(holder, SignInLink) else None
    organiser_id = None if link_id else holder.id
    begun = SignIn(organiser_id=organiser_id, link_id=link_id, begun_at=now())
    session.add(begun)
    session.flush()
    return begun.id


def holder_of(session: Session, sign_in_id: str) -> Organiser | SignInLink | None:
    """Who is signed in by it; None once it was ended, is too old, or its link has ended."""
    found = session.get(SignIn, sign_in_id)
    if found is None or found.begun_at < now() - timedelta(days=SIGN_IN_DAYS):
        return None
    if found.link_id is not None:
        return live_link(session, found.link_id)
    return session.get(Organiser, found.organiser_id)


def end_sign_in(session: Session, sign_in_id: str) -> None:
    """Sign out. One that is not under way changes nothing."""
    session.execute(delete(SignIn).where(col(SignIn.id) == sign_in_id))


def end_sign_ins_of(session: Session, organiser: Organiser) -> None:
    """Sign this organiser out on every device."""
    session.execute(delete(SignIn).where(col(SignIn.organiser_id) == organiser.id))


def devices_of(session: Session, organiser: Organiser) -> int:
    """On how many devices this organiser is signed in."""
    return len(session.exec(select(SignIn.id).where(SignIn.organiser_id == organiser.id)).all())


def forget_old_sign_ins(session: Session, at: datetime | None = None) -> None:
    """Remove those that are too old to let anybody in."""
    limit = (at or now()) - timedelta(days=SIGN_IN_DAYS)
    session.execute(delete(SignIn).where(col(SignIn.begun_at) < limit))
