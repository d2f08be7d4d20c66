"""Every scale a taster can meet, with all of its wording. A changed word is a new scale id.

Hedonic wording: the nine-point scale of Peryam and Pilgrim (1957), as ISO 11136:2014 uses it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from panel.study.said import said

Kind = Literal["category", "line", "choice", "terms", "term list", "number", "text"]
Asks = Literal["anchors", "points", "limits", "longest"]
CANNOT_TELL = "cannot tell"
CANNOT_TELL_WORDS = "I cannot tell"


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
    asks : what the organiser writes for it: words at the two ends, points or terms, limits, a length
    missing : what the taster is told when nothing was answered
    hint : how to answer, where that is not plain
    longest : most characters of a text
    numeric : whether the answers can be averaged
    primary : whether a verdict may rest on it
    may_not_tell : whether "cannot tell" can be offered
    """

    id: str
    kind: Kind
    name: str
    points: tuple[Point, ...] = ()
    low: float = 0
    high: float = 0
    low_anchor: str = ""
    high_anchor: str = ""
    asks: tuple[Asks, ...] = ()
    longest: int = 0
    missing: str = ""
    hint: str = ""
    numeric: bool = True
    primary: bool = True
    may_not_tell: bool = True

    def label_of(self, value: float) -> str:
        """The words of a chosen point; "" for lines."""
        return next((point.label for point in self.points if point.value == value), "")


YES, NO = Point(1, "Yes"), Point(0, "No")
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
            id="category",
            kind="category",
            name="Category scale, your own words for each point",
            asks=("points",),
            missing="Choose one of the answers.",
        ),
        Scale(
            id="line-100",
            kind="line",
            name="Intensity, line between two words",
            low=0,
            high=100,
            low_anchor="not at all",
            high_anchor="very",
            asks=("anchors",),
            missing="Tap the line where it fits.",
        ),
        Scale(
            id="just-about-right",
            kind="category",
            name="Just about right, five points",
            points=(
                Point(1, "Much too little"),
                Point(2, "Too little"),
                Point(3, "Just about right"),
                Point(4, "Too much"),
                Point(5, "Much too much"),
            ),
            missing="Choose how right it is.",
        ),
        Scale(
            id="check-all",
            kind="terms",
            name="Check all that apply",
            asks=("points",),
            hint="Tick every word that fits. None is an answer too.",
            missing="Tick every word that fits.",
            primary=False,
            may_not_tell=False,
        ),
        Scale(
            id="yes-no-list",
            kind="term list",
            name="Yes or no for each of several words",
            points=(YES, NO),
            asks=("points",),
            missing="Choose yes or no for every word.",
            primary=False,
            may_not_tell=False,
        ),
        Scale(
            id="yes-no",
            kind="choice",
            name="Yes or no",
            points=(YES, NO),
            missing="Choose yes or no.",
        ),
        Scale(
            id="number",
            kind="number",
            name="Number",
            asks=("limits",),
            missing="Write a number.",
        ),
        Scale(
            id="short-text",
            kind="text",
            name="A few words",
            longest=80,
            asks=("longest",),
            missing="Write a few words.",
            numeric=False,
            primary=False,
            may_not_tell=False,
        ),
        Scale(
            id="comment",
            kind="text",
            name="Comment in words",
            longest=500,
            missing="Write a few words.",
            numeric=False,
            primary=False,
            may_not_tell=False,
        ),
    )
}


@dataclass(frozen=True, slots=True)
class SetWording:
    """What tasters read about a set of cups. A changed word can cost a test its power.

    asks : the question; "{attribute}" stands for what the organiser names
    hint : how to go about it; missing : what is said where the answer is missing or not whole
    by_liking : the question where no attribute is named; known : what is said of a cup shown by name
    locked : why the organiser cannot put own words in their place; "" where they can
    """

    asks: str
    hint: str
    missing: str
    by_liking: str = ""
    known: str = ""
    locked: str = ""

    def question(self, attribute: str) -> str:
        """The question as asked."""
        if attribute:
            return said(self.asks, attribute=attribute)
        return self.by_liking or self.asks


MUST_CHOOSE = "Taste in the order shown. You must choose; if you are not sure, guess."
TRIANGLE = SetWording(
    asks="Two of these are the same and one is different. Which one is different?",
    hint=MUST_CHOOSE,
    missing="Choose the cup that is different. If you are not sure, guess.",
)
# Two groups of two: asking for the two most alike cuts the power to about that of a triangle
# (Rousseau and Ennis 2013).
TETRAD = SetWording(
    asks="Sort these four into two groups of two by how alike they are.",
    hint="Taste in the order shown. Each group holds two cups; if you are not sure, guess.",
    missing="Put two cups into each group. If you are not sure, guess.",
    locked=(
        "Locked by the method: tasters must be asked for two groups of two. Asked for the two most alike, they find "
        "a difference hardly more often than in a triangle test (Rousseau and Ennis 2013)."
    ),
)
DUO_TRIO = SetWording(
    asks="One of these two is the same as the reference. Which one?",
    hint="Taste the reference first, then the others in the order shown. If you are not sure, guess.",
    missing="Choose the cup that is the same as the reference. If you are not sure, guess.",
)
STRONGEST_OF_TWO = SetWording(
    asks="Which of these two is stronger in this: {attribute}?",
    hint=MUST_CHOOSE,
    missing="Choose the stronger one. If you are not sure, guess.",
)
STRONGEST_OF_THREE = SetWording(
    asks="Which of these three is strongest in this: {attribute}?",
    hint=MUST_CHOOSE,
    missing="Choose the strongest one. If you are not sure, guess.",
)
TWO_OUT_OF_FIVE = SetWording(
    asks="Two of these are the same, and the other three are the same. Which are the two?",
    hint="Taste in the order shown. Choose exactly two; if you are not sure, guess.",
    missing="Choose exactly two cups. If you are not sure, guess.",
)
SAME_DIFFERENT = SetWording(
    asks="Are these two the same or different?",
    hint="Taste in the order shown. You must choose; if you are not sure, guess.",
    missing="Choose “the same” or “different”. If you are not sure, guess.",
)
A_NOT_A = SetWording(
    asks="Is this A?",
    hint="Compare it with A as you remember it. You must choose; if you are not sure, guess.",
    missing="Choose yes or no. If you are not sure, guess.",
    known="This is A. Get to know it well: you will be asked later which cups are A.",
)
PAIRED_PREFERENCE = SetWording(
    asks="Which of these two do you prefer?",
    hint="Taste in the order shown.",
    missing="Choose one answer.",
)
RANKING = SetWording(
    asks="Put these in order of this: {attribute}. The strongest comes first.",
    by_liking="Put these in order of liking. The one you like best comes first.",
    hint="Taste in the order shown. Every cup gets its own place; if you are not sure, guess.",
    missing="Give every cup a place of its own. If you are not sure, guess.",
)


def scale_of(name: str) -> Scale:
    """The scale with id `name`; ValueError naming the known ones otherwise."""
    try:
        return SCALES[name]
    except KeyError:
        raise ValueError(f"no scale is called {name!r}; known: {', '.join(SCALES)}") from None
