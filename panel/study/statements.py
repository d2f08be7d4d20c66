"""What only people know of a study, and a report must state: typed after tasting, kept in the log."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.study.seal import Event

STATED = "stated for the report"
LONGEST = 600
# Key -> what is to be stated. The names of the items are part of the stored log: add, never rename.
TO_STATE: dict[str, str] = {
    "samples": "Samples: origin, lot, preparation, storage",
    "serving": "How the samples were served: temperature, vessel, amount, carrier",
    "experience": "Who the tasters were: recruitment, experience, age and sex",
    "segments": "Groups of tasters looked at one by one",
    "environment": "Test environment",
    "place": "Place",
    "leader": "Who led the test",
}
# What may only be typed once the names are out: it would tell the samples apart before.
AFTER_THE_REVEAL = ("samples",)


def stated_in(events: Sequence[Event]) -> dict[str, str]:
    """Key of an item -> what was stated last; an item that was emptied again is left out."""
    found: dict[str, str] = {}
    for event in events:
        if event.kind == STATED:
            found[str(event.detail["item"])] = str(event.detail["text"])
    return {item: text for item, text in found.items() if text and item in TO_STATE}
