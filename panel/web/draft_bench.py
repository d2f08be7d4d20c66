"""The part of the draft's form about the bench: what is measured, the criteria, the weights, the ready sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.draft_ballot import read_questions
from panel.study.draft_reader import Reader, rows_of, tidy
from panel.study.plan import Plan
from panel.study.quantities import QUANTITIES, Quantity
from panel.study.questions import scored_names
from panel.study.ready_criteria import READY_SETS
from panel.study.test_methods import TEST_METHODS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.problems import Problem

Options = tuple[tuple[str, str], ...]

LOADS: Options = (
    ("", "As it comes"),
    ("full", "Full capacity"),
    ("equal volume", "Equal volume for all"),
    ("single serving", "A single serving"),
)
DIRECTIONS: Options = (
    ("more", "More is better"),
    ("less", "Less is better"),
    ("target", "Near a target is better"),
    ("pass", "Passed (checks only): a must"),
)
CURVES: Options = (
    ("linear", "Rises evenly from the value that scores 0 to the one that scores 100"),
    ("stepped", "In steps, written below"),
    ("window", "100 inside the target, falling to 0 at a distance from it"),
    ("none", "Only a must: no score, no weight"),
)


@dataclass(frozen=True, slots=True)
class BenchForm:
    """What this part of the form offers. units: row -> its units; open: which of its parts stand open."""

    quantities: tuple[Quantity, ...]
    units: dict[int, Options]
    sources: Options
    figures: Options
    ready: Options
    cautions: tuple[str, ...]
    open: frozenset[str]
    loads: Options = LOADS
    directions: Options = DIRECTIONS
    curves: Options = CURVES


def bench_form(
    typed: Mapping[str, str], problems: tuple[Problem, ...], rows: tuple[int, ...], pressed: str
) -> BenchForm:
    """For this draft. rows: of measurands that are shown; pressed: the button that led here."""
    figures = {key: words for one in QUANTITIES.values() for key, words in one.figures.items()}
    figures |= {"mean": "mean of the runs, price or share passed", "per serving": "per serving"}
    return BenchForm(
        quantities=tuple(QUANTITIES.values()),
        units={row: units_of(typed.get(f"measurand-{row}-quantity", "")) for row in rows},
        sources=(("", "Choose"), *_measured(typed), *_asked(typed)),
        figures=(("", "The mean; of a series its value at 30 minutes"), *figures.items()),
        ready=(("", "Choose"), *((ready.id, ready.name) for ready in READY_SETS.values())),
        cautions=tuple(dict.fromkeys(one.caution for one in READY_SETS.values() if one.caution)),
        open=_open_parts(typed, problems, pressed),
    )


def units_of(quantity: str) -> Options:
    """The units of one kind of quantity to choose from; of all where none is chosen yet."""
    known = [QUANTITIES[quantity]] if quantity in QUANTITIES else list(QUANTITIES.values())
    names = dict.fromkeys(unit for one in known for unit in one.units)
    return (("", "Its usual unit"), *((name, name) for name in names))


def _measured(typed: Mapping[str, str]) -> Options:
    return tuple(
        (f"m{row + 1}", f"Measured: {_short(typed.get(f'measurand-{row}-name', ''))}")
        for row in rows_of(typed, "measurand")
        if tidy(typed.get(f"measurand-{row}-name", ""))
    )


def _asked(typed: Mapping[str, str]) -> Options:
    """What is answered in numbers about each sample, as far as the draft is readable."""
    method = TEST_METHODS.get(typed.get("method", ""), TEST_METHODS["rating"])
    questions = read_questions(Reader(typed), method)
    plan = Plan(
        title="", heading="", question="", method=method.id, samples=2, tasters=1, questions=questions
    )
    return tuple((name, f"Tasted: {_short(title)}") for name, title in scored_names(plan).items())


def _short(text: str) -> str:
    text = tidy(text)
    return text if len(text) <= 60 else f"{text[:58]}…"


def _open_parts(typed: Mapping[str, str], problems: tuple[Problem, ...], pressed: str) -> frozenset[str]:
    """A part stands open where something is wrong in it, and after its own button."""
    parts = {"measurand": ("measurand-", "bench-"), "criterion": ("criterion-", "group-")}
    found = {part for part, heads in parts.items() if any(p.field.startswith(heads) for p in problems)}
    if pressed == "ready":
        found |= set(parts)
    if pressed in ("row-criterion", "row-group"):
        found.add("criterion")
    return frozenset(found | ({"measurand"} if pressed == "row-measurand" else set()))
