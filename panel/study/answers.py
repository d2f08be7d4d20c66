"""From the raw text a phone sends to answers, or to the sentence that says what is missing."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from panel.study.draft_reader import tidy
from panel.study.problems import Problem
from panel.study.questions import points_of, terms_of
from panel.study.said import said
from panel.study.scales import CANNOT_TELL, scale_of
from panel.study.seal import digest

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from panel.study.plan import Question

_NUMBER = re.compile(r"[+-]?\d{1,9}(?:[.,]\d{1,20})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Answer:
    """One checked answer. value: a number on the scale, words, "cannot tell", or None where left open."""

    question: str
    value: float | str | None


def cannot_field(key: str) -> str:
    """The form field that says "cannot tell" where the answer itself is no choice among points."""
    return f"{key}-cannot"


def check_answer(question: Question, sent: Mapping[str, str]) -> list[Answer] | Problem:
    """The answers to `question` in the sent fields, one for each term where it has terms, or the problem."""
    scale = scale_of(question.scale)
    if question.cannot_tell and (
        sent.get(cannot_field(question.key)) or sent.get(question.key) == CANNOT_TELL
    ):
        return [Answer(question.key, CANNOT_TELL)]
    terms = terms_of(question)
    if terms:
        return _check_terms(question, terms, sent)
    raw = tidy(sent.get(question.key, ""))
    if not raw:
        return _missing(question) if question.required else [Answer(question.key, None)]
    found = _CHECKS[scale.kind](question, raw)
    return found if isinstance(found, Problem) else [found]


def check_scores(
    questions: tuple[Question, ...], sent: Mapping[str, str]
) -> tuple[list[Answer], list[Problem]]:
    """All answers of one screen; answers only count when there are no problems."""
    checked = [check_answer(question, sent) for question in questions]
    return (
        [answer for item in checked if not isinstance(item, Problem) for answer in item],
        [item for item in checked if isinstance(item, Problem)],
    )


def sent_digest(
    submission_id: str, sent: Mapping[str, str], erased: Mapping[str, str] = MappingProxyType({})
) -> str:
    """The fingerprint of one send, over the fingerprints of its fields; the random submission id salts them.

    erased : field -> fingerprint, in place of the words of a field that were erased, so that the rest still fits
    """
    fields = {name: field_digest(submission_id, name, value) for name, value in sent.items()} | dict(erased)
    return digest({"submission": submission_id, "fields": fields})


def field_digest(submission_id: str, name: str, value: str) -> str:
    """The fingerprint of what was sent in one field."""
    return digest({"submission": submission_id, "field": name, "sent": value})


def _missing(question: Question) -> Problem:
    return Problem(question.key, "missing", scale_of(question.scale).missing)


def _check_terms(
    question: Question, terms: Mapping[str, str], sent: Mapping[str, str]
) -> list[Answer] | Problem:
    """One answer for each term. What is not ticked in a list to tick is 0; in a list of yes and no it is open."""
    given = {key: sent.get(key, "").strip() for key in terms}
    ticked = scale_of(question.scale).kind == "terms"
    if not set(given.values()) <= ({"", "1"} if ticked else {"", "1", "0"}):
        return Problem(question.key, "off_scale", scale_of(question.scale).missing)
    if ticked:
        return [Answer(key, 1.0 if value else 0.0) for key, value in given.items()]
    if question.required and not all(given.values()):
        return _missing(question)
    return [Answer(key, float(value) if value else None) for key, value in given.items()]


def _number_in(raw: str) -> float:
    return float(raw.replace(",", ".")) + 0.0 if _NUMBER.fullmatch(raw) else math.nan  # -0 becomes 0


def _check_text(question: Question, raw: str) -> Answer | Problem:
    longest = question.longest or scale_of(question.scale).longest
    if len(raw) > longest:
        text = said("Shorten this to {most} characters; it has {has}.", most=longest, has=len(raw))
        return Problem(question.key, "too_long", text)
    return Answer(question.key, raw)


def _check_line(question: Question, raw: str) -> Answer | Problem:
    scale, value = scale_of(question.scale), _number_in(raw)
    if not scale.low <= value <= scale.high:
        text = said("“{typed}” is not on the line. {missing}", typed=raw, missing=scale.missing)
        return Problem(question.key, "off_scale", text)
    return Answer(question.key, round(value, 1))


def _check_point(question: Question, raw: str) -> Answer | Problem:
    value = _number_in(raw)
    if value not in {point.value for point in points_of(question)}:
        text = said(
            "“{typed}” is not one of the answers. {missing}",
            typed=raw,
            missing=scale_of(question.scale).missing,
        )
        return Problem(question.key, "off_scale", text)
    return Answer(question.key, value)


def _check_number(question: Question, raw: str) -> Answer | Problem:
    value = _number_in(raw)
    low = -math.inf if question.least is None else question.least
    high = math.inf if question.most is None else question.most
    if not low <= value <= high:
        text = said("“{typed}” does not fit. {limits}", typed=raw, limits=limits_text(question))
        return Problem(question.key, "off_scale", text)
    return Answer(question.key, value)


def limits_text(question: Question) -> str:
    """What number is asked for, in a sentence."""
    given: dict[str, object] = {"unit": f" {question.unit}" if question.unit else ""}
    given |= {"least": question.least, "most": question.most}
    if question.least is not None and question.most is not None:
        return said("Write a number from {least} to {most}{unit}.", **given)
    if question.least is not None:
        return said("Write a number of at least {least}{unit}.", **given)
    if question.most is not None:
        return said("Write a number of at most {most}{unit}.", **given)
    return scale_of(question.scale).missing


_CHECKS: dict[str, Callable[[Question, str], Answer | Problem]] = {
    "text": _check_text,
    "line": _check_line,
    "category": _check_point,
    "choice": _check_point,
    "number": _check_number,
}
