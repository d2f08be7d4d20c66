"""Answers as plain rows, as the store gives them, the analysis takes them and a bundle's recount finds them again."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Score:
    """One answer about one cup, by blind label. position counts the cups of its condition; late: after closing."""

    attempt_id: str
    taster: str
    sample: str
    question: str
    condition: str
    replicate: int
    position: int
    value: float | str | None
    late: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer about a set: its samples in serving order, and what was answered (see `set_answers`).

    correct : None where nothing is right or wrong
    arrived : its number among all sends of the study, in order of receipt, from 1
    """

    attempt_id: str
    taster: str
    set_number: int
    condition: str
    samples: tuple[str, ...]
    chosen: str
    correct: bool | None
    late: bool
    arrived: int
