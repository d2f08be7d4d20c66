"""A sentence with values in it that another language can say too: text that remembers its pattern."""

from __future__ import annotations


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


def filled(pattern: str, values: dict[str, object]) -> str:
    """The pattern with each {name} replaced by its value; other braces stay as they are."""
    for name, value in values.items():
        text = f"{value:g}" if isinstance(value, float) else str(value)
        pattern = pattern.replace(f"{{{name}}}", text)
    return pattern
