"""One thing looked at when a bundle is verified."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at. holds: True, False, or None where the bundle is too young for it."""

    what: str
    holds: bool | None
    text: str
