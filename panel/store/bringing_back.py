"""Bringing a study back from the files of its bundle: the rows that seal, log and sends tell of, to be read only.

Ids that the seal and the log name stay as they were; places, screens, cups and sittings get fresh ones, so that no
printed code, join card or phone's sign-in of the study works again. Names of tasters are in no bundle.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from panel.store.bench_bundle import bring_bench_back
from panel.store.database import now
from panel.store.ledger import append
from panel.store.replayed_room import ReplayedRoom, moment_of
from panel.store.tables import LedgerEntry, Study
from panel.study import bundle
from panel.study.life import State
from panel.study.seal import Event, canonical_json

if TYPE_CHECKING:
    from sqlmodel import Session

    from panel.store.tokens import Tokens

_MOVES = {
    "study sealed": State.SEALED,
    "sitting opened": State.SERVING,
    "sitting closed": State.CLOSED,
    "report signed": State.SIGNED,
    "names revealed": State.REVEALED,
}
Row = dict[str, Any]


class CannotComeBackError(ValueError):
    """The study cannot be brought back from these files; the message says why and what to do."""


def bring_back_from(session: Session, tokens: Tokens, files: dict[str, str], actor: str) -> Study:
    """The study of a bundle whose files were checked before (`verify`), archived and read-only.

    files : name -> text. CannotComeBackError where the study is here, or was not closed when it was taken away.
    The caller holds what comes out against the files, and rolls back where they differ.
    """
    sealed: Row = json.loads(files[bundle.SEALED])
    events = [Event(**json.loads(line)) for line in files[bundle.EVENTS].removesuffix("\n").split("\n")]
    _refuse(session, sealed["study"], events, files)
    study = _study(sealed, events, files)
    session.add(study)
    session.flush()
    room = ReplayedRoom(session, tokens, study, sealed)
    for event in events:
        room.replay(event)
    room.seat(json.loads(line) for line in files[bundle.SENDS].removesuffix("\n").split("\n") if line)
    for event in events:
        body = canonical_json(event.detail).decode()
        session.add(
            LedgerEntry(
                study_id=study.id, number=event.number, at=event.at, actor=event.actor, kind=event.kind, detail=body,
                previous=event.previous, hash=event.hash,
            )
        )  # fmt: skip
    session.flush()
    if study.key:
        bring_bench_back(session, study, [json.loads(line) for line in _rows(files, bundle.REVISIONS)])
    append(session, study.id, actor, "study brought back from its files", {"events": len(events)})
    return study


def _rows(files: dict[str, str], name: str) -> list[str]:
    return [line for line in files.get(name, "").removesuffix("\n").split("\n") if line]


def _refuse(session: Session, study_id: str, events: list[Event], files: dict[str, str]) -> None:
    here = session.get(Study, study_id)
    if here is not None:
        where = " in the archive" if here.archived_at else ""
        where = " among the deleted studies, where it can be brought back" if here.deleted_at else where
        raise CannotComeBackError(f"“{here.title}” is here already{where}. Nothing was changed.")
    kinds = {event.kind for event in events}
    if "sitting closed" not in kinds or bundle.SENDS not in files:
        raise CannotComeBackError(
            "This bundle was taken before answers could leave the house, so it does not hold them. Only a bundle "
            "taken after closing (of somebody who works alone: after signing) can be brought back."
        )


def _study(sealed: Row, events: list[Event], files: dict[str, str]) -> Study:
    at = {
        event.kind: moment_of(event) for event in reversed(events) if event.kind in ("study created", *_MOVES)
    }
    states = [_MOVES[event.kind] for event in events if event.kind in _MOVES]
    secret = {name: sealed[name] for name in ("key", "seed", "nonce") if name in sealed}
    return Study(
        id=sealed["study"],
        state=max(states, key=list(State).index),
        title=sealed["plan"]["title"],
        plan=json.dumps(sealed["plan"], ensure_ascii=False, sort_keys=True),
        commitment=files[bundle.COMMITMENT].strip(),
        spare_codes=json.dumps(sealed["spare_codes"]),
        report=files.get(bundle.REPORT, ""),
        key=json.dumps(secret, ensure_ascii=False) if secret else "",
        created_at=at["study created"],
        sealed_at=at["study sealed"],
        signed_at=at.get("report signed"),
        revealed_at=at.get("names revealed"),
        archived_at=now(),
        brought_back_at=now(),
    )
