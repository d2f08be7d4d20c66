"""A ballot's questions: what can be answered, on which screen, and under which names in the data."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.scales import Point, scale_of

if TYPE_CHECKING:
    from panel.study.plan import Plan, Question

IN_TERMS = ("terms", "term list")


def points_of(question: Question) -> tuple[Point, ...]:
    """What can be chosen, in the order shown; of a list of terms what can be said of each."""
    scale = scale_of(question.scale)
    if scale.kind == "category" and question.points:
        return tuple(Point(number, words) for number, words in enumerate(question.points, start=1))
    return scale.points


def terms_of(question: Question) -> dict[str, str]:
    """Name in the data -> term, in the order typed; {} where the question has no terms."""
    if scale_of(question.scale).kind not in IN_TERMS:
        return {}
    return {f"{question.key}.{number}": words for number, words in enumerate(question.points, start=1)}


def span_of(question: Question) -> float:
    """How far apart the ends of the scale lie, in its own points; 0 where it has no ends."""
    scale, points = scale_of(question.scale), points_of(question)
    if scale.kind == "number":
        return question.most - question.least if None not in (question.least, question.most) else 0.0  # type: ignore[operator]
    if points and scale.kind not in IN_TERMS:
        values = [point.value for point in points]
        return float(max(values) - min(values))
    return scale.high - scale.low


def asked_on(plan: Plan, condition: int) -> tuple[Question, ...]:
    """The questions about a sample served in that condition (index), in the order typed."""
    served = plan.conditions[condition]
    return tuple(q for q in plan.questions if not q.at_end and q.only_in in ("", served))


def asked_at_end(plan: Plan) -> tuple[Question, ...]:
    """The questions that are asked once, after the last sample."""
    return tuple(question for question in plan.questions if question.at_end)


def wording_of(plan: Plan) -> dict[str, str]:
    """Name in the data -> what was asked, for every question and every term."""
    words: dict[str, str] = {}
    for question in plan.questions:
        terms = {key: f"{question.text} {term}" for key, term in terms_of(question).items()}
        words |= terms or {question.key: question.text}
    return words


def scored_names(plan: Plan) -> dict[str, str]:
    """Name in the data -> short title, for what is answered in numbers about each sample."""
    names: dict[str, str] = {}
    for question in plan.questions:
        if scale_of(question.scale).numeric and not question.at_end:
            names |= terms_of(question) or {question.key: question.text}
    return names
