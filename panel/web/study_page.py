"""What every page about one study shows at its head: its title and where it stands in its life."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.life import State

if TYPE_CHECKING:
    from panel.store.tables import Study

STATES = tuple(state.value for state in State)


@dataclass(frozen=True, slots=True)
class StudyHead:
    """The head of a study's page. two_parts: whether two people hold a part of the passphrase each.

    read_only : whether the study was brought back from its files
    """

    id: str
    title: str
    state: str
    commitment: str
    two_parts: bool = False
    read_only: bool = False
    states: tuple[str, ...] = STATES


def head_of_page(study: Study) -> StudyHead:
    """The head for this study."""
    two_parts = bool(study.locked) and json.loads(study.locked)["parts"] == 2
    return StudyHead(
        study.id, study.title, study.state, study.commitment, two_parts, study.brought_back_at is not None
    )
