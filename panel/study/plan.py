"""The plan of a study: what is asked of whom about what. Frozen by the seal; holds no product's name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pydantic import TypeAdapter

ConditionMode = Literal["separate", "same cup"]
CodeRule = Literal["per cup", "per sample"]


@dataclass(frozen=True, slots=True)
class Product:
    """One sample by its name: the secret that the seal keeps.

    price : as typed, with its currency; allergens : keys of cautions.ALLERGENS
    """

    name: str
    maker: str = ""
    lot: str = ""
    price: str = ""
    note: str = ""
    allergens: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the ballot, asked once for each sample and condition.

    key : stable name in the data; scale : id in scales.SCALES
    low, high : the words at the two ends of a line
    """

    key: str
    text: str
    scale: str
    low: str = ""
    high: str = ""
    required: bool = True


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything about a study that may be known before the reveal.

    heading : the title tasters see; title : the one everybody else sees
    tasters : places of the design
    replicates : how often each taster meets each sample (rating) or how many sets each gets (triangle)
    conditions : how samples are served, in order; at least one
    condition_mode : "separate" cups, all of one condition first, or the addition into the "same cup"
    primary : key of the question the verdict rests on (rating)
    alpha : significance level; similarity_limit : largest tolerable share of discriminators, or None
    """

    title: str
    heading: str
    question: str
    method: str
    samples: int
    tasters: int
    replicates: int = 1
    conditions: tuple[str, ...] = ("as served",)
    condition_mode: ConditionMode = "separate"
    code_rule: CodeRule = "per cup"
    questions: tuple[Question, ...] = ()
    primary: str = ""
    alpha: float = 0.05
    similarity_limit: float | None = None
    briefing: str = ""
    rinse: str = ""
    serving_note: str = ""
    allergens: tuple[str, ...] = ()
    other_allergens: str = ""
    cautions: tuple[str, ...] = ()
    ask_name: bool = False

    def question_called(self, key: str) -> Question:
        """The question with that key; KeyError otherwise."""
        for question in self.questions:
            if question.key == key:
                return question
        raise KeyError(key)


_PLAN = TypeAdapter(Plan)
_PRODUCT = TypeAdapter(Product)


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """The plan in plain JSON types."""
    dumped: dict[str, Any] = _PLAN.dump_python(plan, mode="json")
    return dumped


def plan_from_dict(stored: dict[str, Any]) -> Plan:
    """The plan from what `plan_to_dict` gave."""
    return _PLAN.validate_python(stored)


def product_to_dict(product: Product) -> dict[str, Any]:
    """The product in plain JSON types."""
    dumped: dict[str, Any] = _PRODUCT.dump_python(product, mode="json")
    return dumped


def product_from_dict(stored: dict[str, Any]) -> Product:
    """The product from what `product_to_dict` gave."""
    return _PRODUCT.validate_python(stored)
