"""The languages that tasters can be addressed in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ENGLISH = "en"
UNCHECKED = "translation to be checked by a native speaker before a published test"


@dataclass(frozen=True, slots=True)
class Language:
    """One language. checked : whether a native speaker has read the translation."""

    code: str
    name: str
    direction: Literal["ltr", "rtl"] = "ltr"
    checked: bool = False

    @property
    def title(self) -> str:
        """Its name, with a warning where nobody has checked it."""
        return self.name if self.checked else f"{self.name} ({UNCHECKED})"


LANGUAGES: dict[str, Language] = {
    language.code: language
    for language in (
        Language(ENGLISH, "English", checked=True),
        Language("de", "Deutsch"),
        Language("es", "Español"),
    )
}
THEMES: dict[str, str] = {
    "": "Light or dark, as the phone is set",
    "red": "Dim red, for a room lit red: a white screen would light the cup",
}
