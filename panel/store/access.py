"""Who may come in: organisers with passwords, and links for kitchen, analyst and bench of which only a hash is kept."""

from __future__ import annotations

import hashlib
import secrets
import unicodedata
from typing import TYPE_CHECKING

from sqlalchemy import delete
from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.ledger import append
from panel.store.tables import Organiser, SignIn, SignInLink, Study
from panel.study.draft_reader import name_key, tidy

if TYPE_CHECKING:
    from pwdlib import PasswordHash

SHORTEST_PASSWORD = 10


def password_hash() -> PasswordHash:
    """The recommended hasher (Argon2id); loaded when used, since few requests need it."""
    from pwdlib import PasswordHash

    return PasswordHash.recommended()


def has_organiser(session: Session) -> bool:
    """Whether anybody has set a password yet."""
    return session.exec(select(Organiser).limit(1)).first() is not None


def all_organisers(session: Session) -> list[Organiser]:
    """All organisers by name."""
    return list(session.exec(select(Organiser).order_by(col(Organiser.name_key))))


def add_organiser(session: Session, name: str, password: str, created_by: str = "") -> Organiser:
    """A new organiser; ValueError, in the user's words, when name or password will not do."""
    name = tidy(name)
    if not name:
        raise ValueError("Write your name: the log says who did what.")
    if len(password) < SHORTEST_PASSWORD:
        raise ValueError(f"Choose a password of at least {SHORTEST_PASSWORD} characters.")
    if organiser_called(session, name) is not None:
        raise ValueError(f"There is an organiser called “{name}” already. Choose another name.")
    hashed = password_hash().hash(_composed(password))
    organiser = Organiser(
        name=name, name_key=name_key(name), password_hash=hashed, created_by=created_by, created_at=now()
    )
    session.add(organiser)
    session.flush()
    return organiser


def set_password(session: Session, name: str, password: str) -> None:
    """A new password for an organiser, which ends every sign-in of theirs.

    ValueError when there is none of that name or the password is too short.
    """
    organiser = organiser_called(session, name)
    if organiser is None:
        raise ValueError(f"There is no organiser called “{name}”.")
    if len(password) < SHORTEST_PASSWORD:
        raise ValueError(f"Choose a password of at least {SHORTEST_PASSWORD} characters.")
    organiser.password_hash = password_hash().hash(_composed(password))
    session.add(organiser)
    session.execute(delete(SignIn).where(col(SignIn.organiser_id) == organiser.id))


def organiser_called(session: Session, name: str) -> Organiser | None:
    """The organiser with that name, or None."""
    return session.exec(select(Organiser).where(Organiser.name_key == name_key(name))).first()


def organiser_with(session: Session, name: str, password: str) -> Organiser | None:
    """The organiser with that name and password, or None. Takes as long for a name that does not exist."""
    organiser = organiser_called(session, name)
    hasher = password_hash()
    if organiser is None:
        hasher.hash(_composed(password))
        return None
    return organiser if hasher.verify(_composed(password), organiser.password_hash) else None


def new_link(session: Session, study_id: str, role: str, actor: str) -> str:
    """A fresh sign-in token for "kitchen", "analyst" or "bench"; earlier links of that role stop working."""
    live = select(SignInLink).where(SignInLink.study_id == study_id, SignInLink.role == role)
    for link in session.exec(live.where(col(SignInLink.revoked_at).is_(None))):
        link.revoked_at = now()
        session.add(link)
    token = secrets.token_urlsafe(24)
    session.add(SignInLink(study_id=study_id, role=role, token_hash=_hashed(token), created_at=now()))
    append(session, study_id, actor, "link made", {"role": role})
    return token


def link_with(session: Session, token: str) -> SignInLink | None:
    """The live link with that token, or None."""
    found = session.exec(select(SignInLink).where(SignInLink.token_hash == _hashed(token))).first()
    return found if found is not None and _is_live(session, found) else None


def live_link(session: Session, link_id: str) -> SignInLink | None:
    """The link with that id unless it was revoked or has expired with its study."""
    link = session.get(SignInLink, link_id)
    return link if link is not None and _is_live(session, link) else None


def _is_live(session: Session, link: SignInLink) -> bool:
    """A link ends when it is revoked or its study put away or deleted; the kitchen's with the signature as well."""
    study = session.get_one(Study, link.study_id)
    if link.revoked_at or study.archived_at or study.deleted_at:
        return False
    return link.role != "kitchen" or study.state not in ("signed", "revealed")


def _composed(password: str) -> str:
    """Keyboards compose accents differently (RFC 8265, 4.2.2)."""
    return unicodedata.normalize("NFC", password)


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8")).hexdigest()
