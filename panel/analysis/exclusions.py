"""What a finding would be without the tasters that a rule flags. Nobody is left out of the finding itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import stats

if TYPE_CHECKING:
    import pandas as pd

    from stats.consistency import PanelConsistency

# So many flagged tasters are tried one by one; above that, and in large tables, only all of them at once.
ONE_BY_ONE, SMALL_TABLE = 5, 1_000
FEWEST_LEFT = 3  # tasters that must remain for the comparison to mean anything


@dataclass(frozen=True, slots=True)
class WithoutTasters:
    """The same F test with some tasters left out: who, F and p."""

    tasters: tuple[str, ...]
    f: float
    p_value: float


def without_flagged(
    frame: pd.DataFrame, panel: PanelConsistency | None, method: str, alpha: float
) -> tuple[WithoutTasters, ...]:
    """The analysis of variance without each flagged taster, and without all of them.

    frame : one attribute, long; method : of `stats.hedonic_anova`
    Empty where nobody is flagged or too few would remain; an analysis that cannot be done is left out.
    """
    flagged = sorted({flag.taster for flag in panel.flags}) if panel is not None else []
    if not flagged:
        return ()
    groups: list[tuple[str, ...]] = []
    if len(flagged) <= ONE_BY_ONE and len(frame) <= SMALL_TABLE:
        groups += [(one,) for one in flagged]
    if len(flagged) > 1 or not groups:
        groups.append(tuple(flagged))
    everybody = int(frame["taster"].nunique())
    settings: dict[str, Any] = {"method": method, "alpha": alpha, "adjust": "none"}
    done = []
    for group in groups:
        if everybody - len(group) < FEWEST_LEFT:
            continue
        try:
            found = stats.hedonic_anova(frame[~frame["taster"].isin(group)], **settings)
        except ValueError:
            continue  # without them there is nothing left to compare; the full result stands as it is
        done.append(WithoutTasters(group, found.f, found.p_value))
    return tuple(done)
