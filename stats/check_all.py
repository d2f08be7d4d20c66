"""Check-all-that-apply: which terms tell the samples apart, their map, and what goes with liking."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from stats.additive_fit import sums_by
from stats.check_all_exact import exact_or_sampled_p
from stats.correspondence import Correspondence, correspondence
from stats.multiplicity import holm
from stats.phrasing import count, listing, p_text, percent, significant
from stats.results import Estimate, Result
from stats.score_table import read_scores

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from stats.score_table import Codes, Floats, Frame


@dataclass(frozen=True, slots=True)
class TermPair:
    """Two samples on one term, compared by the exact McNemar test.

    only_a, only_b : tasters (blocks) who checked the term for one of the two only
    p_value : two-sided exact binomial of only_a of only_a + only_b at 1/2; p_adjusted : Holm over the pairs
    """

    sample_a: str
    sample_b: str
    share_a: float
    share_b: float
    only_a: int
    only_b: int
    p_value: float
    p_adjusted: float


@dataclass(frozen=True, slots=True)
class TermTest:
    """One term over all samples.

    checked : sample and how many blocks checked it; blocks : blocks in the test (they have every sample)
    cochran_q, df, p_value : Cochran's Q, chi-square form; None where nobody tells the samples apart
    p_permutation : exact by permuting each block's answers, or by sampled permutations; None where the blocks
        are many (`permutation` says which)
    """

    term: str
    blocks: int
    checked: tuple[tuple[str, int], ...]
    cochran_q: float | None
    df: int
    p_value: float | None
    p_permutation: float | None
    permutation: str
    pairs: tuple[TermPair, ...]

    @property
    def p(self) -> float | None:
        """The permutation p where there is one, otherwise that of the chi-square form."""
        return self.p_value if self.p_permutation is None else self.p_permutation


@dataclass(frozen=True, slots=True)
class TermLiking:
    """Liking where a term was checked against where it was not, within tasters.

    n_checked, n_unchecked : answers; liking_checked, liking_unchecked : their mean liking, None where empty
    difference : mean over tasters of (checked less not checked), tasters who did both; t interval
    """

    term: str
    n_checked: int
    n_unchecked: int
    liking_checked: float | None
    liking_unchecked: float | None
    difference: Estimate
    tasters: int


@dataclass(frozen=True, slots=True)
class CheckAll(Result):
    """Check-all-that-apply results, term by term.

    terms : one `TermTest` per term; `cochran_q`, `df`, `p_value` and `pairs` give those of the only term
    correspondence : map of samples and terms, None under two samples or terms
    liking : co-occurrence with liking, empty where no liking was given
    """

    terms: tuple[TermTest, ...]
    correspondence: Correspondence | None
    liking: tuple[TermLiking, ...]
    alpha: float
    method: str
    notes: tuple[str, ...]

    def term(self, name: str) -> TermTest:
        """The test of one term; ValueError for a term that is not there."""
        for one in self.terms:
            if one.term == name:
                return one
        raise ValueError(f"term {name!r} is not among {', '.join(one.term for one in self.terms)}")

    def _only(self) -> TermTest:
        if len(self.terms) != 1:
            raise ValueError(f"there are {len(self.terms)} terms: ask for one with term(name)")
        return self.terms[0]

    @property
    def cochran_q(self) -> float | None:
        """Cochran's Q of the only term; ValueError where there are several."""
        return self._only().cochran_q

    @property
    def df(self) -> int:
        """Degrees of freedom of the only term."""
        return self._only().df

    @property
    def p_value(self) -> float | None:
        """Chi-square p of the only term."""
        return self._only().p_value

    @property
    def pairs(self) -> tuple[TermPair, ...]:
        """Pairs of samples of the only term."""
        return self._only().pairs

    def sentence(self) -> str:
        """Which terms tell the samples apart, after Holm over the terms."""
        tested = [(one.term, one.p) for one in self.terms if one.p is not None]
        if not tested:
            return (
                "No term was checked for some samples and not for others, so none can tell the samples apart."
            )
        adjusted = holm([p for _, p in tested])
        found = [(term, p) for (term, _), p in zip(tested, adjusted, strict=True) if p < self.alpha]
        over = f", Holm over {count(len(tested), 'term')}" if len(tested) > 1 else ""
        if not found:
            least = min(adjusted)
            return (
                f"No term was shown to tell the samples apart (Cochran's Q, smallest {p_text(least)}{over})."
            )
        told = [f"{term} ({p_text(p)})" for term, p in sorted(found, key=lambda pair: pair[1])]
        verb = "tells" if len(told) == 1 else "tell"
        return f"{listing(told)} {verb} the samples apart (Cochran's Q{over})."


