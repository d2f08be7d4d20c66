"""Reading what was typed: text, numbers, choices and numbered rows, with every problem gathered."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.study.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

LONGEST_NAME = 120
LONGEST_TEXT = 2000
ROW_KINDS = ("product", "question", "condition", "measurand", "criterion", "group")
WRITTEN = {
    "question": ("text", "low", "high", "points"),
    "condition": ("name",),
    "measurand": ("name", "quantity", "condition", "servings", "low", "high", "threshold", "ambient"),
    "criterion": ("name", "source", "steps", "basis", "must_least", "must_most", "worst", "best",
                  "target_low", "target_high"),
    "group": ("name",),
}  # fmt: skip  # what makes a row more than empty
_ROW = re.compile(rf"^({'|'.join(ROW_KINDS)})-(\d{{1,3}})-([a-z_]+)$")
_KEYED = {"question": "q", "measurand": "m"}  # rows that other fields name by a key: letter and number from 1
_KEY = re.compile(r"^([qm]\d{1,3})(\.\d{1,3})?$")


@dataclass(slots=True)
class Reader:
    """Reads typed fields and gathers what is wrong; a wrong field reads as its lowest or default value."""

    typed: Mapping[str, str]
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, name: str, code: str, text: str) -> None:
        self.problems.append(Problem(name, code, text))

    def text(self, name: str, what: str, *, required: bool = False, longest: int = LONGEST_TEXT) -> str:
        value = tidy(self.typed.get(name, ""))
        if required and not value:
            self.wrong(name, "missing", f"Write {what}.")
        if len(value) > longest:
            self.wrong(name, "too_long", f"Shorten {what} to {longest} characters; it has {len(value)}.")
        return value

    def whole(self, name: str, what: str, low: int, high: int, default: int | None = None) -> int:
        raw = tidy(self.typed.get(name, ""))
        if not raw and default is not None:
            return default
        if not re.fullmatch(r"\d{1,9}", raw) or not low <= int(raw) <= high:
            typed = f", not “{raw}”" if raw else ""
            self.wrong(name, "not_in_range", f"Write {what} as a whole number from {low} to {high}{typed}.")
            return low
        return int(raw)

    def number(self, name: str, what: str, low: float, high: float) -> float | None:
        raw = tidy(self.typed.get(name, "")).replace(",", ".").replace("−", "-").rstrip("% ")
        if not raw:
            return None
        try:
            value = float(raw)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            ends = f"{low:.10g} to {high:.10g}".replace("-", "−")  # never 1e+06
            self.wrong(name, "not_in_range", f"Write {what} as a number from {ends}.")
            return None
        return value

    def choice(self, name: str, what: str, known: Iterable[str], default: str) -> str:
        value = self.typed.get(name, "") or default
        if value not in known:
            self.wrong(name, "unknown_choice", f"Choose {what} from the list; “{value}” is not in it.")
            return default
        return value

    def ticked(self, prefix: str, known: Iterable[str]) -> tuple[str, ...]:
        return tuple(key for key in known if self.typed.get(f"{prefix}{key}"))


def tidy(text: str) -> str:
    """`text` in one Unicode form, tabs as blanks, without other control characters and outer blanks."""
    plain = unicodedata.normalize("NFC", text).replace("\t", " ")
    return "".join(c for c in plain if c == "\n" or unicodedata.category(c) != "Cc").strip()


def name_key(name: str) -> str:
    """The form in which two names count as one: case, width and invisible characters do not matter."""
    seen = "".join(c for c in unicodedata.normalize("NFKC", name) if unicodedata.category(c) != "Cf")
    return " ".join(seen.casefold().split())


def rows_of(typed: Mapping[str, str], kind: str) -> list[int]:
    """The numbers of the rows of that kind that stand in the form, in order."""
    found = {int(match[2]) for name in typed if (match := _ROW.match(name)) and match[1] == kind}
    return sorted(found)


def renumbered(typed: Mapping[str, str]) -> dict[str, str]:
    """The typed fields without empty rows, the rows left numbered from 0 and each kind in its order.

    The primary question and the sources of criteria, named by their number, keep meaning the same row.
    """
    kept = {name: value for name, value in typed.items() if not _ROW.match(name)}
    moved: dict[str, str] = {}
    for kind in ROW_KINDS:
        number = 0
        for row in rows_of(typed, kind):
            at = f"{kind}-{row}-"
            fields = {name.removeprefix(at): value for name, value in typed.items() if name.startswith(at)}
            if any(tidy(fields.get(name, "")) for name in WRITTEN.get(kind, fields)):
                kept |= {f"{kind}-{number}-{name}": value for name, value in fields.items()}
                number += 1
                if kind in _KEYED:
                    moved[f"{_KEYED[kind]}{row + 1}"] = f"{_KEYED[kind]}{number}"
    if "primary" in kept:
        kept["primary"] = moved.get(kept["primary"], kept["primary"])
    for row in rows_of(kept, "criterion"):
        _move_source(kept, f"criterion-{row}-source", moved)
    return kept


def _move_source(kept: dict[str, str], field: str, moved: Mapping[str, str]) -> None:
    """A source whose row is gone is gone too; otherwise the row that moved up would be meant instead."""
    if found := _KEY.match(kept.get(field, "")):
        to = moved.get(found[1])
        kept[field] = f"{to}{found[2] or ''}" if to else ""
