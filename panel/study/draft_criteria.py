"""What a draft wants measured beside taste, and by which rules taste and measurement become one verdict."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from panel.study.draft_limits import check_limits, read_limits
from panel.study.draft_measurands import read_measurands
from panel.study.draft_reader import LONGEST_NAME, Reader, name_key, rows_of
from panel.study.measuring import NOTHING_MEASURED, Bench, Criterion, Curve, Direction, Group, Measurand
from panel.study.quantities import QUANTITIES, figure_unit
from panel.study.questions import scored_names

if TYPE_CHECKING:
    from panel.study.plan import Plan

MOST_CRITERIA = 60
MOST_WEIGHT = 1000.0
TASTE, MEASURED = "Taste", "Bench"
PARTS = {"measurand": ("name", "condition"), "criterion": ("name", "group", "basis"), "group": ("name",)}


def read_bench(reader: Reader, plan: Plan) -> Bench:
    """What is measured and how it is weighed; `plan` gives the questions and ways of serving that can be weighed."""
    bench = Bench(
        measurands=read_measurands(reader),
        cup_ml=reader.number("bench-cup_ml", "what one cup holds, in ml,", 1, 1000)
        or NOTHING_MEASURED.cup_ml,
        currency=reader.text("bench-currency", "the currency", longest=12) or NOTHING_MEASURED.currency,
        shelf_mm=reader.number("bench-shelf_mm", "the height under the shelf, in mm,", 1, 10_000),
    )
    criteria = tuple(
        _read_criterion(reader, f"criterion-{row}-", row + 1, bench, plan)
        for row in rows_of(reader.typed, "criterion")
    )
    _check_criteria(reader, criteria)
    groups = _read_groups(reader, criteria)
    spelt = {name_key(group.name): group.name for group in groups}
    criteria = tuple(replace(one, group=spelt.get(name_key(one.group), one.group)) for one in criteria)
    return replace(bench, criteria=criteria, groups=groups)


def bench_texts(reader: Reader) -> dict[str, str]:
    """Field -> what was typed there, for all words of the bench that are read before the reveal."""
    return {
        name: reader.typed[name]
        for kind, parts in PARTS.items()
        for row in rows_of(reader.typed, kind)
        for part in parts
        if reader.typed.get(name := f"{kind}-{row}-{part}", "")
    }


def _read_criterion(reader: Reader, at: str, number: int, bench: Bench, plan: Plan) -> Criterion:
    source = _read_source(reader, at, number, bench, plan)
    measurand = bench.measurand_called(source)
    figure = _read_figure(reader, at, measurand) if measurand else ""
    direction: Any = reader.choice(f"{at}direction", "what is better", get_args(Direction), "more")
    curve: Any = reader.choice(f"{at}curve", "a scoring curve", get_args(Curve), "linear")
    weight = reader.number(f"{at}weight", f"the weight of criterion {number}", 0, MOST_WEIGHT)
    if weight == 0:
        text = "A weight of 0 takes no part. Write a positive number, or choose “only a must” as the curve."
        reader.wrong(f"{at}weight", "not_in_range", text)
    criterion = Criterion(
        key=f"c{number}",
        name=reader.text(f"{at}name", f"a name for criterion {number}", required=True, longest=60),
        source=source,
        figure=figure,
        condition=_read_condition(reader, at, measurand, plan),
        unit=_unit(measurand, figure, source, bench, plan),
        direction=direction,
        curve=curve,
        group=_read_group(reader, at, measurand),
        weight=weight or 1.0,
        basis=reader.text(f"{at}basis", "where the limits come from", longest=300),
    )
    criterion = read_limits(reader, at, criterion, plan)
    check_limits(reader, at, criterion, measurand)
    return criterion


def _read_source(reader: Reader, at: str, number: int, bench: Bench, plan: Plan) -> str:
    known = [measurand.key for measurand in bench.measurands] + list(scored_names(plan))
    typed = reader.typed.get(f"{at}source", "")
    if not typed:
        text = f"Choose what criterion {number} rests on: something measured, or a question."
        reader.wrong(f"{at}source", "missing", text)
    elif typed not in known:
        text = (
            f"Criterion {number} rests on something that is not there (any more), or that is not answered in "
            "numbers about each sample. Choose something measured, or a question."
        )
        reader.wrong(f"{at}source", "unknown_choice", text)
    return typed if typed in known else ""


def _read_figure(reader: Reader, at: str, measurand: Measurand) -> str:
    """One of the figures of the measurand's quantity, its first where none was typed."""
    known = QUANTITIES[measurand.quantity].figures
    typed = reader.typed.get(f"{at}figure", "") or next(iter(known))
    if typed not in known:
        listed = ", ".join(f"“{words}”" for words in known.values())
        text = f"“{typed}” is not a figure of “{measurand.name}”. Choose one of {listed}."
        reader.wrong(f"{at}figure", "unknown_choice", text)
        return next(iter(known))
    needs = {
        "per serving": (measurand.servings, "how many servings are made"),
        "time until below": (measurand.threshold, "the threshold"),
        "time inside": (measurand.low, "the window"),
        "area outside": (measurand.low, "the window"),
    }
    value, what = needs.get(typed, (1.0, ""))
    if value is None and measurand.quantity != "price":
        text = (
            f"“{known[typed]}” cannot be had before {what} is written at “{measurand.name}”. Write it there."
        )
        reader.wrong(f"{at}figure", "needs_more", text)
    return typed


