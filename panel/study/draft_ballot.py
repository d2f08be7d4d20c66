"""The questions of a draft's ballot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.draft_reader import Reader, name_key, rows_of
from panel.study.plan import Question
from panel.study.questions import IN_TERMS, asked_on
from panel.study.scales import SCALES, Scale, scale_of

if TYPE_CHECKING:
    from panel.study.plan import Plan
    from panel.study.test_methods import TestMethod

MOST_QUESTIONS = 40
FEWEST_POINTS, MOST_POINTS = 2, 15
MOST_TERMS = 40
LONGEST_POINT = 60
LONGEST_ANSWER = 500
FAR = 1_000_000_000.0


def read_questions(reader: Reader, method: TestMethod) -> tuple[Question, ...]:
    """The questions in the order typed. Where cups are judged in sets, only those asked at the end."""
    questions: list[Question] = []
    rating = method.wording is None
    for row in rows_of(reader.typed, "question"):
        if not rating and not reader.typed.get(f"question-{row}-at_end"):
            continue
        question = _read_question(reader, f"question-{row}-", row + 1)
        if any(name_key(question.text) == name_key(other.text) for other in questions):
            text = f"Question {row + 1} stands there twice: “{question.text}”. Reword one."
            reader.wrong(f"question-{row}-text", "same_question", text)
        questions.append(question)
    if len(questions) > MOST_QUESTIONS:
        text = f"Ask at most {MOST_QUESTIONS} questions; there are {len(questions)}. Tasters tire."
        reader.wrong("question-0-text", "too_many", text)
    if rating and not _may_be_primary(tuple(questions)):
        text = "Ask at least one question about each sample that is answered on a scale."
        reader.wrong("question-0-text", "no_question", text)
    return tuple(questions)


def read_primary(reader: Reader, questions: tuple[Question, ...]) -> str:
    """The key of the question that the verdict rests on; "" where no question can carry it."""
    fit = _may_be_primary(questions)
    if not fit:
        return ""
    typed = reader.typed.get("primary", "")
    if typed in {question.key for question in questions} and typed not in fit:
        text = "The verdict must rest on a question about every sample that is answered on a scale. Choose another."
        reader.wrong("primary", "cannot_carry", text)
        return fit[0]
    return reader.choice("primary", "the question the verdict rests on", fit, fit[0])


def read_attribute(reader: Reader, method: TestMethod) -> str:
    """In what the samples are compared, where the method asks for it."""
    if not method.asks_attribute:
        return ""
    required = method.asks_attribute == "must"
    return reader.text("attribute", "the attribute that tasters compare", required=required, longest=60)


def check_conditions(reader: Reader, plan: Plan) -> None:
    """A question asked in one condition only needs that condition, and every screen needs a question."""
    for question in plan.questions:
        if question.only_in and question.only_in not in plan.conditions:
            listed = ", ".join(f"“{name}”" for name in plan.conditions)
            text = (
                f"No way of serving is called “{question.only_in}”. Write one of {listed}, or leave it empty."
            )
            reader.wrong(f"{row_of(question)}only_in", "no_such_condition", text)
    for number, served in enumerate(plan.conditions):
        if plan.primary and not asked_on(plan, number):
            text = f"Nothing is asked about samples served “{served}”. Ask at least one question there."
            reader.wrong("question-0-text", "no_question", text)


def row_of(question: Question) -> str:
    """Where a question stands in the form: the beginning of its fields' names."""
    return f"question-{int(question.key.removeprefix('q')) - 1}-"


def _may_be_primary(questions: tuple[Question, ...]) -> list[str]:
    return [q.key for q in questions if scale_of(q.scale).primary and not q.at_end and not q.only_in]


def _read_question(reader: Reader, at: str, number: int) -> Question:
    scale = scale_of(reader.choice(f"{at}scale", "a kind of answer", SCALES, "hedonic-9"))
    low, high = _read_anchors(reader, at, scale)
    least, most, unit = _read_limits(reader, at, scale)
    longest = 0
    if "longest" in scale.asks and reader.typed.get(f"{at}longest", "").strip():
        longest = reader.whole(f"{at}longest", "the most characters", 1, LONGEST_ANSWER)
    at_end = bool(reader.typed.get(f"{at}at_end"))
    return Question(
        key=f"q{number}",
        text=reader.text(f"{at}text", f"question {number}", required=True, longest=300),
        scale=scale.id,
        low=low,
        high=high,
        required=not reader.typed.get(f"{at}optional"),
        points=_read_points(reader, at, scale) if "points" in scale.asks else (),
        least=least,
        most=most,
        unit=unit,
        longest=longest,
        cannot_tell=bool(reader.typed.get(f"{at}cannot_tell")) and scale.may_not_tell,
        only_in="" if at_end else reader.text(f"{at}only_in", "the way of serving", longest=60),
        at_end=at_end,
    )


def _read_anchors(reader: Reader, at: str, scale: Scale) -> tuple[str, str]:
    if "anchors" not in scale.asks:
        return "", ""
    low = reader.text(f"{at}low", "the word at the low end", longest=60)
    high = reader.text(f"{at}high", "the word at the high end", longest=60)
    return low or scale.low_anchor, high or scale.high_anchor


def _read_limits(reader: Reader, at: str, scale: Scale) -> tuple[float | None, float | None, str]:
    if "limits" not in scale.asks:
        return None, None, ""
    least = reader.number(f"{at}least", "the lowest number", -FAR, FAR)
    most = reader.number(f"{at}most", "the highest number", -FAR, FAR)
    if least is not None and most is not None and least >= most:
        text = f"The lowest number ({least:g}) must lie below the highest ({most:g}). Change one of them."
        reader.wrong(f"{at}most", "not_in_range", text)
    return least, most, reader.text(f"{at}unit", "the unit", longest=20)


def _read_points(reader: Reader, at: str, scale: Scale) -> tuple[str, ...]:
    """One point, or one term, to a line."""
    field = f"{at}points"
    typed = reader.text(field, "the words, one to a line,")
    found = tuple(line.strip() for line in typed.splitlines() if line.strip())
    listed = scale.kind in IN_TERMS
    what, most = ("terms", MOST_TERMS) if listed else ("points", MOST_POINTS)
    if not FEWEST_POINTS <= len(found) <= most:
        text = f"Write {FEWEST_POINTS} to {most} {what}, one to a line; there are {len(found)}."
        reader.wrong(field, "number_of_points", text)
    for line in found:
        if len(line) > LONGEST_POINT:
            reader.wrong(field, "too_long", f"Shorten “{line[:30]}…” to {LONGEST_POINT} characters.")
    if len({name_key(line) for line in found}) < len(found):
        reader.wrong(field, "same_point", f"One of the {what} stands there twice. Write each once.")
    return found
