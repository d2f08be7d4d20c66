"""What tasters read, in their language: message catalogues, which a request is answered in, and for which script.

English stands in the code. A catalogue is `panel/languages/<code>.po`; what it lacks is said in English.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from babel import numbers
from jinja2 import pass_context

from panel.study.languages import ENGLISH, LANGUAGES
from panel.study.said import Said, filled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi import Request
    from jinja2.runtime import Context

    from panel.study.plan import Plan

CATALOGUES = files("panel") / "languages"


@dataclass(frozen=True, slots=True)
class Words:
    """One language. code : as in the page's lang; direction : "ltr" or "rtl"; own : the organiser's, said first."""

    code: str
    direction: str
    catalogue: dict[str, str]
    own: Mapping[str, str] = field(default_factory=dict)

    def __call__(self, text: str, **values: object) -> str:
        """The text in this language, with values filled in; a `Said` brings its own."""
        if not text:
            return ""
        pattern = text.pattern if isinstance(text, Said) else text
        known = text.values if isinstance(text, Said) else values
        found = self.own.get(str(pattern)) or self.catalogue.get(str(pattern), str(pattern))
        spoken = {name: self._value(value) for name, value in known.items()}
        return filled(found, spoken)

    def _value(self, value: object) -> object:
        if isinstance(value, float):
            return f"{value:g}".replace(".", numbers.get_decimal_symbol(self.code))
        return self(value) if isinstance(value, str) else value


@lru_cache(maxsize=16)
def words_in(code: str) -> Words:
    """The words of a language, English where it is not known."""
    language = LANGUAGES.get(code, LANGUAGES[ENGLISH])
    return Words(language.code, language.direction, _catalogue(language.code))


def _catalogue(code: str) -> dict[str, str]:
    if code == ENGLISH:
        return {}
    from babel.messages.pofile import read_po

    with (CATALOGUES / f"{code}.po").open("rb") as file:
        found = read_po(file, locale=code)
    return {str(message.id): str(message.string) for message in found if message.id and message.string}


def words_for(plan: Plan) -> Words:
    """The words of a study: its language, and the organiser's own words in it."""
    return replace(words_in(plan.language), own=plan.words)


def speak(request: Request, plan: Plan) -> None:
    """Answer this request in the study's words."""
    request.scope["words"] = words_for(plan)


def words_of(request: Request) -> Words:
    """The study's words where it is known, else the language that the browser asks for."""
    known: Words | None = request.scope.get("words")
    return known or words_in(_asked_for(request.headers.get("accept-language", "")))


def _asked_for(header: str) -> str:
    for part in header.split(",")[:10]:
        code = part.split(";")[0].strip().split("-")[0].lower()
        if code in LANGUAGES:
            return code
    return ENGLISH


@pass_context
def translated(context: Context, text: str, **values: object) -> str:
    """`_` in the tasters' templates."""
    words: Any = context.get("words")
    found: str = words(text, **values)
    return found
