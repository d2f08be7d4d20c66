"""What tasters read before they agree, on a phone and on paper alike, and how they are to taste."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.cautions import ALWAYS, CAUTIONS, CONSENT, notice
from panel.study.doses import dose_of
from panel.study.seal import digest

if TYPE_CHECKING:
    from panel.study.plan import Plan

AGAIN = "You may taste again."
ONCE = "Taste each cup once."


@dataclass(frozen=True, slots=True)
class TasterNotice:
    """One notice for the whole sitting. Sentences in English, to be said in the study's words.

    doses : what all cups together hold at most; kept : what the program keeps; more : what the organiser adds to it
    """

    heading: str
    briefing: str
    allergens: tuple[str, ...]
    cautions: tuple[str, ...]
    doses: tuple[str, ...]
    always: str
    kept: str
    more: str

    @property
    def fingerprint(self) -> str:
        """Of what was read before agreeing."""
        said = [*self.allergens, *self.cautions, *self.doses, self.always, self.kept, self.more]
        return digest([self.heading, self.briefing, *map(str, said)])


def notice_of(plan: Plan, cups: int) -> TasterNotice:
    """The notice of a study. cups : the most that one taster gets at a sitting."""
    return TasterNotice(
        heading=plan.heading,
        briefing=plan.briefing,
        allergens=notice(plan.allergens, plan.other_allergens),
        cautions=tuple(text for key, text in CAUTIONS.items() if key in plan.cautions),
        doses=tuple(dose.told for dose in dose_of(plan, cups)),
        always=ALWAYS,
        kept=CONSENT,
        more=plan.consent_more,
    )


def retasting(plan: Plan) -> str:
    """Whether a cup may be tasted again, as tasters are told."""
    return AGAIN if plan.pace.retaste else ONCE
