"""What comes between two screens: which cup is in the hand, a wait, a break. All of it by codes and numbers alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.problems import Problem
from panel.study.said import said
from panel.web.asked import Asked, Pick

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.store.tables import Serving, Task
    from panel.study.plan import Plan

CUP = "cup"
CHOICES = 3
Served = tuple["Task", list["Serving"]]


def confirmation(plan: Plan, served: Sequence[Served], at: int) -> Asked | None:
    """The question which code is on the cup in the hand, for the screen at that index; None where none is asked.

    Beside the right one stand codes of the same tray, in order of number, so that their order tells nothing.
    """
    task, cups = served[at]
    if not plan.pace.confirm_cup or len(cups) != 1 or cups[0].same_cup_as is not None:
        return None
    right = cups[0].code
    tray = [cup.code for other, others in served if other.sitting == task.sitting for cup in others]
    beside = [code for code in dict.fromkeys(tray[at:] + tray[:at]) if code != right][: CHOICES - 1]
    if not beside:
        return None
    return Asked(
        key=CUP,
        text="Which code is on the cup in your hand?",
        look="radios",
        missing="Tap the code that is on your cup.",
        picks=tuple(Pick(code, code=code) for code in sorted((right, *beside))),
    )


def wrong_cup(asked: Asked | None, right: str, sent: Mapping[str, str]) -> Problem | None:
    """What is wrong with the cup in the hand; None where it is the right one or was not asked for."""
    if asked is None:
        return None
    held = sent.get(CUP, "")
    if held == right:
        return None
    if held not in {pick.value for pick in asked.picks}:
        return Problem(CUP, "missing", asked.missing)
    return Problem(CUP, "wrong_cup", wrong_cup_text(right))


def wrong_cup_text(right: str) -> str:
    """What somebody who holds another cup is told."""
    return said(
        "That is not the cup for now. Put it back untasted and look for {code}; if it is not there, call for help.",
        code=right,
    )


def break_before(plan: Plan, served: Sequence[Served], at: int) -> bool:
    """Whether a break comes before the screen at that index: after every so many screens of a sitting."""
    every, (task, cups) = plan.layout.break_every, served[at]
    if every is None or not cups:
        return False
    done = [other for other, _ in served[:at] if other.sitting == task.sitting and other.scored]
    return task.scored and bool(done) and len(done) % every == 0


def wait_before(plan: Plan, served: Sequence[Served], at: int) -> int:
    """Seconds to wait before the screen at that index; 0 before the first of a sitting and for the same cup."""
    task, cups = served[at]
    first = all(other.sitting != task.sitting for other, _ in served[:at])
    same_cup = not cups or all(cup.same_cup_as is not None for cup in cups)
    return 0 if first or same_cup else plan.pace.wait_seconds
