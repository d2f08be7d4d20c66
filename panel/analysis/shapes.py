"""What a table of scores looks like, and the methods that its look calls for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from panel.analysis.score_report import Shape

if TYPE_CHECKING:
    import pandas as pd


def shape_of(frame: pd.DataFrame) -> Shape:
    """The shape of one attribute's long frame; rows without a score count as missing."""
    scored = frame[frame["score"].notna()]
    has_conditions = "condition" in scored and scored["condition"].nunique() > 1
    cell = ["condition"] if has_conditions else []
    counts = scored.groupby(["taster", "sample", *cell], sort=True).size()
    tasters, samples = int(scored["taster"].nunique()), int(scored["sample"].nunique())
    conditions = int(scored["condition"].nunique()) if has_conditions else 1
    complete = len(counts) == tasters * samples * conditions
    return Shape(
        tasters=tasters,
        samples=samples,
        conditions=conditions,
        scores=len(scored),
        missing=len(frame) - len(scored),
        complete=complete,
        equal=complete and counts.nunique() == 1,
        replicated=bool((counts > 1).any()),
        balanced_blocks=not complete and _balanced_blocks(scored),
        yes_no=bool(scored["score"].isin((0.0, 1.0)).all()),
    )


def _balanced_blocks(scored: pd.DataFrame) -> bool:
    """Whether the served cells form a balanced incomplete block design."""
    import numpy as np

    served = scored.groupby(["taster", "sample"]).size().unstack(fill_value=0).clip(upper=1).to_numpy()
    together = served.T @ served
    apart = together[~np.eye(len(together), dtype=bool)]
    same = (len(set(values.tolist())) == 1 for values in (served.sum(axis=1), served.sum(axis=0), apart))
    return all(same) and bool(apart.min() > 0)


def method_for(shape: Shape) -> tuple[str, str]:
    """The analysis of variance that answers the question, and why this one."""
    if shape.conditions > 1:
        return "mixed", (
            "Samples were scored under several conditions: a mixed model takes condition as a second factor and "
            "tasters as a sample of those who might have tasted."
        )
    if not shape.complete:
        return "mixed", (
            "Not every taster scored every sample: a mixed model uses the comparisons within and between tasters; "
            "means are adjusted for who scored what."
        )
    if shape.replicated and not shape.equal:
        return "mixed", "Tasters scored samples unequally often: a mixed model weighs the scores accordingly."
    if shape.replicated:
        return "two-way", (
            "Every taster scored every sample equally often and more than once: samples are tested over the taster "
            "× sample interaction, so that the finding extends to other tasters."
        )
    if shape.samples == 2:
        return "two-way", (
            "Every taster scored both samples once: tasters are blocks. With two samples this is the paired t test "
            "(F = t²)."
        )
    return (
        "two-way",
        "Every taster scored every sample once: tasters are blocks in a two-way analysis of variance.",
    )
