"""The address that phones open: the set one, this machine's own otherwise, and a warning once it has changed."""

from __future__ import annotations

import ipaddress
from pathlib import Path

import pytest

from panel.settings import Settings
from panel.web.addresses import lan_address, reachable_base_url
from tests.web.a_house import PASSWORD, app_in, cheaper, first_start, sealed_study, visit


def settings(**given: object) -> Settings:
    return Settings(data=Path("unused"), **given)  # type: ignore[arg-type]


@pytest.mark.parametrize("given", ["http://192.168.1.20:8000", "http://192.168.1.20:8000/"])
def test_the_set_address_is_taken_without_its_last_slash(given: str) -> None:
    assert reachable_base_url(settings(base_url=given)) == "http://192.168.1.20:8000"


def test_without_one_the_machines_own_is_found() -> None:
    assert reachable_base_url(settings(base_url="", port=8123)) == f"http://{lan_address()}:8123"


def test_the_machines_own_address_is_one_that_can_be_reached() -> None:
    """RFC 5735: neither "this host" (0.0.0.0) nor a multicast address."""
    found = ipaddress.IPv4Address(lan_address())
    assert not found.is_unspecified
    assert not found.is_multicast


def test_an_address_that_changed_since_printing_is_warned_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cheaper(monkeypatch)
    app = app_in(tmp_path, "http://192.168.1.20:8000")
    browser = first_start(app)
    study = sealed_study(browser)
    browser.post(f"/studies/{study}/open")
    assert "Printed codes carry" not in browser.get(f"/studies/{study}/room").text
    app.state.house.database.close()
    moved = app_in(tmp_path, "http://192.168.1.77:8000")
    browser = visit(moved)
    browser.post("/sign-in", data={"name": "Wren", "password": PASSWORD})
    shown = browser.get(f"/studies/{study}/room").text
    assert "Printed codes carry the address http://192.168.1.20:8000" in shown
    assert "--base-url http://192.168.1.20:8000" in shown
    moved.state.house.database.close()
