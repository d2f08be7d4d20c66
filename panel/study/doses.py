"""How much caffeine or alcohol a taster may take in, counting every cup as the strongest one and as swallowed.

Limits. Caffeine: 200 mg at once and 400 mg over a day give no concern for healthy adults who are not pregnant
(EFSA Scientific Opinion on the safety of caffeine, 2015). Alcohol: 14 UK units of 8 g a week, spread evenly, so
16 g a day (UK Chief Medical Officers' low risk drinking guidelines, 2016; no daily limit is given there, the
division by seven is ours).
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from panel.study.said import said

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panel.study.plan import Plan

UK_UNIT_G = 8.0
US_DRINK_G = 14.0


@dataclass(frozen=True, slots=True)
class Agent:
    """What is counted. per_day : the limit for one taster and day; at_once : for one sitting, None without one.

    told : what tasters read beforehand; told_at_once : what they read where a sitting holds more than `at_once`
    """

    key: str
    name: str
    unit: str
    per_day: float
    at_once: float | None
    source: str
    told: str
    told_at_once: str = ""


CAFFEINE = Agent(
    "caffeine",
    "caffeine",
    "mg",
    400.0,
    200.0,
    "EFSA 2015, healthy adults who are not pregnant",
    "If you swallow everything, this sitting holds at most {amount} mg of caffeine in {cups} cups. Up to {limit} mg a "
    "day are of no concern for healthy adults who are not pregnant (EFSA 2015). Count what else you drink today.",
    "If you swallow everything, this sitting holds at most {amount} mg of caffeine in {cups} cups. Up to {at_once} mg "
    "at once and {limit} mg a day are of no concern for healthy adults who are not pregnant (EFSA 2015): this is more "
    "than that at once, so spit out or leave some. Count what else you drink today.",
)
ALCOHOL = Agent(
    "alcohol",
    "alcohol",
    "g",
    14 * UK_UNIT_G / 7,
    None,
    "UK Chief Medical Officers 2016: 14 units a week, by seven",
    "If you swallow everything, this sitting holds at most {amount} g of alcohol in {cups} cups. {limit} g a day is "
    "the limit counted here, from 14 UK units a week (UK Chief Medical Officers 2016). Spit out if you like; count "
    "what else you drink today.",
)
AGENTS = (CAFFEINE, ALCOHOL)


@dataclass(frozen=True, slots=True)
class Dose:
    """What some cups amount to at most. before: what the same taster had on that day elsewhere."""

    agent: Agent
    cups: int
    per_cup: float
    before: float = 0.0

    @property
    def amount(self) -> float:
        """In the agent's unit, every cup counted as the strongest."""
        return self.cups * self.per_cup + self.before

    @property
    def over(self) -> bool:
        """Whether it is more than a day's limit."""
        return self.amount > self.agent.per_day

    @property
    def told(self) -> str:
        """The same for tasters, before they agree."""
        at_once = self.agent.at_once
        much = at_once is not None and self.cups * self.per_cup > at_once
        return said(
            self.agent.told_at_once if much else self.agent.told,
            amount=f"{self.amount:.4g}",
            cups=self.cups,
            limit=f"{self.agent.per_day:g}",
            **({"at_once": f"{at_once:g}"} if much else {}),
        )

    @property
    def in_words(self) -> str:
        """Amount, limit and source in a sentence."""
        amount = f"{self.amount:.4g} {self.agent.unit} of {self.agent.name}"
        if self.agent is ALCOHOL:
            amount += f" ({self.amount / UK_UNIT_G:.1f} UK units, {self.amount / US_DRINK_G:.1f} US drinks)"
        limit = f"{self.agent.per_day:g} {self.agent.unit} a day ({self.agent.source})"
        if self.over:
            return f"{amount}: more than {limit}."
        if self.agent.at_once is not None and self.cups * self.per_cup > self.agent.at_once:
            return (
                f"{amount}: within {limit}, but more than {self.agent.at_once:g} {self.agent.unit} at once."
            )
        return f"{amount}, within {limit}."


def dose_of(plan: Plan, cups: int, before: Mapping[str, float] = MappingProxyType({})) -> tuple[Dose, ...]:
    """What `cups` cups of this plan amount to, for each agent that it counts. before: agent -> had elsewhere."""
    counted = ((CAFFEINE, plan.caffeine_mg), (ALCOHOL, plan.alcohol_g))
    return tuple(
        Dose(agent, cups, per_cup, before.get(agent.key, 0.0))
        for agent, per_cup in counted
        if per_cup is not None
    )


def too_much(plan: Plan, cups: int) -> str:
    """Why so many cups at one sitting are not served, and what to do; "" where they may be."""
    for dose in dose_of(plan, cups):
        if dose.over:
            return (
                f"A taster gets up to {cups} cups at a sitting. Counted as the strongest one and swallowed, that is "
                f"{dose.in_words} Serve fewer or smaller cups, or spread them over sittings on several days."
            )
    return ""
