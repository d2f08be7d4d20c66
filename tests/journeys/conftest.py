"""A site for each test that changes it as a whole, and one shared by tests that only add studies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.journeys.site import Browser, Site

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    opened = Site(tmp_path_factory.mktemp("data"))
    yield opened
    opened.stop()


@pytest.fixture(scope="module")
def shared_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    opened = Site(tmp_path_factory.mktemp("data"))
    yield opened
    opened.stop()


@pytest.fixture(scope="module")
def organiser(shared_site: Site) -> Browser:
    return shared_site.organiser()
