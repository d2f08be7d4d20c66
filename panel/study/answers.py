"""From the raw text a phone sends to an answer, or to the sentence that says what is missing."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from panel.study.draft_reader import tidy
from panel.study.problems import Problem
from panel.study.scales import ODD_ONE_MISSING, Scale, scale_of
from panel.study.seal import digest

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.study.plan import Question

ODD_ONE = "odd"
_NUMBER = re.compile(r"[+-]?\d{1,6}(?:[.,]\d{1,20})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Answer:
    """One checked answer. value: a number on the scale, the words of a comment, or None where left open."""

    question: str
    value: float | str | None


def check_answer(question: Question, sent: Mapping[str, str]) -> Answer | Problem:
    """The answer to `question` in the sent fields, or the problem with it."""
    scale = scale_of(question.scale)
    raw = tidy(sent.get(question.key, ""))
    if not raw:
        if question.required:
            return Problem(question.key, "missing", scale.missing)
        return Answer(question.key, None)
    if scale.kind == "text":
        if len(raw) > scale.longest:
            text = f"Shorten this to {scale.longest} characters; it has {len(raw)}."
            return Problem(question.key, "too_long", text)
        return Answer(question.key, raw)
    return _check_number(question.key, scale, raw)


def _check_number(key: str, scale: Scale, raw: str) -> Answer | Problem:
    value = float(raw.replace(",", ".")) + 0.0 if _NUMBER.fullmatch(raw) else math.nan  # -0 becomes 0
    if scale.kind == "line":
        if not scale.low <= value <= scale.high:
            return Problem(key, "off_scale", f"“{raw}” is not on the line. {scale.missing}")
        return Answer(key, round(value, 1))
    if value not in {point.value for point in scale.points}:
        return Problem(key, "off_scale", f"“{raw}” is not one of the answers. {scale.missing}")
    return Answer(key, value)


def check_scores(
    questions: tuple[Question, ...], sent: Mapping[str, str]
) -> tuple[list[Answer], list[Problem]]:
    """All answers of one screen; answers only count when there are no problems."""
    checked = [check_answer(question, sent) for question in questions]
    return (
        [item for item in checked if isinstance(item, Answer)],
        [item for item in checked if isinstance(item, Problem)],
    )


def check_odd_one(servings: int, sent: Mapping[str, str]) -> Answer | Problem:
    """Which serving of the set (1-based, in serving order) was named the odd one."""
    raw = sent.get(ODD_ONE, "").strip()
    if not raw:
        return Problem(ODD_ONE, "missing", ODD_ONE_MISSING)
    if raw not in {str(number) for number in range(1, servings + 1)}:
        return Problem(ODD_ONE, "off_scale", f"“{raw}” is none of these cups. {ODD_ONE_MISSING}")
    return Answer(ODD_ONE, int(raw))


def odd_one_is_right(samples: Sequence[str], chosen: int) -> bool:
    """Whether the chosen serving (1-based) is the one whose sample stands alone in the set."""
    return samples.count(samples[chosen - 1]) == 1


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
