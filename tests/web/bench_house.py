"""A sealed study with a bench: five products, one measurand of each way to enter, and visitors to measure them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panel.study import seal
from tests.web import a_house
from tests.web.desk import TYPED, Desk

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pytest
    from starlette.testclient import TestClient

BENCH_NAMES = ("Grainsong", "Kumorigama", "Ricelet", "Tomoshibi", "Velsund")  # in alphabetical order
BENCH = {
    **{name: text for name, text in TYPED.items() if not name.startswith("product-")},
    **{f"product-{n}-name": name for n, name in enumerate(reversed(BENCH_NAMES))},
    "product-0-maker": "Velsund Works",
    "measurand-0-name": "Time until done",
    "measurand-0-quantity": "duration",
    "measurand-0-unit": "min",
    "measurand-0-load": "full",
    "measurand-0-servings": "8",
    "measurand-1-name": "Keeping warm",
    "measurand-1-quantity": "temperature-series",
    "measurand-1-low": "57",
    "measurand-1-high": "75",
    "measurand-1-threshold": "57",
    "measurand-2-name": "Boils over",
    "measurand-2-quantity": "check",
    "measurand-3-name": "Price",
    "measurand-3-quantity": "price",
    "measurand-3-runs": "1",
    "measurand-4-name": "Ease of cleaning",
    "measurand-4-quantity": "rating",
    "measurand-5-name": "Ease of use",
    "measurand-5-quantity": "usability",
    "measurand-6-name": "Room inside",
    "measurand-6-quantity": "capacity",
    "measurand-6-unit": "ml",
    "measurand-6-runs": "1",
    "criterion-0-name": "Quick",
    "criterion-0-source": "m1",
    "criterion-0-direction": "less",
    "criterion-0-worst": "60",
    "criterion-0-best": "20",
    "criterion-1-name": "Liked",
    "criterion-1-source": "q1",
}


class BenchHouse(Desk):
    """The desk with a study that measures something, sealed."""

    def __init__(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch, typed: Mapping[str, str] = BENCH
    ) -> None:
        a_house.cheaper(monkeypatch)
        monkeypatch.setitem(seal._SCRYPT, "n", 2)
        super().__init__(folder)
        self.draft(typed)
        self.seal()

    @property
    def bench(self) -> str:
        return f"{self.at}/bench"

    def measurer(self) -> TestClient:
        """Whoever came by the bench's link."""
        client = self.client()
        client.get(self.link("bench"))
        return client

    def products(self) -> dict[str, str]:
        """Name -> id, as the register has them."""
        page = self.ada.get("/products").text
        return {name: key for key, name in re.findall(r'href="/products/([a-z2-7]{16})">([^<]+)<', page)}
