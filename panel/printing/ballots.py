"""Ballots for tasters without a phone: the same words, codes and order as on the screen, one task a box.

A line is printed 100 mm long, so that a ruler reads its score.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Table

from panel.printing import lettering
from panel.printing.document import Marks, TickBox, gap, heading, paragraph, render, table
from panel.printing.page import PrintedSheet
from panel.study import cautions as caution_texts
from panel.study.answers import limits_text
from panel.study.plan import Plan, Question
from panel.study.questions import asked_at_end, asked_on, points_of, terms_of
from panel.study.scales import CANNOT_TELL_WORDS, scale_of
from panel.study.set_answers import options, set_kind
from panel.study.test_methods import method_of

LINE_LENGTH = 100.0  # mm: one for each of the hundred steps
_CODE_SIZE = 40.0


@dataclass(frozen=True, slots=True)
class BallotTask:
    """One screen of the phone on paper: its codes in serving order, and how they are served.

    known : whether its one cup is shown by name, before the coded ones
    """

    codes: tuple[str, ...]
    condition: str = ""
    known: bool = False


@dataclass(frozen=True, slots=True)
class PaperBallot:
    """The ballot of one place. code : of the place, for keying in, "" to leave it out; tasks : in serving order."""

    place: int
    tasks: tuple[BallotTask, ...]
    code: str = ""


def paper_ballots(
    plan: Plan,
    ballots: Sequence[PaperBallot],
    *,
    commitment: str = "",
    rehearsal: bool = False,
    paper: str = "A4",
) -> PrintedSheet:
    """One ballot for each place, each starting on a new page; every task says not to turn back.

    Raises ValueError for no ballots, a place without tasks, or a scale or method that is not known.
    """
    if not ballots or not all(ballot.tasks for ballot in ballots):
        raise ValueError("Paper ballots need at least one place, and each place at least one task.")
    in_sets = method_of(plan.method).wording is not None

    def story(wide: float) -> list[Flowable]:
        made: list[Flowable] = []
        for number, ballot in enumerate(ballots):
            if number:
                made.append(PageBreak())
            made += _opening(plan, ballot)
            for index, task in enumerate(ballot.tasks, start=1):
                title = f"Place {ballot.place} · {index} of {len(ballot.tasks)}"
                answer = _set(plan, task, wide) if in_sets else _scores(plan, task, wide)
                made += _task(f"{title} · {task.condition}" if task.condition else title, task, answer)
            made += _at_the_end(plan, wide)
            made.append(paragraph("Thank you. Hand this ballot in; please tell nobody what you wrote.", 10))
        return made

    texts = [
        plan.heading,
        plan.briefing,
        plan.rinse,
        plan.serving_note,
        plan.other_allergens,
        *plan.conditions,
    ]
    texts += [text for q in plan.questions for text in (q.text, q.low, q.high, q.unit, *q.points)]
    marks = Marks("Paper ballot", commitment, rehearsal=rehearsal)
    return render(story, marks, paper=paper, warnings=lettering.doubts(texts))


def _opening(plan: Plan, ballot: PaperBallot) -> list[Flowable]:
    code = f" · place code {ballot.code}" if ballot.code else ""
    contents = caution_texts.notice(plan.allergens, plan.other_allergens)
    allergens = (
        f"Contains or may contain: {'; '.join(contents)}." if contents else "No allergens were declared."
    )
    notes = [caution_texts.CAUTIONS[key] for key in plan.cautions if key in caution_texts.CAUTIONS]
    rinse = f"Between samples: {plan.rinse}" if plan.rinse else ""
    lines = [plan.briefing, *notes, caution_texts.ALWAYS, plan.serving_note, rinse]
    return [
        heading(f"Place {ballot.place}{code}", 15),
        heading(plan.heading, 12),
        paragraph(allergens, 9.5, bold=True),
        *(paragraph(line, 9) for line in lines if line),
        paragraph(caution_texts.CONSENT, 9),
        table(
            [[TickBox(), paragraph("I have read this and take part.", 9.5, bold=True, after=0)]],
            [8, 100],
            head=0,
            lines=False,
        ),
        paragraph(
            "Taste in the order below, one after the other. Do not go back to an earlier answer.",
            9.5,
            bold=True,
        ),
        gap(2),
    ]


def _task(title: str, task: BallotTask, answer: list[Flowable]) -> list[Flowable]:
    codes: list[Flowable] = [CodeLine(task.codes, _CODE_SIZE)] if len(task.codes) == 1 else []
    return [KeepTogether([paragraph(title, 9, after=0.5), *codes, *answer]), gap(6)]


class CodeLine(Flowable):  # type: ignore[misc]
    """Codes in large figures, underlined against reading them upside down, with a rule above the whole width."""

    def __init__(self, codes: Sequence[str], size: float) -> None:
        super().__init__()
        self.codes, self.size = codes, size
        self.height = size * 1.15

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self.width = available_width
        return self.width, self.height

    def draw(self) -> None:
        x, spacing = 0.0, self.size * 0.07
        for code in self.codes:
            wide = lettering.width(code, self.size, bold=True, spacing=spacing)
            self.canv.setFont(lettering.BOLD, self.size)
            self.canv.drawString(x, self.size * 0.3, code, charSpace=spacing)
            self.canv.setLineWidth(self.size * 0.05)
            self.canv.line(x, self.size * 0.17, x + wide, self.size * 0.17)
            x += wide + self.size


def _set(plan: Plan, task: BallotTask, wide: float) -> list[Flowable]:
    """A set of cups in the method's locked words: boxes for cups or words, or a group or place for each cup."""
    method = method_of(plan.method)
    wording, kind = method.wording, set_kind(method)
    assert wording is not None
    if task.known:
        return [paragraph(wording.known, 11, bold=True)]
    asked = [paragraph(wording.question(plan.attribute), 11, bold=True), paragraph(wording.hint, 9)]
    if kind.first > 1 or kind.words:
        named = "Reference" if kind.first > 1 else "Cups"
        cups = task.codes[: kind.first - 1] or (task.codes if len(task.codes) > 1 else ())
        asked += [CodeLine(cups, 30.0)] if cups else []
        asked += [paragraph(f"{named} above.", 9)] if cups else []
    if kind.form in ("groups", "order"):
        line = "group 1 ☐   group 2 ☐" if kind.form == "groups" else f"place ____ of {len(task.codes)}"
        rows = [[CodeLine((code,), 26.0), paragraph(line, 11, after=0)] for code in task.codes]
        return [*asked, table(rows, [40, wide - 40], head=0, lines=False)]
    found = options(method, task.codes, no_preference=plan.no_preference)
    boxes = [[TickBox(8), CodeLine((one.code,), 30.0)] for one in found if one.code]
    words = [[TickBox(8), paragraph(one.words, 11, after=0)] for one in found if one.words]
    return [*asked, *(_boxes(cells) for cells in (boxes[:3], boxes[3:], words) if cells)]


