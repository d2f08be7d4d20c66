"""A ballot to try: the same screens and checks as at a tasting, with codes of their own. Nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import Request
from fastapi.responses import HTMLResponse

from panel.store.sealing import drawn
from panel.store.tables import Serving, Task
from panel.study.questions import asked_at_end, wording_of
from panel.study.set_answers import SET_ANSWER
from panel.web.ballot_page import Screen, checked, screens_of, with_typed
from panel.web.pages import page
from panel.web.taster_seat import address_taster

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.answers import Answer
    from panel.study.plan import Plan

# Not the seed of any study: no code of a preview is one of a cup.
SEED = "5eed"


@dataclass(frozen=True, slots=True)
class TryingPage:
    """One screen of a ballot that is only tried. base: the address that its forms are sent to.

    stored : what the screen before would have stored, in words
    """

    heading: str
    base: str
    screen: Screen
    stored: tuple[str, ...]
    back: str
    back_label: str


@dataclass(frozen=True, slots=True)
class TriedPage:
    """After the last screen."""

    heading: str
    stored: tuple[str, ...]
    back: str
    back_label: str


@dataclass(frozen=True, slots=True)
class Trial:
    """A ballot to try: its plan, its screens, the address of its forms and the way back."""

    plan: Plan
    screens: tuple[Screen, ...]
    base: str
    back: str
    back_label: str

    def show(self, request: Request, number: int, stored: tuple[str, ...] = ()) -> HTMLResponse:
        """The screen of that number, or the page after the last one."""
        screen = next((screen for screen in self.screens if screen.number == number), None)
        if screen is None:
            tried = TriedPage(self.plan.heading, stored, self.back, self.back_label)
            address_taster(request, self.plan)
            return page(request, "taster/tried.html", tried)
        return self._page(request, screen, stored)

    def take(self, request: Request, number: int, sent: Mapping[str, str]) -> HTMLResponse:
        """Check what was sent from that screen as at a tasting, keep nothing, and show what comes next."""
        screen = next((screen for screen in self.screens if screen.number == number), None)
        if screen is None:
            return self.show(request, number)
        answers, problems = checked(self.plan, screen, sent)
        if problems:
            return self._page(request, with_typed(screen, sent, problems), (), status=422)
        return self.show(request, number + 1, in_words(self.plan, answers))

    def _page(
        self, request: Request, screen: Screen, stored: tuple[str, ...], status: int = 200
    ) -> HTMLResponse:
        address_taster(request, self.plan)
        context = TryingPage(self.plan.heading, self.base, screen, stored, self.back, self.back_label)
        return page(request, "taster/trying.html", context, status=status)


def screens_to_try(plan: Plan) -> tuple[Screen, ...]:
    """The screens of one place of a plan drawn with a seed of its own; ValueError where none can be drawn."""
    place = drawn(plan, SEED).places[0]
    served: dict[int, tuple[Task, list[Serving]]] = {}
    for cup in place.servings:
        task = Task(
            place_id="", number=cup.task, sitting=cup.sitting, condition=cup.condition, scored=not cup.warm_up
        )
        serving = Serving(
            place_id="",
            task_id="",
            sample_id="",
            batch_id="",
            position=cup.position,
            condition=cup.condition,
            replicate=cup.replicate,
            code=cup.code,
            token="",
            same_cup_as=None if cup.same_cup_as is None else str(cup.same_cup_as),
            warm_up=cup.warm_up,
        )
        served.setdefault(cup.task, (task, []))[1].append(serving)
    if asked_at_end(plan):
        last = max(served)
        sitting = served[last][0].sitting
        served[last + 1] = (
            Task(place_id="", number=last + 1, sitting=sitting, condition=0, scored=False),
            [],
        )
    return screens_of(plan, list(served.values()), place.number)


def in_words(plan: Plan, answers: list[Answer]) -> tuple[str, ...]:
    """What would have been stored, one line an answer."""
    asked = wording_of(plan) | {SET_ANSWER: "Answer"}
    return tuple(
        f"{asked[answer.question]} {'left open' if answer.value is None else answer.value}"
        for answer in answers
    )
