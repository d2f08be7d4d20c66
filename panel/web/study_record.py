"""What a study's log and tables say beside its answers, put together for the report."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

from panel.analysis.study_parts import Comments, StudyRecord, Took
from panel.store.batches import batches_of
from panel.store.ledger import events_of
from panel.store.revisions import corrections_in
from panel.study.happenings import looks_at_names, terms_of, what_happened
from panel.study.questions import points_of, wording_of
from panel.study.scales import scale_of
from panel.study.statements import stated_in
from panel.web.study import revealed_key
from panel.web.words import words_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlmodel import Session

    from panel.store.tables import Study
    from panel.study.answer_rows import Score
    from panel.study.plan import Plan
    from panel.study.seal import Event
    from panel.web.house import House


def record_of(
    house: House,
    study: Study,
    plan: Plan,
    *,
    tasters: tuple[Took, ...],
    comments: tuple[Comments, ...],
    late: int,
    all_counted: str,
) -> StudyRecord:
    """The record of a closed study; what is passed comes from its answers."""
    with house.database.read() as session:
        events = events_of(session, study.id)
        corrections = corrections_in(session, study.id)
        batches = _batches(session, study.id)
    signed = json.loads(study.report) if study.report else {}
    fixed = (
        ("Commitment: everything sealed", study.commitment),
        ("Signed results", signed.get("results", "")),
        ("Signed data", signed.get("data", "")),
        ("Last entry of the log", events[-1].hash if events else ""),
    )
    return StudyRecord(
        plan=plan,
        tasters=tasters,
        comments=comments,
        late=late,
        corrections=corrections,
        batches=batches,
        happened=what_happened(events, house.local.moment),
        looks=looks_at_names(events),
        terms=terms_of(events),
        all_counted=all_counted,
        fingerprints=tuple(row for row in fixed if row[1]),
        days=_days(events, house),
        products=revealed_key(house, study),
        revealed=house.local.moment(study.revealed_at) if study.revealed_at else "",
        stated=stated_in(events),
    )


def _batches(session: Session, study_id: str) -> tuple[int, int]:
    """Fewest and most preparations of one sample; which sample had how many is not told."""
    counted = Counter(batch.letter for batch in batches_of(session, study_id))
    return min(counted.values(), default=1), max(counted.values(), default=1)


def _days(events: Sequence[Event], house: House) -> str:
    """The days on which answers came in, first and last."""
    came = [house.local.day(event.at) for event in events if event.kind == "answers received"]
    if not came:
        return ""
    return came[0] if came[0] == came[-1] else f"{came[0]} to {came[-1]}"


def comments_of(plan: Plan, scores: Sequence[Score], names: Mapping[str, str] | None) -> tuple[Comments, ...]:
    """What was written about each sample; then what was answered once at the end, question by question."""
    written = {question.key for question in plan.questions if not scale_of(question.scale).numeric}
    texts: dict[str, list[str]] = {}
    for score in scores:
        if score.sample and score.question in written and isinstance(score.value, str) and score.value:
            called = score.sample if names is None else f"{names[score.sample]} ({score.sample})"
            texts.setdefault(called, []).append(score.value)
    about = tuple(Comments(sample, tuple(found)) for sample, found in sorted(texts.items()))
    return (*about, *_at_the_end(plan, [score for score in scores if not score.sample]))


def _at_the_end(plan: Plan, answers: Sequence[Score]) -> tuple[Comments, ...]:
    """Words as written; answers in points counted, the most frequent first."""
    say = words_for(plan)
    labels = {q.key: {float(p.value): say(p.label) for p in points_of(q)} for q in plan.questions}
    found: list[Comments] = []
    for name, wording in wording_of(plan).items():
        values = [a.value for a in answers if a.question == name and a.value not in (None, "")]
        known = labels.get(name.partition(".")[0], {})
        said = [v if isinstance(v, str) else known.get(v, f"{v:g}") for v in values if v is not None]
        if said and all(isinstance(value, str) for value in values):
            found.append(Comments(wording, tuple(said)))
        elif said:
            counted = Counter(said).most_common()
            found.append(Comments(wording, tuple(f"{words}: {number}" for words, number in counted)))
    return tuple(found)
