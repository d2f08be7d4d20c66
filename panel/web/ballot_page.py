"""The ballot as a taster's page may hold it: codes and questions. No field here could tell samples apart."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from panel.study.answers import Answer, check_scores
from panel.study.notices import retasting
from panel.study.questions import asked_at_end, asked_on
from panel.study.set_answers import check_set
from panel.study.test_methods import method_of
from panel.web.asked import Asked, asked_about_set, asked_of, in_order
from panel.web.rhythm import CUP, break_before, confirmation, wait_before, wrong_cup

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.store.tables import Serving, Task
    from panel.study.plan import Plan, Question
    from panel.study.problems import Problem
    from panel.web.rhythm import Served

LONGEST_FIELD = 2000


@dataclass(frozen=True, slots=True)
class Screen:
    """One screen: the codes of its cups in serving order, how they are served, and what is asked.

    number : the screen's own number; step, steps : how far the taster is
    condition : how the cup is served, "" where all are served in one way
    rinse : what to do before tasting, "" on the first screen and where the cup is the one tasted before
    asked : what is asked; empty for a cup shown by name
    known : what is said of a cup shown by name, else ""
    with_reference : whether the first cup is the reference of the set
    orders : what was drawn for this taster, question key -> its parts in the order shown
    submission : a name for one send of this form
    sitting : at which of the taster's sittings it comes
    confirm : the question which cup is in the hand, None where it is not asked
    rest : whether a break comes first; wait : seconds to wait first
    retasting : whether a cup may be tasted again, in words; "" where nothing is tasted
    correctable : whether it may be opened again once it is answered; again : whether this is that
    """

    number: int
    step: int
    steps: int
    codes: tuple[str, ...]
    condition: str
    same_cup: bool
    rinse: str
    asked: tuple[Asked, ...]
    submission: str
    known: str = ""
    with_reference: bool = False
    orders: dict[str, str] = field(default_factory=dict)
    sitting: int = 1
    confirm: Asked | None = None
    rest: bool = False
    wait: int = 0
    retasting: str = ""
    correctable: bool = False
    again: bool = False

    @property
    def codes_beside(self) -> tuple[str, ...]:
        """The codes of a set that stand on no answer: of the reference, or where the answer is in words."""
        named = {pick.code for item in self.asked for pick in item.picks}
        named |= {row.code for item in self.asked for row in item.rows}
        return tuple(code for code in self.codes if code not in named)

    @property
    def problems(self) -> tuple[Asked, ...]:
        """The questions with something to put right."""
        every = (self.confirm, *self.asked) if self.confirm else self.asked
        return tuple(asked for asked in every if asked.problem)


def screens_of(plan: Plan, served: Sequence[tuple[Task, list[Serving]]], place: int) -> tuple[Screen, ...]:
    """All screens of the place of that number, in serving order. A screen without cups is the one at the end."""
    return tuple(_screen(plan, served, place, at) for at in range(len(served)))


def _screen(plan: Plan, served: Sequence[Served], place: int, at: int) -> Screen:
    (task, cups), method = served[at], method_of(plan.method)
    same_cup = bool(cups) and all(cup.same_cup_as is not None for cup in cups)
    codes = tuple(cup.code for cup in cups)
    known = method.known_first and any(cup.warm_up for cup in cups) and method.wording is not None
    if method.wording is None or not cups:
        questions = _questions(plan, task, cups)
        asked = tuple(asked_of(question, place) for question in in_order(plan, questions, place))
    else:
        asked = () if known else (asked_about_set(plan, codes),)
    orders = {item.key: " ".join(item.order) for item in asked if item.order}
    if plan.question_order == "rotated" and len(asked) > 1:
        orders["order"] = " ".join(item.key for item in asked)
    return Screen(
        number=task.number,
        step=at + 1,
        steps=len(served),
        codes=codes,
        condition=plan.conditions[task.condition] if len(plan.conditions) > 1 and cups else "",
        same_cup=same_cup,
        rinse=plan.rinse if at and cups and not same_cup else "",
        asked=asked,
        submission=new_submission(),
        known=method.wording.known if known and method.wording else "",
        with_reference=method.answer == "like the reference" and bool(cups),
        orders=orders,
        sitting=task.sitting,
        confirm=confirmation(plan, served, at),
        rest=break_before(plan, served, at),
        wait=wait_before(plan, served, at),
        retasting=retasting(plan) if cups and not known and (plan.pace.retaste or not same_cup) else "",
        correctable=plan.pace.way_back,
    )


def _questions(plan: Plan, task: Task, cups: list[Serving]) -> tuple[Question, ...]:
    return asked_on(plan, task.condition) if cups else asked_at_end(plan)


def opened_again(screen: Screen, sent: Mapping[str, str]) -> Screen:
    """An answered screen once more, to correct what was sent: without what comes before tasting."""
    return with_typed(replace(screen, again=True, confirm=None, rest=False, wait=0, rinse=""), sent, ())


def with_typed(screen: Screen, sent: Mapping[str, str], problems: Sequence[Problem]) -> Screen:
    """The screen once more, with what was typed and what is wrong with it."""
    texts = {problem.field: problem.text for problem in problems}

    def again(item: Asked) -> Asked:
        typed = {name: sent[name][:LONGEST_FIELD] for name in item.all_names if name in sent}
        return replace(item, typed=typed, problem=texts.get(item.key, ""))

    confirm = again(screen.confirm) if screen.confirm else None
    return replace(screen, asked=tuple(map(again, screen.asked)), confirm=confirm)


def checked(plan: Plan, screen: Screen, sent: Mapping[str, str]) -> tuple[list[Answer], list[Problem]]:
    """The answers of one screen, or what is wrong with them."""
    answers, problems = _checked(plan, screen, sent)
    cup = wrong_cup(screen.confirm, "".join(screen.codes[:1]), sent)
    return (answers, problems) if cup is None else ([], [cup, *problems])


def _checked(plan: Plan, screen: Screen, sent: Mapping[str, str]) -> tuple[list[Answer], list[Problem]]:
    if screen.known:
        return [], []
    if method_of(plan.method).wording is None or not screen.codes:
        questions = tuple(plan.question_called(item.key) for item in screen.asked)
        return check_scores(questions, sent)
    answer = check_set(plan.method, len(screen.codes), sent, no_preference=plan.no_preference)
    return ([answer], []) if isinstance(answer, Answer) else ([], [answer])


def kept_fields(screen: Screen, sent: Mapping[str, str]) -> dict[str, str]:
    """What is kept of a send as it came: answers, a line's displayed length in CSS px, the phone's own times.

    The orders drawn for the taster are added, as the server knows them.
    """
    names = [name for item in screen.asked for name in item.all_names]
    lengths = [f"{item.key}-length" for item in screen.asked]
    kept = {
        name: sent[name][:LONGEST_FIELD]
        for name in (*names, *lengths, CUP, "shown_at", "answered_at")
        if sent.get(name)
    }
    drawn = {name if name == "order" else f"{name}-order": shown for name, shown in screen.orders.items()}
    return kept | drawn


def new_submission() -> str:
    """128 random bits as the name of one send."""
    return secrets.token_hex(16)
