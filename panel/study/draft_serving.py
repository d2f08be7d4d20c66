"""How a draft's samples are served: conditions, layout over a taster's time, preparation in the kitchen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.draft_reader import Reader, name_key, rows_of
from panel.study.plan import Kitchen, Layout, Pace

if TYPE_CHECKING:
    from panel.study.plan import Plan
    from panel.study.test_methods import TestMethod

MOST_CONDITIONS = 4
MOST_SITTINGS = 10
LONGEST_WAIT = 1800
RETASTE = ("", "yes", "no")
AS_SERVED = "as served"


def read_conditions(reader: Reader) -> tuple[str, ...]:
    """The ways of serving in order; one unnamed way where none was typed."""
    found: list[str] = []
    for row in rows_of(reader.typed, "condition"):
        name = reader.text(f"condition-{row}-name", "how it is served", longest=60)
        if name_key(name) in map(name_key, found):
            text = f"“{name}” stands there twice. Name each way once."
            reader.wrong(f"condition-{row}-name", "same_name", text)
        found.append(name)
    if len(found) > MOST_CONDITIONS:
        text = f"Serve in at most {MOST_CONDITIONS} ways; there are {len(found)}."
        reader.wrong("condition-0-name", "too_many", text)
    return tuple(found) or (AS_SERVED,)


def read_layout(reader: Reader, method: TestMethod, samples: int) -> Layout:
    """How servings are spread over a taster's time."""
    per_taster = None
    if reader.typed.get("per_taster", "").strip() and method.in_parts:
        fewest = 2 if method.wording is None else method.fewest
        per_taster = reader.whole(
            "per_taster", "how many samples a taster takes at a sitting", fewest, max(fewest, samples)
        )
    breaks = None
    if reader.typed.get("break_every", "").strip():
        breaks = reader.whole("break_every", "after how many screens a break comes", 1, 40)
    return Layout(
        per_taster=None if per_taster == samples else per_taster,
        sittings=reader.whole("sittings", "the number of sittings", 1, MOST_SITTINGS, default=1),
        warm_up=bool(reader.typed.get("warm_up")) and method.wording is None,
        break_every=breaks,
    )


def refuse_uneven_sittings(reader: Reader, plan: Plan) -> None:
    """Where each taster comes several times, all samples come equally often at each sitting."""
    layout, often = plan.layout, plan.replicates
    if layout.per_taster is None and often % layout.sittings:
        text = (
            f"With {layout.sittings} sittings for each taster, write {layout.sittings} for how often each taster meets "
            "each sample, so that all samples come at each sitting; or say how many samples a sitting has."
        )
        reader.wrong("replicates", "uneven", text)


def read_pace(reader: Reader, method: TestMethod) -> Pace:
    """What comes between two screens. A cup can be confirmed where it stands alone on its screen."""
    again = reader.choice("retaste", "whether cups may be tasted again", RETASTE, "")
    return Pace(
        retaste=method.retaste if again == "" else again == "yes",
        way_back=bool(reader.typed.get("way_back")) and method.may_go_back,
        confirm_cup=bool(reader.typed.get("confirm_cup")) and method.set_size == 1,
        wait_seconds=reader.whole(
            "wait_seconds", "the wait between samples, in seconds,", 0, LONGEST_WAIT, default=0
        ),
    )


def read_kitchen(reader: Reader) -> Kitchen:
    """How samples are prepared; what was left empty stays open."""
    loss = reader.number("loss", "the loss, in per cent,", 0, 90)
    at_once = None
    if reader.typed.get("at_once", "").strip():
        at_once = reader.whole("at_once", "how many tasters are served together", 1, 500)
    kitchen = Kitchen(
        per_cup=reader.number("per_cup", "the amount in a cup", 0.1, 10_000),
        unit=reader.choice("unit", "a unit", ("g", "ml"), "g"),
        loss=(loss or 0) / 100,
        spare_cups=reader.whole("spare_cups", "the number of spare cups", 0, 100, default=0),
        per_batch=reader.number("per_batch", "what one preparation makes", 1, 1_000_000),
        minutes=reader.number("prepare_minutes", "how long a preparation takes, in minutes,", 0.5, 2880),
        holding=reader.number("holding_minutes", "how long it may be held, in minutes,", 1, 2880),
        rest=reader.number("rest_minutes", "how long it must rest, in minutes,", 0, 600) or 0.0,
        temperature=reader.number("temperature", "the serving temperature in °C", -30, 100),
        cup_diameter=reader.number("cup_diameter", "the cup's diameter in mm", 10, 300),
        at_once=at_once,
        minutes_per_cup=reader.number("minutes_per_cup", "the minutes a taster takes for a cup", 0.2, 60)
        or 3.0,
        two_person=bool(reader.typed.get("two_person")),
        controls=tuple(
            line
            for text in reader.text("controls", "what is held equal").splitlines()
            if (line := text.strip())
        ),
    )
    if kitchen.holding is not None and kitchen.rest > kitchen.holding:
        text = f"It must rest {kitchen.rest:g} minutes but may be held only {kitchen.holding:g}. Change one of them."
        reader.wrong("rest_minutes", "not_in_range", text)
    return kitchen