def check_all(
    frame: Frame, *, liking: Frame | None = None, alpha: float = 0.05, confidence: float = 0.95, seed: int = 0
) -> CheckAll:
    """Analyse check-all-that-apply answers.

    frame : long, columns `taster, sample, score` with score 1 (checked) or 0, `attribute` naming the term
        where there are several, and `condition`, `replicate` where present (each makes a block of its own)
    liking : long frame of liking with the same tasters and samples, for the co-occurrence
    alpha : level in the sentence; confidence : of the liking intervals
    seed : of the sampled permutations, used where the exact distribution is too long to walk

    A block lacking an answer for any sample is left out of that term's test and said in the notes.
    Sources: Cochran 1950, Biometrika 37, 256-266 (Q and its permutation); McNemar 1947, exact binomial form;
    Greenacre, Correspondence Analysis in Practice (3rd ed., 2017).
    Raises ValueError as `read_scores` does, and for scores other than 0 and 1.
    """
    import pandas as pd

    for name, value in (("alpha", alpha), ("confidence", confidence)):
        if not 0 < value < 1:
            raise ValueError(f"{name} must lie between 0 and 1, but got {value!r}")
    data = frame if isinstance(frame, pd.DataFrame) else pd.DataFrame(frame)
    notes: list[str] = []
    tests = []
    counts: list[dict[str, float]] = []
    for term, rows in _by_term(data):
        answers, samples, said = _blocks(rows, term)
        notes += said
        tests.append(_term_test(term, answers, samples, seed))
        counts.append(dict(zip(samples, np.nansum(answers, axis=0), strict=True)))
    names = sorted({sample for one in counts for sample in one})
    table = np.array([[one.get(name, 0.0) for one in counts] for name in names])
    if len(tests) > 1:
        notes.append("p-values are per term; the sentence corrects for the number of terms by Holm's rule")
    return CheckAll(
        terms=tuple(tests),
        correspondence=correspondence(table, names, [one.term for one in tests]),
        liking=() if liking is None else tuple(_liking(data, liking, confidence)),
        alpha=alpha,
        method="Cochran's Q with permutation p, exact McNemar pairs (Holm), correspondence analysis",
        notes=tuple(dict.fromkeys(notes)),
    )


