"""A rehearsal: made-up tasters answer the whole plan, and the real analysis reads them. Nothing here is data.

Tasters answer as the plan's power assumes: where a test has right answers, each is right as often as guessing and
the share of discriminators give; preferences, ranks and scores are drawn around what is made to be true. So the
reports of many rehearsals find the difference as often as the plan page says.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import stats
from panel.analysis.planning_measures import distance_of, measure_of, standing_out
from panel.study.answer_rows import Choice, Score
from panel.study.pseudonyms import taster_name
from panel.study.questions import asked_at_end, asked_on, points_of, span_of, terms_of
from panel.study.scales import scale_of
from panel.study.set_answers import NO_PREFERENCE, SetCup, is_right, judged, set_kind
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.analysis.planning_measures import Measure
    from panel.randomiser import Serving, ServingPlan
    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan, Question

Truth = Literal["none", "planned"]
TRUTHS: dict[str, str] = {
    "none": "No difference: all samples are the same",
    "planned": "A difference as large as matters to you",
}
# Tasters differ in level by about half of what one taster's scores differ by; common practice, no source.
LEVELS = 0.5
TICKED = 0.3  # how often a made-up taster ticks a word
UNDECIDED = 0.1  # how often a made-up taster has no preference, where that is offered
REMARK = "made-up remark"


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """Made-up answers. truth : what was made to be true, by blind label, in a sentence"""

    scores: tuple[Score, ...]
    choices: tuple[Choice, ...]
    truth: str


def rehearse(
    plan: Plan,
    known: Circumstances,
    dealt: ServingPlan,
    labels: Sequence[str],
    roles: Sequence[str],
    *,
    truth: Truth,
    seed: str,
) -> Rehearsed:
    """Answers of made-up tasters at every place of a dealt plan; the same seed gives the same answers.

    labels, roles : of the samples by their index in the plan
    """
    crowd = _Crowd(plan, known, tuple(labels), tuple(roles), truth, random.Random(seed))
    scores: list[Score] = []
    choices: list[Choice] = []
    for place in dealt.places:
        taster = taster_name(place.number, 1)
        if method_of(plan.method).wording is None:
            scores += crowd.scores(taster, place.servings)
        else:
            choices += crowd.choices(taster, place.servings)
        scores += crowd.at_end(taster)
    return Rehearsed(tuple(scores), tuple(choices), crowd.told())


class _Crowd:
    """Made-up tasters of one plan."""

    def __init__(
        self,
        plan: Plan,
        known: Circumstances,
        labels: tuple[str, ...],
        roles: tuple[str, ...],
        truth: Truth,
        chance: random.Random,
    ) -> None:
        self.plan, self.known, self.labels, self.roles = plan, known, labels, roles
        self.differs, self.chance = truth == "planned", chance
        self.measure: Measure | None = measure_of(plan, known)
        self.answered = 0

    def told(self) -> str:
        """What is true in this rehearsal."""
        if not self.differs:
            return "Made up: all samples are the same. Whatever seems to differ does so by chance."
        kind = method_of(self.plan.method).analysis
        if self.plan.similarity_limit is not None:
            limit = 100 * self.plan.similarity_limit
            return f"Made up: {limit:.0f}\u202f% of people taste the difference, which is your limit."
        size = (
            self.measure.words(self.measure.planned) if self.measure else "a difference as large as matters"
        )
        if kind == "scores":
            others = "; the others lie halfway between" if self.plan.samples > 2 else ""
            return f"Made up: {self.labels[0]} lies above {self.labels[1]} by {size}{others}."
        if kind == "preference":
            return f"Made up: {size}, which is {self.labels[0]}."
        if kind == "ranking":
            return f"Made up: {self.labels[0]} stands out as {size}; the others are alike."
        return (
            f"Made up: the two differ by {size.removeprefix('a difference of ')}."
            if "d′" in size
            else f"Made up: {size}."
        )

    # ---- scores

    def scores(self, taster: str, servings: Sequence[Serving]) -> list[Score]:
        """Every question about every scored cup of one place."""
        levels = {q.key: self.chance.gauss(0, LEVELS) for q in self.plan.questions}
        met: dict[int, int] = {}
        found: list[Score] = []
        for cup in servings:
            if cup.warm_up:
                continue
            met[cup.condition] = met.get(cup.condition, 0) + 1
            for question in asked_on(self.plan, cup.condition):
                effect = self._effect(cup.sample) if question.key == self.plan.primary else 0.0
                for name, value in self._answers(question, effect, levels[question.key]):
                    found.append(self._score(taster, cup, name, value, met[cup.condition]))
        return found

    def at_end(self, taster: str) -> list[Score]:
        """What is asked once, after the last cup."""
        return [
            Score(taster, taster, "", name, "", 1, 0, value, late=False)
            for question in asked_at_end(self.plan)
            for name, value in self._answers(question, 0.0, 0.0)
        ]

    def _score(self, taster: str, cup: Serving, name: str, value: float | str | None, position: int) -> Score:
        condition = self.plan.conditions[cup.condition]
        label = self.labels[cup.sample]
        return Score(taster, taster, label, name, condition, cup.replicate, position, value, late=False)

    def _effect(self, sample: int) -> float:
        """How far this sample lies from the middle in the primary question, in its points."""
        if not self.differs or self.measure is None or sample > 1:
            return 0.0
        return self.measure.planned / 2 if sample == 0 else -self.measure.planned / 2

    def _answers(
        self, question: Question, effect: float, level: float
    ) -> list[tuple[str, float | str | None]]:
        """Name in the data and value, one for each term where the question has terms."""
        terms = terms_of(question)
        if terms:
            return [(name, float(self.chance.random() < TICKED)) for name in terms]
        kind = scale_of(question.scale).kind
        if kind == "text":
            says = question.required or self.chance.random() < TICKED
            return [(question.key, REMARK if says else None)]
        length = span_of(question)
        if kind == "number" and not length:
            low = question.least if question.least is not None else 0.0
            return [(question.key, round(low + abs(self.chance.gauss(1, 0.3)), 1))]
        spread = self.known.spread * length
        off = effect + spread * (level + self.chance.gauss(0, 1))
        return [(question.key, self._on_scale(question, off, length))]

    def _on_scale(self, question: Question, off: float, length: float) -> float:
        """The point nearest to the middle of the scale plus `off`."""
        points = [point.value for point in points_of(question)]
        if points:
            middle = (min(points) + max(points)) / 2
            return float(min(points, key=lambda point: abs(point - middle - off)))
        low = question.least if question.least is not None else scale_of(question.scale).low
        return round(min(max(low + length / 2 + off, low), low + length), 1)

    # ---- sets

    def choices(self, taster: str, servings: Sequence[Serving]) -> list[Choice]:
        """One answer about every set of one place."""
        sets: dict[int, list[Serving]] = {}
        for cup in servings:
            if not cup.warm_up:
                sets.setdefault(cup.task, []).append(cup)
        return [self._choice(taster, task, cups) for task, cups in sorted(sets.items())]

    def _choice(self, taster: str, task: int, served: list[Serving]) -> Choice:
        cups = [SetCup(self.labels[c.sample], self.roles[c.sample], c.position) for c in served]
        answer = _ANSWERS[method_of(self.plan.method).analysis](self, [c.sample for c in served], cups)
        found = judged(self.plan.method, cups, answer)
        condition = self.plan.conditions[served[0].condition]
        return Choice(
            taster,
            taster,
            task,
            condition,
            found.samples,
            found.chosen,
            found.correct,
            late=False,
            arrived=self.arrived(),
        )

    def arrived(self) -> int:
        """The answers come one after the other."""
        self.answered += 1
        return self.answered

    def forced(self, _samples: list[int], cups: list[SetCup]) -> str:
        """Right as often as guessing and the discriminators give; else one of the wrong answers."""
        method = method_of(self.plan.method)
        pd = 0.0
        if self.differs:
            pd = self.plan.similarity_limit or (self.measure.planned if self.measure else 0.0)
        answers = possible_answers(self.plan.method, len(cups))
        right: list[str] = []
        wrong: list[str] = []
        for answer in answers:
            kept = right if self._is_right(cups, answer) else wrong
            kept.append(answer)
        guess = method.chance or 0.0
        hit = self.chance.random() < guess + (1 - guess) * pd
        return str(self.chance.choice(right if hit else wrong))

    def _is_right(self, cups: list[SetCup], answer: str) -> bool:
        samples, roles = [cup.sample for cup in cups], [cup.role for cup in cups]
        return bool(is_right(self.plan.method, samples, roles, answer))

    def perceived(self, samples: list[int]) -> list[float]:
        """An impression of each cup: normal around its sample, d′ apart."""
        apart = distance_of(self.known.size) if self.differs else 0.0
        return [self.chance.gauss(apart * sample, 1) for sample in samples]

    def same_or_different(self, samples: list[int], _cups: list[SetCup]) -> str:
        first, second = self.perceived(samples)
        return "different" if abs(first - second) > self.criterion else "same"

    def known_or_not(self, samples: list[int], _cups: list[SetCup]) -> str:
        return "no" if self.perceived(samples)[0] > self.criterion else "yes"

    @cached_property
    def criterion(self) -> float:
        """From which impression on a difference is called one: the best for the difference that matters."""
        d = distance_of(self.known.size)
        return float(
            stats.required_servings(self.plan.method, d_prime=d, power=0.8, alpha=self.plan.alpha).criterion
        )

    def preferred(self, samples: list[int], _cups: list[SetCup]) -> str:
        if self.plan.no_preference and self.chance.random() < UNDECIDED:
            return NO_PREFERENCE
        share = self.known.size.prefer if self.differs else 0.5
        first = samples.index(0)
        return str((first if self.chance.random() < share else 1 - first) + 1)

    def order(self, samples: list[int], _cups: list[SetCup]) -> str:
        stands_out = standing_out(self.known.size.prefer) if self.differs else 0.0
        seen = [self.chance.gauss(stands_out if sample == 0 else 0.0, 1) for sample in samples]
        ranks = {
            place: rank for rank, place in enumerate(sorted(range(len(seen)), key=lambda p: -seen[p]), 1)
        }
        return " ".join(str(ranks[place]) for place in range(len(seen)))


_ANSWERS: dict[str, Callable[[_Crowd, list[int], list[SetCup]], str]] = {
    "forced choice": _Crowd.forced,
    "same-different": _Crowd.same_or_different,
    "A-not-A": _Crowd.known_or_not,
    "preference": _Crowd.preferred,
    "ranking": _Crowd.order,
}


def possible_answers(method: str, cups: int) -> list[str]:
    """Every answer to a set of so many cups that a test with right answers knows."""
    kind = set_kind(method_of(method))
    if kind.form == "pick":
        return [str(number) for number in range(kind.first, cups + 1)]
    pairs = list(combinations(range(1, cups + 1), cups // 2))
    if kind.form == "pick two":
        return [f"{first} {second}" for first, second in pairs]
    return [" ".join("1" if n in pair else "2" for n in range(1, cups + 1)) for pair in pairs if 1 in pair]
