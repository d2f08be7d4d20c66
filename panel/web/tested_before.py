"""What the register knows of the products that a draft names: tested before, or another product of that name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.store.register import names_known, product_called, studies_with
from panel.study.draft_reader import name_key, rows_of, tidy

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlmodel import Session

    from panel.web.house import House


def tested_before(house: House, typed: Mapping[str, str]) -> dict[int, str]:
    """Row of the product -> what is to be said under its name; rows with a name that is new are left out."""
    with house.database.read() as session:
        return _known(session, typed)


def _known(session: Session, typed: Mapping[str, str]) -> dict[int, str]:
    rows = {row: name_key(typed.get(f"product-{row}-name", "")) for row in rows_of(typed, "product")}
    if not any(rows.values()):
        return {}
    known = names_known(session)
    ids = {row: known[key] for row, key in rows.items() if key in known}
    studies = studies_with(session, ids.values())
    found = {}
    for row, product_id in ids.items():
        titles = [f"“{study.title}”" for study in studies.get(product_id, [])][:3]
        said = f"Tested before, in {', '.join(titles)}." if titles else "In the register, not tested yet."
        product, maker = product_called(session, product_id), tidy(typed.get(f"product-{row}-maker", ""))
        if product and product.maker and maker and name_key(maker) != name_key(product.maker):
            said += f" The register has it from {product.maker}: if this is another product, give it another name."
        found[row] = said
    return found
