"""The organiser's own words in place of built-in ones, read from a draft."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.study.draft_reader import Reader, name_key, rows_of
from panel.study.scales import SCALES, Scale
from panel.study.taster_words import PLACEHOLDER, PREFIX, STANDS_FOR, Line, Part, parts_of
from panel.study.test_methods import TEST_METHODS

if TYPE_CHECKING:
    from collections.abc import Mapping


def word_fields(typed: Mapping[str, str]) -> dict[str, str]:
    """The fields of a draft that hold own words; they are edited on a page of their own."""
    return {name: value for name, value in typed.items() if name.startswith(PREFIX)}


def parts_in(typed: Mapping[str, str]) -> tuple[Part, ...]:
    """What tasters of the study that is being drafted can read, by its method and kinds of answer so far."""
    method = TEST_METHODS.get(typed.get("method", ""), TEST_METHODS["rating"])
    used: list[Scale] = []
    for row in rows_of(typed, "question"):
        if method.wording is None or typed.get(f"question-{row}-at_end"):
            used += filter(None, [SCALES.get(typed.get(f"question-{row}-scale", "hedonic-9"))])
    return parts_of(method, used)


def read_words(reader: Reader) -> dict[str, str]:
    """English sentence -> own words, for what the tasters of this study read and may be worded otherwise."""
    words: dict[str, str] = {}
    for part in parts_in(reader.typed):
        for line in part.lines:
            own = "" if line.locked else _read(reader, line)
            if own and own != line.text:
                words[line.text] = own
    _refuse_equal_points(reader, words)
    return words


def _read(reader: Reader, line: Line) -> str:
    own = " ".join(reader.text(line.field, f"your words for “{line.text}”", longest=line.longest).split())
    if not own:
        return ""
    found = set(PLACEHOLDER.findall(own))
    for name in line.placeholders:
        if name not in found:
            stands = STANDS_FOR.get(name, "what belongs there")
            text = f"“{own}” must keep {{{name}}}: the program puts {stands} there. Write {{{name}}} where it belongs."
            reader.wrong(line.field, "placeholder_missing", text)
    for name in sorted(found - set(line.placeholders)):
        known = " and ".join(f"{{{one}}}" for one in line.placeholders)
        can = f"only {known} can stand there" if known else "nothing is filled in there"
        text = f"“{own}” holds {{{name}}}, but {can}. Take it out."
        reader.wrong(line.field, "placeholder_unknown", text)
    return own


def _refuse_equal_points(reader: Reader, words: Mapping[str, str]) -> None:
    """Two points of one scale in the same words could not be told apart."""
    for scale in SCALES.values():
        seen: dict[str, str] = {}
        for point in scale.points:
            shown = words.get(point.label, point.label)
            other = seen.setdefault(name_key(shown), point.label)
            if other != point.label and {other, point.label} & words.keys():
                text = f"“{other}” and “{point.label}” would both read “{shown}”. Word them differently."
                field = Line(point.label if point.label in words else other).field
                reader.wrong(field, "same_point", text)
