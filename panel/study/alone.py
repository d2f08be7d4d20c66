"""One person who pours, shuffles and tastes: what such a study may be, and reading the dots under the cups.

Every place of the plan is one round. Cups are marked underneath by numbered dots, filled by dot, shuffled out of
sight, and only then labelled on top: from then on nobody knows which code holds what. The dots are read once the
round's answers are fixed. Orders are therefore drawn by the shuffle: randomised, not balanced.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from panel.study.draft_reader import Reader
    from panel.study.plan import Plan
    from panel.study.test_methods import TestMethod

STATEMENT = (
    "One person poured, shuffled and tasted; every “taster” is one round of the same person. "
    "The orders are those of the shuffle: randomised, not balanced. The result is about this person (n of one) and "
    "says nothing about other people, however many rounds there are."
)


def refuse_unfit_alone(reader: Reader, method: TestMethod, plan: Plan) -> None:
    """Note every reason why this plan cannot be done by one person alone."""
    layout = plan.layout
    if len(plan.conditions) > 1 and plan.condition_mode != "same cup":
        text = "Alone, cups are shuffled in one way of serving only. Leave one, or make the addition in the same cup."
        reader.wrong("alone", "conditions", text)
    if layout.per_taster is not None or layout.sittings > 1 or layout.warm_up:
        text = (
            "Alone, every round is a place of its own with all samples: leave samples per sitting, sittings and "
            "warm-up empty, and write the number of rounds as the number of tasters."
        )
        reader.wrong("alone", "layout", text)
    if plan.replicates > 1:
        reader.wrong(
            "alone",
            "replicates",
            "Alone, repeats are further rounds: write 1 for how often, and more tasters.",
        )
    if method.directed or method.needs_reference:
        text = f"A {method.name} needs somebody who knows the cups. Alone, choose a rating study or a triangle test."
        reader.wrong("alone", "method", text)


def check_dots(
    typed: Mapping[str, str], number: int, positions: Sequence[int]
) -> tuple[dict[int, int], tuple[Problem, ...]]:
    """Position -> dot found under the cup there, or what is wrong. Every dot comes once.

    typed : the form's fields, `dot-2-1` for the first position of round 2
    """
    found: dict[int, int] = {}
    problems: list[Problem] = []
    for position in positions:
        name = f"dot-{number}-{position}"
        raw = typed.get(name, "").strip()
        if not (raw.isascii() and raw.isdigit() and 1 <= int(raw[:4]) <= len(positions)):
            text = f"Write the number under the cup: a whole number from 1 to {len(positions)}."
            problems.append(Problem(name, "not_in_range", text))
        elif int(raw[:4]) in found.values():
            text = f"Dot {raw} stands there twice. Turn the cups over again."
            problems.append(Problem(name, "twice", text))
        else:
            found[position] = int(raw[:4])
    return found, tuple(problems)
