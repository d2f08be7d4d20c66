"""A revealed study's verdict put together: weighed, said in sentences, with cards, methods and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.analysis.provenance import versions
from panel.analysis.study_parts import PLANNED
from panel.analysis.view_parts import Section
from panel.bench.agreement import Compared, agreements
from panel.bench.findings import product_cards
from panel.bench.methods_text import Conduct, methods_section
from panel.bench.verdict_words import headline
from panel.store.ledger import events_of
from panel.store.rows import attempts_of, exclusions_of
from panel.study.cautions import ALWAYS, BENCH_CAUTIONS, CAUTIONS, notice
from panel.study.happenings import terms_of, what_happened
from panel.study.pseudonyms import taster_name
from panel.study.quantities import QUANTITIES
from panel.study.questions import scored_names
from panel.web.verdict_inputs import inputs_of
from panel.web.verdict_view import totals_figure, verdict_sections
from stats.phrasing import count, listing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.analysis.figures import Figure
    from panel.bench.agreement import Agreement
    from panel.bench.findings import ProductCard
    from panel.bench.methods_text import Paragraph
    from panel.bench.verdict import Verdict
    from panel.store.tables import Study
    from panel.study.plan import Plan
    from panel.study.seal import Event
    from panel.web.house import House
    from panel.web.verdict_inputs import VerdictInputs

RESTS = (
    "A panel of this kind, on these lots and preparations, supports an editorial verdict, not an advertising claim. "
    "Nobody had these products in their own kitchen for long."
)


@dataclass(frozen=True, slots=True)
class Settled:
    """Everything about the verdict, in words and numbers.

    said : the verdict in sentences; remarks : what to mind about the entries; cautions : for whoever cooks or eats
    """

    inputs: VerdictInputs
    verdict: Verdict
    said: tuple[str, ...]
    figure: Figure | None
    sections: tuple[Section, ...]
    cards: tuple[ProductCard, ...]
    methods: tuple[Paragraph, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]


def settled(
    house: House,
    study: Study,
    *,
    groups: Mapping[str, float] | None = None,
    criteria: Mapping[str, float] | None = None,
    compare: tuple[str, str] | None = None,
) -> Settled:
    """The verdict of a revealed study with criteria. ValueError, in words, where the weights make no total.

    groups, criteria : weights by name and by key, the sealed ones where not named
    compare : (measurand and figure, as `m1/mean`, question) to hold against each other; the plan's where None
    """
    inputs = inputs_of(house, study)
    verdict = inputs.verdict(groups, criteria)
    conduct = conduct_of(house, study)
    return Settled(
        inputs=inputs,
        verdict=verdict,
        said=tuple(statement.text for statement in headline(verdict)),
        figure=totals_figure(verdict),
        sections=verdict_sections(verdict, _agreements(inputs, compare)),
        cards=product_cards(verdict),
        methods=methods_section(inputs.plan, conduct, runs=inputs.runs, verdict=verdict),
        remarks=_remarks(inputs),
        cautions=cautions_of(inputs.plan),
    )


def leading_sections(found: Settled) -> tuple[Section, ...]:
    """What the study's report begins with: the verdict, a card for each product, and what they rest on."""
    verdict = Section(
        id="verdict",
        title="Verdict: taste and bench together",
        paragraphs=(*found.said, *found.remarks, RESTS),
        figures=(found.figure,) if found.figure else (),
        opened=True,
    )
    cards = Section(
        id="cards",
        title="Product by product",
        paragraphs=tuple(
            f"{card.name}. {' '.join(statement.text for statement in card.statements)}"
            for card in found.cards
        ),
        notes=("Each sentence rests on a finding of the parts that follow; there is no other source.",),
        gist=count(len(found.cards), "product"),
    )
    return (verdict, cards, *found.sections)


def closing_sections(found: Settled) -> tuple[Section, ...]:
    """What the study's report ends with: the methods as they were, in words, and cautions."""
    methods = Section(
        id="methods-in-words",
        title="Methods in words",
        paragraphs=tuple(f"{one.title}. {one.text}" for one in found.methods),
    )
    return (methods, Section(id="cautions", title="Cautions", paragraphs=found.cautions))


