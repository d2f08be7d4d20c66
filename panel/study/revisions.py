"""Which of several sends of one screen counts, where tasters may correct what they answered."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable

Screen = TypeVar("Screen", bound="Hashable")
Send = TypeVar("Send")

STORED, CORRECTION, KEPT_ASIDE = "stored", "correction", "kept aside"
COUNTED = (STORED, CORRECTION)


def standing(sends: Iterable[tuple[Screen, bool, Send]]) -> dict[Screen, Send]:
    """Screen -> the send that counts: the latest that came before closing, or the latest where all came after.

    sends : (screen, whether it came late, send) in order of receipt; those kept aside must not be among them
    """
    found: dict[Screen, tuple[bool, Send]] = {}
    for screen, late, send in sends:
        if screen not in found or not late or found[screen][0]:
            found[screen] = (late, send)
    return {screen: send for screen, (_late, send) in found.items()}
