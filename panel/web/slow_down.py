"""Limits on guesses and on joining, over a sliding window of five minutes. Kept in memory; a restart forgets them.

Several workers each count for themselves.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from fastapi import Request

TRIES = 20
SECONDS = 300.0
MOST_ADDRESSES = 10_000
# Places from one address in one window: a tasting room of thirty booths behind one router joins in one go, with some
# to spare for phones that are handed on. A hall of more waits for the organiser's word, which takes one tap.
MOST_FROM_ONE = 40
# Places of one study from all addresses together, since one phone can have many addresses.
MOST_FROM_ALL = 150


class SlowDown:
    """Counts tries by address and purpose."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._tries: dict[tuple[str, str], list[float]] = {}
        self._lock = threading.Lock()

    def too_many(self, address: str, purpose: str, *, count: bool = True) -> bool:
        """Whether there have been too many tries, this one included; it stays uncounted unless `count`."""
        moment = self._clock()
        with self._lock:
            if len(self._tries) > MOST_ADDRESSES:
                self._tries.clear()
            recent = [t for t in self._tries.get((address, purpose), []) if moment - t < SECONDS]
            if count:
                self._tries[address, purpose] = [*recent, moment][-TRIES - 1 :]
            return len(recent) >= TRIES


@dataclass(frozen=True, slots=True)
class Crowd:
    """Joining that is held up. places : those taken in the last five minutes, from one address or from all."""

    places: tuple[int, ...]
    from_one: bool


class Joining:
    """Counts the places that are taken, by study and address, so that one phone cannot take them all."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._taken: dict[str, list[tuple[float, str, int]]] = {}
        self._turned_away: dict[str, list[tuple[float, str]]] = {}
        self._lock = threading.Lock()

    def may_join(self, study_id: str, address: str) -> bool:
        """Whether this address may take one more place of the study now."""
        with self._lock:
            taken = self._recent(study_id)
            mine = sum(who == address for _, who, _ in taken)
            if mine < MOST_FROM_ONE and len(taken) < MOST_FROM_ALL:
                return True
            held = self._turned_away.setdefault(study_id, [])
            held.append((self._clock(), address if mine >= MOST_FROM_ONE else ""))
            del held[:-MOST_FROM_ALL]
            return False

    def joined(self, study_id: str, address: str, place: int) -> None:
        """A place was taken."""
        with self._lock:
            self._taken[study_id] = [*self._recent(study_id), (self._clock(), address, place)]

    def crowd(self, study_id: str) -> Crowd | None:
        """Who was turned away in the last five minutes, and still would be; None where nobody was."""
        with self._lock:
            since = self._clock() - SECONDS
            held = [who for moment, who in self._turned_away.get(study_id, []) if moment > since]
            if not held:
                return None
            address = held[-1]
            taken = self._recent(study_id)
            places = sorted({place for _, who, place in taken if address in ("", who)})
            return Crowd(tuple(places), address != "") if places else None

    def let_in(self, study_id: str) -> None:
        """Begin to count anew, since somebody has looked who joins."""
        with self._lock:
            self._taken.pop(study_id, None)
            self._turned_away.pop(study_id, None)

    def _recent(self, study_id: str) -> list[tuple[float, str, int]]:
        since = self._clock() - SECONDS
        return [one for one in self._taken.get(study_id, []) if one[0] > since]


def too_many_tries(request: Request, purpose: str, *, count: bool = True) -> bool:
    """Whether this device has tried too often; `count` as in `SlowDown.too_many`."""
    slow_down: SlowDown = request.app.state.slow_down
    return slow_down.too_many(address_of(request), purpose, count=count)


def joining_of(request: Request) -> Joining:
    """The count of places taken."""
    joining: Joining = request.app.state.joining
    return joining


def address_of(request: Request) -> str:
    """The network address that asks; that of the router where a room shares one."""
    return request.client.host if request.client else ""
