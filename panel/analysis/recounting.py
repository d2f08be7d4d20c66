"""A study counted again from its bundle: sends and sealed deal give answers, answers give results."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panel.analysis.answer_tables import answers_csv, choices_csv
from panel.analysis.study_analysis import analyse_study
from panel.study.answer_rows import Choice, Score
from panel.study.answers import Answer, check_scores
from panel.study.plan import Plan, plan_from_dict
from panel.study.pseudonyms import taster_name
from panel.study.questions import asked_at_end, asked_on
from panel.study.revisions import COUNTED, standing
from panel.study.set_answers import SetCup, check_set, judged
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from panel.study.plan import Question
    from panel.study.seal import Event

AT_THE_END = {"label": "", "replicate": 0, "rank": 0, "warm_up": False}
TOLERANCE = 1e-6  # relative: other machines and library versions round differently


@dataclass(frozen=True, slots=True)
class Recounted:
    """The tables and results that follow from a bundle's sends. report: {} where nothing can be analysed."""

    answers: str
    choices: str
    report: dict[str, Any]


def recounted(sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]) -> Recounted:
    """Tables and results from what was sealed, logged and sent."""
    plan = plan_from_dict(sealed["plan"])
    seats = _seats(events)
    cups = _cups(sealed, events, seats)
    left_out = _left_out(events)
    stored = _standing(sends)
    scores = sorted(_scores(plan, seats, cups, stored), key=_score_order)
    choices = sorted(choices_in(sealed, events, sends), key=lambda c: (c.taster, c.set_number))
    roles = {label["blind_label"]: label["role"] for label in sealed["labels"].values() if label["role"]}
    try:
        report = analyse_study(
            plan,
            [score for score in scores if not score.late and score.attempt_id not in left_out],
            [choice for choice in choices if not choice.late and choice.attempt_id not in left_out],
            roles=roles,
        ).to_dict()
    except ValueError:
        report = {}
    return Recounted(answers_csv(plan, scores, left_out), choices_csv(choices, left_out), report)


