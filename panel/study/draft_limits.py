"""The limits of one criterion: its musts, and the curve that makes 0 to 100 of a value."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from panel.study.questions import IN_TERMS, points_of, span_of
from panel.study.scales import scale_of

if TYPE_CHECKING:
    from panel.study.draft_reader import Reader
    from panel.study.measuring import Criterion, Measurand
    from panel.study.plan import Plan, Question

FAR = 1_000_000_000.0
MOST_STEPS = 20
_STEP = re.compile(r"^\s*([-−]?\d+(?:[.,]\d+)?)\s*[^\d\s.,:=-]*\s*[:=]\s*(\d+(?:[.,]\d+)?)\s*$")


def read_limits(reader: Reader, at: str, criterion: Criterion, plan: Plan) -> Criterion:
    """The criterion with its musts and its curve. A question's empty curve takes the ends of its scale."""

    def number(part: str, what: str) -> float | None:
        return reader.number(f"{at}{part}", what, -FAR, FAR)

    if criterion.direction == "pass":
        return replace(criterion, curve="none")
    criterion = replace(
        criterion,
        must_least=number("must_least", "the least that is needed"),
        must_most=number("must_most", "the most that is allowed"),
    )
    if criterion.direction == "target" and criterion.curve == "linear":
        criterion = replace(criterion, curve="window")
    if criterion.curve == "none":
        return criterion
    if criterion.curve == "stepped":
        return replace(criterion, steps=_read_steps(reader, at))
    criterion = replace(criterion, worst=number("worst", "where the score is 0"))
    if criterion.curve == "linear":
        criterion = replace(criterion, best=number("best", "where the score is 100"))
    else:
        criterion = replace(
            criterion,
            target_low=number("target_low", "where the target begins"),
            target_high=number("target_high", "where the target ends"),
        )
    question = next((q for q in plan.questions if q.key == criterion.source.split(".")[0]), None)
    return _with_scale_ends(criterion, question) if question else criterion


def check_limits(reader: Reader, at: str, criterion: Criterion, measurand: Measurand | None) -> None:
    """What a curve and a must need, and where they contradict each other."""
    least, most = criterion.must_least, criterion.must_most
    if criterion.direction == "pass" and not (measurand and measurand.quantity == "check"):
        text = "Only a check can be passed. Choose what is better: more, less, or near a target."
        reader.wrong(f"{at}direction", "not_a_check", text)
    elif criterion.curve == "none" and not criterion.a_must:
        text = f"“{criterion.name}” is only a must, but none is written. Write the least or the most that is allowed."
        reader.wrong(f"{at}must_least", "missing", text)
    if least is not None and most is not None and least > most:
        text = f"At least {least:g} and at most {most:g} cannot both be met. Change one of them."
        reader.wrong(f"{at}must_most", "contradiction", text)
    if (criterion.curve == "window") != (criterion.direction == "target") and criterion.weighed:
        text = "A window goes with “near a target”, and only with it. Change what is better, or the curve."
        reader.wrong(f"{at}curve", "contradiction", text)
    else:
        checks = {"linear": _check_linear, "window": _check_window, "stepped": _check_steps}
        if criterion.curve in checks:
            checks[criterion.curve](reader, at, criterion)


def _with_scale_ends(criterion: Criterion, question: Question) -> Criterion:
    ends = _ends_of(question)
    if ends is None:
        return criterion
    low, high = ends
    if criterion.curve == "linear" and criterion.worst is None and criterion.best is None:
        worst, best = (low, high) if criterion.direction == "more" else (high, low)
        return replace(criterion, worst=worst, best=best)
    if criterion.curve == "window" and criterion.target_low is None and criterion.target_high is None:
        middle = (low + high) / 2
        return replace(
            criterion,
            target_low=middle,
            target_high=middle,
            worst=(high - low) / 2 if criterion.worst is None else criterion.worst,
        )
    return criterion


def _ends_of(question: Question) -> tuple[float, float] | None:
    scale = scale_of(question.scale)
    if scale.kind in IN_TERMS:
        return 0.0, 1.0
    span = span_of(question)
    if not span:
        return None
    if scale.kind == "number":
        return (question.least or 0.0, question.most or 0.0)
    points = points_of(question)
    low = float(min(point.value for point in points)) if points else scale.low
    return low, low + span


