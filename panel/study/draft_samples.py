"""The samples of a draft: names that differ, as many as the test takes, and the part each one plays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from panel.study.cautions import ALLERGENS
from panel.study.draft_reader import LONGEST_NAME, Reader, name_key, rows_of
from panel.study.plan import Product, Role

if TYPE_CHECKING:
    from panel.study.test_methods import TestMethod


def read_products(reader: Reader, method: TestMethod) -> tuple[Product, ...]:
    """The samples in the order typed."""
    products: list[Product] = []
    seen: dict[str, int] = {}
    for row in rows_of(reader.typed, "product"):
        product = _read_product(reader, f"product-{row}-", row + 1)
        if product.name and name_key(product.name) in seen:
            both = f"Samples {seen[name_key(product.name)]} and {row + 1}"
            text = f"{both} have the same name, “{product.name}”. Give each its own."
            reader.wrong(f"product-{row}-name", "same_name", text)
        seen.setdefault(name_key(product.name), row + 1)
        products.append(product)
    _check_number(reader, method, samples_in(products))
    _check_roles(reader, method, products)
    return tuple(products)


def samples_in(products: list[Product] | tuple[Product, ...]) -> int:
    """How many blind letters the products need: one each, and one more for a blind duplicate."""
    return len(products) + sum(product.twice for product in products)


def _read_product(reader: Reader, at: str, number: int) -> Product:
    role: Any = reader.choice(f"{at}role", f"the part of sample {number}", get_args(Role), "")
    return Product(
        name=reader.text(f"{at}name", f"a name for sample {number}", required=True, longest=LONGEST_NAME),
        maker=reader.text(f"{at}maker", "the maker", longest=LONGEST_NAME),
        lot=reader.text(f"{at}lot", "the lot", longest=LONGEST_NAME),
        price=reader.text(f"{at}price", "the price", longest=LONGEST_NAME),
        note=reader.text(f"{at}note", "the note"),
        allergens=reader.ticked(f"{at}allergen_", ALLERGENS),
        role=role,
        twice=bool(reader.typed.get(f"{at}twice")),
    )


def _check_number(reader: Reader, method: TestMethod, found: int) -> None:
    if method.fewest <= found <= method.most:
        return
    wanted = f"{method.fewest}" if method.fewest == method.most else f"{method.fewest} to {method.most}"
    have = {0: "there is none", 1: "there is only one"}.get(found, f"there are {found}")
    text = f"A {method.running_name} compares {wanted} samples, but {have}. Add or remove samples."
    reader.wrong("product-0-name", "number_of_samples", text)


def _check_roles(reader: Reader, method: TestMethod, products: list[Product]) -> None:
    for role in ("reference", "stronger"):
        holders = [row for row, product in enumerate(products) if product.role == role]
        if len(holders) > 1:
            text = f"Samples {holders[0] + 1} and {holders[1] + 1} are both marked as the {role}. Mark one."
            reader.wrong(f"product-{holders[1]}-role", "two_of_a_role", text)
    twice = [row for row, product in enumerate(products) if product.twice]
    if len(twice) > 1:
        text = f"Samples {twice[0] + 1} and {twice[1] + 1} are both to be served twice. One blind duplicate is enough."
        reader.wrong(f"product-{twice[1]}-twice", "two_duplicates", text)
    if twice and products[twice[0]].role:
        text = f"Sample {twice[0] + 1} plays a part already. Choose another one to be served twice."
        reader.wrong(f"product-{twice[0]}-twice", "duplicate_with_a_role", text)
    if method.directed and not any(product.role == "stronger" for product in products):
        text = f"A {method.name} asks which is stronger: mark the sample that is expected to be."
        reader.wrong("product-0-role", "no_direction", text)
    if method.needs_reference and not any(product.role == "reference" for product in products):
        text = f"A {method.name} test compares with a known sample: mark the one that tasters know as the reference."
        reader.wrong("product-0-role", "no_reference", text)
