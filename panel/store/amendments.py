"""What may still be said and seen of a sealed study: dated amendments, and one cup opened for a safety reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.fresh_codes import CUP_REPLACED
from panel.store.ledger import append, events_of, locked_study
from panel.store.rows import stood
from panel.store.sealing import open_key
from panel.store.studies import plan_of, require
from panel.store.tables import Place, Serving
from panel.study.life import Move
from panel.study.plan import product_from_dict

if TYPE_CHECKING:
    from panel.study.plan import Product


@dataclass(frozen=True, slots=True)
class SeenCup:
    """What was in one cup. wrong : it was noted that another cup than this stood there."""

    place: int
    code: str
    product: Product
    wrong: bool


def amend(session: Session, study_id: str, actor: str, what: str, reason: str) -> None:
    """Record a change of what was sealed, with its reason. The sealed plan itself stays as it is."""
    study = locked_study(session, study_id)
    require(study, Move.AMEND)
    append(session, study_id, actor, "amended", {"what": what, "reason": reason, "while": study.state})


def see_one_cup(
    session: Session, study_id: str, actor: str, phrase: str, cup: tuple[int, str], reason: str
) -> SeenCup:
    """The product in one cup, for a safety reason; recorded as a look at names.

    cup : number of the place and code on the cup, the present one or any that it replaced, however often
    LookupError when the place has no such cup; WrongPassphraseError when the phrase does not open the seal.
    """
    study = locked_study(session, study_id)
    require(study, Move.UNBLIND)
    place, code = cup
    found = _cup_with(session, study_id, place, code)
    if found is None:
        raise LookupError(f"Place {place} has no cup with the code “{code}”. Read both off the label again.")
    serving, wrong = found
    if plan_of(study).alone and serving.found_sample_id is None:
        raise LookupError(
            "Nobody knows what is in this cup until it is turned over: its dot says what it was filled with."
        )
    key = open_key(session, study, phrase)["key"]
    detail = {"on": "one cup", "place": place, "code": code, "reason": reason}
    append(session, study_id, actor, "names seen", detail)
    return SeenCup(place, code, product_from_dict(key[stood(serving)]), wrong)


def _cup_with(session: Session, study_id: str, place: int, code: str) -> tuple[Serving, bool] | None:
    """The cup of a place that bears the code or ever did, and whether a wrong one was noted under it.

    A serving keeps its present code and the sealed one; the log knows those in between. No place meets a code twice.
    """
    replaced = {
        (event.detail["attempt number"], position): event.detail["reason"]
        for event in events_of(session, study_id)
        if event.kind == CUP_REPLACED and event.detail["place"] == place and event.detail["was"] == code
        for position in event.detail["positions"]
    }
    query = select(Serving).join(Place, col(Place.id) == Serving.place_id)
    for serving in session.exec(query.where(Place.study_id == study_id, Place.number == place)):
        why = replaced.get((serving.attempt_number, serving.position))
        if why is not None or code in (serving.code, serving.sealed_code):
            return serving, why == "wrong cup"
    return None
