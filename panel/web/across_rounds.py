"""One product over its rounds: each round's difference to the reference that was in both, never raw values."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from panel.bench.derived import measurand_figures
from panel.bench.rounds import (
    AcrossRounds,
    CannotCompareError,
    MeasuredRound,
    TastedRound,
    across_measured,
    across_tasted,
)
from panel.store import studies
from panel.store.bench import measurands_of, measurements_of
from panel.store.instruments import instrument_names
from panel.store.register import products_of
from panel.store.rows import exclusions_of, scores_of
from panel.store.sealing import samples_of
from panel.study.draft_reader import name_key
from panel.study.life import State
from panel.study.quantities import QUANTITIES
from panel.web.bench_rows import run_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlmodel import Session

    from panel.store.bench_tables import Product
    from panel.store.tables import Study

MOST_ROUNDS = 5  # the newest; older ones stand in the list


@dataclass(frozen=True, slots=True)
class Compared:
    """What can be said of two rounds. sentences: findings, or why there is none; notes: what they rest on."""

    newer: str
    older: str
    reference: str
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def across_rounds(session: Session, product: Product, rounds: list[Study]) -> tuple[Compared, ...]:
    """Each round of the product against the one before, newest first, as far as a reference ties them."""
    return tuple(_compared(session, product, newer, older) for newer, older in pairwise(rounds[:MOST_ROUNDS]))


def _compared(session: Session, product: Product, newer: Study, older: Study) -> Compared:
    both = {one.id for one in products_of(session, newer.id)} & {
        one.id for one in products_of(session, older.id)
    }
    ties = [one for one in products_of(session, newer.id) if one.reference and one.id in both]
    tie = next((one for one in ties if one.id != product.id), None)
    if product.reference:
        text = "This product is the reference itself: it ties the rounds, and is not compared with itself."
        return Compared(newer.title, older.title, product.name, (text,), ())
    if tie is None:
        text = (
            "No product that is marked as a reference was in both rounds, so that nothing ties them. Raw values of two "
            "days are not compared: another day, another lot, other people."
        )
        return Compared(newer.title, older.title, "", (text,), ())
    sentences: list[str] = []
    notes: dict[str, None] = {}
    for compare in (
        *_tasted(session, product, tie, newer, older),
        *_measured(session, product, tie, newer, older),
    ):
        try:
            found = compare()
        except CannotCompareError as error:
            sentences.append(str(error))
        else:
            sentences.append(found.sentence())
            notes |= dict.fromkeys(found.notes)
    sentences = sentences or ["Nothing was asked or measured in both rounds in the same way."]
    return Compared(newer.title, older.title, tie.name, tuple(sentences), tuple(notes))


def _measured(
    session: Session, product: Product, tie: Product, newer: Study, older: Study
) -> Iterator[Callable[[], AcrossRounds]]:
    """For everything that was measured in both rounds, by its first figure."""
    first, second = _measured_rounds(session, newer, tie), _measured_rounds(session, older, tie)
    for key, mine in first.items():
        if (other := second.get(key)) is not None:
            figure = next(iter(QUANTITIES[mine.measurand.quantity].figures))
            yield _bound(across_measured, mine, other, product.id, figure)


def _bound(
    compare: Callable[..., AcrossRounds], first: MeasuredRound | TastedRound, second: MeasuredRound | TastedRound,
    product: str, *more: str,
) -> Callable[[], AcrossRounds]:  # fmt: skip
    return lambda: compare(first, product, second, product, *more)


def _measured_rounds(session: Session, study: Study, tie: Product) -> dict[str, MeasuredRound]:
    """Name of the measurand -> its figures, where anything was measured."""
    bench, instruments = studies.plan_of(study).bench, instrument_names(session)
    names = {one.id: one.name for one in products_of(session, study.id)}
    rows = [row for row in measurements_of(session, study.id) if row.product_id in names]
    found = {}
    for one in measurands_of(session, study):
        runs = [run_of(row, instruments) for row in rows if row.measurand == one.key]
        if runs:
            figures = measurand_figures(one, runs, bench.cup_ml, bench.currency)
            found[name_key(one.name)] = MeasuredRound(study.title, one, tie.id, names, figures)
    return found


def _tasted(
    session: Session, product: Product, tie: Product, newer: Study, older: Study
) -> Iterator[Callable[[], AcrossRounds]]:
    """For the primary question in every way of serving that both rounds had."""
    if newer.state != State.REVEALED or older.state != State.REVEALED:
        return
    first, second = _tasted_rounds(session, newer, tie), _tasted_rounds(session, older, tie)
    for condition, mine in first.items():
        if (other := second.get(condition)) is not None:
            yield _bound(across_tasted, mine, other, product.id)


def _tasted_rounds(session: Session, study: Study, tie: Product) -> dict[str, TastedRound]:
    """Way of serving -> the answers to the primary question by product; nothing where none was asked in numbers."""
    import pandas as pd

    plan = studies.plan_of(study)
    if not plan.primary:
        return {}
    ids = {one.name_key: one.id for one in products_of(session, study.id)}
    names = {one.id: one.name for one in products_of(session, study.id)}
    key = json.loads(study.key)["key"]
    of_label = {s.blind_label: ids[name_key(key[s.id]["name"])] for s in samples_of(session, study.id)}
    left_out = exclusions_of(session, study.id)
    scores = [
        score
        for score in scores_of(session, study)
        if score.question == plan.primary and not score.late and score.attempt_id not in left_out
    ]
    found = {}
    for condition in dict.fromkeys(score.condition for score in scores):
        rows = [(s.taster, of_label[s.sample], s.value) for s in scores if s.condition == condition]
        frame = pd.DataFrame(rows, columns=["taster", "sample", "score"])
        frame["score"] = pd.to_numeric(frame["score"], errors="coerce")
        question = plan.question_called(plan.primary)
        found[name_key(condition)] = TastedRound(study.title, question, condition, tie.id, names, frame)
    return found