def _by_term(data: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    if "attribute" not in data.columns:
        return [("checked", data)]
    names = data["attribute"]
    if names.isna().any():
        raise ValueError("attribute: a row has no term; give every row its term")
    text = names.astype(str)
    return [(term, data[text == term]) for term in sorted(set(text))]


def _blocks(rows: pd.DataFrame, term: str) -> tuple[Floats, tuple[str, ...], list[str]]:
    """Answers by block and sample, not-a-number where there is none."""
    table = read_scores(rows, least_tasters=1)
    odd = np.flatnonzero((table.score != 0) & (table.score != 1))
    if odd.size:
        raise ValueError(f"score: {float(table.score[odd[0]])!r} for {term!r}; check-all answers are 0 or 1")
    block = table.taster
    for name in ("condition", "replicate"):
        if name in table.codes:
            block = block * len(table.levels[name]) + table.codes[name]
    _, block = np.unique(block, return_inverse=True)
    answers = np.full((int(block.max()) + 1, len(table.samples)), np.nan)
    answers[block, table.sample] = table.score
    notes = [f"{term}: {note}" for note in table.notes]
    gaps = int(np.isnan(answers).any(axis=1).sum())
    if gaps:
        notes.append(
            f"{term}: {count(gaps, 'block')} without an answer for every sample left out of the test"
        )
    if len(answers) > len(table.tasters):
        notes.append("a taster's conditions or replicates count as blocks of their own, as if independent")
    return answers, table.samples, notes


def _term_test(term: str, answers: Floats, samples: tuple[str, ...], seed: int) -> TermTest:
    full = answers[~np.isnan(answers).any(axis=1)]
    k = len(samples)
    columns, rows = full.sum(axis=0), full.sum(axis=1)
    room = k * rows.sum() - (rows**2).sum()
    q = p = permuted = None
    how = "no block checked the term for some samples and not for others"
    if room > 0:
        from scipy.special import chdtrc

        q = float((k - 1) * (k * (columns**2).sum() - columns.sum() ** 2) / room)
        p = float(chdtrc(k - 1, q))
        permuted, how = exact_or_sampled_p(rows.astype(int), columns, k, seed)
    return TermTest(
        term=term,
        blocks=len(full),
        checked=tuple(
            (name, int(total)) for name, total in zip(samples, np.nansum(answers, axis=0), strict=True)
        ),
        cochran_q=q,
        df=k - 1,
        p_value=p,
        p_permutation=permuted,
        permutation=how,
        pairs=_pairs(answers, samples),
    )


def _pairs(answers: Floats, samples: tuple[str, ...]) -> tuple[TermPair, ...]:
    """Every pair over the blocks that answered both."""
    from scipy.special import bdtr

    rows = []
    for a, b in combinations(range(len(samples)), 2):
        both = answers[~np.isnan(answers[:, [a, b]]).any(axis=1)][:, [a, b]]
        only_a, only_b = int((both[:, 0] > both[:, 1]).sum()), int((both[:, 1] > both[:, 0]).sum())
        n = only_a + only_b
        p = min(1.0, 2 * float(bdtr(min(only_a, only_b), n, 0.5))) if n else 1.0
        share = both.mean(axis=0) if len(both) else np.zeros(2)
        rows.append((samples[a], samples[b], float(share[0]), float(share[1]), only_a, only_b, p))
    adjusted = holm([row[-1] for row in rows])
    return tuple(TermPair(*row, p_adjusted=p) for row, p in zip(rows, adjusted, strict=True))


def _liking(data: pd.DataFrame, liking: Frame, confidence: float) -> list[TermLiking]:
    scores = read_scores(liking)
    means = scores.cell_means()
    found = []
    for term, rows in _by_term(data):
        table = read_scores(rows, least_tasters=1)
        taster = {name: i for i, name in enumerate(scores.tasters)}
        sample = {name: i for i, name in enumerate(scores.samples)}
        i = np.array([taster.get(name, -1) for name in table.tasters])[table.taster]
        j = np.array([sample.get(name, -1) for name in table.samples])[table.sample]
        liked = np.where((i >= 0) & (j >= 0), means[i, j], np.nan)
        known = ~np.isnan(liked)
        found.append(_together(term, table.taster[known], table.score[known] > 0, liked[known], confidence))
    return found


def _together(
    term: str, taster: Codes, checked: NDArray[np.bool_], liked: Floats, confidence: float
) -> TermLiking:
    from scipy.special import stdtrit

    size = int(taster.max(initial=-1)) + 1
    yes, no = np.bincount(taster[checked], minlength=size), np.bincount(taster[~checked], minlength=size)
    total = sums_by(taster[checked], liked[checked], size), sums_by(taster[~checked], liked[~checked], size)
    both = (yes > 0) & (no > 0)
    gaps = total[0][both] / yes[both] - total[1][both] / no[both]
    m = len(gaps)
    mean = float(np.mean(gaps)) if m else None
    interval = Estimate(mean, None, None, confidence, how="needs two tasters who did both")
    if m >= 2 and mean is not None:
        half = float(stdtrit(m - 1, 1 - (1 - confidence) / 2) * np.std(gaps, ddof=1) / np.sqrt(m))
        interval = Estimate(mean, mean - half, mean + half, confidence, how=f"t over {m} tasters")
    return TermLiking(
        term=term,
        n_checked=int(checked.sum()),
        n_unchecked=int((~checked).sum()),
        liking_checked=float(liked[checked].mean()) if checked.any() else None,
        liking_unchecked=float(liked[~checked].mean()) if (~checked).any() else None,
        difference=interval,
        tasters=m,
    )


def liking_sentence(one: TermLiking) -> str:
    """How liking goes with one term, in words: association, not cause."""
    gap = one.difference
    if gap.estimate is None or gap.low is None or gap.high is None:
        return f"Too few tasters checked {one.term} for some samples only to set it beside liking."
    way = "higher" if gap.estimate >= 0 else "lower"
    sure = "" if gap.low > 0 or gap.high < 0 else ", a difference that may be none"
    span = f"{significant(gap.low, 2)} to {significant(gap.high, 2)}".replace("-", "\u2212")
    return (
        f"Where a taster checked {one.term}, liking was {significant(abs(gap.estimate), 2)} points {way} "
        f"({percent(gap.confidence)} interval {span}{sure})."
    )
