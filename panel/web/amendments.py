"""After the seal: amendments with their reasons, and one cup opened for a safety reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from panel.store import studies
from panel.store.amendments import SeenCup, amend, see_one_cup
from panel.store.ledger import events_of
from panel.study.cautions import ALLERGENS
from panel.study.draft_reader import tidy
from panel.study.happenings import Happening, looks_at_names, what_happened
from panel.study.life import Move
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse, Sent, page, see_other
from panel.web.passphrases import WAIT, phrase_in, too_many_phrases
from panel.web.study_page import StudyHead, head_of_page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
LONGEST = 1000


@dataclass(frozen=True, slots=True)
class AmendmentsPage:
    """What was amended and seen so far, and the forms for more. seen: the cup just opened, shown this once."""

    head: StudyHead
    typed: Mapping[str, str]
    problems: tuple[Problem, ...]
    may_unblind: bool
    happened: tuple[Happening, ...]
    looks: int
    seen: SeenCup | None
    seen_facts: tuple[tuple[str, str], ...]


@router.get("/studies/{study_id}/amendments")
def show_amendments(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    studies.require(study, Move.AMEND)
    return _page(request, house, study)


@router.post("/studies/{study_id}/amendments")
def make_amendment(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    studies.require(study, Move.AMEND)
    texts = {name: tidy(sent.get(name, "")) for name in ("what", "reason")}
    problems = tuple(
        Problem(name, "missing", f"Write {words} in 1 to {LONGEST} characters: it stands in the report.")
        for name, words in (("what", "what changes"), ("reason", "why"))
        if not 0 < len(texts[name]) <= LONGEST
    )
    if problems:
        return _page(request, house, study, sent, problems, 422)
    with house.database.write() as session:
        amend(session, study.id, who.actor, texts["what"], texts["reason"])
    return see_other(f"/studies/{study.id}/amendments")


@router.post("/studies/{study_id}/unblind")
def unblind_one_cup(
    request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy, sent: Sent
) -> Response:
    studies.require(study, Move.UNBLIND)
    place, code, why = (tidy(sent.get(name, "")) for name in ("place", "code", "why"))
    if not (place.isascii() and place.isdigit() and len(place) < 6):
        return _refused(
            request, house, study, sent, "place", "Write the number of the place as on the label."
        )
    if not 0 < len(why) <= LONGEST:
        return _refused(request, house, study, sent, "why", "Write the safety reason: the report shows it.")
    if too_many_phrases(request):
        return _page(request, house, study, sent, (WAIT,), 429)
    try:
        with house.database.write() as session:
            seen = see_one_cup(session, study.id, who.actor, phrase_in(sent), (int(place), code), why)
    except LookupError as error:
        return _refused(request, house, study, sent, "code", str(error.args[0]))
    except ValueError as error:
        return _refused(request, house, study, sent, "passphrase", str(error))
    return _page(request, house, study, seen=seen)


def _refused(
    request: Request, house: House, study: Study, sent: Mapping[str, str], field: str, text: str
) -> Response:
    return _page(request, house, study, sent, (Problem(field, "will_not_do", text),), 422)


def _page(
    request: Request,
    house: House,
    study: Study,
    typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    seen: SeenCup | None = None,
) -> Response:
    with house.database.read() as session:
        events = events_of(session, study.id)
    context = AmendmentsPage(
        head=head_of_page(study),
        typed=typed or {},
        problems=problems,
        may_unblind=studies.may(study, Move.UNBLIND),
        happened=what_happened(events, house.local.moment),
        looks=looks_at_names(events),
        seen=seen,
        seen_facts=_facts(seen) if seen else (),
    )
    return page(request, "organiser/amendments.html", context, status=status)


def _facts(seen: SeenCup) -> tuple[tuple[str, str], ...]:
    product = seen.product
    allergens = ", ".join(ALLERGENS.get(key, key) for key in product.allergens)
    facts = (
        ("Name", product.name),
        ("Maker", product.maker),
        ("Lot", product.lot),
        ("Note", product.note),
        ("Allergens", allergens or "none entered"),
    )
    return tuple((term, text) for term, text in facts if text)
