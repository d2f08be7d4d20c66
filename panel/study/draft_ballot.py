"""The questions of a draft's ballot."""

from __future__ import annotations

from panel.study.draft_reader import Reader, name_key, rows_of
from panel.study.plan import Question
from panel.study.scales import SCALES, scale_of


def read_questions(reader: Reader) -> tuple[Question, ...]:
    """The questions in the order typed; at least one of them on a scale."""
    questions: list[Question] = []
    for row in rows_of(reader.typed, "question"):
        question = _read_question(reader, f"question-{row}-", row + 1)
        if any(name_key(question.text) == name_key(other.text) for other in questions):
            text = f"Question {row + 1} stands there twice: “{question.text}”. Reword one."
            reader.wrong(f"question-{row}-text", "same_question", text)
        questions.append(question)
    if not any(scale_of(question.scale).numeric for question in questions):
        reader.wrong(
            "question-0-text", "no_question", "Ask at least one question that is answered on a scale."
        )
    return tuple(questions)


def read_primary(reader: Reader, questions: tuple[Question, ...]) -> str:
    """The key of the question that the verdict rests on; "" where no question is on a scale."""
    scored = [question.key for question in questions if scale_of(question.scale).numeric]
    if not scored:
        return ""
    return reader.choice("primary", "the question the verdict rests on", scored, scored[0])


def _read_question(reader: Reader, at: str, number: int) -> Question:
    scale = scale_of(reader.choice(f"{at}scale", "a kind of answer", SCALES, "hedonic-9"))
    low = reader.text(f"{at}low", "the word at the low end", longest=60) if scale.asks_anchors else ""
    high = reader.text(f"{at}high", "the word at the high end", longest=60) if scale.asks_anchors else ""
    return Question(
        key=f"q{number}",
        text=reader.text(f"{at}text", f"question {number}", required=True, longest=300),
        scale=scale.id,
        low=low or scale.low_anchor,
        high=high or scale.high_anchor,
        required=not reader.typed.get(f"{at}optional"),
    )
