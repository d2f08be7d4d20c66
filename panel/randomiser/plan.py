"""The serving plan: every cup of every place, with its sample, position and code.

    serving_plan(*, samples, tasters, seed, method="rating", conditions=1, condition_mode="separate",
                 replicates=1, per_taster=None, sittings=1, reference=None, warm_up=False, break_every=None,
                 code_rule="per cup", spare=None) -> ServingPlan

A plan is a pure function of these arguments. `ServingPlan.places` is in dealing order; each `Place` has its
`number` (from 1) and its `servings`. A blind duplicate or a placebo pair is simply one more sample.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from panel.randomiser.balance import Balance, Bound, balance_within
from panel.randomiser.chance import Chance
from panel.randomiser.coding import code_cups
from panel.randomiser.layout import Draft, complete_layout, drafts_of, forced_layout, incomplete_layout
from panel.randomiser.wish import Wish

if TYPE_CHECKING:
    from panel.randomiser.layout import Layout


@dataclass(frozen=True, slots=True)
class Serving:
    """One serving of a place.

    position : from 1 over the whole place
    sample : index from 0 (an extra warm-up product has the index after the last sample)
    condition : index from 0
    replicate : from 1; 0 for a warm-up
    code : three digits
    same_cup_as : position of the serving whose cup this one stays in; None for a cup of its own
    warm_up : True for an unscored first serving
    task : from 1 over the whole place; one screen. A rating task is one serving, a forced-choice set or a
        ranking is one task of several
    sitting : from 1
    """

    position: int
    sample: int
    condition: int
    replicate: int
    code: str
    same_cup_as: int | None
    warm_up: bool
    task: int
    sitting: int


@dataclass(frozen=True, slots=True)
class Place:
    """One row of the plan, dealt to one taster.

    number : from 1, in dealing order
    block : number (from 1) of the balanced block of rows it belongs to
    servings : in serving order
    """

    number: int
    block: int
    servings: tuple[Serving, ...]


@dataclass(frozen=True, slots=True)
class ServingPlan:
    """All places of a study.

    balance : per condition, over scored servings; places count within a run of servings taken one after
        another (all samples in one condition and replicate, the samples of one sitting, or one set)
    bounds : per balanced design behind it, the proven lower bounds (empty for forced choice, whose orders
        are used equally instead)
    breaks : numbers of the tasks after which a break falls
    spare_codes : codes for spilt cups, on no cup of the plan
    notes : plain sentences: what was balanced, the bound, assumptions
    """

    method: str
    samples: int
    tasters: int
    conditions: int
    condition_mode: str
    replicates: int
    per_taster: int | None
    sittings: int
    reference: int | None
    code_rule: str
    places: tuple[Place, ...]
    balance: tuple[Balance, ...]
    bounds: tuple[Bound, ...]
    breaks: tuple[int, ...]
    spare_codes: tuple[str, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """The whole plan in plain JSON types, without the seed: equal plans give equal dictionaries."""
        whole: dict[str, object] = {
            name: getattr(self, name)
            for name in (
                "method",
                "samples",
                "tasters",
                "conditions",
                "condition_mode",
                "replicates",
                "per_taster",
                "sittings",
                "reference",
                "code_rule",
            )
        }
        whole["places"] = [
            {
                "number": place.number,
                "block": place.block,
                "servings": [asdict(serving) for serving in place.servings],
            }
            for place in self.places
        ]
        whole["balance"] = [one.to_dict() for one in self.balance]
        whole["bounds"] = [one.to_dict() for one in self.bounds]
        whole["breaks"] = list(self.breaks)
        whole["spare_codes"] = list(self.spare_codes)
        whole["notes"] = list(self.notes)
        return whole


def serving_plan(
    *,
    samples: int,
    tasters: int,
    seed: int,
    method: str = "rating",
    conditions: int = 1,
    condition_mode: str = "separate",
    replicates: int = 1,
    per_taster: int | None = None,
    sittings: int = 1,
    reference: int | None = None,
    warm_up: bool | int = False,
    break_every: int | None = None,
    code_rule: str = "per cup",
    spare: int | None = None,
) -> ServingPlan:
    """Places for all tasters.

    samples : 2 to 60; a blind duplicate or a placebo pair counts as further samples
    tasters : places to draw
    seed : whole number from 0 to 2**128 - 1, kept secret until the reveal
    method : "rating", "ranking" or a forced-choice method (see `forced_choice`; exactly two samples)
    conditions : ways of serving; the first is the plain one
    condition_mode : "separate" (all samples plain, then all with the addition), "same cup" (the addition goes
        into the cup just tasted, which keeps its code) or "crossed" (samples × conditions mixed freely)
    replicates : how often a taster takes each sample in each condition (or each set), over all sittings;
        with `per_taster`, at the sitting where the sample is served
    per_taster : samples per sitting where a taster cannot take all of them; None for all
    sittings : time slots of a taster. With `per_taster` every sitting brings other samples; otherwise the
        replicates are shared out over the sittings
    reference : a sample that stands in every incomplete block; for duo-trio the constant reference
    warm_up : start each sitting with an unscored serving: True balances over the samples which one it is,
        a number says which sample (the number of samples itself stands for one more product)
    break_every : a break after so many tasks of a sitting
    code_rule : "per cup", or "per sample" for one code per sample and sitting
    spare : spare codes; None for twelve, or what the pool has left
    Raises ValueError with a plain sentence for what cannot be done.
    Source: ISO 4120:2021 5.5 (codes), ISO 29842:2024 (incomplete blocks), `williams`, `forced_choice`.
    """
    wish = Wish(
        method,
        samples,
        tasters,
        seed,
        conditions,
        condition_mode,
        replicates,
        per_taster,
        sittings,
        reference,
        warm_up,
        break_every,
        code_rule,
        spare,
    )
    wish.check()
    return _planned(wish)


def _planned(wish: Wish) -> ServingPlan:
    layout = _layout(wish)
    first = _warm_ups(wish)
    drafts = [drafts_of(wish, runs, one) for runs, one in zip(layout.runs, first, strict=True)]
    codes, spares, code_notes = code_cups(wish, drafts)
    places = tuple(
        Place(number, block, _servings(row, drawn))
        for number, (block, row, drawn) in enumerate(zip(layout.blocks, drafts, codes, strict=True), start=1)
    )
    return _joined(wish, layout, drafts, places, spares, (*layout.notes, *_serving_notes(wish), *code_notes))


def _layout(wish: Wish) -> Layout:
    if wish.in_sets:
        return forced_layout(wish)
    return incomplete_layout(wish, wish.per_taster) if wish.per_taster else complete_layout(wish)


def _warm_ups(wish: Wish) -> list[int | None]:
    """The warm-up sample of each place: each sample once in every block of places, in random order."""
    if not wish.warms_up:
        return [None] * wish.tasters
    if not isinstance(wish.warm_up, bool):
        return [wish.warm_up] * wish.tasters
    chance, drawn = Chance(wish.seed, "warm-up"), list[int | None]()
    while len(drawn) < wish.tasters:
        drawn += chance.shuffled(range(wish.samples))
    return drawn[: wish.tasters]


def _servings(row: list[Draft], codes: list[str]) -> tuple[Serving, ...]:
    return tuple(
        Serving(
            position=position,
            sample=draft.sample,
            condition=draft.condition,
            replicate=draft.replicate,
            code=code,
            same_cup_as=draft.same_as,
            warm_up=draft.warm_up,
            task=draft.task,
            sitting=draft.sitting,
        )
        for position, (draft, code) in enumerate(zip(row, codes, strict=True), start=1)
    )


def _joined(
    wish: Wish,
    layout: Layout,
    drafts: list[list[Draft]],
    places: tuple[Place, ...],
    spares: tuple[str, ...],
    notes: tuple[str, ...],
) -> ServingPlan:
    runs: list[list[tuple[int, int]]] = []
    for row in drafts:
        mine: dict[int, list[tuple[int, int]]] = {}
        for draft in row:
            if not draft.warm_up:
                mine.setdefault(draft.run, []).append((draft.sample, draft.condition))
        runs += mine.values()
    return ServingPlan(
        method=wish.method,
        samples=wish.samples,
        tasters=wish.tasters,
        conditions=wish.conditions,
        condition_mode=wish.condition_mode,
        replicates=wish.replicates,
        per_taster=wish.per_taster,
        sittings=wish.sittings,
        reference=wish.reference,
        code_rule=wish.code_rule,
        places=places,
        balance=tuple(
            balance_within(
                [run for run in runs if any(c == condition for _, c in run)], wish.samples, condition
            )
            for condition in range(wish.conditions)
        ),
        bounds=layout.bounds,
        breaks=_breaks(wish, drafts[0]),
        spare_codes=spares,
        notes=notes,
    )


def _breaks(wish: Wish, row: list[Draft]) -> tuple[int, ...]:
    """Tasks after which a break falls; every place has the same number of tasks in each sitting."""
    if wish.break_every is None:
        return ()
    breaks: list[int] = []
    for sitting in range(1, wish.sittings + 1):
        tasks = sorted({draft.task for draft in row if draft.sitting == sitting and not draft.warm_up})
        breaks += tasks[wish.break_every - 1 : -1 : wish.break_every]
    return tuple(breaks)


def _serving_notes(wish: Wish) -> tuple[str, ...]:
    notes = []
    if wish.conditions > 1:
        notes.append(
            {
                "separate": "Each taster takes all samples in one condition before the next condition starts, so "
                "that the order of the conditions is the same for everybody and part of their effect.",
                "same cup": "The addition goes into the cup already tasted, which keeps its code; both servings "
                "are taken one after the other.",
                "crossed": "Samples and conditions are mixed, so that every sample may follow every other, and "
                "itself in another condition.",
            }[wish.condition_mode]
        )
    if wish.warms_up:
        notes.append("Every sitting starts with a warm-up that is served like the others and not scored.")
    if wish.sittings > 1:
        notes.append(f"Each taster comes to {wish.sittings} sittings.")
    return tuple(notes)
