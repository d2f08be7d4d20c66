"""Sealing a study: from a draft with names to rows without them, and opening the key again."""

from __future__ import annotations

import json
import secrets
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from panel import randomiser
from panel.store.database import now
from panel.store.ledger import append, locked_study
from panel.store.random_ids import new_id
from panel.store.register import enter_products
from panel.store.studies import ForbiddenMoveError, draft_of, plan_mark, require
from panel.store.tables import Batch, Place, Sample, Serving, Sitting, Study, Task
from panel.study import seal
from panel.study.bundle import part_digests
from panel.study.doses import too_much
from panel.study.drafting import check_draft
from panel.study.life import Move, State
from panel.study.plan import Plan, Product, plan_from_dict, plan_to_dict, product_to_dict
from panel.study.questions import asked_at_end
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.store.tokens import Tokens

REFERENCE_INDEX, STRONGER_INDEX = 0, 1  # where the plan expects the samples that play these parts


class PlanChangedError(ValueError):
    """The plan is not the one that was looked at; the message says so."""


class BrokenSealError(ValueError):
    """What was sealed has been changed since; the message says so and what to do."""


class UnfitDraftError(ValueError):
    """The draft cannot be sealed as it stands; the message says why."""


@dataclass(frozen=True, slots=True)
class Sealed:
    """What the organiser is shown once: the commitment and the recovery code."""

    commitment: str
    recovery_code: str


def drawn(plan: Plan, seed: str) -> randomiser.ServingPlan:
    """The serving plan that this seed (hexadecimal) gives. The same inputs give the same plan."""
    layout, method = plan.layout, method_of(plan.method)
    in_every_set = layout.per_taster is not None or method.keeps_reference
    return randomiser.serving_plan(
        method=plan.method,
        samples=plan.samples,
        tasters=plan.tasters,
        seed=int(seed, 16),
        conditions=len(plan.conditions),
        condition_mode=plan.condition_mode,
        replicates=plan.replicates,
        per_taster=layout.per_taster,
        sittings=layout.sittings,
        reference=REFERENCE_INDEX if in_every_set and plan.with_reference else None,
        warm_up=REFERENCE_INDEX if method.known_first else layout.warm_up,
        break_every=layout.break_every,
        code_rule=plan.code_rule,
    )


def seal_study(
    session: Session,
    tokens: Tokens,
    study_id: str,
    actor: str,
    passphrase: str,
    holder: str,
    seen: str = "",
) -> Sealed:
    """Freeze the plan, deal it into rows, lock the key, and take the names out of the database.

    passphrase : where two people hold a part each, both as `seal.joined` joins them
    holder : who keeps it: one of `happenings.PROVES`
    seen : `plan_mark` of the plan that was looked at; "" asks for no such check
    UnfitDraftError when the draft is incomplete; PlanChangedError when no plan is drawn, or another than was seen.
    The caller must call `Database.forget_deleted` once the session has committed.
    """
    study = locked_study(session, study_id)
    require(study, Move.SEAL)
    plan, named, dealt = _fit_to_seal(study, seen)
    products, seed = arranged(named), study.seed
    samples = _add_samples(session, study, products, seed)
    _add_rows(session, tokens, study, dealt, samples, at_end=bool(asked_at_end(plan)))
    if plan.alone:
        _mark_with_dots(session, study)
    key = {sample.id: product_to_dict(product) for sample, product in zip(samples, products, strict=True)}
    secret = {"key": key, "seed": seed, "nonce": seal.new_nonce()}
    study.plan = json.dumps(plan_to_dict(plan), ensure_ascii=False, sort_keys=True)
    study.spare_codes = json.dumps(list(dealt.spare_codes))
    session.flush()
    study.commitment = seal.commitment(sealed_contents(session, study, secret))
    recovery_code = seal.new_recovery_code()
    study.locked = json.dumps(seal.lock(secret, passphrase, recovery_code), sort_keys=True)
    study.draft, study.seed = _without_products(study), ""
    if plan.bench.measurands:
        enter_products(session, study.id, products)
    study.state, study.sealed_at = State.SEALED, now()
    session.add(study)
    parts = part_digests(sealed_contents(session, study, {}))
    detail = {"commitment": study.commitment, "passphrase holder": holder, "parts": parts}
    append(session, study.id, actor, "study sealed", detail)
    return Sealed(study.commitment, recovery_code)


