"""What every handler shares: settings, database, tokens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import Request

from panel.settings import Settings
from panel.store.database import Database
from panel.store.tokens import Tokens
from panel.web.local import Local, local_of

if TYPE_CHECKING:
    from panel.store.tables import Study


@dataclass(frozen=True, slots=True)
class House:
    """One running server's settings, database and token maker."""

    settings: Settings
    database: Database
    tokens: Tokens
    base_url: str

    @property
    def local(self) -> Local:
        """How times and numbers are written for the organiser."""
        return local_of(self.settings)

    def anew(self, study: Study) -> Study:
        """The study as it is stored now."""
        with self.database.read() as session:
            return session.get_one(type(study), study.id)


def house_of(request: Request) -> House:
    """The house that serves this request."""
    house: House = request.app.state.house
    return house
