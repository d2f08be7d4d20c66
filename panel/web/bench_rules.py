"""What was declared about the bench, as tables to read: what is measured, and how it is weighed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.scoring import limit_words
from panel.study.quantities import QUANTITIES
from panel.study.questions import scored_names
from panel.web.draft_bench import LOADS

if TYPE_CHECKING:
    from panel.study.measuring import Criterion, Measurand
    from panel.study.plan import Plan

BETTER = {"more": "more", "less": "less", "target": "near the target", "pass": "passed"}


@dataclass(frozen=True, slots=True)
class CriterionLine:
    """One criterion in words. share: of the whole total, in per cent; "" for a must alone."""

    name: str
    rests_on: str
    better: str
    score: str
    must: str
    group: str
    share: str
    basis: str


@dataclass(frozen=True, slots=True)
class BenchRules:
    """Everything declared: (name, words) of each measurand, criteria, and what holds for all."""

    measurands: tuple[tuple[str, str], ...]
    criteria: tuple[CriterionLine, ...]
    shared: str


def bench_rules(plan: Plan) -> BenchRules | None:
    """The declared bench of a plan; None where nothing is measured or weighed."""
    bench = plan.bench
    if not bench.measurands and not bench.criteria:
        return None
    shelf = f", height under the shelf {bench.shelf_mm:g} mm" if bench.shelf_mm else ""
    return BenchRules(
        measurands=tuple((one.name, measurand_words(one)) for one in bench.measurands),
        criteria=tuple(_line(one, plan) for one in bench.criteria),
        shared=f"One cup is {bench.cup_ml:g} ml, prices are in {bench.currency}{shelf}.",
    )


def measurand_words(measurand: Measurand) -> str:
    """How something is measured, in one line."""
    load = dict(LOADS)[measurand.load].lower() if measurand.load else ""
    servings = f"{measurand.servings:g} servings" if measurand.servings else ""
    window = f"window {measurand.low:g} to {measurand.high:g}" if measurand.low is not None else ""
    threshold = f"too cold below {measurand.threshold:g}" if measurand.threshold is not None else ""
    kind = QUANTITIES[measurand.quantity].name
    words = [f"{kind}, in {measurand.unit}" if measurand.unit else kind, load, servings, window, threshold]
    words += [f"{measurand.runs} {'run' if measurand.runs == 1 else 'runs'} asked for", measurand.condition]
    return "; ".join(word for word in words if word)


def _line(criterion: Criterion, plan: Plan) -> CriterionLine:
    measurand = plan.bench.measurand_called(criterion.source)
    if measurand:
        rests_on = f"{measurand.name}: {QUANTITIES[measurand.quantity].figures[criterion.figure]}"
    else:
        rests_on = f"{scored_names(plan).get(criterion.source, criterion.source)}: mean of the tasters"
        rests_on += f", {criterion.condition}" if criterion.condition else ""
    return CriterionLine(
        name=criterion.name,
        rests_on=rests_on,
        better=BETTER[criterion.direction] if criterion.weighed or criterion.direction == "pass" else "",
        score=_score(criterion),
        must=limit_words(criterion),
        group=criterion.group if criterion.weighed else "",
        share=_share(criterion, plan),
        basis=criterion.basis,
    )


def _score(criterion: Criterion) -> str:
    unit = f" {criterion.unit}" if criterion.unit else ""
    if criterion.curve == "linear":
        return f"0 at {criterion.worst:g}{unit}, 100 at {criterion.best:g}{unit}"
    if criterion.curve == "window":
        fall = f", 0 at {criterion.worst:g}{unit} from it" if criterion.worst is not None else ""
        return f"100 from {criterion.target_low:g} to {criterion.target_high:g}{unit}{fall}"
    if criterion.curve == "stepped":
        return ", ".join(f"{score:g} from {limit:g}{unit}" for limit, score in criterion.steps)
    return "none"


def _share(criterion: Criterion, plan: Plan) -> str:
    """Its part of the whole: its share within its group times the group's share."""
    if not criterion.weighed:
        return ""
    groups = {group.name: group.weight for group in plan.bench.groups}
    weighed = [one for one in plan.bench.criteria if one.weighed]
    within = criterion.weight / sum(one.weight for one in weighed if one.group == criterion.group)
    among = groups.get(criterion.group, 1.0) / sum(
        groups.get(name, 1.0) for name in {c.group for c in weighed}
    )
    return f"{100 * within * among:.3g} %"
