"""Who is asking, and whether they may. Fetching a study is the permission check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import Depends, HTTPException, Request, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer

from panel.store.access import live_link, password_mark
from panel.store.studies import study_called
from panel.store.tables import Organiser, Study
from panel.web.house import House
from panel.web.pages import InHouse

Role = Literal["organiser", "kitchen", "analyst"]
ROLES: tuple[Role, ...] = ("organiser", "kitchen", "analyst")
COOKIE_DAYS = 30


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody signed in. study_id: the one study a link opens; "" for an organiser, who may see all."""

    role: Role
    name: str
    study_id: str = ""

    @property
    def actor(self) -> str:
        """How the log names them."""
        return f"organiser {self.name}" if self.role == "organiser" else self.role


class SignInNeededError(Exception):
    """Nobody is signed in who may see this."""


def remember(response: Response, house: House, role: Role, row_id: str) -> None:
    """Put the sign-in into a cookie that scripts cannot read and other sites cannot send."""
    with house.database.read() as session:
        mark = password_mark(session.get_one(Organiser, row_id)) if role == "organiser" else ""
    value = _signer(house).dumps({"role": role, "id": row_id, "mark": mark})
    response.set_cookie(
        _cookie(role), value, max_age=COOKIE_DAYS * 86400, httponly=True, samesite="lax", path="/"
    )


def forget(response: Response) -> None:
    """Sign out of every role."""
    for role in ROLES:
        response.delete_cookie(_cookie(role), path="/", httponly=True, samesite="lax")


def visitor(request: Request, house: House, role: Role) -> Visitor | None:
    """Who is signed in with that role, looked up anew: a revoked link or a new password ends it at once."""
    try:
        held = _signer(house).loads(request.cookies.get(_cookie(role), ""), max_age=COOKIE_DAYS * 86400)
    except BadSignature:
        return None
    if held["role"] != role:
        return None
    with house.database.read() as session:
        if role == "organiser":
            organiser = session.get(Organiser, held["id"])
            if organiser is None or held.get("mark") != password_mark(organiser):
                return None
            return Visitor(role, organiser.name)
        link = live_link(session, held["id"])
        return Visitor(role, role, link.study_id) if link and link.role == role else None


def require_organiser(request: Request, house: InHouse) -> Visitor:
    """The organiser; SignInNeededError when nobody is signed in."""
    found = visitor(request, house, "organiser")
    if found is None:
        raise SignInNeededError
    request.scope["signed_in"] = found
    return found


AsOrganiser = Annotated[Visitor, Depends(require_organiser)]


def organisers_study(study_id: str, house: InHouse, _who: AsOrganiser) -> Study:
    """The study of the address, for an organiser."""
    return _study_or_404(house, study_id)


def organisers_study_on_the_shelf(study_id: str, house: InHouse, _who: AsOrganiser) -> Study:
    """The study of the address even where it is deleted, for an organiser who may bring it back."""
    return _study_or_404(house, study_id, deleted=True)


def _visitor_of(role: Role, request: Request, house: House, study_id: str) -> Visitor:
    for candidate in (visitor(request, house, role), visitor(request, house, "organiser")):
        if candidate is not None and candidate.study_id in ("", study_id):
            request.scope["signed_in"] = candidate
            return candidate
    raise SignInNeededError


def analysts_visit(study_id: str, request: Request, house: InHouse) -> Visitor:
    """The analyst of this study, or an organiser."""
    return _visitor_of("analyst", request, house, study_id)


def kitchens_visit(study_id: str, request: Request, house: InHouse) -> Visitor:
    """The kitchen of this study, or an organiser."""
    return _visitor_of("kitchen", request, house, study_id)


AsAnalyst = Annotated[Visitor, Depends(analysts_visit)]
AsKitchen = Annotated[Visitor, Depends(kitchens_visit)]


def analysts_study(study_id: str, house: InHouse, _who: AsAnalyst) -> Study:
    """The study of the address, for its analyst."""
    return _study_or_404(house, study_id)


def kitchens_study(study_id: str, house: InHouse, _who: AsKitchen) -> Study:
    """The study of the address, for its kitchen."""
    return _study_or_404(house, study_id)


OrganisersStudy = Annotated[Study, Depends(organisers_study)]
StudyOnTheShelf = Annotated[Study, Depends(organisers_study_on_the_shelf)]
AnalystsStudy = Annotated[Study, Depends(analysts_study)]
KitchensStudy = Annotated[Study, Depends(kitchens_study)]


def _study_or_404(house: House, study_id: str, *, deleted: bool = False) -> Study:
    with house.database.read() as session:
        study = study_called(session, study_id)
    if study is None or (study.deleted_at is not None and not deleted):
        raise HTTPException(404)
    return study


def _signer(house: House) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(house.tokens.cookie_key(), salt="sign-in")


def _cookie(role: Role) -> str:
    return f"panel-{role}"