def _check_linear(reader: Reader, at: str, criterion: Criterion) -> None:
    worst, best = criterion.worst, criterion.best
    if worst is None or best is None:
        part = "worst" if worst is None else "best"
        text = f"Write at which value “{criterion.name}” scores 0 and at which 100, or choose “only a must”."
        reader.wrong(f"{at}{part}", "missing", text)
    elif worst == best:
        text = f"The score would be 0 and 100 at the same value, {best:g}. Set them apart."
        reader.wrong(f"{at}best", "no_span", text)
    elif (best > worst) != (criterion.direction == "more"):
        better = "more" if best > worst else "less"
        text = (
            f"From {worst:g} (score 0) to {best:g} (score 100), {better} is better, but “{criterion.direction} "
            "is better” is chosen. Exchange the two values, or change what is better."
        )
        reader.wrong(f"{at}best", "contradiction", text)
    elif not _allowed(criterion, best):
        text = f"The must rules out {best:g}, where the score is 100. No product could pass and reach it: change one."
        reader.wrong(f"{at}best", "contradiction", text)


def _check_window(reader: Reader, at: str, criterion: Criterion) -> None:
    low, high = criterion.target_low, criterion.target_high
    if low is None or high is None:
        part = "target_low" if low is None else "target_high"
        reader.wrong(
            f"{at}{part}", "missing", f"Write where the target of “{criterion.name}” begins and ends."
        )
        return
    if low > high:
        text = f"The target begins at {low:g} and ends at {high:g}. Exchange the two values."
        reader.wrong(f"{at}target_high", "contradiction", text)
    elif (criterion.must_least is not None and criterion.must_least > high) or (
        criterion.must_most is not None and criterion.must_most < low
    ):
        text = f"The must rules out the whole target from {low:g} to {high:g}. Change one of them."
        reader.wrong(f"{at}target_low", "contradiction", text)
    if criterion.worst is not None and criterion.worst <= 0:
        text = "Write as a number above 0 how far from the target the score reaches 0, or leave it empty."
        reader.wrong(f"{at}worst", "not_in_range", text)


def _check_steps(reader: Reader, at: str, criterion: Criterion) -> None:
    limits, scores = [limit for limit, _ in criterion.steps], [score for _, score in criterion.steps]
    rising = criterion.direction == "more"
    if not criterion.steps:
        return
    if limits != sorted(set(limits), reverse=not rising) or scores != sorted(set(scores)):
        way = "rise" if rising else "fall"
        text = (
            f"Write the steps from the worse to the better end: as {criterion.direction} is better, the values "
            f"must {way} and the scores rise."
        )
        reader.wrong(f"{at}steps", "contradiction", text)
    elif not _reaches(criterion, limits[-1]):
        text = f"The must rules out {limits[-1]:g} and better, so the last step cannot be reached. Change one of them."
        reader.wrong(f"{at}steps", "contradiction", text)


def _allowed(criterion: Criterion, value: float) -> bool:
    least, most = criterion.must_least, criterion.must_most
    return (least is None or value >= least) and (most is None or value <= most)


def _reaches(criterion: Criterion, last: float) -> bool:
    """Whether a value that passes the must can lie beyond the last step."""
    if criterion.direction == "more":
        return criterion.must_most is None or criterion.must_most >= last
    return criterion.must_least is None or criterion.must_least <= last


def _read_steps(reader: Reader, at: str) -> tuple[tuple[float, float], ...]:
    """One step to a line: the value, a colon, the score that holds from there on."""
    field = f"{at}steps"
    lines = [line for line in reader.text(field, "the steps").splitlines() if line.strip()]
    found: list[tuple[float, float]] = []
    for line in lines:
        match = _STEP.match(line)
        score = float(match[2].replace(",", ".")) if match else -1.0
        if match is None or not 0 <= score <= 100:
            text = f"Write each step as a value, a colon and a score from 0 to 100, such as “30: 60”, not “{line}”."
            reader.wrong(field, "not_a_step", text)
            return ()
        found.append((float(match[1].replace(",", ".").replace("−", "-")), score))
    if not 1 <= len(found) <= MOST_STEPS:
        text = f"Write 1 to {MOST_STEPS} steps, one to a line, such as “30: 60”; there are {len(found)}."
        reader.wrong(field, "number_of_steps", text)
    return tuple(found)