def _fit_to_seal(study: Study, seen: str) -> tuple[Plan, tuple[Product, ...], randomiser.ServingPlan]:
    """The plan, its products and what is dealt; UnfitDraftError or PlanChangedError where it is not to be sealed."""
    drafted = check_draft(draft_of(study))
    if drafted.plan is None:
        raise UnfitDraftError(f"The draft is not complete yet: {drafted.problems[0].text}")
    require_seen(study, seen)
    try:
        dealt = drawn(drafted.plan, study.seed)
    except ValueError as error:
        raise UnfitDraftError(f"This plan cannot be drawn: {error}.") from None
    refused = too_much(drafted.plan, _most_cups(dealt))
    if refused:
        raise UnfitDraftError(refused)
    return drafted.plan, drafted.products, dealt


def require_seen(study: Study, seen: str) -> None:
    """PlanChangedError where no plan is drawn, or another than was looked at. seen : as for `seal_study`."""
    if not study.seed or seen not in ("", plan_mark(study)):
        raise PlanChangedError(
            "The draft was saved or another plan drawn after the page was opened on which you pressed “Seal”. Nothing "
            "is sealed. This is the plan as it stands now: look at it, then seal it."
        )


def sealed_contents(session: Session, study: Study, secret: dict[str, Any]) -> dict[str, Any]:
    """Everything that the commitment covers: plan, deal, labels, spare codes, and the secret."""
    samples = samples_of(session, study.id)
    return {
        "version": 1,
        "study": study.id,
        "plan": plan_to_dict(plan_from_dict(json.loads(study.plan))),
        "labels": {
            s.id: {"blind_label": s.blind_label, "pour_letter": s.pour_letter, "role": s.role}
            for s in samples
        },
        "deal": deal_of(session, study.id),
        "spare_codes": json.loads(study.spare_codes),
        **secret,
    }


def deal_of(session: Session, study_id: str) -> list[dict[str, Any]]:
    """The sealed cups in order of place and position, as plain rows."""
    query = (
        select(Serving, Place.number, Task.number)
        .join(Place, col(Place.id) == Serving.place_id)
        .join(Task, col(Task.id) == Serving.task_id)
        .where(Place.study_id == study_id, Serving.attempt_number == 1)
        .order_by(col(Place.number), col(Serving.position))
    )
    rows = session.exec(query).all()
    position_of = {serving.id: serving.position for serving, _, _ in rows}
    return [
        {
            "place": place,
            "task": task,
            "position": serving.position,
            "sample": serving.sample_id,
            "condition": serving.condition,
            "replicate": serving.replicate,
            "code": serving.sealed_code or serving.code,
            "same_cup_as": position_of.get(serving.same_cup_as or ""),
            "warm_up": serving.warm_up,
            **({} if serving.dot is None else {"dot": serving.dot}),
        }
        for serving, place, task in rows
    ]


def samples_of(session: Session, study_id: str) -> list[Sample]:
    """The study's samples by blind label."""
    query = select(Sample).where(Sample.study_id == study_id)
    return sorted(session.exec(query), key=lambda sample: (len(sample.blind_label), sample.blind_label))


def open_key(session: Session, study: Study, phrase: str) -> dict[str, Any]:
    """Key, seed and nonce, opened with the passphrase or the recovery code and held against the commitment.

    WrongPassphraseError when it does not open; BrokenSealError when what is inside does not fit the commitment;
    ForbiddenMoveError for a study brought back from its files, which hold nothing locked.
    """
    if not study.locked:
        raise ForbiddenMoveError("This study was brought back from its files, which hold no locked names.")
    secret = seal.unlock(json.loads(study.locked), phrase)
    if seal.commitment(sealed_contents(session, study, secret)) != study.commitment:
        raise BrokenSealError(
            "The sealed plan does not match its commitment: rows have been changed since sealing. "
            "Do not reveal; keep the data folder as it is and find out what happened."
        )
    return secret


def arranged(products: tuple[Product, ...]) -> list[Product]:
    """The products at random over the plan's sample indices, a blind duplicate twice.

    Only a sample with a part to play stands where the plan expects it; blind labels and pour letters are
    drawn apart from this, so that no index tells anything.
    """
    served = [product for product in products for _ in range(1 + product.twice)]
    secrets.SystemRandom().shuffle(served)
    for role, index in (("reference", REFERENCE_INDEX), ("stronger", STRONGER_INDEX)):
        holders = [product for product in served if product.role == role]
        if holders:
            served.remove(holders[0])
            served.insert(index, holders[0])
    return served


