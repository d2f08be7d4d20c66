"""Can the panel be trusted: each taster's discrimination, repeatability and agreement, and the panel's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import DUST, AdditiveFit, FTest, additive_fit, cell_table, f_test
from stats.phrasing import count, listing, p_text, significant
from stats.reliability import reliability
from stats.results import Estimate, Result
from stats.score_table import read_scores
from stats.taster_figures import agreement, discrimination, drift
from stats.taster_flags import Flag, LeftOut, effect_of_leaving_out, flags_of

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, Frame, ScoreTable

NO_REPEATS = "no sample was scored twice under one condition"


@dataclass(frozen=True, slots=True)
class TasterFigures:
    """One taster's figures for one attribute. What cannot be estimated is None, with the reason beside it.

    n : scores used; mean : their mean
    discrimination_f, discrimination_p : F test of samples within this taster (conditions as blocks where
        there are several), on discrimination_df_num and discrimination_df_den degrees of freedom
    repeatability_sd : standard deviation between repeats of one sample under one condition
    agreement : Pearson r of the taster's cell means with the mean of the other tasters, over
        agreement_cells cells (a sample under a condition)
    scale_slope : slope of the taster's cell means on the panel's (1 as the panel, 0 flat); scale_sd :
        standard deviation of the taster's cell means
    bias : the taster's level less the panel's, adjusted for which samples were scored
    drift : change per place in the serving order beyond the samples' effects, and its two-sided p
    """

    taster: str
    n: int
    mean: float
    discrimination_f: float | None
    discrimination_p: float | None
    discrimination_df_num: int
    discrimination_df_den: int
    discrimination_reason: str
    repeatability_sd: float | None
    repeatability_df: int
    repeatability_reason: str
    agreement: float | None
    agreement_cells: int
    agreement_reason: str
    scale_slope: float | None
    scale_sd: float | None
    bias: float
    drift: float | None
    drift_p: float | None


@dataclass(frozen=True, slots=True)
class PanelConsistency(Result):
    """Consistency of a panel on one attribute.

    tasters : one `TasterFigures` per taster, by name
    icc_single : ICC(2,1); icc_average : ICC(2,k); cronbach : Cronbach's alpha = ICC(3,k)
    icc_single_interval, icc_average_interval, cronbach_interval : the same with confidence limits
    tasters_per_sample : k of ICC(2,k): the tasters, or with gaps their effective number per sample
    kendall_w : Kendall's W over samples, tie-corrected, of the tasters who scored every sample
    panel : F test of samples over taster × sample means (tasters as blocks)
    flags : what stands out, each with the rule that raised it; nobody is dropped
    without_flagged : the result with each flagged taster left out, and with all of them left out
    """

    tasters: tuple[TasterFigures, ...]
    n_tasters: int
    n_samples: int
    icc_single: float | None
    icc_average: float | None
    cronbach: float | None
    icc_single_interval: Estimate
    icc_average_interval: Estimate
    cronbach_interval: Estimate
    tasters_per_sample: float
    kendall_w: float | None
    kendall_w_tasters: int
    panel: FTest
    flags: tuple[Flag, ...]
    without_flagged: tuple[LeftOut, ...]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The panel's reliability, who is flagged, and whether leaving them out changes the result."""
        head = self.reliability()
        names = sorted({flag.taster for flag in self.flags})
        if not names:
            return f"{head}; no taster is flagged."
        shown = names if len(names) <= 4 else [*names[:3], f"{len(names) - 3} more"]
        who, verb = ("taster", "is") if len(names) == 1 else ("tasters", "are")
        return f"{head}; {who} {listing(shown)} {verb} flagged, and {self._effect(len(names))}."

    def reliability(self) -> str:
        """How reliable one taster's score is, and the panel's mean; a sentence without its full stop."""
        if self.icc_single is None:
            return (
                f"The reliability of the {count(self.n_tasters, 'taster')} cannot be estimated, since the scores "
                "do not vary or leave no degrees of freedom"
            )
        if self.icc_single <= 0 or self.icc_average is None:
            value = significant(self.icc_single, 2).replace("-", "\u2212")
            return f"The tasters agree no more than chance would have it (ICC(2,1) = {value})"
        k = self.tasters_per_sample
        many = str(round(k)) if abs(k - round(k)) < 1e-9 else f"{k:.1f}"
        return (
            f"A single taster's score has a reliability of {significant(self.icc_single, 2)} (ICC(2,1)), the mean "
            f"of {many} tasters one of {significant(self.icc_average, 2)} (ICC(2,k))"
        )

    def _effect(self, flagged: int) -> str:
        out = "leaving that taster out" if flagged == 1 else "leaving them out"
        last = self.without_flagged[-1].panel if self.without_flagged else None
        if last is None or last.p_value is None or self.panel.p_value is None:
            return f"{out} leaves too little to test the samples"
        return (
            f"{out} takes the test of the samples from {p_text(self.panel.p_value)} to {p_text(last.p_value)}"
        )