def _standing(sends: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The send that counts of every screen."""
    counted = [send for send in sends if send["outcome"] in COUNTED]
    return list(standing(((s["attempt"], s["task"]), s["late"], s) for s in counted).values())


def choices_in(sealed: dict[str, Any], events: list[Event], sends: list[dict[str, Any]]) -> Iterator[Choice]:
    """The answers about sets that these sends hold, as these events say the cups were served."""
    plan, seats = plan_from_dict(sealed["plan"]), _seats(events)
    if method_of(plan.method).wording is not None:
        numbered = [(n, send) for n, send in enumerate(sends, start=1) if send["outcome"] == "stored"]
        yield from _choices(plan, seats, _cups(sealed, events, seats), numbered)


def results_agree(signed: Any, again: Any, where: str = "results") -> str:
    """ "" when two reports agree to rounding, else where they first differ. Versions may differ."""
    if isinstance(signed, dict) and isinstance(again, dict):
        names = [name for name in signed if name not in ("versions", "sentence")]
        if set(signed) != set(again):
            return where
        return next(filter(None, (results_agree(signed[n], again[n], f"{where}, {n}") for n in names)), "")
    if isinstance(signed, list) and isinstance(again, list):
        if len(signed) != len(again):
            return where
        pairs = enumerate(zip(signed, again, strict=True), start=1)
        return next(filter(None, (results_agree(a, b, f"{where} {n}") for n, (a, b) in pairs)), "")
    if isinstance(signed, float) or isinstance(again, float):
        both = isinstance(signed, int | float) and isinstance(again, int | float)
        return "" if both and math.isclose(signed, again, rel_tol=TOLERANCE, abs_tol=TOLERANCE) else where
    return "" if signed == again else where


def _score_order(score: Score) -> tuple[Any, ...]:
    at_end = score.sample == ""
    rest = (score.condition, len(score.sample), score.sample, score.replicate)
    return (at_end, score.taster, score.question, *rest)


def _seats(events: list[Event]) -> dict[str, tuple[int, str]]:
    """Attempt id -> its place and the taster's number."""
    taken: dict[int, int] = {}
    seats: dict[str, tuple[int, str]] = {}
    for event in events:
        if event.kind == "place dealt":
            place = event.detail["place"]
            taken[place] = taken.get(place, 0) + 1
            seats[event.detail["attempt"]] = (place, taster_name(place, taken[place]))
    return seats


def _cups(
    sealed: dict[str, Any], events: list[Event], seats: dict[str, tuple[int, str]]
) -> dict[str, list[dict[str, Any]]]:
    """Attempt id -> its cups in the order of the plan, each with its label and its rank as served in its condition."""
    by_place: dict[int, list[dict[str, Any]]] = {}
    for row in sealed["deal"]:
        by_place.setdefault(row["place"], []).append(row)
    exchanged, dots = _exchanged(events), dots_read(events)
    cups: dict[str, list[dict[str, Any]]] = {}
    for attempt, (place, name) in seats.items():
        moved = exchanged.get(name, {})
        row_of = [
            {**row, "served": moved.get(row["position"], row["position"])} for row in by_place.get(place, [])
        ]
        found = _found_by_dots(row_of, dots.get(place, {}))
        ranks: dict[int, int] = {}
        for cup in sorted(row_of, key=lambda cup: cup["served"]):
            if not cup["warm_up"]:
                ranks[cup["condition"]] = ranks.get(cup["condition"], 0) + 1
            label = sealed["labels"][found.get(cup["position"], cup["sample"])]
            cup["label"], cup["role"] = label["blind_label"], label["role"]
            cup["rank"] = ranks.get(cup["condition"], 0)
        cups[attempt] = sorted(row_of, key=lambda cup: cup["position"])
    return cups


def dots_read(events: list[Event]) -> dict[int, dict[int, int]]:
    """Place -> position -> the dot found under the cup there, where one person worked alone."""
    return {
        int(event.detail["place"]): {int(position): dot for position, dot in event.detail["dots"].items()}
        for event in events
        if event.kind == "dots read"
    }


def _found_by_dots(row: list[dict[str, Any]], dots: dict[int, int]) -> dict[int, str]:
    """Position -> the sample that really stood there."""
    marked = {cup["dot"]: cup["sample"] for cup in row if cup.get("dot") is not None}
    return {position: marked[dot] for position, dot in dots.items() if dot in marked}


def _exchanged(events: list[Event]) -> dict[str, dict[int, int]]:
    """The taster's number -> planned position -> position as served, where that was noted to differ."""
    moved: dict[str, dict[int, int]] = {}
    for event in events:
        if event.kind == "cups served in another order":
            name = taster_name(event.detail["place"], event.detail["attempt number"])
            served = {int(planned): at for planned, at in event.detail["served"].items()}
            moved.setdefault(name, {}).update(served)
    return moved


def _left_out(events: list[Event]) -> dict[str, str]:
    reasons: dict[str, str] = {}
    for event in events:
        if event.kind == "taster left out":
            reasons[event.detail["attempt"]] = event.detail["reason"]
        elif event.kind == "taster counted again":
            reasons.pop(event.detail["attempt"], None)
    return reasons


def _scores(
    plan: Plan,
    seats: dict[str, tuple[int, str]],
    cups: dict[str, list[dict[str, Any]]],
    sends: list[dict[str, Any]],
) -> Iterator[Score]:
    """What was answered about single cups, and once at the end."""
    by_set = method_of(plan.method).wording is not None
    for send in sends:
        served = [cup for cup in cups[send["attempt"]] if cup["task"] == send["task"]]
        if by_set and served:
            continue
        questions = asked_on(plan, served[0]["condition"]) if served else asked_at_end(plan)
        answers = _answers_in(questions, send)
        for cup in served or [AT_THE_END]:
            if cup["warm_up"]:
                continue
            for answer in answers:
                yield Score(
                    attempt_id=send["attempt"],
                    taster=seats[send["attempt"]][1],
                    sample=cup["label"],
                    question=answer.question,
                    condition=plan.conditions[cup["condition"]] if served else "",
                    replicate=cup["replicate"],
                    position=cup["rank"],
                    value=answer.value,
                    late=send["late"],
                )


def _answers_in(questions: tuple[Question, ...], send: dict[str, Any]) -> list[Answer]:
    """The answers of one send; what was erased counts as left open."""
    erased = set(send["erased"])
    answers, _problems = check_scores(tuple(q for q in questions if q.key not in erased), send["sent"])
    return answers + [Answer(question.key, None) for question in questions if question.key in erased]


def _choices(
    plan: Plan,
    seats: dict[str, tuple[int, str]],
    cups: dict[str, list[dict[str, Any]]],
    sends: list[tuple[int, dict[str, Any]]],
) -> Iterator[Choice]:
    """What was answered about sets. sends: each with its number in the order of receipt."""
    for arrived, send in sends:
        served = [cup for cup in cups[send["attempt"]] if cup["task"] == send["task"] and not cup["warm_up"]]
        answer = check_set(plan.method, len(served), send["sent"], no_preference=plan.no_preference)
        if not served or not isinstance(answer, Answer):
            continue
        set_cups = [SetCup(cup["label"], cup["role"], cup["served"]) for cup in served]
        found = judged(plan.method, set_cups, str(answer.value))
        yield Choice(
            attempt_id=send["attempt"],
            taster=seats[send["attempt"]][1],
            set_number=send["task"],
            condition=plan.conditions[served[0]["condition"]],
            samples=found.samples,
            chosen=found.chosen,
            correct=found.correct,
            late=send["late"],
            arrived=arrived,
        )
