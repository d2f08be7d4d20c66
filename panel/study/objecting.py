"""What an objection to a plan is, and what a rule is that finds some."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.study.circumstances import Circumstances
    from panel.study.plan import Plan

COMMON_PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True)
class Objection:
    """Something that would ruin the test, or make it say less than hoped.

    field : of the draft, where it is decided
    text : what is the matter; remedy : what to do instead, the nearest that works where it is refused
    source : who says so; refused : whether the plan cannot work at all
    """

    key: str
    field: str
    text: str
    remedy: str
    source: str
    refused: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the table.

    reads : fields of the draft that it rests on beside those that always have a value
    find : the objections to this plan under these circumstances
    """

    key: str
    reads: tuple[str, ...]
    find: Callable[[Plan, Circumstances], list[Objection]]
