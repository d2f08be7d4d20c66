"""How many tasters a discrimination test needs, and what a given number can show. Exact binomial power.

Power is a saw-tooth in n: one more taster can lower it. So every answer gives two numbers: the smallest n
that meets the demand, and the lasting n from which every larger one does too. Plan for the lasting one.
That none larger fails is proved, not sampled: Hoeffding's inequality bounds the n beyond which no failure
can occur, and every n below that bound is computed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from stats.discrimination_exact import (
    critical_numbers,
    lower_tail,
    one_tail,
    share,
    share_correct,
    similar_numbers,
    upper_tail,
    whole_number,
)
from stats.discrimination_intervals import discriminators, finite_d_prime
from stats.phrasing import percent, significant
from stats.results import Result
from stats.thurstone import guess_probability, has_d_prime, percent_correct

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

MOST_TASTERS = 1_000_000
ONE_ANSWER = "Assumes one independent answer per taster."


class PowerAtBoth(NamedTuple):
    """Exact power at the smallest n and at the lasting n."""

    smallest: float
    lasting: float


@dataclass(frozen=True, slots=True)
class RequiredTasters(Result):
    """How many tasters a test needs.

    test, risk, target_power, pd, d_prime, two_sided : as given (risk is alpha, or beta for similarity); of pd and
        d_prime the one not given is computed, None where the method has no d'
    question : "difference" or "similarity"
    smallest : the least n whose exact power meets the target; some larger n may miss it again
    lasting : the n from which this and every larger n meets it (recommended)
    power : exact power at smallest and at lasting
    critical_values : the critical number correct at smallest and at lasting
    """

    test: str
    question: str
    risk: float
    target_power: float
    pd: float
    d_prime: float | None
    two_sided: bool
    smallest: int
    lasting: int
    power: PowerAtBoth
    critical_values: tuple[int, int]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The number to plan for, and why not the smallest."""
        aim = (
            f"To find a difference that {_size(self)}"
            if self.question == "difference"
            else (
                f"To let truly identical samples pass a similarity test (limit: {percent(self.pd)} discriminators)"
            )
        )
        start = (
            f"{aim} with a power of {percent(self.target_power)}, a {self.test} test needs {self.lasting} tasters "
            f"(power {percent(self.power.lasting, 1)})"
        )
        if self.smallest == self.lasting:
            return f"{start}; every larger number does as well."
        return (
            f"{start}; {self.smallest} would do by luck of the count (power {percent(self.power.smallest, 1)}), "
            f"but some numbers between them fall short."
        )


