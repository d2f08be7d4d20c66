"""Cup labels on any sheet or roll, for all places, one place or one cup; the ruler page; labels as a table."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response

from panel import printing
from panel.store import studies
from panel.store.ledger import append
from panel.store.rows import Cup, current_cups_of
from panel.study.draft_reader import tidy
from panel.study.life import Move
from panel.study.problems import Problem
from panel.web.access import AsOrganiser, OrganisersStudy
from panel.web.pages import InHouse
from panel.web.study import study_page

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.store.tables import Study
    from panel.web.house import House

router = APIRouter()
CUSTOM, ROLL = "custom", "roll"
LARGEST_SHIFT = 10.0  # mm
LARGEST_LENGTH = 2000.0  # mm


class TypedSheet(printing.Sheet):
    """A sheet as somebody typed it, whose numbers need not fit together yet."""

    __slots__ = ()

    def __post_init__(self) -> None:
        """Nothing is checked here: `sheet_problems` says each problem beside its field."""


@dataclass(frozen=True, slots=True)
class LabelWish:
    """Which sheet, from which label on, and how far shifted, in mm to the right and down."""

    sheet: printing.Sheet
    start: int
    shift: tuple[float, float]


@router.get("/studies/{study_id}/print/labels.pdf")
def print_labels(request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    """`place` prints the labels of one place, `label_code` that of one cup, else those of the whole sitting."""
    studies.require(study, Move.PRINT)
    typed = dict(request.query_params)
    wish = wish_of(typed)
    if isinstance(wish, tuple):
        return study_page(request, house, study, wish, 422, typed)
    cups = _chosen(house, study, typed)
    if not cups:
        text = "No cup of this study stands at that place under that code. Open the place’s page and print from there."
        return study_page(request, house, study, (Problem("", "no_cup", text),), 422, typed)
    address = frozen_address(house, study, who.actor, "cup labels", typed)
    try:
        printed = printing.cup_labels(
            labels_of(cups, address),
            wish.sheet,
            start_at=wish.start,
            shift=wish.shift,
            footer_commitment=study.commitment,
            cup_diameter_mm=studies.plan_of(study).kitchen.cup_diameter,
        )
    except ValueError as error:
        return study_page(request, house, study, (Problem("sheet", "too_small", str(error)),), 422, typed)
    return Response(printed.pdf, media_type="application/pdf", headers=_named("cup-labels.pdf"))


@router.get("/studies/{study_id}/print/ruler.pdf")
def print_ruler(request: Request, house: InHouse, study: OrganisersStudy) -> Response:
    typed = dict(request.query_params)
    wish = wish_of(typed)
    if isinstance(wish, tuple):
        return study_page(request, house, study, wish, 422, typed)
    printed = printing.ruler_page(wish.sheet, shift=wish.shift)
    return Response(printed.pdf, media_type="application/pdf", headers=_named("ruler.pdf"))


@router.get("/studies/{study_id}/print/labels.csv")
def print_label_rows(request: Request, house: InHouse, who: AsOrganiser, study: OrganisersStudy) -> Response:
    """The labels for another printer, in tray order."""
    studies.require(study, Move.PRINT)
    typed = dict(request.query_params)
    address = frozen_address(house, study, who.actor, "cup labels as CSV", typed)
    text = printing.label_table(labels_of(_chosen(house, study, typed), address))
    return Response(text, media_type="text/csv", headers=_named("cup-labels.csv", how="attachment"))


def wish_of(typed: Mapping[str, str]) -> LabelWish | tuple[Problem, ...]:
    """The sheet as chosen or typed, or what is wrong with the numbers, each beside its field."""
    found = _sheet(typed)
    if isinstance(found, tuple):
        return found
    problems = []
    start = _number(typed.get("start", ""), 1)
    if start is None or start != int(start) or not 1 <= start <= found.per_page:
        text = f"Begin at a whole number from 1 to {found.per_page}: that many labels are on this sheet."
        problems.append(Problem("start", "not_in_range", text))
    shift = [_number(typed.get(name, ""), 0) for name in ("right", "down")]
    for name, value in zip(("right", "down"), shift, strict=True):
        if value is None or abs(value) > LARGEST_SHIFT:
            text = (
                f"Shift by a number from -{LARGEST_SHIFT:g} to {LARGEST_SHIFT:g} mm; for more, check the ruler page "
                "and the printer’s settings."
            )
            problems.append(Problem(name, "not_in_range", text))
    if problems:
        return tuple(problems)
    return LabelWish(found, int(start or 1), (shift[0] or 0.0, shift[1] or 0.0))


def labels_of(cups: list[Cup], address: str) -> list[printing.CupLabel]:
    """A label for each cup, in the order given."""
    return [
        printing.CupLabel(cup.code, f"{address}/C/{cup.token}".upper(), cup.place, cup.position)
        for cup in cups
    ]


def frozen_address(house: House, study: Study, actor: str, what: str, typed: Mapping[str, str]) -> str:
    """The address that the study's codes carry: the one in force at its first print, from then on the same.

    The print is recorded, with the place and the cup where it is for one only.
    """
    only = {name: typed[key] for key, name in (("place", "place"), ("label_code", "cup")) if typed.get(key)}
    with house.database.write() as session:
        append(session, study.id, actor, "printed", {"what": what, **only})
        return studies.freeze_address(session, study.id, house.base_url)


def _chosen(house: House, study: Study, typed: Mapping[str, str]) -> list[Cup]:
    """The cups to label: each once, also where it is served twice. A cup poured again between two screens, too."""
    place, code = typed.get("place", ""), typed.get("label_code", "")
    with house.database.read() as session:
        cups = current_cups_of(session, study.id)
    once: dict[tuple[int, str], Cup] = {}
    for cup in cups:
        once.setdefault((cup.place, cup.code), cup)
    return [cup for cup in once.values() if place in ("", str(cup.place)) and code in ("", cup.code)]


def _sheet(typed: Mapping[str, str]) -> printing.Sheet | tuple[Problem, ...]:
    chosen = typed.get("sheet", "a4-3x7")
    if chosen == CUSTOM:
        return _typed_sheet(typed, CUSTOM)
    if chosen == ROLL:
        width, height = typed.get("width", ""), typed.get("height", "")
        single = {"page_width": width, "page_height": height, "pitch_across": width, "pitch_down": height}
        return _typed_sheet(
            {**typed, **single, "top": "0", "left": "0", "across": "1", "down_count": "1"}, ROLL
        )
    if chosen in printing.SHEETS:
        return printing.SHEETS[chosen]
    return (Problem("sheet", "unknown", "Choose a sheet from the list."),)


def _typed_sheet(typed: Mapping[str, str], name: str) -> printing.Sheet | tuple[Problem, ...]:
    lengths = [field.name for field in fields(printing.Sheet) if field.name not in ("name", "round")]
    values = {length: _number(typed.get(field_of(length), ""), None) for length in lengths}
    wrong = tuple(
        Problem(field_of(length), "no_number", f"Write a number from 0 to {LARGEST_LENGTH:g} here.")
        for length, value in values.items()
        if value is None or not 0 <= value <= LARGEST_LENGTH
    )
    whole = tuple(
        Problem(field_of(length), "not_whole", "Write how many labels there are as a whole number.")
        for length in ("across", "down")
        if not wrong and values[length] != int(values[length] or 0)
    )
    if wrong or whole:
        return wrong or whole
    known: dict[str, Any] = {length: value for length, value in values.items() if value is not None}
    counts = {length: int(known.pop(length)) for length in ("across", "down")}
    sheet = TypedSheet(name, **known, **counts, round=bool(typed.get("round")))
    problems = printing.sheet_problems(sheet)
    return (
        tuple(Problem(field_of(p.field), p.code, p.text[:1].upper() + p.text[1:]) for p in problems) or sheet
    )


def field_of(length: str) -> str:
    """The form field of a sheet's number; "down" already says how far the print is shifted."""
    return "down_count" if length == "down" else length


def _number(text: str, default: float | None) -> float | None:
    """The number typed; the default where nothing was; None where it is no number."""
    raw = tidy(text).replace(",", ".")
    if not raw:
        return default
    try:
        value = float(raw)
    except ValueError:
        return None
    return value if value == value and abs(value) != float("inf") else None


def _named(name: str, *, how: str = "inline") -> dict[str, str]:
    """Headers for a file whose name says what kind of thing it is and nothing else."""
    return {"Content-Disposition": f'{how}; filename="{name}"', "Cache-Control": "no-store"}
