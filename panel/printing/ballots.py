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
from panel.study.answers import limits_text
from panel.study.notices import notice_of, retasting
from panel.study.plan import Plan, Question
from panel.study.questions import points_of, terms_of
from panel.study.said import Speaks, as_written
from panel.study.scales import CANNOT_TELL_WORDS, scale_of
from panel.study.set_answers import options, set_kind
from panel.study.test_methods import method_of

LINE_LENGTH = 100.0  # mm: one for each of the hundred steps
_CODE_SIZE = 40.0


@dataclass(frozen=True, slots=True)
class BallotTask:
    """One screen of the phone on paper: its codes in serving order, and how they are served.

    known : whether its one cup is shown by name, before the coded ones
    questions : what is asked, in the order of this place; empty for a set of cups and a cup shown by name
    """

    codes: tuple[str, ...]
    condition: str = ""
    known: bool = False
    questions: tuple[Question, ...] = ()


@dataclass(frozen=True, slots=True)
class PaperBallot:
    """The ballot of one place. code : of the place, for keying in, "" to leave it out; tasks : in serving order.

    at_end : what is asked once, after the last task, in the order of this place
    """

    place: int
    tasks: tuple[BallotTask, ...]
    code: str = ""
    at_end: tuple[Question, ...] = ()


def paper_ballots(
    plan: Plan,
    ballots: Sequence[PaperBallot],
    *,
    commitment: str = "",
    rehearsal: bool = False,
    paper: str = "A4",
    cups: int = 0,
    say: Speaks = as_written,
) -> PrintedSheet:
    """One ballot for each place, each starting on a new page.

    cups : the most that one taster gets at a sitting, for what they hold together
    say : in which words, English where not given
    Raises ValueError for no ballots, a place without tasks, a cup that is rated without a question, or a scale or
    method that is not known.
    """
    if not ballots or not all(ballot.tasks for ballot in ballots):
        raise ValueError("Paper ballots need at least one place, and each place at least one task.")
    in_sets = method_of(plan.method).wording is not None
    if not in_sets and not all(task.questions for ballot in ballots for task in ballot.tasks):
        raise ValueError("Every cup of a rating needs at least one question on paper.")

    def story(wide: float) -> list[Flowable]:
        made: list[Flowable] = []
        for number, ballot in enumerate(ballots):
            if number:
                made.append(PageBreak())
            made += _opening(plan, ballot, cups, say)
            for index, task in enumerate(ballot.tasks, start=1):
                steps = {"step": index, "steps": len(ballot.tasks)}
                title = say("Place {number} · {step} of {steps}", number=ballot.place, **steps)
                answer = _set(plan, task, wide, say) if in_sets else _scores(task, wide, say)
                made += _task(f"{title} · {task.condition}" if task.condition else title, task, answer)
            made += _at_the_end(ballot.at_end, wide, say)
            thanks = say("Thank you. Hand this ballot in; please tell nobody what you wrote.")
            made.append(paragraph(thanks, 10))
        return made

    marks = Marks("Paper ballot", commitment, rehearsal=rehearsal)
    return render(story, marks, paper=paper, warnings=lettering.doubts(_written(plan)))


def _written(plan: Plan) -> list[str]:
    """What the organiser wrote, whose letters may be missing from the print's fonts."""
    texts = [
        plan.heading,
        plan.briefing,
        plan.rinse,
        plan.serving_note,
        plan.other_allergens,
        *plan.conditions,
    ]
    texts += [text for q in plan.questions for text in (q.text, q.low, q.high, q.unit, *q.points)]
    return [*texts, plan.consent_more, *plan.words.values()]


def _opening(plan: Plan, ballot: PaperBallot, cups: int, say: Speaks) -> list[Flowable]:
    title = say("Place {number}", number=ballot.place)
    code = f" · {say('place code {code}', code=ballot.code)}" if ballot.code else ""
    read = notice_of(plan, cups)
    contents = "; ".join(map(say, read.allergens))
    allergens = (
        say("Contains or may contain: {allergens}.", allergens=contents)
        if contents
        else say("No allergens were declared.")
    )
    rinse = say("Between samples: {rinse}", rinse=plan.rinse) if plan.rinse else ""
    lines = [read.briefing, *map(say, (*read.cautions, *read.doses, read.always)), plan.serving_note, rinse]
    return [
        heading(f"{title}{code}", 15),
        heading(read.heading, 12),
        paragraph(allergens, 9.5, bold=True),
        *(paragraph(line, 9) for line in lines if line),
        *(paragraph(line, 9) for line in (say(read.kept), read.more) if line),
        table(
            [[TickBox(), paragraph(say("I have read this and take part."), 9.5, bold=True, after=0)]],
            [8, 160],
            head=0,
            lines=False,
        ),
        paragraph(" ".join(_manner(plan, say)), 9.5, bold=True),
        gap(2),
    ]


