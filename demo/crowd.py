"""The tasters of the sitting that is going on: they arrive one by one, take their time, and stop with the server."""

from __future__ import annotations

import random
import threading
from contextlib import suppress
from http.client import HTTPException
from typing import TYPE_CHECKING

from demo import story
from demo.phone import RefusedError, Taster
from demo.stage import answers

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

EARLY = (10, 10, 7, 4)
SECONDS_BETWEEN_ARRIVALS = (9.0, 20.0)
SECONDS_FOR_A_SCREEN = (5.0, 14.0)


class Crowd:
    """Scripted tasters on threads of their own. stop() ends them; what they have sent stays."""

    def __init__(self, address: str, join_path: str, cups: Mapping[str, story.Cooker]) -> None:
        self._address, self._join_path, self._cups = address, join_path, cups
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self._pace = random.Random(story.SEED)

    def arrive_early(self) -> None:
        """The first few, some way through their ballots already when this returns."""
        for number, done in enumerate(EARLY, start=1):
            taster = self._come(number)
            for screen in taster.screens[:done]:
                taster.answer(screen, answers(number, screen, self._cups))
            if done < len(taster.screens):
                self._start(self._taste, taster, number, done)

    def keep_coming(self) -> None:
        """The others, from now on, in the background."""
        self._start(self._others)

    def stop(self) -> None:
        """Let everyone put the phone down, and wait for them."""
        self._stopping.set()
        for thread in self._threads:
            thread.join(5)

    def _come(self, number: int) -> Taster:
        return Taster(self._address, self._join_path, story.NAMES_AT_SERVING[number - 1])

    def _others(self) -> None:
        for number in range(len(EARLY) + 1, len(story.NAMES_AT_SERVING) + 1):
            if self._stopped_within(SECONDS_BETWEEN_ARRIVALS):
                return
            self._start(self._taste, self._come(number), number, 0)

    def _taste(self, taster: Taster, number: int, done: int) -> None:
        for screen in taster.screens[done:]:
            if self._stopped_within(SECONDS_FOR_A_SCREEN):
                return
            if not taster.answer(screen, answers(number, screen, self._cups)):
                return  # the sitting was closed meanwhile; this answer was kept as late

    def _stopped_within(self, seconds: tuple[float, float]) -> bool:
        return self._stopping.wait(self._pace.uniform(*seconds))

    def _start(self, what: Callable[..., None], *given: object) -> None:
        def quietly() -> None:
            # The server was stopped, the sitting closed or the places taken: nothing is left to do.
            with suppress(OSError, HTTPException, RefusedError):
                what(*given)

        thread = threading.Thread(target=quietly, name="taster", daemon=True)
        self._threads.append(thread)
        thread.start()
