"""Coroutines in a thread of their own: while a browser is open, the tests' own thread already runs a loop."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Coroutine

T = TypeVar("T")


def run(coroutine: Coroutine[object, object, T]) -> T:
    """Run it to its end; gives what it gives and raises what it raises."""
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(asyncio.run, coroutine).result()
