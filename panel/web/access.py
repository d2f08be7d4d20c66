"""Who is asking, and whether they may. Fetching a study is the permission check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import Depends, HTTPException, Request, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer

from panel.store.sign_ins import SIGN_IN_DAYS, begin_sign_in, end_sign_in, holder_of
from panel.store.studies import study_called
from panel.store.tables import Organiser, SignInLink, Study
from panel.web.house import House
from panel.web.pages import InHouse

Role = Literal["organiser", "kitchen", "analyst", "bench"]
ROLES: tuple[Role, ...] = ("organiser", "kitchen", "analyst", "bench")


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


def remember(response: Response, house: House, holder: Organiser | SignInLink) -> None:
    """Begin a sign-in, and put it into a cookie that scripts cannot read and other sites cannot send."""
    role = "organiser" if isinstance(holder, Organiser) else holder.role
    with house.database.write() as session:
        held = {"role": role, "id": begin_sign_in(session, holder)}
    response.set_cookie(
        f"panel-{role}",
        _signer(house).dumps(held),
        max_age=SIGN_IN_DAYS * 86400,
        httponly=True,
        samesite="lax",
        path="/",
    )


def forget(request: Request, response: Response, house: House) -> None:
    """Sign out of every role: here, and wherever else a copy of these cookies may lie."""
    with house.database.write() as session:
        for role in ROLES:
            end_sign_in(session, _held(request, house, role))
            response.delete_cookie(f"panel-{role}", path="/", httponly=True, samesite="lax")


def visitor(request: Request, house: House, role: Role) -> Visitor | None:
    """Who is signed in with that role, looked up anew: signing out, a new link or password ends it at once."""
    sign_in_id = _held(request, house, role)
    if not sign_in_id:
        return None
    with house.database.read() as session:
        holder = holder_of(session, sign_in_id)
    if isinstance(holder, Organiser):
        return Visitor(role, holder.name) if role == "organiser" else None
    return Visitor(role, role, holder.study_id) if holder and holder.role == role else None


def _held(request: Request, house: House, role: Role) -> str:
    """The id of the sign-in in that role's cookie; "" where there is none of ours."""
    try:
        held = _signer(house).loads(request.cookies.get(f"panel-{role}", ""), max_age=SIGN_IN_DAYS * 86400)
    except BadSignature:
        return ""
    return str(held["id"]) if held["role"] == role else ""


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


def benchs_visit(study_id: str, request: Request, house: InHouse) -> Visitor:
    """Whoever measures for this study, or an organiser."""
    return _visitor_of("bench", request, house, study_id)


AsAnalyst = Annotated[Visitor, Depends(analysts_visit)]
AsKitchen = Annotated[Visitor, Depends(kitchens_visit)]
AsBench = Annotated[Visitor, Depends(benchs_visit)]


def analysts_study(study_id: str, house: InHouse, _who: AsAnalyst) -> Study:
    """The study of the address, for its analyst."""
    return _study_or_404(house, study_id)


def kitchens_study(study_id: str, house: InHouse, _who: AsKitchen) -> Study:
    """The study of the address, for its kitchen."""
    return _study_or_404(house, study_id)


def benchs_study(study_id: str, house: InHouse, _who: AsBench) -> Study:
    """The study of the address, for whoever measures."""
    return _study_or_404(house, study_id)


OrganisersStudy = Annotated[Study, Depends(organisers_study)]
StudyOnTheShelf = Annotated[Study, Depends(organisers_study_on_the_shelf)]
AnalystsStudy = Annotated[Study, Depends(analysts_study)]
KitchensStudy = Annotated[Study, Depends(kitchens_study)]
BenchsStudy = Annotated[Study, Depends(benchs_study)]


def _study_or_404(house: House, study_id: str, *, deleted: bool = False) -> Study:
    with house.database.read() as session:
        study = study_called(session, study_id)
    if study is None or (study.deleted_at is not None and not deleted):
        raise HTTPException(404)
    return study


def _signer(house: House) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(house.tokens.cookie_key(), salt="sign-in")
