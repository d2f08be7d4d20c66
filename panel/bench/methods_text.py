"""A methods section in sentences, written from what was sealed and from what was really done; nothing from habit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.bench.methods_bench import measuring_sentences
from panel.study.questions import asked_at_end
from panel.study.scales import scale_of
from panel.study.test_methods import method_of
from stats.phrasing import count, listing, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panel.bench.figures import Run
    from panel.bench.verdict import Verdict
    from panel.study.plan import Plan

HOLDERS = {
    "self-attested": "the organiser kept the passphrase to the names",
    "split key": "a second person kept the passphrase to the names",
    "two parts": "two people kept a part each of the passphrase to the names",
}
LIMIT = (
    "A panel of this kind supports an editorial verdict on these products, lots and preparations; advertising claims "
    "ask for more (ASTM E1958)."
)


@dataclass(frozen=True, slots=True)
class Conduct:
    """What really happened, as the log and the rows say. Moments are as the reader is to see them, "" for not yet.

    took_part : tasters who gave an answer; analysed : those whose answers count
    excluded : whom was left out and by which rule or reason; late : answers left out for coming late
    deviations : what went otherwise than planned or was amended, one sentence each
    holder : of the seal, as `study.happenings` names it; versions : name and version of what computed
    """

    took_part: int
    analysed: int
    sealed: str = ""
    first_answer: str = ""
    last_answer: str = ""
    signed: str = ""
    revealed: str = ""
    holder: str = ""
    excluded: tuple[str, ...] = ()
    late: int = 0
    deviations: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One paragraph of the methods section."""

    title: str
    sentences: tuple[str, ...]

    @property
    def text(self) -> str:
        """The sentences in one piece."""
        return " ".join(self.sentences)


def methods_section(
    plan: Plan, conduct: Conduct, *, runs: Sequence[Run] = (), verdict: Verdict | None = None
) -> tuple[Paragraph, ...]:
    """The methods in paragraphs. Only what was done is said: no bench without runs, no verdict without one."""
    paragraphs = [
        Paragraph("Design", _design(plan, conduct)),
        Paragraph("Tasting", _tasting(plan)),
        Paragraph("Blinding", _blinding(plan, conduct)),
        Paragraph("Measurement", measuring_sentences(plan.bench, runs)),
        Paragraph("Verdict", _verdict(plan, verdict)),
        Paragraph("Left out and done otherwise", _otherwise(conduct)),
        Paragraph("Reckoned with", _reckoned(conduct, verdict)),
    ]
    return tuple(paragraph for paragraph in paragraphs if paragraph.sentences)


def _design(plan: Plan, conduct: Conduct) -> tuple[str, ...]:
    method = method_of(plan.method)
    samples = count(plan.samples, "sample") + (", a reference among them" if plan.with_reference else "")
    counted = f"{count(conduct.took_part, 'taster')} of {plan.tasters} planned took part"
    if conduct.analysed != conduct.took_part:
        counted += f", {conduct.analysed} of them count"
    if plan.alone:
        counted = f"One person tasted in {count(conduct.took_part, 'round')} of {plan.tasters} planned"
    said = [f"{samples} were compared by the method “{method.name}” ({method.standard}).", f"{counted}."]
    per_taster = plan.layout.per_taster
    if method.wording is None:
        said.append(_served(plan, per_taster))
    elif method.set_size:
        said.append(
            f"Each answer is about {method.set_size} cups; each taster judged {count(plan.replicates, 'set')}."
        )
    if plan.layout.sittings > 1:
        said.append(f"A taster's cups were spread over {plan.layout.sittings} sittings.")
    if plan.layout.warm_up:
        said.append("Each sitting began with a cup that was not scored.")
    return tuple(said)


def _served(plan: Plan, per_taster: int | None) -> str:
    times = {1: "once", 2: "twice"}.get(plan.replicates, f"{plan.replicates} times")
    if per_taster:
        return (
            f"Each taster had {per_taster} of the {plan.samples} samples at a sitting, by an incomplete block design, "
            f"each of them {times}."
        )
    return f"Each taster had all samples {times}, in orders balanced for position and for what came before (Williams)."


def _tasting(plan: Plan) -> tuple[str, ...]:
    said = []
    if len(plan.conditions) > 1:
        ways = listing([f"“{name}”" for name in plan.conditions])
        how = {
            "separate": "in separate cups, one way after the other",
            "same cup": "the addition going into the cup already tasted",
            "crossed": "in separate cups, the ways mixed",
        }[plan.condition_mode]
        said.append(f"Samples were served {ways}, {how}.")
    said += _questions(plan)
    kitchen = plan.kitchen
    if kitchen.per_cup is not None:
        said.append(f"A cup held {kitchen.per_cup:g}\u202f{kitchen.unit}.")
    if kitchen.temperature is not None:
        said.append(f"The serving temperature was set at {kitchen.temperature:g}\u202f°C.")
    if kitchen.holding is not None:
        said.append(f"Cups were to be served within {kitchen.holding:g} minutes of preparation.")
    if kitchen.controls:
        said.append(f"Held equal for all samples: {listing(kitchen.controls)}.")
    if plan.rinse:
        said.append(f"Between samples: {plan.rinse.rstrip('.')}.")
    return tuple(said)


