"""A sentence with values in it that another language can say too: text that remembers its pattern."""

from __future__ import annotations

from typing import Protocol


class Speaks(Protocol):
    """Says a sentence in the words of a study, with values filled in."""

    def __call__(self, text: str, **values: object) -> str: ...


class Said(str):
    """English text made from a pattern such as "Shorten this to {most} characters"; a plain string for everybody
    who does not translate. pattern, values : what it was made from."""

    __slots__ = ("pattern", "values")
    pattern: str
    values: dict[str, object]


def said(pattern: str, **values: object) -> Said:
    """The pattern with its values filled in."""
    text = Said(filled(pattern, values))
    text.pattern, text.values = pattern, values
    return text


def as_written(text: str, **values: object) -> str:
    """The text in English with its values filled in: what a translator would say in another language."""
    return filled(text, values) if values else str(text)


def filled(pattern: str, values: dict[str, object]) -> str:
    """The pattern with each {name} replaced by its value; other braces stay as they are."""
    for name, value in values.items():
        text = f"{value:g}" if isinstance(value, float) else str(value)
        pattern = pattern.replace(f"{{{name}}}", text)
    return pattern
