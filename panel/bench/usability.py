"""The System Usability Scale, scored as published, and ratings from 1 to 5, summarised for few testers.

The ten statements and the rule: Brooke, J. (1996), SUS: a "quick and dirty" usability scale, in Jordan, Thomas,
Weerdmeester & McClelland (eds), Usability Evaluation in Industry, Taylor & Francis, 189-194. The scale is free to
use provided that its source is acknowledged: (c) Digital Equipment Corporation, 1986.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from statistics import mean, median, stdev
from typing import TYPE_CHECKING

from stats.phrasing import count, listing, percent, significant

if TYPE_CHECKING:
    from collections.abc import Sequence

STATEMENTS = (
    "I think that I would like to use this system frequently",
    "I found the system unnecessarily complex",
    "I thought the system was easy to use",
    "I think that I would need the support of a technical person to be able to use this system",
    "I found the various functions in this system were well integrated",
    "I thought there was too much inconsistency in this system",
    "I would imagine that most people would learn to use this system very quickly",
    "I found the system very cumbersome to use",
    "I felt very confident using the system",
    "I needed to learn a lot of things before I could get going with this system",
)
ENDS = ("Strongly disagree", "Strongly agree")
ACKNOWLEDGEMENT = (
    "System Usability Scale: J. Brooke, in Usability Evaluation in Industry (Taylor & Francis, 1996), "
    "© Digital Equipment Corporation, 1986."
)
# Below so many testers a mean is called their opinion and no more. Tullis & Stetson (2004), A comparison of
# questionnaires for assessing website usability, found samples of 12 to 14 to agree with the whole; from memory.
FEW_TESTERS = 12


@dataclass(frozen=True, slots=True)
class TesterScores:
    """Scores of testers, each tester once.

    mean, low, high : mean and its t interval, cut at the ends of the scale; no limits for a single tester, nor where
        all gave the same, which shows no scatter and is no certainty
    u : standard error of the mean, None as the limits are; n : testers; least, most : of the scale
    counts : how many testers gave each value, for ratings from 1 to 5; () for other scores
    """

    n: int
    mean: float
    median: float
    u: float | None
    low: float | None
    high: float | None
    least: float
    most: float
    counts: tuple[tuple[int, int], ...] = ()
    confidence: float = 0.95

    def sentence(self) -> str:
        """The mean with its interval, how testers were spread, and what so few can say."""
        scale = f"on a scale from {self.least:g} to {self.most:g}"
        scores = f"{count(self.n, 'tester')}: mean {significant(self.mean)} {scale}"
        span = ""
        if self.low is not None and self.high is not None:
            span = (
                f" ({percent(self.confidence)} interval {significant(self.low)} to {significant(self.high)})"
            )
        given = [f"{number} gave {value}" for value, number in self.counts if number]
        spread = f"; {listing(given)}" if given else ""
        few = f" {few_testers(self.n)}." if self.n < FEW_TESTERS else ""
        return f"{scores}{span}{spread}.{few}"


def usability_score(answers: Sequence[int]) -> float:
    """0 to 100 from ten answers, each 1 (strongly disagree) to 5 (strongly agree), in the published order.

    Odd statements count answer - 1, even ones 5 - answer; the sum times 2.5 (Brooke 1996). ValueError where an answer
    is missing or out of range: a questionnaire with gaps is not scored.
    """
    if len(answers) != len(STATEMENTS):
        raise ValueError(f"all ten statements need an answer, but there are {len(answers)}")
    for place, answer in enumerate(answers, start=1):
        if answer not in (1, 2, 3, 4, 5):
            raise ValueError(f"statement {place} has the answer {answer!r}; choose from 1 to 5")
    return 2.5 * sum(answer - 1 if place % 2 else 5 - answer for place, answer in enumerate(answers, start=1))


def scores_of_testers(
    scores: Sequence[float], least: float, most: float, *, confidence: float = 0.95
) -> TesterScores:
    """Mean of the testers' scores with its t interval, cut at the ends of the scale.

    scores : one per tester, on a scale from `least` to `most`. ValueError without scores or for one off the scale.
    """
    from scipy.special import stdtrit

    if not scores:
        raise ValueError("scores: nobody has rated yet")
    if any(not least <= score <= most for score in scores):
        raise ValueError(f"scores must lie between {least:g} and {most:g}, but got {list(scores)!r:.80}")
    n, middle = len(scores), mean(scores)
    u = stdev(scores) / math.sqrt(n) if len(set(scores)) > 1 else None
    half = None if u is None else float(stdtrit(n - 1, (1 + confidence) / 2)) * u
    found = Counter(scores)
    rated = all(score == int(score) for score in scores) and most - least <= 4
    return TesterScores(
        n=n,
        mean=middle,
        median=median(scores),
        u=u,
        low=None if half is None else max(least, middle - half),
        high=None if half is None else min(most, middle + half),
        least=least,
        most=most,
        counts=tuple((value, found[value]) for value in range(int(least), int(most) + 1)) if rated else (),
        confidence=confidence,
    )


def few_testers(n: int) -> str:
    """What a mean of so few testers is."""
    if n == 1:
        return "One tester: this is one person's opinion, and how far others differ is unknown"
    return f"{n} testers are few: read the mean as their opinion, not as that of all users"