def _questions(plan: Plan) -> list[str]:
    method = method_of(plan.method)
    if method.wording is not None:
        return [f"Tasters were asked: “{method.wording.question(plan.attribute)}”"]
    asked = [question for question in plan.questions if not question.at_end]
    listed = listing([f"“{question.text}” ({scale_of(question.scale).name.lower()})" for question in asked])
    said = [f"Tasters were asked about each sample: {listed}."]
    if plan.primary:
        said.append(f"The question declared primary was “{plan.question_called(plan.primary).text}”.")
    if after := asked_at_end(plan):
        said.append(
            f"After the last sample {count(len(after), 'more question was', 'more questions were')} asked."
        )
    return said


def _blinding(plan: Plan, conduct: Conduct) -> tuple[str, ...]:
    each = "each cup its own" if plan.code_rule == "per cup" else "the same for a sample throughout"
    said = [f"Cups bore three-digit codes, {each}, drawn at random with the serving orders."]
    if conduct.sealed:
        rules = ", the criteria with their weights and limits" if plan.bench.criteria else ""
        holder = f"; {HOLDERS[conduct.holder]}" if conduct.holder in HOLDERS else ""
        said.append(
            f"Plan, questions, serving orders, analysis{rules} and the locked names were sealed on {conduct.sealed}, "
            f"before any answer{holder}."
        )
    if conduct.first_answer and conduct.last_answer:
        said.append(f"Answers were given from {conduct.first_answer} to {conduct.last_answer}.")
    if conduct.signed:
        opened = f"; names were revealed on {conduct.revealed}" if conduct.revealed else ""
        said.append(f"The analysis was signed by blind letters on {conduct.signed}{opened}.")
    if plan.kitchen.two_person:
        said.append("One person poured and coded, another served.")
    return tuple(said)


def _verdict(plan: Plan, verdict: Verdict | None) -> tuple[str, ...]:
    if verdict is None:
        return ()
    criteria = verdict.bench.criteria
    weighed = [criterion for criterion in criteria if criterion.weighed]
    musts = [criterion for criterion in criteria if criterion.a_must]
    whole = sum(group.weight for group in verdict.bench.groups)
    groups = listing([f"“{group.name}” {percent(group.weight / whole)}" for group in verdict.bench.groups])
    said = [
        f"{count(len(weighed), 'criterion', 'criteria')} made up the total, each turned into 0 to 100 by its sealed "
        f"curve; the groups' shares were {groups}."
        if verdict.declared
        else "The weights shown are not those that were sealed; this verdict is exploratory."
    ]
    if musts:
        names = listing([f"“{criterion.name}”" for criterion in musts])
        said.append(f"Musts, never averaged: {names}; a product that fails one cannot win.")
    if verdict.tasters:
        said.append(
            "Means over tasters were adjusted for who tasted what; their uncertainty comes from resampling the "
            f"{count(verdict.tasters, 'taster')} whole, widened for their small number."
        )
    if any(criterion.figure for criterion in criteria):
        said.append("Measured values were varied by Student's t over their standard uncertainty (JCGM 101).")
    said.append(
        f"From {verdict.draws} joint draws (public seed {verdict.seed}) come the intervals, the chances of ranks, and "
        f"the pairs told apart, at a family-wise level of {percent(verdict.alpha)} by the single-step maximum over all "
        "pairs; products not told apart share their places."
    )
    said.append("Ranges of weights are exact, one weight moved at a time, for the estimates.")
    return tuple(said)


def _otherwise(conduct: Conduct) -> tuple[str, ...]:
    said = []
    if conduct.excluded:
        left = count(len(conduct.excluded), "taster was", "tasters were")
        said.append(f"{left} left out: {'; '.join(one.rstrip('.') for one in conduct.excluded)}.")
    if conduct.late:
        said.append(f"{count(conduct.late, 'answer')} that came late did not count.")
    said += [f"{one.rstrip('.')}." for one in conduct.deviations]
    if not said:
        said.append("Nobody was left out, and the log holds no deviation from the plan.")
    return tuple(said)


def _reckoned(conduct: Conduct, verdict: Verdict | None) -> tuple[str, ...]:
    if not conduct.versions:
        return (LIMIT,) if verdict else ()
    used = listing([f"{name} {version}" for name, version in conduct.versions])
    return (f"Computed with {used}.", LIMIT)