def _read_condition(reader: Reader, at: str, measurand: Measurand | None, plan: Plan) -> str:
    if measurand:
        return ""
    typed = reader.text(f"{at}condition", "the way of serving", longest=60)
    spelt = {name_key(name): name for name in plan.conditions}
    if typed and name_key(typed) not in spelt:
        listed = ", ".join(f"“{name}”" for name in plan.conditions)
        instead = (
            f"Write one of {listed}, or leave it empty." if listed else "There are none: leave it empty."
        )
        text = f"No way of serving is called “{typed}”. {instead}"
        reader.wrong(f"{at}condition", "no_such_condition", text)
    return spelt.get(name_key(typed), typed)


def _unit(measurand: Measurand | None, figure: str, source: str, bench: Bench, plan: Plan) -> str:
    if measurand:
        return figure_unit(measurand.quantity, figure, measurand.unit, bench.currency)
    return next((question.unit for question in plan.questions if question.key == source), "")


def _read_group(reader: Reader, at: str, measurand: Measurand | None) -> str:
    typed = reader.text(f"{at}group", "the group", longest=60)
    return typed or (MEASURED if measurand else TASTE)


def _check_criteria(reader: Reader, criteria: tuple[Criterion, ...]) -> None:
    seen: dict[str, int] = {}
    for row, criterion in enumerate(criteria):
        other = seen.setdefault(name_key(criterion.name), row)
        if criterion.name and other != row:
            text = f"Criteria {other + 1} and {row + 1} have the same name, “{criterion.name}”. Reword one."
            reader.wrong(f"criterion-{row}-name", "same_name", text)
    if len(criteria) > MOST_CRITERIA:
        text = f"Use at most {MOST_CRITERIA} criteria; there are {len(criteria)}."
        reader.wrong("criterion-0-name", "too_many", text)
    if criteria and not any(criterion.weighed for criterion in criteria):
        text = (
            "All criteria are only musts, so that there would be no total. Choose a curve for at least one."
        )
        reader.wrong("criterion-0-curve", "nothing_weighed", text)


def _read_groups(reader: Reader, criteria: tuple[Criterion, ...]) -> tuple[Group, ...]:
    """The groups typed, then those that only criteria name, with weight 1: in the order they are shown in."""
    used: dict[str, str] = {}
    for criterion in criteria:
        if criterion.weighed:
            used.setdefault(name_key(criterion.group), criterion.group)
    groups: dict[str, Group] = {}
    for row in rows_of(reader.typed, "group"):
        at = f"group-{row}-"
        name = reader.text(f"{at}name", f"a name for group {row + 1}", required=True, longest=LONGEST_NAME)
        weight = reader.number(f"{at}weight", f"the weight of group {row + 1}", 0, MOST_WEIGHT)
        if weight == 0:
            text = f"A weight of 0 leaves “{name}” out of the total. Write a positive number."
            reader.wrong(f"{at}weight", "not_in_range", text)
        if name_key(name) in groups:
            reader.wrong(f"{at}name", "same_name", f"“{name}” stands there twice. Name each group once.")
        elif name and name_key(name) not in used:
            text = f"No weighed criterion belongs to the group “{name}”. Give it one, or take the group out."
            reader.wrong(f"{at}name", "empty_group", text)
        groups[name_key(name)] = Group(name, weight or 1.0)
    return (*groups.values(), *(Group(name) for key, name in used.items() if key not in groups))
