"""How many servings A-not-A and same-different tests need: exact power of Fisher's test at a d' and a criterion."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.discrimination_exact import at_most, share, upper_tail, whole_number
from stats.discrimination_two_product import rates_at
from stats.phrasing import percent, significant
from stats.results import Result
from stats.sample_size import PowerAtBoth

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

TESTS = ("A-not-A", "same-different")
MOST_SERVINGS = 1000


@dataclass(frozen=True, slots=True)
class RequiredServings(Result):
    """Servings (pairs for same-different) of each kind that a two-product test needs.

    test, d_prime, criterion, alpha, target_power : as given, the criterion as used
    target_rate, other_rate : P(yes) for each kind at that d' and criterion
    smallest : least number per kind that meets the target; lasting : from here on every number tried does
    tried : the largest number tried; power : exact power at smallest and lasting
    """

    test: str
    d_prime: float
    criterion: float
    alpha: float
    target_power: float
    target_rate: float
    other_rate: float
    smallest: int
    lasting: int
    tried: int
    power: PowerAtBoth
    method: str
    notes: tuple[str, ...]

    def sentence(self) -> str:
        """The number to plan for."""
        what = "servings" if self.test == "A-not-A" else "pairs"
        return (
            f"To find d' = {significant(self.d_prime, 2)} with a power of {percent(self.target_power)}, the "
            f"{self.test} test needs {self.lasting} {what} of each kind (smallest number that does: {self.smallest})."
        )


def two_product_power(
    test: str, per_kind: int, *, d_prime: float, criterion: float | None = None, alpha: float = 0.05
) -> float:
    """Exact power of Fisher's one-sided test with so many servings (or pairs) of each kind.

    test : "A-not-A" or "same-different"; per_kind : 1 .. 1000; d_prime : >= 0
    criterion : c of A-not-A or τ of same-different; default: the one with the widest gap between the two rates
    Raises ValueError for other arguments. Source: enumeration of both binomials.
    """
    n = whole_number(per_kind, "per_kind", 1)
    if n > MOST_SERVINGS:
        raise ValueError(f"per_kind must be at most {MOST_SERVINGS}, but got {per_kind!r}")
    rates = rates_at(_known(test), d_prime, _criterion(test, d_prime, criterion))
    return _power(n, *rates, share(alpha, "alpha"))


def required_servings(
    test: str, *, d_prime: float, power: float, criterion: float | None = None, alpha: float = 0.05
) -> RequiredServings:
    """Servings (pairs) of each kind so that the test finds this d' with this power.

    Arguments as `two_product_power`, d_prime > 0. Raises ValueError also where about a thousand would not do.
    """
    import numpy as np

    if not d_prime > 0:
        raise ValueError(f"d_prime must be positive, but got {d_prime!r}")
    used = _criterion(_known(test), d_prime, criterion)
    target, other = rates_at(test, d_prime, used)
    most = _far_enough(target, other, share(alpha, "alpha"), share(power, "power"))
    curve = np.array([_power(n, target, other, alpha) for n in range(1, most + 1)])
    meets = curve >= power * (1 - 1e-12)
    if not most or not meets[-1]:
        raise ValueError(
            f"d_prime={d_prime!r} with criterion {used:.3g} is too small: {MOST_SERVINGS} servings of each kind do not "
            f"reach power={power!r}"
        )
    smallest = int(np.argmax(meets)) + 1
    lasting = 1 if meets.all() else int(np.flatnonzero(~meets)[-1]) + 2
    return RequiredServings(
        test=test,
        d_prime=d_prime,
        criterion=used,
        alpha=alpha,
        target_power=power,
        target_rate=target,
        other_rate=other,
        smallest=smallest,
        lasting=lasting,
        tried=most,
        power=PowerAtBoth(float(curve[smallest - 1]), float(curve[lasting - 1])),
        method="Exact power of Fisher's test, one-sided, both binomials enumerated",
        notes=(
            "Assumes independent answers.",
            f"Every number up to {most} was tried.",
            "The criterion is the tasters' own: another one costs power.",
        ),
    )


def _known(test: str) -> str:
    if test not in TESTS:
        raise ValueError(f"test must be 'A-not-A' or 'same-different', but got {test!r}")
    return test


def _criterion(test: str, d: float, given: float | None) -> float:
    """The criterion given, or the one with the widest gap between the two rates (d'/2 for A-not-A)."""
    from scipy.optimize import minimize_scalar

    if not 0 <= d < math.inf:
        raise ValueError(f"d_prime must be a number of at least 0, but got {d!r}")
    if given is not None:
        if not math.isfinite(given) or (test == "same-different" and given <= 0):
            raise ValueError(
                f"criterion must be a finite number (positive for same-different), but got {given!r}"
            )
        return float(given)
    if test == "A-not-A":
        return d / 2

    def gap(tau: float) -> float:
        target, other = rates_at(test, d, tau)
        return other - target

    return float(minimize_scalar(gap, bounds=(1e-6, d + 4), method="bounded", options={"xatol": 1e-9}).x)


def _far_enough(target: float, other: float, alpha: float, power: float) -> int:
    """Half as many again as the normal approximation asks for, and forty more: past the saw-tooth's reach.

    0 where even the approximation asks for more than the most that is tried.
    """
    from scipy.special import ndtri

    middle = (target + other) / 2
    spread = -float(ndtri(alpha)) * math.sqrt(2 * middle * (1 - middle))
    spread += max(0.0, float(ndtri(power))) * math.sqrt(target * (1 - target) + other * (1 - other))
    gap = target - other
    rough = (spread / gap) ** 2 if gap > 0 else math.inf
    return 0 if rough > MOST_SERVINGS else min(MOST_SERVINGS, math.ceil(1.5 * rough) + 40)


def _power(n: int, target: float, other: float, alpha: float) -> float:
    import numpy as np
    from scipy.special import gammaln, xlog1py, xlogy

    counts = np.arange(n + 1)
    choose = gammaln(n + 1) - gammaln(counts + 1) - gammaln(n - counts + 1)
    weight = np.exp(choose + xlogy(counts, other) + xlog1py(n - counts, -other))
    return float(weight @ upper_tail(_least_target(n, choose, alpha), n, target))


def _least_target(n: int, choose: Floats, alpha: float) -> Integers:
    """For every number of yes to the other kind, the least number of yes to the target that Fisher's test rejects."""
    import numpy as np
    from scipy.special import gammaln

    counts, totals = np.arange(n + 1), np.arange(2 * n + 1)
    choose_total = gammaln(2 * n + 1) - gammaln(totals + 1) - gammaln(2 * n - totals + 1)
    least = np.full(n + 1, n + 1)
    tail = np.zeros(n + 2)  # tail[y + 1] holds P(target >= x | x + y yes in all), built from x = n downwards
    for x in range(n, -1, -1):
        tail[1:] = np.exp(choose[x] + choose - choose_total[x + counts]) + tail[:-1]
        least[at_most(tail[1:], alpha)] = x
        tail[0] = 0.0
    return least
