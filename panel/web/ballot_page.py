"""The ballot as a taster's page may hold it: codes and questions. No field here could tell samples apart."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panel.study.answers import ODD_ONE, Answer, check_odd_one, check_scores
from panel.study.plan import Question
from panel.study.scales import ODD_ONE_HINT, ODD_ONE_MISSING, ODD_ONE_QUESTION, Point, scale_of
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.store.tables import Serving, Task
    from panel.study.plan import Plan
    from panel.study.problems import Problem

LONGEST_FIELD = 2000


@dataclass(frozen=True, slots=True)
class Asked:
    """One question as shown. kind: a scale's kind, or "codes"; value: what was typed; problem: what is wrong."""

    key: str
    text: str
    kind: str
    missing: str
    hint: str = ""
    points: tuple[Point, ...] = ()
    low: str = ""
    high: str = ""
    longest: int = 0
    required: bool = True
    value: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Screen:
    """One screen: the codes of its cups in serving order, how they are served, and what is asked.

    number : the screen's own number; step, steps : how far the taster is
    condition : how the cup is served, "" where all are served in one way
    rinse : what to do before tasting, "" on the first screen and where the cup is the one tasted before
    submission : a name for one send of this form
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

    @property
    def problems(self) -> tuple[Asked, ...]:
        """The questions with something to put right."""
        return tuple(asked for asked in self.asked if asked.problem)


def screens_of(plan: Plan, served: Sequence[tuple[Task, list[Serving]]]) -> tuple[Screen, ...]:
    """All screens of one place, in serving order."""
    return tuple(
        Screen(
            number=task.number,
            step=step,
            steps=len(served),
            codes=tuple(cup.code for cup in cups),
            condition=plan.conditions[task.condition] if len(plan.conditions) > 1 else "",
            same_cup=all(cup.same_cup_as is not None for cup in cups),
            rinse=plan.rinse if step > 1 and not all(cup.same_cup_as for cup in cups) else "",
            asked=_asked(plan, [cup.code for cup in cups]),
            submission=new_submission(),
        )
        for step, (task, cups) in enumerate(served, start=1)
    )


def with_typed(screen: Screen, sent: Mapping[str, str], problems: Sequence[Problem]) -> Screen:
    """The screen once more, with what was typed and what is wrong with it."""
    texts = {problem.field: problem.text for problem in problems}
    asked = tuple(
        replace(item, value=sent.get(item.key, "")[:LONGEST_FIELD], problem=texts.get(item.key, ""))
        for item in screen.asked
    )
    return replace(screen, asked=asked)


def checked(plan: Plan, screen: Screen, sent: Mapping[str, str]) -> tuple[list[Answer], list[Problem]]:
    """The answers of one screen, or what is wrong with them."""
    if method_of(plan.method).answer == "scores":
        answers, problems = check_scores(plan.questions, sent)
        return answers, problems
    answer = check_odd_one(len(screen.codes), sent)
    return ([answer], []) if isinstance(answer, Answer) else ([], [answer])


def kept_fields(screen: Screen, sent: Mapping[str, str]) -> dict[str, str]:
    """What is kept of a send as it came: answers, a line's displayed length in CSS px, the phone's own times."""
    keys = [item.key for item in screen.asked]
    known = [*keys, *(f"{key}-length" for key in keys), "shown_at", "answered_at"]
    return {name: sent[name][:LONGEST_FIELD] for name in known if sent.get(name)}


def new_submission() -> str:
    """128 random bits as the name of one send."""
    return secrets.token_hex(16)


def _asked(plan: Plan, codes: list[str]) -> tuple[Asked, ...]:
    if method_of(plan.method).answer == "scores":
        return tuple(_question(question) for question in plan.questions)
    points = tuple(Point(number, code) for number, code in enumerate(codes, start=1))
    return (Asked(ODD_ONE, ODD_ONE_QUESTION, "codes", ODD_ONE_MISSING, hint=ODD_ONE_HINT, points=points),)


def _question(question: Question) -> Asked:
    scale = scale_of(question.scale)
    return Asked(
        key=question.key,
        text=question.text,
        kind=scale.kind,
        missing=scale.missing,
        points=scale.points,
        low=question.low or scale.low_anchor,
        high=question.high or scale.high_anchor,
        longest=scale.longest,
        required=question.required,
    )