@dataclass(frozen=True, slots=True)
class PowerCurve(Result):
    """Exact power for each number of tasters.

    tasters, critical_values (None where n cannot reach the risk), power : one entry per number of tasters
    actual_risk : the risk really run with that critical value, at most `risk`
    """

    test: str
    question: str
    risk: float
    pd: float
    d_prime: float | None
    two_sided: bool
    tasters: tuple[int, ...]
    critical_values: tuple[int | None, ...]
    power: tuple[float, ...]
    actual_risk: tuple[float, ...]
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The power at the ends of the curve."""
        ends = dict(zip(self.tasters, self.power, strict=True))
        first, last = min(ends), max(ends)
        reach = f"{percent(ends[last], 1)} with {last} tasters"
        if first != last:
            reach = f"{percent(ends[first], 1)} with {first} and {reach}"
        if self.question == "similarity":
            return f"Truly identical samples pass a {self.test} similarity test (limit {percent(self.pd)}) in {reach}."
        return f"A {self.test} test finds a difference that {_size(self)} in {reach}."


@dataclass(frozen=True, slots=True)
class SmallestDifference(Result):
    """The smallest difference that n tasters find with the given power; None where n cannot reach alpha."""

    test: str
    n: int
    alpha: float
    target_power: float
    two_sided: bool
    critical_value: int | None
    pc: float | None
    pd: float | None
    d_prime: float | None
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """What is likely to be missed."""
        if self.pd is None:
            return f"{self.n} tasters cannot reach alpha = {self.alpha:g} in a {self.test} test, whatever they answer."
        distance = "" if self.d_prime is None else f" (d' = {significant(self.d_prime, 2)})"
        return (
            f"With {self.n} tasters a {self.test} test finds a difference that {percent(self.pd)} of tasters perceive"
            f"{distance} with a power of {percent(self.target_power)}; smaller ones are more easily missed."
        )


def required_tasters(
    method: str,
    *,
    alpha: float,
    power: float,
    pd: float | None = None,
    d_prime: float | None = None,
    two_sided: bool = False,
) -> RequiredTasters:
    """Tasters needed so that a difference test of this size has at least this power, exact.

    method : a name that `guess_probability` knows
    alpha, power : 0..1; pd : share of discriminators, 0 < pd <= 1, or d_prime > 0: exactly one of the two
    two_sided : only for 2-AFC without an expected direction; power then counts the right direction only
    Raises ValueError for other arguments, and where more than a million tasters would be needed.
    Source: definition of ISO 4120 Table A.3, ISO 10399 Table A.3, ISO 5495 Tables A.4 and A.5; the saw-tooth:
    Chernick & Liu 2002, The American Statistician 56:149.
    """
    pc, pd, distance = _effect(method, pd, d_prime)
    level = one_tail(method, alpha, two_sided)
    guess = guess_probability(method)
    tasters = sizes_to_try(pc - guess, level, share(power, "power"))
    critical = critical_numbers(guess, tasters, level)
    reached = upper_tail(critical, tasters, pc)
    return _required(
        tasters,
        critical,
        reached,
        power,
        _Inputs(method, "difference", alpha, pd, distance, two_sided),
    )


def required_tasters_for_similarity(
    method: str, *, beta: float, pd_limit: float, power: float
) -> RequiredTasters:
    """Tasters needed so that truly identical samples pass a similarity test with at least this chance, exact.

    method : a name that `guess_probability` knows
    beta : risk of passing samples that a share pd_limit of tasters tells apart, 0..1
    pd_limit : 0 < pd_limit <= 1; power : chance that truly identical samples pass, 0..1
    Raises ValueError for other arguments, and where more than a million tasters would be needed.
    Source: definition of the similarity tables of ISO 4120 and ISO 10399.
    """
    pc, pd, distance = _effect(method, pd_limit, None, "pd_limit")
    guess = guess_probability(method)
    tasters = sizes_to_try(pc - guess, share(beta, "beta"), share(power, "power"))
    critical = similar_numbers(pc, tasters, beta)
    reached = lower_tail(critical, tasters, guess)
    return _required(
        tasters,
        critical,
        reached,
        power,
        _Inputs(method, "similarity", beta, pd, distance, False),
    )


def difference_power(
    method: str,
    tasters: int | Sequence[int],
    *,
    alpha: float = 0.05,
    pd: float | None = None,
    d_prime: float | None = None,
    two_sided: bool = False,
) -> PowerCurve:
    """Exact power of a difference test for each number of tasters; arguments as `required_tasters`."""
    pc, pd, distance = _effect(method, pd, d_prime)
    level = one_tail(method, alpha, two_sided)
    guess, n = guess_probability(method), _numbers(tasters)
    critical = critical_numbers(guess, n, level)
    return PowerCurve(
        test=method,
        question="difference",
        risk=alpha,
        pd=pd,
        d_prime=distance,
        two_sided=two_sided,
        tasters=tuple(n.tolist()),
        critical_values=tuple(
            c if c <= m else None for c, m in zip(critical.tolist(), n.tolist(), strict=True)
        ),
        power=tuple(upper_tail(critical, n, pc).tolist()),
        actual_risk=tuple(((1 + two_sided) * upper_tail(critical, n, guess)).tolist()),
        method="Exact binomial power of a difference test",
        notes=(ONE_ANSWER,),
    )


def similarity_power(
    method: str, tasters: int | Sequence[int], *, pd_limit: float, beta: float = 0.05
) -> PowerCurve:
    """Exact chance that truly identical samples pass; arguments as `required_tasters_for_similarity`."""
    pc, pd, distance = _effect(method, pd_limit, None, "pd_limit")
    guess, n = guess_probability(method), _numbers(tasters)
    critical = similar_numbers(pc, n, share(beta, "beta"))
    return PowerCurve(
        test=method,
        question="similarity",
        risk=beta,
        pd=pd,
        d_prime=distance,
        two_sided=False,
        tasters=tuple(n.tolist()),
        critical_values=tuple(c if c >= 0 else None for c in critical.tolist()),
        power=tuple(lower_tail(critical, n, guess).tolist()),
        actual_risk=tuple(lower_tail(critical, n, pc).tolist()),
        method="Exact binomial power of a similarity test, samples truly identical",
        notes=(ONE_ANSWER,),
    )


def smallest_difference(
    method: str, n: int, *, alpha: float = 0.05, power: float = 0.8, two_sided: bool = False
) -> SmallestDifference:
    """The smallest pd and d' that n tasters find with the given power, exact; arguments as `required_tasters`."""
    import numpy as np
    from scipy.special import betaincinv

    n = whole_number(n, "n", 1)
    level = one_tail(method, alpha, two_sided)
    target = share(power, "power")
    critical = int(critical_numbers(guess_probability(method), np.array([n]), level)[0])
    # P(X >= c) = power is an incomplete beta function of p: invert that, no search needed
    pc = float(betaincinv(critical, n - critical + 1, target)) if critical <= n else None
    return SmallestDifference(
        test=method,
        n=n,
        alpha=alpha,
        target_power=power,
        two_sided=two_sided,
        critical_value=critical if critical <= n else None,
        pc=pc,
        pd=None if pc is None else discriminators(method, pc),
        d_prime=None if pc is None or not has_d_prime(method) else finite_d_prime(method, pc),
        method="Exact binomial power of a difference test, solved for the difference",
        notes=(ONE_ANSWER,),
    )


