"""Every scale a taster can meet, with all of its wording. A changed word is a new scale id.

Hedonic wording: the nine-point scale of Peryam and Pilgrim (1957), as ISO 11136:2014 uses it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["category", "line", "choice", "text"]


@dataclass(frozen=True, slots=True)
class Point:
    """One answer that can be chosen: the stored value and its words."""

    value: int
    label: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A way to answer one question.

    points : the choices of a category scale, in the order shown
    low, high : limits of a line, with default anchors
    asks_anchors : whether the organiser words the two ends
    missing : what the taster is told when nothing was answered
    numeric : whether the answers can be averaged
    """

    id: str
    kind: Kind
    name: str
    points: tuple[Point, ...] = ()
    low: float = 0
    high: float = 0
    low_anchor: str = ""
    high_anchor: str = ""
    asks_anchors: bool = False
    longest: int = 0
    missing: str = ""
    numeric: bool = True

    def label_of(self, value: float) -> str:
        """The words of a chosen point; "" for lines."""
        return next((point.label for point in self.points if point.value == value), "")


SCALES: dict[str, Scale] = {
    scale.id: scale
    for scale in (
        Scale(
            id="hedonic-9",
            kind="category",
            name="Liking, nine points",
            points=(
                Point(9, "Like extremely"),
                Point(8, "Like very much"),
                Point(7, "Like moderately"),
                Point(6, "Like slightly"),
                Point(5, "Neither like nor dislike"),
                Point(4, "Dislike slightly"),
                Point(3, "Dislike moderately"),
                Point(2, "Dislike very much"),
                Point(1, "Dislike extremely"),
            ),
            missing="Choose how much you like it.",
        ),
        Scale(
            id="line-100",
            kind="line",
            name="Intensity, line between two words",
            low=0,
            high=100,
            low_anchor="not at all",
            high_anchor="very",
            asks_anchors=True,
            missing="Tap the line where it fits.",
        ),
        Scale(
            id="yes-no",
            kind="choice",
            name="Yes or no",
            points=(Point(1, "Yes"), Point(0, "No")),
            missing="Choose yes or no.",
        ),
        Scale(
            id="comment",
            kind="text",
            name="Comment in words",
            longest=500,
            missing="Write a few words.",
            numeric=False,
        ),
    )
}

ODD_ONE_QUESTION = "Two of these are the same and one is different. Which one is different?"
ODD_ONE_HINT = "Taste in the order shown. You must choose; if you are not sure, guess."
ODD_ONE_MISSING = "Choose the cup that is different. If you are not sure, guess."


def scale_of(name: str) -> Scale:
    """The scale with id `name`; ValueError naming the known ones otherwise."""
    try:
        return SCALES[name]
    except KeyError:
        raise ValueError(f"no scale is called {name!r}; known: {', '.join(SCALES)}") from None
