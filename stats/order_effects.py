"""Did the order of serving move the scores: position and first-order carry-over, tested and estimated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import FTest, f_test, solve_singular, sums_by
from stats.phrasing import count, p_text, significant
from stats.results import Estimate, Result
from stats.score_table import read_scores
from stats.serving_sequence import Served, served_cups

if TYPE_CHECKING:
    from stats.score_table import Codes, Floats, Frame

ADJUSTED_FOR = "adjusted for taster, sample, condition and each other"


@dataclass(frozen=True, slots=True)
class OrderEffect:
    """How far one position, or having one sample just before, moves a score from the average.

    level : the position, or the sample served before; n : scores at that level
    effect : least-squares estimate in scale points, effects of a term sum to zero; None where the order
        served does not let it be told from the samples
    standard_error : of the effect, or None
    """

    level: str
    n: int
    effect: Estimate
    standard_error: float | None


@dataclass(frozen=True, slots=True)
class AdjustedMean:
    """A sample's raw mean beside its mean at the average position after the average sample.

    difference : adjusted less raw, or None; the interval is within tasters (tasters as fixed)
    """

    sample: str
    n: int
    raw: float
    adjusted: Estimate
    standard_error: float | None
    difference: float | None


@dataclass(frozen=True, slots=True)
class OrderEffects(Result):
    """Position and carry-over effects of a serving order, and the samples' means adjusted for both.

    position, carry_over : F tests, each adjusted for taster, sample, condition and the other
    sample, sample_unadjusted : F test of samples with and without position and carry-over in the model
    positions, previous : estimated effects per position and per sample served just before
    means : raw and adjusted mean per sample
    residual_sd : standard deviation of the model's error; n : scores used; sequences : servings in one go
    """

    position: FTest
    carry_over: FTest
    sample: FTest
    sample_unadjusted: FTest
    positions: tuple[OrderEffect, ...]
    previous: tuple[OrderEffect, ...]
    means: tuple[AdjustedMean, ...]
    residual_sd: float | None
    n: int
    sequences: int
    alpha: float
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """Whether position and the sample before moved the scores, and by how much at most."""
        place = _finding(self.position, self.positions, "position in the serving order", self.alpha)
        before = _finding(self.carry_over, self.previous, "the sample tasted just before", self.alpha)
        return f"{place[0].upper()}{place[1:]}; {before}."


def _finding(test: FTest, effects: tuple[OrderEffect, ...], what: str, alpha: float) -> str:
    if test.p_value is None or test.f is None:
        return f"the effect of {what} cannot be tested ({test.reason})"
    evidence = f"F({test.df_num:g}, {test.df_den:g}) = {significant(test.f)}, {p_text(test.p_value)}"
    known = [one for one in effects if one.effect.estimate is not None]
    if test.p_value < alpha:
        if not known:
            return f"{what} moved the scores ({evidence})"
        top = max(known, key=lambda one: abs(one.effect.estimate or 0.0))
        size = top.effect.estimate or 0.0
        where = f"{'after ' if what.startswith('the sample') else 'at position '}{top.level}"
        way = "above" if size > 0 else "below"
        return f"{what} moved the scores ({evidence}), most {where}: {significant(abs(size), 2)} {way} the average"
    limits = [abs(end) for one in known for end in (one.effect.low, one.effect.high) if end is not None]
    bound = f"; effects up to {significant(max(limits), 2)} points are not ruled out" if limits else ""
    return f"no effect of {what} was shown ({evidence}{bound})"


@dataclass(frozen=True, slots=True)
class _Model:
    """score ~ sequence + columns by least squares, sequences absorbed; columns are named by term."""

    G: Floats
    b: Floats
    total: float
    sequence_mean: Floats
    row_mean: Floats
    terms: dict[str, slice]
    inverse: Floats
    beta: Floats
    rank: int
    n: int
    sequences: Floats

    @property
    def df_error(self) -> int:
        return self.n - len(self.sequences) - self.rank

    def explained(self, names: tuple[str, ...]) -> tuple[float, int]:
        """Sum of squares and rank of the model with these terms only."""
        picked = np.concatenate([np.r_[self.terms[name]] for name in names]) if names else np.arange(0)
        if not picked.size:
            return 0.0, 0
        b = self.b[picked]
        beta, rank = solve_singular(self.G[np.ix_(picked, picked)], b)
        return float(beta @ b), int(rank)

    def test(self, name: str, among: tuple[str, ...]) -> FTest:
        """F of one term after all others in `among`."""
        total = self.total
        full, rank = self.explained(among)
        less, rank_less = self.explained(tuple(one for one in among if one != name))
        if rank == rank_less:
            return FTest(None, 0, self.n - len(self.sequences) - rank, None, _confounded(name))
        return f_test(full - less, rank - rank_less, total - full, self.n - len(self.sequences) - rank, total)


def _confounded(name: str) -> str:
    if name == "sample":
        return "the samples cannot be told from the order of serving"
    what = "position" if name == "position" else "the sample before"
    return f"in the orders served, {what} does not vary apart from the samples"


def order_effects(frame: Frame, *, alpha: float = 0.05, confidence: float = 0.95) -> OrderEffects:
    """Test and estimate the effects of position and of the sample served just before.

    frame : long, columns `taster, sample, score, position` and where present `condition, replicate,
        sitting`; rows of one attribute. Positions are whole numbers; the cup before is the row of the same
        serving sequence whose position is one less. A cup without a score still counts as the cup before;
        the first cup, and one whose predecessor is not in the frame, counts as after an average sample.
    alpha : level used in the sentence; confidence : of the intervals

    Least squares with sequences (taster, or taster by sitting) as blocks, and sample, condition, position
    and previous sample as factors; every F is adjusted for all other terms (Type III without interactions).
    A position effect holds whatever the first cup does; carry-over is first-order and additive.
    Sources: Jones & Kenward, Design and Analysis of Cross-Over Trials (3rd ed., 2014), ch. 4; MacFie,
    Bratchell, Greenhoff & Vallis 1989, Journal of Sensory Studies 4, 129-148.
    Raises ValueError as `read_scores` does; for missing, fractional or repeated positions; and for alpha or
    confidence outside (0, 1).
    """
    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    notes = read_scores(frame).notes
    served = served_cups(frame)
    model = _fit(served)
    everything = tuple(model.terms)
    plain = tuple(name for name in everything if name not in ("position", "carry_over"))
    residual = max(model.total - model.explained(everything)[0], 0.0)
    spread = residual / model.df_error if model.df_error > 0 else None
    position = model.test("position", everything)
    carry_over = model.test("carry_over", everything)
    return OrderEffects(
        position=position,
        carry_over=carry_over,
        sample=model.test("sample", everything),
        sample_unadjusted=model.test("sample", plain),
        positions=_effects(model, "position", served.place, served.places, spread, confidence),
        previous=_effects(model, "carry_over", served.previous, served.samples, spread, confidence),
        means=_means(model, served, spread, confidence),
        residual_sd=None if spread is None else float(np.sqrt(spread)),
        n=model.n,
        sequences=len(model.sequences),
        alpha=alpha,
        method="Least squares, tasters as blocks; F tests of position and of the sample before, "
        + ADJUSTED_FOR,
        notes=(*notes, *_notes(served, position, carry_over)),
    )


def _contrasts(codes: Codes, levels: int) -> Floats:
    """Columns for a factor whose effects sum to zero; code -1 (not known) stands at the average."""
    X = np.zeros((len(codes), max(levels - 1, 0)))
    for level in range(levels - 1):
        X[codes == level, level] = 1.0
    X[codes == levels - 1] = -1.0
    return X


def _fit(served: Served) -> _Model:
    blocks = {
        "condition": _contrasts(served.condition, served.conditions),
        "sample": _contrasts(served.sample, len(served.samples)),
        "position": _contrasts(served.place, len(served.places)),
        "carry_over": _contrasts(_as_levels(served), len(np.unique(served.previous[served.previous >= 0]))),
    }
    raw = np.concatenate(list(blocks.values()), axis=1)
    edges = np.cumsum([0, *(block.shape[1] for block in blocks.values())])
    n = np.bincount(served.sequence).astype(np.float64)
    size = len(n)
    row_mean = np.stack([sums_by(served.sequence, column, size) / n for column in raw.T], axis=1)
    y_mean = sums_by(served.sequence, served.score, size) / n
    X, y = raw - row_mean[served.sequence], served.score - y_mean[served.sequence]
    G, b = X.T @ X, X.T @ y
    beta, rank = solve_singular(G, b)
    return _Model(
        G=G,
        b=b,
        total=float(y @ y),
        sequence_mean=y_mean,
        row_mean=row_mean,
        terms={name: slice(edges[i], edges[i + 1]) for i, name in enumerate(blocks)},
        inverse=np.linalg.pinv(G, rcond=1e-9, hermitian=True).astype(np.float64),
        beta=beta,
        rank=int(rank),
        n=len(y),
        sequences=n,
    )


def _as_levels(served: Served) -> Codes:
    """Previous samples numbered over those that ever came before a scored cup."""
    seen = np.unique(served.previous[served.previous >= 0])
    return np.where(served.previous >= 0, np.searchsorted(seen, served.previous), -1)


def _estimate(
    model: _Model, L: Floats, at: float, extra: float, spread: float | None, confidence: float
) -> tuple[Estimate, float | None]:
    """The estimate at + L beta with its t interval; None where the orders do not determine it."""
    from scipy.special import stdtrit

    if L.size and np.abs(L @ model.inverse @ model.G - L).max() > 1e-6:
        return Estimate(None, None, None, confidence, how="not estimable from the orders served"), None
    value = at + float(L @ model.beta)
    if spread is None:
        return Estimate(value, None, None, confidence, how="no degrees of freedom for an interval"), None
    error = float(np.sqrt(spread * (extra + max(float(L @ model.inverse @ L), 0.0))))
    half = float(stdtrit(model.df_error, 1 - (1 - confidence) / 2)) * error
    how = f"t, {model.df_error} degrees of freedom"
    return Estimate(value, value - half, value + half, confidence, how=how), error


def _effects(
    model: _Model, term: str, codes: Codes, names: tuple[str, ...], spread: float | None, confidence: float
) -> tuple[OrderEffect, ...]:
    here = model.terms[term]
    levels = np.unique(codes[codes >= 0])
    found = []
    for place, level in enumerate(levels):
        L = np.zeros(len(model.beta))
        if place < len(levels) - 1:
            L[here.start + place] = 1.0
        else:
            L[here] = -1.0
        effect, error = _estimate(model, L, 0.0, 0.0, spread, confidence)
        found.append(OrderEffect(names[int(level)], int((codes == level).sum()), effect, error))
    return tuple(found)


def _means(
    model: _Model, served: Served, spread: float | None, confidence: float
) -> tuple[AdjustedMean, ...]:
    here = model.terms["sample"]
    size = len(served.samples)
    counts = np.bincount(served.sample, minlength=size)
    raw = sums_by(served.sample, served.score, size) / np.maximum(counts, 1)
    blocks = len(model.sequences)
    extra = float((1 / model.sequences).sum()) / blocks**2
    centre = model.row_mean.mean(axis=0)
    found = []
    for i, name in enumerate(served.samples):
        if not counts[i]:
            continue
        L = -centre
        L[here] += np.eye(size)[i, :-1] if i < size - 1 else -1.0
        adjusted, error = _estimate(model, L, float(model.sequence_mean.mean()), extra, spread, confidence)
        moved = None if adjusted.estimate is None else adjusted.estimate - float(raw[i])
        found.append(AdjustedMean(name, int(counts[i]), float(raw[i]), adjusted, error, moved))
    return tuple(found)


def _notes(served: Served, position: FTest, carry_over: FTest) -> tuple[str, ...]:
    notes = [f"a serving sequence is one {served.sequence_is}"]
    if served.unknown_before:
        notes.append(
            f"{count(served.unknown_before, 'cup')} after the first position has no recorded cup before it and "
            "counts as after an average sample"
        )
    full = len(served.places) - 1
    if 0 < position.df_num < full:
        notes.append(f"only {position.df_num:g} of {full} contrasts between positions are estimable")
    before = len(np.unique(served.previous[served.previous >= 0])) - 1
    if 0 < carry_over.df_num < before:
        notes.append(
            f"only {carry_over.df_num:g} of {before} contrasts between preceding samples are estimable"
        )
    notes.append("tasters are blocks: the means' intervals speak of these tasters")
    return tuple(notes)
