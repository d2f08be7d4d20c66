"""Answers about a set of cups: what can be chosen, what was sent, and whether it is right. One table by kind.

An answer is a short text about the cups in the order shown, numbered from 1: "2" (a cup), "2 5" (two cups),
"1 2 1 2" (the group of each), "3 1 2" (the rank of each), or a word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from panel.study.answers import Answer
from panel.study.problems import Problem
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from panel.study.test_methods import TestMethod

SET_ANSWER = "choice"
NO_PREFERENCE = "none"
Form = Literal["pick", "pick two", "groups", "order"]


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that can be chosen: a cup by its code, or words."""

    value: str
    words: str = ""
    code: str = ""


@dataclass(frozen=True, slots=True)
class SetKind:
    """How one kind of answer is given and judged.

    form : how it is asked for
    first : the first cup that can be chosen (2 where the first one is the reference)
    words : what can be chosen instead of cups, value and words
    right : of (samples, roles, answer), in the order shown; None where nothing is right or wrong
    """

    form: Form
    right: Callable[[Sequence[str], Sequence[str], str], bool] | None
    first: int = 1
    words: tuple[tuple[str, str], ...] = ()


def _stands_alone(samples: Sequence[str], _roles: Sequence[str], chosen: str) -> bool:
    return samples.count(samples[int(chosen) - 1]) == 1


def _like_the_first(samples: Sequence[str], _roles: Sequence[str], chosen: str) -> bool:
    return samples[int(chosen) - 1] == samples[0]


def _is_stronger(_samples: Sequence[str], roles: Sequence[str], chosen: str) -> bool:
    return roles[int(chosen) - 1] == "stronger"


def _same_groups(samples: Sequence[str], _roles: Sequence[str], chosen: str) -> bool:
    groups = dict(zip(samples, chosen.split(), strict=True))
    return [groups[sample] for sample in samples] == chosen.split() and len(set(groups.values())) == 2


def _two_of_a_kind(samples: Sequence[str], _roles: Sequence[str], chosen: str) -> bool:
    first, second = (samples[int(cup) - 1] for cup in chosen.split())
    return first == second and samples.count(first) == 2


def _truly_same(samples: Sequence[str], _roles: Sequence[str], chosen: str) -> bool:
    return (chosen == "same") == (samples[0] == samples[1])


def _truly_known(_samples: Sequence[str], roles: Sequence[str], chosen: str) -> bool:
    return (chosen == "yes") == (roles[0] == "reference")


SET_KINDS: dict[str, SetKind] = {
    "odd one": SetKind("pick", _stands_alone),
    "like the reference": SetKind("pick", _like_the_first, first=2),
    "stronger one": SetKind("pick", _is_stronger),
    "two groups": SetKind("groups", _same_groups),
    "two of a kind": SetKind("pick two", _two_of_a_kind),
    "same or different": SetKind(
        "pick", _truly_same, words=(("same", "The same"), ("different", "Different"))
    ),
    "is it A": SetKind("pick", _truly_known, words=(("yes", "Yes, it is A"), ("no", "No, it is not A"))),
    "preferred one": SetKind("pick", None),
    "order": SetKind("order", None),
}
NO_PREFERENCE_WORDS = "No preference"


def set_kind(method: TestMethod) -> SetKind:
    """How the method's answer is given; KeyError for a method of scores, which has none."""
    return SET_KINDS[method.answer]


def options(method: TestMethod, codes: Sequence[str], *, no_preference: bool = False) -> tuple[Option, ...]:
    """What can be chosen for a set of cups with these codes, in the order shown."""
    kind = set_kind(method)
    if kind.words:
        return tuple(Option(value, words=words) for value, words in kind.words)
    cups = tuple(
        Option(str(number), code=code) for number, code in enumerate(codes, start=1) if number >= kind.first
    )
    return (*cups, Option(NO_PREFERENCE, words=NO_PREFERENCE_WORDS)) if no_preference else cups