def _boxes(cells: list[list[Flowable]]) -> Table:
    return Table(
        [[part for cell in cells for part in cell]],
        colWidths=[12 * mm, 40 * mm] * len(cells),
        hAlign="LEFT",
        style=[("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
    )


def _scores(plan: Plan, task: BallotTask, wide: float) -> list[Flowable]:
    """All questions of a task, the code before each: a question may come to stand on the next page."""
    condition = plan.conditions.index(task.condition) if task.condition in plan.conditions else 0
    return _all_asked(asked_on(plan, condition), f"{' '.join(task.codes)} · ", wide)


def _at_the_end(plan: Plan, wide: float) -> list[Flowable]:
    questions = asked_at_end(plan)
    if not questions:
        return []
    return [paragraph("Before you go", 11, bold=True), *_all_asked(questions, "", wide)]


def _all_asked(questions: tuple[Question, ...], before: str, wide: float) -> list[Flowable]:
    return [
        part for question in questions for part in (KeepTogether(_question(question, before, wide)), gap(2))
    ]


def _question(question: Question, before: str, wide: float) -> list[Flowable]:
    scale = scale_of(question.scale)
    asked: list[Flowable] = [paragraph(f"{before}{question.text}", 10.5, bold=True)]
    if scale.hint:
        asked.append(paragraph(scale.hint, 9))
    if scale.kind == "line":
        low, high = question.low or scale.low_anchor, question.high or scale.high_anchor
        asked.append(AnswerLine(low, high))
    elif scale.kind == "text":
        asked += [WritingLine(wide) for _ in range(1 if question.longest else 3)]
    elif scale.kind == "number":
        asked += [paragraph(limits_text(question), 9), WritingLine(wide / 3)]
    elif scale.kind == "term list":
        asked += [_yes_no(term, wide) for term in terms_of(question).values()]
    else:
        asked.append(
            _points(list(terms_of(question).values()) or [p.label for p in points_of(question)], wide)
        )
    if question.cannot_tell:
        asked.append(_points([CANNOT_TELL_WORDS], wide))
    return asked


def _yes_no(term: str, wide: float) -> Table:
    cells = [
        paragraph(term, 10, after=0),
        TickBox(),
        paragraph("Yes", 10, after=0),
        TickBox(),
        paragraph("No", 10, after=0),
    ]
    return table([cells], [wide - 60, 8, 20, 8, 20], head=0, lines=False)


def _points(labels: Sequence[str], wide: float) -> Table:
    """Boxes to tick: below each other with their words, two short ones side by side."""
    if len(labels) == 2 and max(map(len, labels)) <= 12:
        row = [part for label in labels for part in (TickBox(), paragraph(label, 10, after=0))]
        return table([row], [8, 30] * len(labels), head=0, lines=False)
    rows = [[TickBox(), paragraph(label, 9.5, after=0)] for label in labels]
    made = table(rows, [8, wide - 8], head=0, lines=False)
    made.setStyle([("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)])
    return made


class AnswerLine(Flowable):  # type: ignore[misc]
    """A line of exactly 100 mm between two words; a mark across it is the answer."""

    def __init__(self, low: str, high: str) -> None:
        super().__init__()
        self.low, self.high = low, high

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        self.width, self.height = available_width, 15 * mm
        return self.width, self.height

    def draw(self) -> None:
        left, y = (self.width - LINE_LENGTH * mm) / 2, 8 * mm
        right = left + LINE_LENGTH * mm
        self.canv.setLineWidth(0.8)
        self.canv.line(left, y, right, y)
        for end in (left, right):
            self.canv.line(end, y - 2 * mm, end, y + 2 * mm)
        self._anchor(self.low, left)
        self._anchor(self.high, right)

    def _anchor(self, words: str, x: float) -> None:
        room = min(LINE_LENGTH * mm, self.width) / 2
        size = lettering.fitted(words, 9, room)
        kept = lettering.shortened(words, size, room)
        left = x - lettering.width(kept, size) / 2
        left = min(max(left, 0.0), self.width - lettering.width(kept, size))
        for font, piece in lettering.runs(kept):
            self.canv.setFont(font, size)
            self.canv.drawString(left, 2 * mm, piece)
            left += self.canv.stringWidth(piece, font, size)


class WritingLine(Flowable):  # type: ignore[misc]
    """A hairline to write on."""

    def __init__(self, wide: float) -> None:
        super().__init__()
        self.width, self.height = wide * mm, 8 * mm

    def draw(self) -> None:
        self.canv.setLineWidth(0.3)
        self.canv.line(0, 0.5 * mm, self.width, 0.5 * mm)
