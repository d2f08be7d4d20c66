"""The plan of a study: what is asked of whom about what. Frozen by the seal; holds no product's name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import TypeAdapter

from panel.study.measuring import NOTHING_MEASURED, Bench

ConditionMode = Literal["separate", "same cup", "crossed"]
CodeRule = Literal["per cup", "per sample"]
QuestionOrder = Literal["fixed", "rotated"]
Role = Literal["", "reference", "stronger"]
Correction = Literal["holm", "benjamini-hochberg"]


@dataclass(frozen=True, slots=True)
class Product:
    """One sample by its name: the secret that the seal keeps.

    price : as typed, with its currency; allergens : keys of cautions.ALLERGENS
    role : what the analysis must know: "reference", or "stronger" where one is expected to be
    twice : served a second time under its own blind letter (a blind duplicate)
    """

    name: str
    maker: str = ""
    lot: str = ""
    price: str = ""
    note: str = ""
    allergens: tuple[str, ...] = ()
    role: Role = ""
    twice: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the ballot, asked once for each sample and condition unless said otherwise.

    key : stable name in the data; scale : id in scales.SCALES
    low, high : the words at the two ends of a line
    points : the words of a category scale from low to high, or the terms to tick
    least, most, unit : limits and unit of a number; longest : most characters of a text, 0 for the scale's own
    cannot_tell : whether "cannot tell" is offered
    only_in : the one condition in which it is asked, "" for all
    at_end : asked once, after the last sample, about all of them
    """

    key: str
    text: str
    scale: str
    low: str = ""
    high: str = ""
    required: bool = True
    points: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    unit: str = ""
    longest: int = 0
    cannot_tell: bool = False
    only_in: str = ""
    at_end: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """How servings are spread over a taster's time.

    per_taster : samples a taster takes in one sitting; None for all of them
    sittings : time slots of one taster
    warm_up : whether each sitting starts with a serving that is not scored
    break_every : a break after so many screens; None for no breaks
    """

    per_taster: int | None = None
    sittings: int = 1
    warm_up: bool = False
    break_every: int | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """What comes between a taster's screens.

    confirm_cup : whether the code on the cup is asked for before it is tasted
    wait_seconds : to wait before the next sample; 0 for no wait
    retaste : whether a cup may be tasted again
    way_back : whether an answered screen may be opened again and corrected, until the taster has finished
    """

    confirm_cup: bool = False
    wait_seconds: int = 0
    retaste: bool = True
    way_back: bool = False


@dataclass(frozen=True, slots=True)
class Kitchen:
    """How samples are prepared and served, equal for all; None where it was left open.

    per_cup : amount in `unit`; loss : share that never reaches a cup, 0 to below 1; spare_cups : for each sample
    per_batch : what one preparation makes, in `unit`; minutes : how long it takes
    holding : minutes after it is ready within which a cup must be served; rest : minutes before it may be
    temperature : of serving, in degrees Celsius; cup_diameter : in mm
    at_once : tasters served together; minutes_per_cup : how long a taster takes for one
    two_person : one pours and codes, another serves
    """

    per_cup: float | None = None
    unit: str = "g"
    loss: float = 0.0
    spare_cups: int = 0
    per_batch: float | None = None
    minutes: float | None = None
    holding: float | None = None
    rest: float = 0.0
    temperature: float | None = None
    cup_diameter: float | None = None
    at_once: int | None = None
    minutes_per_cup: float = 3.0
    two_person: bool = False
    controls: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything about a study that may be known before the reveal.

    language : code of the language tasters are addressed in; theme : "" or "red", in languages.THEMES
    heading : the title tasters see; title : the one everybody else sees
    samples : blind letters, a blind duplicate counted for itself
    with_reference : whether one of the samples is the reference
    tasters : places of the design
    replicates : how often each taster meets each sample (rating) or how many sets each gets (triangle)
    conditions : how samples are served, in order; at least one
    condition_mode : "separate" cups, all of one condition first, or the addition into the "same cup"
    primary : key of the question the verdict rests on (rating)
    question_order : "fixed" as typed, or the attributes "rotated" over tasters, each meeting one order throughout
    attribute : in what samples are compared, where a method asks for it; "" for liking
    no_preference : whether "no preference" is offered (paired preference)
    consent_more : what the organiser adds to what is kept
    words : own words in place of built-in ones that tasters read, keyed by the English sentence
    caffeine_mg, alcohol_g : in the strongest cup, None where it is not counted
    alone : one person pours, shuffles and tastes; every place is one of their rounds
    correction : for the number of secondary questions
    bench : what is measured beside taste, and the rules of the verdict; empty where nothing is
    alpha : significance level; similarity_limit : largest tolerable share of discriminators, or None
    beta : risk of missing that share; sequential : whether the answers are judged one by one (`study.sequential`)
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
    layout: Layout = Layout()
    kitchen: Kitchen = Kitchen()
    pace: Pace = Pace()
    with_reference: bool = False
    questions: tuple[Question, ...] = ()
    primary: str = ""
    question_order: QuestionOrder = "fixed"
    attribute: str = ""
    no_preference: bool = False
    alpha: float = 0.05
    correction: Correction = "holm"
    similarity_limit: float | None = None
    beta: float = 0.05
    sequential: bool = False
    briefing: str = ""
    consent_more: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    rinse: str = ""
    serving_note: str = ""
    allergens: tuple[str, ...] = ()
    other_allergens: str = ""
    cautions: tuple[str, ...] = ()
    caffeine_mg: float | None = None
    alcohol_g: float | None = None
    ask_name: bool = False
    language: str = "en"
    theme: str = ""
    alone: bool = False
    bench: Bench = NOTHING_MEASURED

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
