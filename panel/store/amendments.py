"""What may still be said and seen of a sealed study: dated amendments, and one cup opened for a safety reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, or_, select

from panel.store.ledger import append, locked_study
from panel.store.sealing import open_key
from panel.store.studies import plan_of, require
from panel.store.tables import Place, Serving
from panel.study.life import Move
from panel.study.plan import product_from_dict

if TYPE_CHECKING:
    from sqlmodel.sql.expression import SelectOfScalar

    from panel.study.plan import Product


@dataclass(frozen=True, slots=True)
class SeenCup:
    """What was in one cup."""

    place: int
    code: str
    product: Product


def amend(session: Session, study_id: str, actor: str, what: str, reason: str) -> None:
    """Record a change of what was sealed, with its reason. The sealed plan itself stays as it is."""
    study = locked_study(session, study_id)
    require(study, Move.AMEND)
    append(session, study_id, actor, "amended", {"what": what, "reason": reason, "while": study.state})


def see_one_cup(
    session: Session, study_id: str, actor: str, phrase: str, cup: tuple[int, str], reason: str
) -> SeenCup:
    """The product in one cup, for a safety reason; recorded as a look at names.

    cup : number of the place and code on the cup, the present one or the one it replaced
    LookupError when the place has no such cup; WrongPassphraseError when the phrase does not open the seal.
    """
    study = locked_study(session, study_id)
    require(study, Move.UNBLIND)
    place, code = cup
    serving = session.exec(_cups_with(study_id, place, code)).first()
    if serving is None:
        raise LookupError(f"Place {place} has no cup with the code “{code}”. Read both off the label again.")
    if plan_of(study).alone and serving.found_sample_id is None:
        raise LookupError(
            "Nobody knows what is in this cup until it is turned over: its dot says what it was filled with."
        )
    key = open_key(session, study, phrase)["key"]
    detail = {"on": "one cup", "place": place, "code": code, "reason": reason}
    append(session, study_id, actor, "names seen", detail)
    return SeenCup(place, code, product_from_dict(key[serving.found_sample_id or serving.sample_id]))


def _cups_with(study_id: str, place: int, code: str) -> SelectOfScalar[Serving]:
    return (
        select(Serving)
        .join(Place, col(Place.id) == Serving.place_id)
        .where(Place.study_id == study_id, Place.number == place)
        .where(or_(Serving.code == code, Serving.sealed_code == code))
        .order_by(col(Serving.attempt_number).desc(), col(Serving.position))
    )