def panel_consistency(frame: Frame, *, alpha: float = 0.05, confidence: float = 0.95) -> PanelConsistency:
    """Consistency of every taster and of the panel, for one attribute.

    frame : long, columns `taster, sample, score` and where present `replicate, condition, position`
        (rows of one attribute). At least two tasters and two samples.
    alpha : level of the flags' tests and of the panel's F; confidence : of the intervals

    Missing scores are left out and said in the notes; nothing is imputed. Incomplete blocks: tasters are
    compared over what they scored, levels adjusted by least squares (taster + cell). A cell is one sample
    under one condition, replicates averaged; ICCs, agreement and scale use work on cells.
    Sources: ISO 8586 (F and repeatability per assessor); Shrout & Fleiss 1979 (ICC); Kendall & Babington
    Smith 1939 (W); ISO 5725-2 (Cochran's test of variances).
    Raises ValueError as `read_scores` does, and for alpha or confidence outside (0, 1).
    """
    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    table = read_scores(frame)
    cells, cell = cell_table(table)
    fit = additive_fit(cells)
    tasters = _figures(table, cells, cell, fit)
    rely = reliability(cells, fit, confidence)
    w, w_tasters = _kendall_w(table.cell_means())
    panel = effect_of_leaving_out(table, [()])[0].panel
    flags = flags_of(tasters, panel, discrimination(table), alpha)
    flagged = sorted({flag.taster for flag in flags})
    sets = [(name,) for name in flagged] + ([tuple(flagged)] if len(flagged) > 1 else [])
    return PanelConsistency(
        tasters=tasters,
        n_tasters=len(table.tasters),
        n_samples=len(table.samples),
        icc_single=rely.single.estimate,
        icc_average=rely.average.estimate,
        cronbach=rely.cronbach.estimate,
        icc_single_interval=rely.single,
        icc_average_interval=rely.average,
        cronbach_interval=rely.cronbach,
        tasters_per_sample=rely.tasters_per_sample,
        kendall_w=w,
        kendall_w_tasters=w_tasters,
        panel=panel,
        flags=flags,
        without_flagged=tuple(effect_of_leaving_out(table, sets)),
        method="Analysis of variance per taster; ICC(2,1), ICC(2,k), ICC(3,k) = Cronbach's alpha; Kendall's W",
        notes=_notes(table, cells, w_tasters, flags),
    )


