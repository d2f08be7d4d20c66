"""Requests that no browser would send, drawn from the application's own description: answered, never a failure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from panel.study import seal
from tests.web.desk import Desk

if TYPE_CHECKING:
    from collections.abc import Iterator

    from schemathesis import Case

EACH = 6
NAMES = st.sampled_from(
    ["passphrase", "title", "go", "place", "code", "why", "reason", "what", "attempt", "role", "name", "token",
     "submission", "consent", "q1", "choice", "method", "product-0-name", "dot-1-1", "sheet", "start"]
)  # fmt: skip
FIELDS = st.dictionaries(NAMES, st.text(max_size=40), max_size=6)


@pytest.fixture
def desk(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setitem(seal._SCRYPT, "n", 2)
    monkeypatch.setattr("panel.web.slow_down.TRIES", 100_000)
    made = Desk(tmp_path_factory.mktemp("data"))
    made.draft()
    made.seal()
    made.open()
    yield made
    made.close()


def test_no_drawn_request_makes_the_server_fail(desk: Desk) -> None:
    """Each operation, by a stranger and by the organiser, with drawn addresses, queries and forms.

    Half of the addresses keep the study's own id, so that what lies behind it is reached as well.
    """
    failures: list[str] = []
    operations = [
        found.ok() for found in schemathesis.openapi.from_dict(desk.app.openapi()).get_all_operations()
    ]
    stranger = desk.client()
    organiser = desk.client()
    organiser.cookies = desk.ada.cookies
    for operation in operations:

        @settings(
            max_examples=EACH, phases=[Phase.generate], deadline=None, suppress_health_check=list(HealthCheck)
        )
        @given(case=operation.as_strategy(), fields=FIELDS, known=st.booleans(), signed_in=st.booleans())
        def probe(case: Case, fields: dict[str, str], known: bool, signed_in: bool) -> None:
            if known and "study_id" in (case.path_parameters or {}):
                case.path_parameters["study_id"] = desk.study
            client = (
                organiser
                if signed_in and case.path not in ("/sign-out", "/organisers/password")
                else stranger
            )
            sent = fields if case.method.upper() == "POST" else None
            reply = client.request(case.method, case.formatted_path, params=case.query, data=sent)
            if reply.status_code >= 500:
                failures.append(
                    f"{case.method} {case.formatted_path} {case.query} {fields}: {reply.status_code}"
                )

        probe()
    assert failures == []
    assert len(operations) > 60
