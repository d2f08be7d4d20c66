"""One question as a taster's page shows it, and the order in which this taster meets questions and terms."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from panel.randomiser import williams
from panel.study.answers import cannot_field, limits_text
from panel.study.questions import points_of, terms_of
from panel.study.scales import CANNOT_TELL, CANNOT_TELL_WORDS, scale_of
from panel.study.set_answers import SET_ANSWER, fields_of, options, set_kind
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.plan import Plan, Question

Look = Literal["radios", "line", "text", "short text", "number", "ticks", "rows", "order"]
Rule = Literal["all", "none", "two", "halves", "ranks"]
ONE_LINE = 120
LOOKS: dict[str, Look] = {
    "category": "radios",
    "choice": "radios",
    "line": "line",
    "terms": "ticks",
    "term list": "rows",
    "number": "number",
    "text": "text",
}


@dataclass(frozen=True, slots=True)
class Pick:
    """Something to choose: a cup by its code, or words."""

    value: str
    words: str = ""
    code: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One part of a question with several: a term or a cup. name : of its field."""

    name: str
    words: str = ""
    code: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """One question as shown.

    look : how it is answered; rule : which of its fields must be filled before it counts as answered
    picks : what can be chosen, in each row where there are rows
    order : the parts in the order drawn for this taster, empty where they stand as typed
    cannot : whether "cannot tell" stands beside it; typed : what was typed, by field; problem : what is wrong
    """

    key: str
    text: str
    look: Look
    missing: str
    rule: Rule = "all"
    hint: str = ""
    picks: tuple[Pick, ...] = ()
    rows: tuple[Row, ...] = ()
    low: str = ""
    high: str = ""
    unit: str = ""
    longest: int = 0
    required: bool = True
    cannot: bool = False
    order: tuple[str, ...] = ()
    typed: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The fields that carry the answer."""
        return tuple(row.name for row in self.rows) or (self.key,)

    @property
    def all_names(self) -> tuple[str, ...]:
        """The fields that carry the answer or say that it cannot be told."""
        return (*self.names, cannot_field(self.key)) if self.cannot else self.names

    @property
    def first_id(self) -> str:
        """The id of the field that a link to this question leads to."""
        return self.names[0]


def asked_of(question: Question, place: int) -> Asked:
    """A question of the ballot as the taster at that place meets it."""
    scale = scale_of(question.scale)
    picks = [Pick(str(point.value), point.label) for point in points_of(question)]
    look = LOOKS[scale.kind]
    if question.cannot_tell and look == "radios":
        picks.append(Pick(CANNOT_TELL, CANNOT_TELL_WORDS))
    rows = [Row(name, words) for name, words in terms_of(question).items()]
    if rows:
        rows = [rows[number] for number in balanced_order(len(rows), place)]
    longest = question.longest or scale.longest
    if look == "text" and longest <= ONE_LINE:
        look = "short text"
    return Asked(
        key=question.key,
        text=question.text,
        look=look,
        missing=limits_text(question) if look == "number" else scale.missing,
        rule="none" if look == "ticks" else "all",
        hint=_hint(question),
        picks=tuple(picks) if look != "ticks" else (),
        rows=tuple(rows),
        low=question.low or scale.low_anchor,
        high=question.high or scale.high_anchor,
        unit=question.unit,
        longest=longest,
        required=question.required,
        cannot=question.cannot_tell and look in ("line", "number"),
        order=tuple(row.name.rpartition(".")[2] for row in rows),
    )


def _hint(question: Question) -> str:
    scale = scale_of(question.scale)
    limited = question.least is not None or question.most is not None
    return limits_text(question) if scale.kind == "number" and limited else scale.hint


def asked_about_set(plan: Plan, codes: tuple[str, ...]) -> Asked:
    """What is asked about a set of cups, in the locked words of the method."""
    method = method_of(plan.method)
    wording, form = method.wording, set_kind(method).form
    assert wording is not None
    rows: tuple[Row, ...] = ()
    picks: tuple[Pick, ...] = ()
    if form == "pick":
        found = options(method, codes, no_preference=plan.no_preference)
        picks = tuple(Pick(one.value, one.words, one.code) for one in found)
    else:
        rows = tuple(
            Row(name, code=code) for name, code in zip(fields_of(method, len(codes)), codes, strict=True)
        )
    if form == "groups":
        picks = (Pick("1", "Group 1"), Pick("2", "Group 2"))
    if form == "order":
        picks = tuple(Pick(str(rank), str(rank)) for rank in range(1, len(codes) + 1))
    looks: dict[str, tuple[Look, Rule]] = {
        "pick": ("radios", "all"),
        "pick two": ("ticks", "two"),
        "groups": ("rows", "halves"),
        "order": ("order", "ranks"),
    }
    look, rule = looks[form]
    return Asked(
        key=SET_ANSWER,
        text=wording.question(plan.attribute),
        look=look,
        missing=wording.missing,
        rule=rule,
        hint=wording.hint,
        picks=picks,
        rows=rows,
    )


def in_order(plan: Plan, questions: tuple[Question, ...], place: int) -> tuple[Question, ...]:
    """The questions in the order for that place. Rotated are those on a scale but the primary one, in their places."""
    if plan.question_order == "fixed":
        return questions
    turns = [n for n, q in enumerate(questions) if scale_of(q.scale).numeric and q.key != plan.primary]
    shuffled = list(questions)
    for slot, drawn in zip(turns, balanced_order(len(turns), place), strict=True):
        shuffled[slot] = questions[turns[drawn]]
    return tuple(shuffled)


def as_met(plan: Plan, questions: tuple[Question, ...], place: int) -> tuple[Question, ...]:
    """The questions as whoever sits at that place meets them: in their order, and the terms of each in theirs."""

    def turned(question: Question) -> Question:
        if not terms_of(question):
            return question
        order = balanced_order(len(question.points), place)
        return replace(question, points=tuple(question.points[number] for number in order))

    return tuple(turned(question) for question in in_order(plan, questions, place))


def balanced_order(count: int, place: int) -> tuple[int, ...]:
    """One order of `count` things for the place of that number: over places, each stands everywhere equally often."""
    if count < 2:
        return tuple(range(count))
    rows = _square(count)
    return rows[(place - 1) % len(rows)]


@lru_cache(maxsize=64)
def _square(count: int) -> tuple[tuple[int, ...], ...]:
    return williams(count).orders
