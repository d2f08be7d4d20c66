"""A limit on guesses: so many tries from one address in five minutes. Kept in memory; a restart forgets it."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fastapi import Request

TRIES = 20
SECONDS = 300.0
MOST_ADDRESSES = 10_000


class SlowDown:
    """Counts tries by address and purpose over a sliding window."""

    def __init__(self) -> None:
        self._tries: dict[tuple[str, str], list[float]] = {}
        self._lock = threading.Lock()

    def too_many(self, address: str, purpose: str) -> bool:
        """Count one try; whether there have been too many."""
        moment = time.monotonic()
        with self._lock:
            if len(self._tries) > MOST_ADDRESSES:
                self._tries.clear()
            recent = [t for t in self._tries.get((address, purpose), []) if moment - t < SECONDS]
            recent.append(moment)
            self._tries[address, purpose] = recent[-TRIES - 1 :]
            return len(recent) > TRIES


def too_many_tries(request: Request, purpose: str) -> bool:
    """Whether this device has tried too often."""
    slow_down: SlowDown = request.app.state.slow_down
    return slow_down.too_many(request.client.host if request.client else "", purpose)
