"""The register of products: over years and studies, by name. What is in it is known by name, never by blind label."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlmodel import Session, col, select

from panel.store.bench_tables import Product, StudyProduct
from panel.store.database import now
from panel.store.tables import Study
from panel.study.draft_reader import LONGEST_NAME, name_key, tidy
from panel.study.plan import product_from_dict

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlmodel.sql.expression import SelectOfScalar

    from panel.study.plan import Product as DraftedProduct

PAGE_SIZE = 50


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which products somebody looks for. tested: "yes" (in some study), "no", or "" for either."""

    words: str = ""
    kind: str = ""
    maker: str = ""
    tested: str = ""
    page: int = 1


@dataclass(frozen=True, slots=True)
class Found:
    """One page of the register. rounds: product id -> how many studies it is known to be in."""

    products: tuple[Product, ...]
    total: int
    page: int
    pages: int
    rounds: dict[str, int]


def enter_products(session: Session, study_id: str, products: Iterable[DraftedProduct]) -> None:
    """Put the products into the register, where they are not yet, and note that this study has them.

    Rows are written in alphabetical order, so that neither the order of typing nor a blind label can be read off.
    """
    for key, drafted in sorted({name_key(product.name): product for product in products}.items()):
        product = session.exec(select(Product).where(Product.name_key == key)).first()
        if product is None:
            product = Product(name=tidy(drafted.name), name_key=key, maker=drafted.maker, added_at=now())
        product.maker = product.maker or drafted.maker
        session.add(product)
        session.flush()
        known = select(StudyProduct).where(
            StudyProduct.study_id == study_id, StudyProduct.product_id == product.id
        )
        if session.exec(known).first() is None:
            session.add(StudyProduct(study_id=study_id, product_id=product.id))
            session.flush()


def enter_revealed(session: Session, study: Study) -> None:
    """Put the products of a study that is revealed now into the register."""
    key = json.loads(study.key)["key"]
    enter_products(session, study.id, (product_from_dict(stored) for stored in key.values()))


def add_product(session: Session, name: str, maker: str, kind: str, note: str) -> Product:
    """A product that no study has had yet; ValueError, in the user's words, when the name will not do."""
    name = tidy(name)
    if not name:
        raise ValueError("Write the product’s name.")
    if len(name) > LONGEST_NAME:
        raise ValueError(f"Shorten the name to {LONGEST_NAME} characters; it has {len(name)}.")
    known = session.exec(select(Product).where(Product.name_key == name_key(name))).first()
    if known is not None:
        raise ValueError(f"“{known.name}” is in the register already. Give this one its own name.")
    product = Product(
        name=name,
        name_key=name_key(name),
        maker=tidy(maker),
        kind=tidy(kind),
        note=tidy(note),
        added_at=now(),
    )
    session.add(product)
    session.flush()
    return product


def describe_product(
    session: Session, product_id: str, maker: str, kind: str, note: str, *, reference: bool
) -> Product:
    """Change what is said of a product. Never its name: that is what ties it to sealed keys."""
    product = session.get_one(Product, product_id)
    product.maker, product.kind, product.note = tidy(maker), tidy(kind), tidy(note)
    product.reference = reference
    session.add(product)
    return product


def set_kind(session: Session, product_ids: Iterable[str], kind: str) -> int:
    """Give these products one kind; how many there were."""
    chosen = list(session.exec(select(Product).where(col(Product.id).in_(list(product_ids)))))
    for product in chosen:
        product.kind = tidy(kind)
        session.add(product)
    return len(chosen)


def product_called(session: Session, product_id: str) -> Product | None:
    """The product with that id, or None."""
    return session.get(Product, product_id)


def products_of(session: Session, study_id: str) -> list[Product]:
    """The products that this study is known to have, by name."""
    query = select(Product).join(StudyProduct, col(StudyProduct.product_id) == Product.id)
    return sorted(session.exec(query.where(StudyProduct.study_id == study_id)), key=lambda p: p.name_key)


def studies_with(session: Session, product_ids: Iterable[str]) -> dict[str, list[Study]]:
    """Product id -> the studies that are known to have it, newest first; deleted ones are left out."""
    query = (
        select(StudyProduct.product_id, Study)
        .join(Study, col(Study.id) == StudyProduct.study_id)
        .where(col(StudyProduct.product_id).in_(list(product_ids)), col(Study.deleted_at).is_(None))
        .order_by(col(Study.created_at).desc(), col(Study.id))
    )
    found: dict[str, list[Study]] = {}
    for product_id, study in session.exec(query):
        found.setdefault(product_id, []).append(study)
    return found


def search(session: Session, wanted: Wanted) -> Found:
    """One page of the products that fit, by name. Words are looked for in name, maker, kind and note."""
    tested = set(session.exec(_ids_in_studies()))
    chosen = [product for product in session.exec(select(Product)) if _fits(product, wanted, tested)]
    chosen.sort(key=lambda product: (product.name_key, product.id))
    pages = max(1, -(-len(chosen) // PAGE_SIZE))
    page = min(max(1, wanted.page), pages)
    shown = tuple(chosen[(page - 1) * PAGE_SIZE : page * PAGE_SIZE])
    rounds = studies_with(session, [product.id for product in shown])
    counted = {product_id: len(studies) for product_id, studies in rounds.items()}
    return Found(shown, len(chosen), page, pages, counted)


def kinds_of(session: Session) -> list[str]:
    """All kinds that are in use, by name."""
    return sorted({kind for kind in session.exec(select(Product.kind).distinct()) if kind}, key=str.casefold)


def makers_of(session: Session) -> list[str]:
    """All makers that are known, by name."""
    return sorted({name for name in session.exec(select(Product.maker).distinct()) if name}, key=str.casefold)


def names_known(session: Session) -> dict[str, str]:
    """Name key -> product id, of the whole register."""
    return dict(session.exec(select(Product.name_key, Product.id)).all())


def _fits(product: Product, wanted: Wanted, tested: set[str]) -> bool:
    # Compared here and not by the database, since databases fold capitals and accents differently.
    text = name_key(f"{product.name} {product.maker} {product.kind} {product.note}")
    return (
        all(word in text for word in name_key(wanted.words).split())
        and wanted.kind in ("", product.kind)
        and wanted.maker in ("", product.maker)
        and (wanted.tested not in ("yes", "no") or (product.id in tested) == (wanted.tested == "yes"))
    )


def _ids_in_studies() -> SelectOfScalar[str]:
    """Ids of the products that are known to be in a study which was not deleted."""
    query = select(StudyProduct.product_id).join(Study, col(Study.id) == StudyProduct.study_id)
    return query.where(col(Study.deleted_at).is_(None))
