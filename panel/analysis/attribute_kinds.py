"""What each attribute is: liking, an intensity, a just-about-right scale or a term; and the map of the samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from panel.study.plan import Plan
    from stats.profile import Profile

LIKING = ("liking", "hedonic", "acceptance", "preference")
# Fewer resamples than a paper would take: a report is read on a screen. Very large panels get no ellipses.
RESAMPLES, MOST_SCORES = 200, 100_000
LEAST = 3  # intensities and samples that a map needs
DRIVERS = ("jar", "check-all")


def attribute_kinds(frame: pd.DataFrame, plan: Plan | None, told: Mapping[str, str]) -> dict[str, str]:
    """Attribute -> "liking", "jar", "check-all", "yes-no" or "intensity", in the order of the table.

    As told, else by the scale of its question, in other people's tables by its name.
    """
    scales = _scales(plan) if plan else {}
    found = {}
    for name, scores in frame.groupby("attribute", sort=False)["score"]:
        said = told.get(str(name)) or scales.get(str(name), "")
        kind = _kind_of(said)
        if kind == "intensity" and scores.dropna().isin((0, 1)).all():
            kind = "yes-no"
        elif not said and any(word in str(name).casefold() for word in LIKING):
            kind = "liking"
        found[str(name)] = kind
    return found


def _scales(plan: Plan) -> dict[str, str]:
    """Name in the data -> id of the scale, terms of a list by their own names."""
    from panel.study.questions import terms_of

    return {
        name: question.scale
        for question in plan.questions
        for name in (terms_of(question) or {question.key: ""})
    }


def _kind_of(said: str) -> str:
    if said.startswith(("hedonic", "liking")):
        return "liking"
    if said.startswith(("jar", "just-about-right")):
        return "jar"
    return "check-all" if said in ("check-all", "yes-no-list") else "intensity"


def judged_attributes(kinds: Mapping[str, str]) -> list[str]:
    """The attributes that are compared between samples by themselves: all but drivers, or all if only those."""
    own = [name for name, kind in kinds.items() if kind not in DRIVERS]
    return own or list(kinds)


def profile_of(frame: pd.DataFrame, kinds: Mapping[str, str]) -> Profile | None:
    """The map of the samples; None for fewer than three samples or intensities, or where it cannot be drawn."""
    from stats.profile import profile

    known = [name for name, kind in kinds.items() if kind == "intensity"]
    part = frame[frame["attribute"].isin(known) & frame["score"].notna()]
    if len(known) < LEAST or part["sample"].nunique() < LEAST:
        return None
    ends = part.groupby("attribute")["score"].agg(["min", "max"])
    spans = ends["max"] - ends["min"]
    means = part.groupby(["taster", "sample", "attribute"])["score"].mean().reset_index()
    scaled = bool(spans.max() > 3 * max(float(spans.min()), 1e-12))
    try:
        return profile(means, scaled=scaled, resamples=RESAMPLES if len(means) <= MOST_SCORES else 0)
    except ValueError:
        return None