def fields_of(method: TestMethod, cups: int) -> tuple[str, ...]:
    """The names of the form fields that carry the answer: one, or one for each cup."""
    if set_kind(method).form == "pick":
        return (SET_ANSWER,)
    return tuple(f"{SET_ANSWER}.{number}" for number in range(1, cups + 1))


def check_set(
    method_id: str, cups: int, sent: Mapping[str, str], *, no_preference: bool = False
) -> Answer | Problem:
    """The answer about a set of so many cups in the sent fields, or the problem with it."""
    method = method_of(method_id)
    kind, wording = set_kind(method), method.wording
    assert wording is not None
    given = [sent.get(name, "").strip() for name in fields_of(method, cups)]
    if not any(given):
        return Problem(SET_ANSWER, "missing", wording.missing)
    known = {one.value for one in options(method, ("",) * cups, no_preference=no_preference)}
    answer = _READ[kind.form](given, known)
    if answer is None:
        return Problem(SET_ANSWER, "off_scale", wording.missing)
    return Answer(SET_ANSWER, answer)


def is_right(method_id: str, samples: Sequence[str], roles: Sequence[str], chosen: str) -> bool | None:
    """Whether the answer is right, given the samples and their roles in the order shown.

    None where nothing is right or wrong (preference, ranking).
    """
    right = set_kind(method_of(method_id)).right
    return None if right is None else right(samples, roles, chosen)


@dataclass(frozen=True, slots=True)
class SetCup:
    """One cup of an answered set. served : its place in the order really served."""

    sample: str
    role: str
    served: int


@dataclass(frozen=True, slots=True)
class Judged:
    """An answered set in the order really served. correct: None where nothing is right or wrong."""

    samples: tuple[str, ...]
    chosen: str
    correct: bool | None


def judged(method_id: str, cups: Sequence[SetCup], chosen: str) -> Judged:
    """The answer about these cups, which stand in the order shown, turned into the order served."""
    correct = is_right(method_id, [cup.sample for cup in cups], [cup.role for cup in cups], chosen)
    order = sorted(range(1, len(cups) + 1), key=lambda number: cups[number - 1].served)
    samples = tuple(cups[number - 1].sample for number in order)
    return Judged(samples, rearranged(method_id, chosen, order), correct)


def rearranged(method_id: str, chosen: str, order: Sequence[int]) -> str:
    """The same answer about the cups in another order. order : old numbers (from 1) in the new order."""
    kind = set_kind(method_of(method_id))
    if kind.words or chosen == NO_PREFERENCE:
        return chosen
    if kind.form in ("groups", "order"):
        per_cup = chosen.split()
        moved = [per_cup[old - 1] for old in order]
        return _canonical_groups(moved) if kind.form == "groups" else " ".join(moved)
    return " ".join(str(number) for number in sorted(order.index(int(cup)) + 1 for cup in chosen.split()))


def _read_pick(given: list[str], known: set[str]) -> str | None:
    return given[0] if given[0] in known else None


def _read_two(given: list[str], _known: set[str]) -> str | None:
    picked = [str(number) for number, value in enumerate(given, start=1) if value]
    return " ".join(picked) if len(picked) == 2 else None


def _read_groups(given: list[str], _known: set[str]) -> str | None:
    half = len(given) // 2
    if sorted(given) != ["1"] * half + ["2"] * half:
        return None
    return _canonical_groups(given)


def _canonical_groups(given: list[str]) -> str:
    """The first cup stands in group 1: which group is called which says nothing."""
    return " ".join("1" if group == given[0] else "2" for group in given)


def _read_order(given: list[str], _known: set[str]) -> str | None:
    return " ".join(given) if sorted(given) == sorted(map(str, range(1, len(given) + 1))) else None


_READ: dict[Form, Callable[[list[str], set[str]], str | None]] = {
    "pick": _read_pick,
    "pick two": _read_two,
    "groups": _read_groups,
    "order": _read_order,
}
