"""Fresh codes for cups poured again: the sealed spare codes first, then the pool."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.randomiser.chance import Chance
from panel.randomiser.pool import POOL, far_apart, too_close
from panel.randomiser.trays import Cup, orderly
from panel.store.tables import LedgerEntry, Place, Serving, Study

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

CUP_REPLACED = "cup replaced"  # the event's kind


@dataclass(frozen=True, slots=True)
class CodesAtHand:
    """Codes in the order in which they are to be used, each part in random order.

    spare : sealed spare codes on no cup; unused : codes of the pool on no cup of the study; rest : the others
    """

    spare: tuple[str, ...]
    unused: tuple[str, ...]
    rest: tuple[str, ...]

    def without(self, codes: Iterable[str]) -> tuple[str, ...]:
        """All of them in order, but for these."""
        barred = set(codes)
        return tuple(code for code in (*self.spare, *self.unused, *self.rest) if code not in barred)


def codes_at_hand(session: Session, study: Study) -> CodesAtHand:
    """What is left of the study's codes."""
    query = select(Serving.code, Serving.sealed_code).join(Place, col(Place.id) == Serving.place_id)
    used = {code for pair in session.exec(query.where(Place.study_id == study.id)) for code in pair}
    used |= replaced_codes(session, study.id)
    sealed_spares = json.loads(study.spare_codes)
    spares = set(sealed_spares) - used
    unused = set(POOL) - used - set(sealed_spares)
    rest = set(POOL) - unused - set(sealed_spares)
    return CodesAtHand(_shuffled(spares), _shuffled(unused), _shuffled(rest))


def replaced_codes(session: Session, study_id: str) -> set[str]:
    """Codes of cups that were poured again, however often: the log remembers them all."""
    query = select(LedgerEntry.detail).where(
        LedgerEntry.study_id == study_id, LedgerEntry.kind == CUP_REPLACED
    )
    return {json.loads(detail)["was"] for detail in session.exec(query)}


def codes_for_tray(
    at_hand: CodesAtHand, cups: Sequence[Cup], *, barred: Iterable[str], beside: Sequence[str] = ()
) -> list[str]:
    """A code for each cup of a tray, in the order of the cups.

    barred : codes that may not be used, since the place had them before
    beside : codes that stay on the tray; no code differs from these, or from another, in a single digit
    The codes of three cups or more neither rise nor fall by position.
    """
    candidates = at_hand.without({*barred, *beside})
    chosen: list[str] = []
    for code in candidates:
        if len(chosen) == len(cups):
            break
        if not any(too_close(code, other) for other in (*chosen, *beside)):
            chosen.append(code)
    if len(chosen) < len(cups):
        chosen = _searched(candidates, len(cups), beside)
    order = list(_shuffled(chosen))
    while orderly(order, cups):
        order = list(_shuffled(order))
    return order


def _searched(candidates: Sequence[str], count: int, beside: Sequence[str]) -> list[str]:
    """So many codes far apart where taking them in order found too few; only different ones where none exist."""
    free = [code for code in candidates if not any(too_close(code, other) for other in beside)]
    chance = Chance(secrets.randbits(128), "fresh codes")
    return list(far_apart(count, free, chance, fallback=candidates)[:count])


def _shuffled(codes: Iterable[str]) -> tuple[str, ...]:
    listed = sorted(codes)
    secrets.SystemRandom().shuffle(listed)
    return tuple(listed)
