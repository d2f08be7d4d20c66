"""What every page about one study shows at its head: its title and where it stands in its life."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.life import State

if TYPE_CHECKING:
    from panel.store.tables import Study

STATES = tuple(state.value for state in State)


@dataclass(frozen=True, slots=True)
class StudyHead:
    """The head of a study's page."""

    id: str
    title: str
    state: str
    commitment: str
    states: tuple[str, ...] = STATES


def head_of_page(study: Study) -> StudyHead:
    """The head for this study."""
    return StudyHead(study.id, study.title, study.state, study.commitment)