def _figures(table: ScoreTable, cells: Floats, cell: Codes, fit: AdditiveFit) -> tuple[TasterFigures, ...]:
    own, shared = discrimination(table), agreement(cells, fit)
    blank = np.full(len(table.tasters), np.nan)
    ordered = table.position is not None and not np.isnan(table.position).any()
    slope, p = drift(table, cell, fit) if ordered else (blank, blank)
    level = fit.row - fit.row.mean()
    mean = np.bincount(table.taster, weights=table.score) / own.n
    rows = []
    for i, name in enumerate(table.tasters):
        test = f_test(own.ss[i], int(own.df[i]), own.error_ss[i], int(own.error_df[i]), own.total[i])
        repeats = int(own.repeat_df[i])
        same = own.total[i] <= DUST * max(abs(float(mean[i])), 1e-300) ** 2
        rows.append(
            TasterFigures(
                taster=name,
                n=int(own.n[i]),
                mean=float(mean[i]),
                discrimination_f=None if same else test.f,
                discrimination_p=None if same else test.p_value,
                discrimination_df_num=int(own.df[i]),
                discrimination_df_den=int(own.error_df[i]),
                discrimination_reason=_why_no_f(test, same, repeats),
                repeatability_sd=float(np.sqrt(own.repeat_ss[i] / repeats)) if repeats else None,
                repeatability_df=repeats,
                repeatability_reason="" if repeats else NO_REPEATS,
                agreement=_number(shared.r[i]),
                agreement_cells=int(shared.cells[i]),
                agreement_reason=_why_no_r(shared.r[i], int(shared.cells[i]), shared.sd[i]),
                scale_slope=_number(shared.slope[i]),
                scale_sd=_number(shared.sd[i]),
                bias=float(level[i]),
                drift=_number(slope[i]),
                drift_p=_number(p[i]),
            )
        )
    return tuple(rows)


def _why_no_f(test: FTest, same: bool, repeats: int) -> str:
    if same:
        return "the same score was given every time"
    if test.f is None and not repeats and test.df_den <= 0:
        return NO_REPEATS
    return test.reason


def _why_no_r(r: float, cells: int, sd: float) -> str:
    if np.isfinite(r):
        return ""
    if sd == 0:
        return "the same score was given to every sample"
    if cells < 3:
        return f"{count(cells, 'sample')} shared with other tasters; a correlation needs three"
    return "the other tasters' means do not vary"


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _kendall_w(means: Floats) -> tuple[float | None, int]:
    """W with the correction for ties, of the tasters who scored every sample; None under two of them."""
    from scipy.stats import rankdata

    full = np.round(means[~np.isnan(means).any(axis=1)], 9)
    m, n = full.shape
    if m < 2 or n < 2:
        return None, m
    ranks = rankdata(full, axis=1)
    s = float(((ranks.sum(axis=0) - m * (n + 1) / 2) ** 2).sum())
    # Sum of t^3 - t over ties, from the ranks' sum of squares: sum r^2 falls by (t^3 - t)/12 per tie.
    lost = 12 * (m * n * (n + 1) * (2 * n + 1) / 6 - float((ranks**2).sum()))
    room = m**2 * (n**3 - n) - m * lost
    return (12 * s / room if room > DUST else None), m


def _notes(table: ScoreTable, cells: Floats, w_tasters: int, flags: tuple[Flag, ...]) -> tuple[str, ...]:
    notes = list(table.notes)
    gaps = int(np.isnan(cells).sum())
    if gaps:
        notes.append(
            f"{gaps} of {cells.size} cells are empty: levels are adjusted by least squares, the ICCs come from "
            "variance components (Henderson's method 3) and their intervals are approximate"
        )
        notes.append(
            f"Kendall's W uses the {count(w_tasters, 'taster')} who scored every sample"
            if w_tasters > 1
            else "Kendall's W is not given: fewer than two tasters scored every sample"
        )
    if table.has("condition"):
        notes.append("each taster's F compares the samples within conditions")
    if table.rows == int((~np.isnan(cells)).sum()):
        notes.append(f"repeatability is not estimable: {NO_REPEATS}")
    if any(flag.about in ("agreement", "discrimination") for flag in flags):
        notes.append(
            "flags for agreement and discrimination come from the same scores: without those tasters the samples "
            "seem further apart than they are, so the p-value without them is too small"
        )
    notes.append("in a liking study, low agreement is a difference in taste, not an error")
    return tuple(notes)