def _manner(plan: Plan, say: Speaks) -> list[str]:
    """How to go through the ballot."""
    back = (
        say("You may correct an earlier answer: cross it out and write the new one beside it.")
        if plan.pace.way_back
        else say("Do not go back to an earlier answer.")
    )
    return [say("Taste in the order below, one after the other."), say(retasting(plan)), back]


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


def _set(plan: Plan, task: BallotTask, wide: float, say: Speaks) -> list[Flowable]:
    """A set of cups in the method's words: boxes for cups or words, or a group or place for each cup."""
    method = method_of(plan.method)
    wording, kind = method.wording, set_kind(method)
    assert wording is not None
    if task.known:
        return [paragraph(say(wording.known), 11, bold=True)]
    asked = [
        paragraph(say(wording.question(plan.attribute)), 11, bold=True),
        paragraph(say(wording.hint), 9),
    ]
    if kind.first > 1 or kind.words:
        named = say("Reference above.") if kind.first > 1 else say("Cups above.")
        cups = task.codes[: kind.first - 1] or (task.codes if len(task.codes) > 1 else ())
        asked += [CodeLine(cups, 30.0)] if cups else []
        asked += [paragraph(named, 9)] if cups else []
    if kind.form in ("groups", "order"):
        line = (
            say("group 1 ☐   group 2 ☐")
            if kind.form == "groups"
            else say("place ____ of {count}", count=len(task.codes))
        )
        rows = [[CodeLine((code,), 26.0), paragraph(line, 11, after=0)] for code in task.codes]
        return [*asked, table(rows, [40, wide - 40], head=0, lines=False)]
    found = options(method, task.codes, no_preference=plan.no_preference)
    boxes = [[TickBox(8), CodeLine((one.code,), 30.0)] for one in found if one.code]
    words = [[TickBox(8), paragraph(say(one.words), 11, after=0)] for one in found if one.words]
    return [*asked, *(_boxes(cells) for cells in (boxes[:3], boxes[3:], words) if cells)]


def _boxes(cells: list[list[Flowable]]) -> Table:
    return Table(
        [[part for cell in cells for part in cell]],
        colWidths=[12 * mm, 40 * mm] * len(cells),
        hAlign="LEFT",
        style=[("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
    )


def _scores(task: BallotTask, wide: float, say: Speaks) -> list[Flowable]:
    """All questions of a task, the code before each: a question may come to stand on the next page."""
    return _all_asked(task.questions, f"{' '.join(task.codes)} · ", wide, say)


def _at_the_end(questions: tuple[Question, ...], wide: float, say: Speaks) -> list[Flowable]:
    if not questions:
        return []
    return [paragraph(say("Before you go"), 11, bold=True), *_all_asked(questions, "", wide, say)]


def _all_asked(questions: tuple[Question, ...], before: str, wide: float, say: Speaks) -> list[Flowable]:
    return [
        part
        for question in questions
        for part in (KeepTogether(_question(question, before, wide, say)), gap(2))
    ]


def _question(question: Question, before: str, wide: float, say: Speaks) -> list[Flowable]:
    scale = scale_of(question.scale)
    asked: list[Flowable] = [paragraph(f"{before}{question.text}", 10.5, bold=True)]
    if scale.hint:
        asked.append(paragraph(say(scale.hint), 9))
    if scale.kind == "line":
        low, high = question.low or scale.low_anchor, question.high or scale.high_anchor
        asked.append(AnswerLine(say(low), say(high)))
    elif scale.kind == "text":
        asked += [WritingLine(wide) for _ in range(1 if question.longest else 3)]
    elif scale.kind == "number":
        asked += [paragraph(say(limits_text(question)), 9), WritingLine(wide / 3)]
    elif scale.kind == "term list":
        picks = [say(point.label) for point in points_of(question)]
        asked += [_picks_beside(say(term), picks, wide) for term in terms_of(question).values()]
    else:
        labels = list(terms_of(question).values()) or [p.label for p in points_of(question)]
        asked.append(_points([say(label) for label in labels], wide))
    if question.cannot_tell:
        asked.append(_points([say(CANNOT_TELL_WORDS)], wide))
    return asked


def _picks_beside(term: str, picks: Sequence[str], wide: float) -> Table:
    cells = [
        paragraph(term, 10, after=0),
        *(part for words in picks for part in (TickBox(), paragraph(words, 10, after=0))),
    ]
    return table([cells], [wide - 28 * len(picks), *[8, 20] * len(picks)], head=0, lines=False)


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
