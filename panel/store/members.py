"""The panel's register: people who agreed that their record over studies is kept. Empty until somebody is added.

A record is found by the name that somebody gave as a taster, in studies that are signed; where that name was erased
there is nothing to find. The register holds no answer and no result of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.database import now
from panel.store.rows import attempts_of, choices_of, exclusions_of, sends_of
from panel.store.tables import PanelMember, Study
from panel.study.draft_reader import name_key, tidy
from panel.study.life import State

if TYPE_CHECKING:
    from panel.store.rows import SeatProgress

LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Sat:
    """One attempt in a signed study. key : the name they gave, as names are compared, "" where none is kept.

    late : sends after closing; right, sets : of answers that are right or wrong
    """

    seat: SeatProgress
    key: str
    late: int
    left_out: str
    right: int
    sets: int


def add_member(session: Session, actor: str, name: str, wording: str) -> PanelMember:
    """Somebody who has read and agreed. ValueError, in the organiser's words, for a name that will not do."""
    name = tidy(name)
    if not name or len(name) > LONGEST_NAME:
        raise ValueError(
            f"Write the name as the taster writes it on the phone, in 1 to {LONGEST_NAME} characters."
        )
    if session.exec(select(PanelMember).where(PanelMember.name_key == name_key(name))).first() is not None:
        raise ValueError(
            f"“{name}” is on the register already. Two people of one name need names that differ."
        )
    member = PanelMember(name=name, name_key=name_key(name), wording=wording, agreed_at=now(), added_by=actor)
    session.add(member)
    session.flush()
    return member


def members(session: Session) -> list[PanelMember]:
    """Everybody on the register, by name."""
    return sorted(session.exec(select(PanelMember)), key=lambda member: (member.name_key, member.id))


def member_called(session: Session, member_id: str) -> PanelMember | None:
    """The entry of that id, or None."""
    return session.get(PanelMember, member_id)


def take_off(session: Session, member_id: str) -> None:
    """The entry is deleted; whoever is not on the register is no longer shown."""
    found = session.get(PanelMember, member_id)
    if found is not None:
        session.delete(found)


def forget_member(session: Session, name: str) -> None:
    """Whoever asks for erasure leaves the register as well."""
    for found in session.exec(select(PanelMember).where(PanelMember.name_key == name_key(name))):
        session.delete(found)


def signed_studies(session: Session) -> list[Study]:
    """Every study that is signed or revealed and not deleted, oldest signature first; archived ones too."""
    query = select(Study).where(col(Study.state).in_((State.SIGNED, State.REVEALED)))
    found = session.exec(query.where(col(Study.deleted_at).is_(None)))
    return sorted(found, key=lambda study: (study.signed_at or study.created_at, study.id))


def sat_in(session: Session, study: Study) -> list[Sat]:
    """Everybody who took part in a signed study. ValueError for one that is not signed: nothing may be seen before."""
    if study.state not in (State.SIGNED, State.REVEALED):
        raise ValueError(f"study {study.id} is {study.state}, not signed")
    left_out = exclusions_of(session, study.id)
    late = [send.attempt for send in sends_of(session, study.id) if send.late]
    judged = [
        choice for choice in choices_of(session, study) if choice.correct is not None and not choice.late
    ]
    return [
        Sat(
            seat=seat,
            key=name_key(seat.name) if seat.name else "",
            late=late.count(seat.attempt_id),
            left_out=left_out.get(seat.attempt_id, ""),
            right=sum(bool(one.correct) for one in judged if one.attempt_id == seat.attempt_id),
            sets=sum(one.attempt_id == seat.attempt_id for one in judged),
        )
        for seat in attempts_of(session, study.id)
    ]
