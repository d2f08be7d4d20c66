"""What was really served: cups taken in another order than planned, and the balance of what was answered."""

from __future__ import annotations

from dataclasses import dataclass

from sqlmodel import Session, col, select

from panel.randomiser.balance import Balance, balance_within
from panel.store.dealing import waiting_places
from panel.store.ledger import append, locked_study
from panel.store.reissue import same_cup_rows
from panel.store.rows import served_at, stood
from panel.store.studies import ForbiddenMoveError, may, plan_of
from panel.store.tables import Attempt, Place, Sample, Serving, Study, Submission, Task
from panel.study.life import Move
from panel.study.plan import Plan
from panel.study.test_methods import method_of

Run = list[tuple[int, int]]  # (sample number from 0, condition) in the order served


@dataclass(frozen=True, slots=True)
class Evenness:
    """How even some serving orders are; spreads are the worst over the conditions.

    places : how many orders; position, carry_over : largest less smallest count of `balances`
    balances : per condition, samples numbered in an order that tells nothing
    """

    places: int
    position: int
    carry_over: int
    balances: tuple[Balance, ...]


@dataclass(frozen=True, slots=True)
class Meter:
    """The sealed plan, what was answered so far, and what it will be if nobody else comes.

    places : of the plan; free : those that wait for somebody
    """

    planned: Evenness
    answered: Evenness
    without_the_free: Evenness
    places: int
    free: int


def note_order(session: Session, first: Serving, second: Serving, actor: str, note: str) -> None:
    """Two cups of a taster were taken in each other's place. The planned order stays beside it.

    An addition made into a cup moves with it. ForbiddenMoveError where the two cannot have been exchanged.
    """
    place = session.get_one(Place, first.place_id)
    if not may(locked_study(session, place.study_id), Move.ANSWER):
        raise ForbiddenMoveError(
            "The order of serving can be noted from opening to signing: after that, data are fixed."
        )
    tray = list(
        session.exec(
            select(Serving)
            .where(Serving.place_id == place.id, Serving.attempt_number == first.attempt_number)
            .order_by(col(Serving.position))
        )
    )
    ours, theirs = same_cup_rows(first, tray), same_cup_rows(second, tray)
    _require_exchangeable(session, ours, theirs)
    moved = [(row, served_at(other)) for row, other in zip(ours, theirs, strict=True)]
    moved += [(row, served_at(other)) for row, other in zip(theirs, ours, strict=True)]
    for row, position in moved:
        row.served_position = position
        session.add(row)
    session.flush()
    detail = {
        "place": place.number,
        "attempt number": first.attempt_number,
        "codes": [first.code, second.code],
        "served": {str(row.position): position for row, position in moved},
    }
    append(
        session,
        place.study_id,
        actor,
        "cups served in another order",
        detail | ({"note": note} if note else {}),
    )


def meter_of(session: Session, study: Study) -> Meter:
    """Positions and carry-over of what was answered, beside the sealed plan."""
    plan = plan_of(study)
    rows = _rows(session, study.id)
    attempts = {
        (attempt.place_id, attempt.number): attempt
        for attempt in session.exec(select(Attempt).where(Attempt.study_id == study.id))
    }
    done = answered_screens(session, study.id)
    planned: dict[tuple[str, int], list[Serving]] = {}
    answered: dict[tuple[str, int], list[Serving]] = {}
    to_come: dict[tuple[str, int], list[Serving]] = {}
    for serving in rows:
        key = (serving.place_id, serving.attempt_number)
        if serving.attempt_number == 1:
            planned.setdefault(key, []).append(serving)
        attempt = attempts.get(key)
        if attempt is None:
            continue
        has = (attempt.id, serving.task_id) in done
        known = not plan.alone or serving.found_sample_id is not None  # alone: not before the dots are read
        if has and known:
            answered.setdefault(key, []).append(serving)
        if has or attempt.status == "tasting":
            to_come.setdefault(key, []).append(serving)
    numbers = _sample_numbers(session, study.id)
    tasks = _tasks(session, study.id)
    return Meter(
        planned=_evenness(plan, planned, numbers, tasks, as_planned=True),
        answered=_evenness(plan, answered, numbers, tasks),
        without_the_free=_evenness(plan, to_come, numbers, tasks),
        places=len(planned),
        free=len(waiting_places(session, study.id)),
    )


def _require_exchangeable(session: Session, ours: list[Serving], theirs: list[Serving]) -> None:
    """Both come from the tray of the first cup; `theirs` is empty where the second stands elsewhere."""
    if theirs and ours[0].id == theirs[0].id:
        raise ForbiddenMoveError("Choose two different cups: a cup cannot be exchanged with itself.")
    sittings = {session.get_one(Task, row.task_id).sitting for row in (*ours, *theirs)}
    if len(sittings) > 1 or len(ours) != len(theirs):
        raise ForbiddenMoveError(
            "These two cups do not stand on one tray at the same time, so they cannot have been exchanged."
        )


def _rows(session: Session, study_id: str) -> list[Serving]:
    query = select(Serving).join(Place, col(Place.id) == Serving.place_id)
    scored = query.where(Place.study_id == study_id, col(Serving.warm_up).is_(False))
    return list(
        session.exec(scored.order_by(col(Place.number), col(Serving.attempt_number), col(Serving.position)))
    )


def answered_screens(session: Session, study_id: str) -> set[tuple[str, str]]:
    """(attempt id, task id) of every screen with a stored answer."""
    query = (
        select(Submission.attempt_id, Submission.task_id)
        .join(Attempt, col(Attempt.id) == Submission.attempt_id)
        .where(Attempt.study_id == study_id, Submission.outcome == "stored")
    )
    return set(session.exec(query).all())


def _sample_numbers(session: Session, study_id: str) -> dict[str, int]:
    """Sample id -> number from 0 in the order of the random ids."""
    ids = session.exec(select(Sample.id).where(Sample.study_id == study_id).order_by(col(Sample.id)))
    return {sample: number for number, sample in enumerate(ids)}


def _tasks(session: Session, study_id: str) -> dict[str, Task]:
    query = select(Task).join(Place, col(Place.id) == Task.place_id).where(Place.study_id == study_id)
    return {task.id: task for task in session.exec(query)}


def _evenness(
    plan: Plan,
    orders: dict[tuple[str, int], list[Serving]],
    numbers: dict[str, int],
    tasks: dict[str, Task],
    *,
    as_planned: bool = False,
) -> Evenness:
    runs: list[Run] = []
    for row in orders.values():
        mine: dict[tuple[int, ...], Run] = {}
        for serving in row if as_planned else sorted(row, key=served_at):
            run = mine.setdefault(_run_of(plan, serving, tasks[serving.task_id]), [])
            sample = serving.sample_id if as_planned else stood(serving)
            run.append((numbers[sample], serving.condition))
        runs += mine.values()
    balances = tuple(
        balance_within([run for run in runs if any(c == condition for _, c in run)], len(numbers), condition)
        for condition in range(len(plan.conditions))
    )
    return Evenness(
        len(orders),
        max(balance.position_spread for balance in balances),
        max(balance.carry_over_spread for balance in balances),
        balances,
    )


def _run_of(plan: Plan, serving: Serving, task: Task) -> tuple[int, ...]:
    """What is balanced together: a set, or all samples of one sitting, replicate and condition."""
    if method_of(plan.method).set_size > 1:
        return (task.number,)
    if plan.condition_mode == "crossed":
        return (task.sitting, serving.replicate)
    return (task.sitting, serving.replicate, serving.condition)
