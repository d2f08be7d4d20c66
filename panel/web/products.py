"""The register of products: search, filters, what was tested before, and one product over all its rounds."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, HTTPException, Request, Response

from panel.store import studies
from panel.store.bench import measurands_of, measurements_of
from panel.store.instruments import instrument_names
from panel.store.register import (
    Found,
    Wanted,
    add_product,
    describe_product,
    kinds_of,
    makers_of,
    product_called,
    search,
    set_kind,
    studies_with,
)
from panel.store.sealing import samples_of
from panel.study.draft_reader import LONGEST_NAME, LONGEST_TEXT, name_key, tidy
from panel.study.life import State
from panel.study.problems import Problem
from panel.web.access import AsOrganiser
from panel.web.across_rounds import Compared, across_rounds
from panel.web.bench_rows import run_of, units_chosen
from panel.web.bench_shown import FigureLine, figure_lines
from panel.web.pages import InHouse, Sent, SentForm, page, see_other
from stats.phrasing import listing

if TYPE_CHECKING:
    from datetime import datetime

    from sqlmodel import Session

    from panel.store.bench_tables import Product
    from panel.store.tables import Study
    from panel.web.bench_rows import ShownIn
    from panel.web.house import House

router = APIRouter()

TESTED = (("", "Tested or not"), ("yes", "Tested before"), ("no", "Not tested yet"))


@dataclass(frozen=True, slots=True)
class ProductsPage:
    """One page of the register, and how it was asked for. before, after: the addresses of the pages beside it."""

    found: Found
    wanted: Wanted
    kinds: tuple[tuple[str, str], ...]
    makers: tuple[tuple[str, str], ...]
    before: str
    after: str
    query: str
    typed: dict[str, str]
    problems: tuple[Problem, ...]
    said: str
    tested: tuple[tuple[str, str], ...] = TESTED


@dataclass(frozen=True, slots=True)
class Round:
    """One study that a product is in. label: once revealed; measured: what is measured -> its figures in words."""

    id: str
    title: str
    state: str
    begun: datetime
    label: str
    measured: tuple[tuple[str, tuple[FigureLine, ...]], ...]


@dataclass(frozen=True, slots=True)
class ProductPage:
    """One product with its rounds, newest first."""

    product: Product
    rounds: tuple[Round, ...]
    across: tuple[Compared, ...]
    typed: dict[str, str]
    kinds: tuple[str, ...]
    problems: tuple[Problem, ...]
    saved: bool


@router.get("/products")
def show_products(
    request: Request,
    house: InHouse,
    _who: AsOrganiser,
    words: str = "",
    kind: str = "",
    maker: str = "",
    tested: str = "",
    number: str = "1",
    said: str = "",
) -> Response:
    wanted = Wanted(
        words[:200], kind, maker, tested, int(number) if number.isdecimal() and len(number) < 7 else 1
    )
    return _products_page(request, house, wanted, said=said)


@router.post("/products")
def add(request: Request, house: InHouse, _who: AsOrganiser, sent: Sent) -> Response:
    """A product that no study has had yet."""
    problems = _too_long(sent, ("maker", "kind"), ("note",))
    if not problems:
        try:
            with house.database.write() as session:
                parts = (sent.get(name, "") for name in ("name", "maker", "kind", "note"))
                return see_other(f"/products/{add_product(session, *parts).id}")
        except ValueError as error:
            problems = (Problem("name", "will_not_do", str(error)),)
    return _products_page(request, house, Wanted(), typed=sent, problems=problems)


@router.post("/products/kind")
def give_kind(house: InHouse, _who: AsOrganiser, form: SentForm) -> Response:
    """Give the ticked products one kind."""
    chosen = [value for name, value in form.multi_items() if name == "product" and isinstance(value, str)]
    kind = tidy(str(form.get("new_kind", "")))[:LONGEST_NAME]
    with house.database.write() as session:
        count = set_kind(session, chosen, kind)
    asked = dict(parse_qsl(str(form.get("query", ""))[:1000]))
    kept = urlencode({name: value for name, value in asked.items() if name in ("words", "maker", "tested")})
    return see_other(f"/products?{kept}&said={count}")


@router.get("/products/{product_id}")
def show_product(
    request: Request, house: InHouse, _who: AsOrganiser, product_id: str, saved: bool = False
) -> Response:
    return _product_page(request, house, product_id, saved=saved)


@router.post("/products/{product_id}")
def describe(request: Request, house: InHouse, _who: AsOrganiser, product_id: str, sent: Sent) -> Response:
    """Change what is said of a product; never its name, which ties it to sealed keys."""
    problems = _too_long(sent, ("maker", "kind"), ("note",))
    if problems:
        return _product_page(request, house, product_id, typed=sent, problems=problems)
    with house.database.write() as session:
        if product_called(session, product_id) is None:
            raise HTTPException(404)
        parts = (sent.get(name, "") for name in ("maker", "kind", "note"))
        describe_product(session, product_id, *parts, reference=bool(sent.get("reference")))
    return see_other(f"/products/{product_id}?saved=true")


def _too_long(sent: dict[str, str], names: tuple[str, ...], texts: tuple[str, ...]) -> tuple[Problem, ...]:
    limits = dict.fromkeys(names, LONGEST_NAME) | dict.fromkeys(texts, LONGEST_TEXT)
    return tuple(
        Problem(
            name, "too_long", f"Shorten the {name} to {limit} characters; it has {len(tidy(sent[name]))}."
        )
        for name, limit in limits.items()
        if len(tidy(sent.get(name, ""))) > limit
    )


def _products_page(
    request: Request,
    house: House,
    wanted: Wanted,
    *,
    typed: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    said: str = "",
) -> Response:
    with house.database.read() as session:
        found = search(session, wanted)
        kinds, makers = kinds_of(session), makers_of(session)
    context = ProductsPage(
        found=found,
        wanted=replace(wanted, page=found.page),
        kinds=(("", "All kinds"), *((kind, kind) for kind in kinds)),
        makers=(("", "All makers"), *((maker, maker) for maker in makers)),
        before=_address(wanted, found.page - 1) if found.page > 1 else "",
        after=_address(wanted, found.page + 1) if found.page < found.pages else "",
        query=_address(wanted, 1).partition("?")[2],
        typed=typed or {},
        problems=problems,
        said=_kind_given(said),
    )
    return page(request, "products/products.html", context, status=422 if problems else 200)


def _kind_given(said: str) -> str:
    """What became of the ticked products; "" where nothing was asked."""
    if not said.isdecimal():
        return ""
    if not said.strip("0"):
        return "Nothing was changed: tick the products first."
    return f"The kind of {said[:6]} {'product' if said == '1' else 'products'} was changed."


def _address(wanted: Wanted, number: int) -> str:
    asked = {"words": wanted.words, "kind": wanted.kind, "maker": wanted.maker, "tested": wanted.tested}
    return "/products?" + urlencode(
        {name: value for name, value in asked.items() if value} | {"number": number}
    )


def _product_page(
    request: Request,
    house: House,
    product_id: str,
    *,
    typed: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    saved: bool = False,
) -> Response:
    with house.database.read() as session:
        product = product_called(session, product_id)
        if product is None:
            raise HTTPException(404)
        shown_in, instruments = units_chosen(request), instrument_names(session)
        found = studies_with(session, [product.id]).get(product.id, [])
        rounds = tuple(_round(session, study, product, shown_in, instruments) for study in found)
        across = across_rounds(session, product, found)
        kinds = tuple(kinds_of(session))
    said = {"maker": product.maker, "kind": product.kind, "note": product.note}
    said["reference"] = "yes" if product.reference else ""
    context = ProductPage(
        product, rounds, across, typed if typed is not None else said, kinds, problems, saved
    )
    return page(request, "products/product.html", context, status=422 if problems else 200)


def _round(
    session: Session, study: Study, product: Product, shown_in: ShownIn, instruments: dict[str, str]
) -> Round:
    bench = studies.plan_of(study).bench
    rows = [row for row in measurements_of(session, study.id) if row.product_id == product.id]
    measured = []
    for one in measurands_of(session, study):
        runs = [run_of(row, instruments) for row in rows if row.measurand == one.key]
        if runs:
            lines = figure_lines(shown_in.measurand(one, bench.cup_ml), runs, bench)
            measured.append((one.name, tuple(line for line in lines if line.known)))
    return Round(
        study.id, study.title, study.state, study.created_at, _label(session, study, product), tuple(measured)
    )


def _label(session: Session, study: Study, product: Product) -> str:
    """The blind letters that the product had, once they are revealed; never before."""
    if study.state != State.REVEALED:
        return ""
    key = json.loads(study.key)["key"]
    letters = [
        s.blind_label
        for s in samples_of(session, study.id)
        if name_key(key[s.id]["name"]) == product.name_key
    ]
    return listing(letters)
