"""What drives liking: penalties of just-about-right scales per sample, terms that were ticked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import stats

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from stats.check_all import CheckAll
    from stats.just_about_right import PenaltyAnalysis

RESAMPLES = 2_000  # percentile limits to about a tenth of their half width


@dataclass(frozen=True, slots=True)
class Penalty:
    """One just-about-right scale of one sample."""

    attribute: str
    title: str
    sample: str
    result: PenaltyAnalysis


@dataclass(frozen=True, slots=True)
class Drivers:
    """What was asked beside liking, and how liking goes with it.

    penalties : each just-about-right scale of each sample; terms : check-all terms, None where none were asked
    liking : attribute that the drops are drops of, None where no liking was asked
    not_done : reasons for what could not be computed
    """

    penalties: tuple[Penalty, ...]
    terms: CheckAll | None
    liking: str | None
    not_done: tuple[str, ...]


def drivers(
    frame: pd.DataFrame,
    kinds: Mapping[str, str],
    titles: Mapping[str, str],
    *,
    liking: str | None,
    alpha: float,
    just_right: float = 3.0,
) -> Drivers | None:
    """The drivers in a long frame of all attributes; None where none were asked.

    kinds : attribute -> "jar..." for just-about-right scales, "check-all" for ticked terms (score 1 or 0);
        the rest is ignored
    liking : attribute that holds liking; without it shares are counted and nothing is said about drops
    just_right : the point of the scale that is just about right
    """
    jar = [name for name in dict.fromkeys(frame["attribute"]) if kinds.get(name, "").startswith("jar")]
    terms = [name for name in dict.fromkeys(frame["attribute"]) if kinds.get(name, "") == "check-all"]
    if not jar and not terms:
        return None
    liked = frame[frame["attribute"] == liking] if liking is not None else None
    failed: list[str] = []
    penalties: list[Penalty] = []
    if liked is not None:
        for name in jar:
            part = frame[frame["attribute"] == name]
            penalties += _penalties(part, liked, name, titles.get(name, name), just_right, failed)
    elif jar:
        failed.append("Penalties were not computed: there is no liking to set against the scales")
    found = None
    if terms:
        ticked = frame[frame["attribute"].isin(terms)].replace({"attribute": dict(titles)})
        from stats.check_all import check_all

        try:
            found = check_all(
                ticked, liking=None if liked is None else liked.drop(columns="attribute"), alpha=alpha
            )
        except ValueError as error:
            failed.append(f"The ticked terms were not analysed ({error})")
    return Drivers(tuple(penalties), found, liking, tuple(failed))


def _penalties(
    part: pd.DataFrame, liked: pd.DataFrame, name: str, title: str, just_right: float, failed: list[str]
) -> list[Penalty]:
    cup = [key for key in ("taster", "sample", "condition", "replicate") if key in part and key in liked]
    both = part[[*cup, "score"]].merge(liked[[*cup, "score"]], on=cup, suffixes=("", "_liking"))
    done = []
    for sample, rows in both.groupby("sample", sort=True):
        # Several cups of one person count as one person's mean, or the bootstrap would take them for several.
        if rows["taster"].duplicated().any():
            failed.append(f"“{title}”, {sample}: several cups of one taster are counted one by one")
        try:
            result = stats.penalty_analysis(
                rows["score_liking"].tolist(),
                rows["score"].tolist(),
                just_right=just_right,
                resamples=RESAMPLES,
            )
        except ValueError as error:
            failed.append(f"“{title}”, {sample}: no penalties were computed ({error})")
            continue
        done.append(Penalty(name, title, str(sample), result))
    return done