class _Inputs(NamedTuple):
    test: str
    question: str
    risk: float
    pd: float
    d_prime: float | None
    two_sided: bool


def _required(
    tasters: Integers, critical: Integers, reached: Floats, power: float, inputs: _Inputs
) -> RequiredTasters:
    import numpy as np

    meets = reached >= power * (1 - 1e-12)
    smallest = int(np.argmax(meets))
    lasting = int(np.flatnonzero(~meets)[-1]) + 1 if not meets.all() else 0
    both = (smallest, lasting)
    return RequiredTasters(
        **inputs._asdict(),
        target_power=power,
        smallest=int(tasters[smallest]),
        lasting=int(tasters[lasting]),
        power=PowerAtBoth(*(float(reached[i]) for i in both)),
        critical_values=(int(critical[smallest]), int(critical[lasting])),
        method=f"Exact binomial power of a {inputs.question} test, every n up to Hoeffding's bound",
        notes=(ONE_ANSWER, "Power is a saw-tooth in n: plan for the lasting number."),
    )


def sizes_to_try(gap: float, level: float, power: float) -> Integers:
    """1 .. N, where from N on Hoeffding's inequality alone guarantees the power.

    gap : by how much the share counted rises above its null value; level : error in one tail
    The critical count is at most sqrt(n ln(1/level) / 2) + 2 above its null mean, so the count falls short of it
    with a probability of at most 1 - power once n gap exceeds that by sqrt(n ln(1/(1 - power)) / 2).
    """
    import numpy as np

    spread = math.sqrt(math.log(1 / level) / 2) + math.sqrt(math.log(1 / (1 - power)) / 2)
    root = (spread + math.sqrt(spread * spread + 8 * gap)) / (2 * gap)
    bound = math.ceil(root * root) + 1
    if bound > 3 * MOST_TASTERS:
        raise ValueError(
            f"the difference asked for changes the share of correct answers by only {gap:.2g}; that needs about "
            f"a million tasters or more. Choose a larger pd or d_prime, or another method"
        )
    return np.arange(1, bound + 1)


def _effect(
    method: str, pd: float | None, d_prime: float | None, name: str = "pd"
) -> tuple[float, float, float | None]:
    """pc, pd and d' from whichever of pd and d' was given."""
    if (pd is None) == (d_prime is None):
        raise ValueError(f"give exactly one of pd and d_prime, but got pd={pd!r} and d_prime={d_prime!r}")
    if pd is not None:
        pc = share_correct(method, pd, name)
        return pc, pd, finite_d_prime(method, pc) if has_d_prime(method) else None
    assert d_prime is not None
    if not 0 < d_prime < math.inf:
        raise ValueError(f"d_prime must be a positive number, but got {d_prime!r}")
    pc = float(percent_correct(method, d_prime))
    return pc, discriminators(method, pc), d_prime


def _numbers(tasters: int | Sequence[int]) -> Integers:
    import numpy as np

    several = [tasters] if np.ndim(tasters) == 0 else list(tasters)  # type: ignore[arg-type]
    if not several:
        raise ValueError("tasters must hold at least one number, but is empty")
    return np.array([whole_number(n, "tasters", 1) for n in several], dtype=np.int64)


def _size(result: RequiredTasters | PowerCurve) -> str:
    distance = "" if result.d_prime is None else f" (d' = {significant(result.d_prime, 2)})"
    return f"{percent(result.pd)} of tasters perceive{distance}"