def _add_samples(session: Session, study: Study, products: list[Product], seed: str) -> list[Sample]:
    number = int(seed, 16)
    labels = randomiser.blind_labels(len(products), seed=number)
    letters = randomiser.pour_letters(len(products), seed=number)
    samples = [
        Sample(study_id=study.id, blind_label=label, pour_letter=letter, role=_role(product))
        for label, letter, product in zip(labels, letters, products, strict=True)
    ]
    session.add_all(samples)
    session.flush()
    session.add_all(Batch(sample_id=sample.id, number=1) for sample in samples)
    session.flush()
    return samples


def _mark_with_dots(session: Session, study: Study) -> None:
    """Number the cups of every place from 1, at random; an addition into the same cup has the cup's number."""
    query = select(Serving).join(Place, col(Place.id) == Serving.place_id).where(Place.study_id == study.id)
    rows: dict[str, list[Serving]] = {}
    for serving in session.exec(query.order_by(col(Serving.position))):
        rows.setdefault(serving.place_id, []).append(serving)
    for row in rows.values():
        cups = [serving.id for serving in row if serving.same_cup_as is None]
        dots = list(range(1, len(cups) + 1))
        secrets.SystemRandom().shuffle(dots)
        dot_of = dict(zip(cups, dots, strict=True))
        for serving in row:
            serving.dot = dot_of[serving.same_cup_as or serving.id]
            session.add(serving)
    session.flush()


def _most_cups(dealt: randomiser.ServingPlan) -> int:
    """The most cups that one place gets at one sitting."""
    cups = Counter(
        (place.number, serving.sitting)
        for place in dealt.places
        for serving in place.servings
        if serving.same_cup_as is None
    )
    return max(cups.values())


def _without_products(study: Study) -> str:
    """What was typed, for a copy as the next round, without everything about the products."""
    typed = {name: value for name, value in draft_of(study).items() if not name.startswith("product-")}
    return json.dumps(typed, ensure_ascii=False, sort_keys=True)


def _role(product: Product) -> str:
    return product.role or ("duplicate" if product.twice else "")


def _add_rows(
    session: Session,
    tokens: Tokens,
    study: Study,
    dealt: randomiser.ServingPlan,
    samples: list[Sample],
    *,
    at_end: bool,
) -> None:
    """All places, then all screens, then all cups: one kind after the other, so that a large plan takes seconds."""
    session.add(Sitting(study_id=study.id, number=1))
    batches = {batch.sample_id: batch.id for batch in _batches(session, samples)}
    places = [Place(study_id=study.id, number=planned.number) for planned in dealt.places]
    session.add_all(places)
    session.flush()
    tasks = [_tasks(place, planned) for place, planned in zip(places, dealt.places, strict=True)]
    session.add_all(task for screens in tasks for task in screens.values())
    if at_end:
        session.add_all(_end_task(screens) for screens in tasks)
    session.flush()
    for place, planned, screens in zip(places, dealt.places, tasks, strict=True):
        ids = {serving.position: new_id() for serving in planned.servings}
        for serving in planned.servings:
            sample = samples[serving.sample]
            session.add(
                Serving(
                    id=ids[serving.position],
                    place_id=place.id,
                    task_id=screens[serving.task].id,
                    sample_id=sample.id,
                    batch_id=batches[sample.id],
                    position=serving.position,
                    condition=serving.condition,
                    replicate=serving.replicate,
                    code=serving.code,
                    token=tokens.cup(ids[serving.position], 1),
                    same_cup_as=None if serving.same_cup_as is None else ids[serving.same_cup_as],
                    warm_up=serving.warm_up,
                )
            )
    session.flush()


def _tasks(place: Place, planned: randomiser.Place) -> dict[int, Task]:
    """The screens of one place by number."""
    return {
        serving.task: Task(
            place_id=place.id,
            number=serving.task,
            sitting=serving.sitting,
            condition=serving.condition,
            scored=not serving.warm_up,
        )
        for serving in planned.servings
    }


def _end_task(screens: dict[int, Task]) -> Task:
    """A last screen without cups, for what is asked once."""
    last = screens[max(screens)]
    return Task(
        place_id=last.place_id, number=last.number + 1, sitting=last.sitting, condition=0, scored=False
    )


def _batches(session: Session, samples: list[Sample]) -> list[Batch]:
    return list(
        session.exec(select(Batch).where(col(Batch.sample_id).in_([sample.id for sample in samples])))
    )