def cautions_of(plan: Plan) -> tuple[str, ...]:
    """Scalds, hot holding, allergens: what a reader who does the same should mind."""
    listed = notice(plan.allergens, plan.other_allergens)
    said = [CAUTIONS[key] for key in plan.cautions if key in CAUTIONS]
    if listed:
        said.append(f"The tasting held: {listing(listed).lower()}.")
    measured = BENCH_CAUTIONS if plan.bench.measurands else ()
    return (*said, *measured, ALWAYS)


def comparable(inputs: VerdictInputs) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]:
    """What can be held against each other: measured figures with their words, and questions with theirs."""
    have = {(figure.measurand, figure.figure) for figure in inputs.figures if figure.value is not None}
    measured = tuple(
        (f"{one.key}/{figure}", f"{one.name}: {words}")
        for one in inputs.plan.bench.measurands
        for figure, words in QUANTITIES[one.quantity].figures.items()
        if (one.key, figure) in have
    )
    return measured, tuple(scored_names(inputs.plan).items())


def _agreements(inputs: VerdictInputs, compare: tuple[str, str] | None) -> tuple[Agreement, ...]:
    """The comparison asked for, or each measured criterion against the primary question."""
    taste = inputs.taste()
    measured, perceived = (dict(part) for part in comparable(inputs))
    if taste is None or not measured:
        return ()
    if compare is not None:
        wanted = [compare] if compare[0] in measured and compare[1] in perceived else []
    else:
        keys = dict.fromkeys(f"{one.source}/{one.figure}" for one in inputs.plan.bench.criteria if one.figure)
        wanted = [(key, inputs.plan.primary) for key in keys if key in measured and inputs.plan.primary]
    pairs = [
        Compared(key.partition("/")[0], key.partition("/")[2], question, measured[key], perceived[question])
        for key, question in wanted
    ]
    try:
        return agreements(pairs, inputs.figures, taste, names=dict(inputs.names), alpha=inputs.plan.alpha)
    except ValueError:  # tasters do not connect the products: then there is no common mean to compare
        return ()


def _remarks(inputs: VerdictInputs) -> tuple[str, ...]:
    said = []
    if inputs.later:
        words = count(inputs.later, "measurement or change was", "measurements or changes were")
        said.append(
            f"{words} entered after the names were revealed; all is kept, and nothing of it counts here."
        )
    if inputs.strangers:
        said.append(
            f"The register does not know {listing(inputs.strangers)}: what was tasted of it is not in the verdict."
        )
    return tuple(said)


def conduct_of(house: House, study: Study) -> Conduct:
    """What really happened, from the log and the rows."""
    with house.database.read() as session:
        events = events_of(session, study.id)
        seats, excluded = attempts_of(session, study.id), exclusions_of(session, study.id)
    terms, local = terms_of(events), house.local
    came = [event.at for event in events if event.kind == "answers received"]
    happened = what_happened(events, local.moment)
    answered = [seat for seat in seats if seat.answered]
    return Conduct(
        took_part=len(answered),
        analysed=sum(seat.attempt_id not in excluded for seat in answered),
        sealed=local.moment(terms.at) if terms else "",
        first_answer=local.moment(came[0]) if came else "",
        last_answer=local.moment(came[-1]) if came else "",
        signed=local.moment(study.signed_at) if study.signed_at else "",
        revealed=local.moment(study.revealed_at) if study.revealed_at else "",
        holder=terms.holder if terms else "",
        excluded=tuple(
            f"{taster_name(seat.place, seat.attempt_number)} ({excluded[seat.attempt_id]})"
            for seat in seats
            if seat.attempt_id in excluded
        ),
        late=_late(events),
        deviations=tuple(
            f"{kind.title}: {'; '.join(kind.lines)}" for kind in happened if kind.title not in PLANNED
        ),
        versions=versions(),
    )


def _late(events: Sequence[Event]) -> int:
    return sum(event.kind == "answers received" and bool(event.detail["late"]) for event in events)
