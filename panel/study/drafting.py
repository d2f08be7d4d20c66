"""From what the organiser typed to a plan that can be sealed, or to what is still wrong with it.

A draft is kept exactly as typed, so that nothing is lost while it is not yet complete.
Form fields: plain names, and numbered rows such as `product-0-name` and `question-2-text`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, get_args

from panel.study.cautions import ALLERGENS, CAUTIONS
from panel.study.plan import CodeRule, ConditionMode, Plan, Product, Question
from panel.study.problems import Problem
from panel.study.scales import SCALES, scale_of
from panel.study.test_methods import TEST_METHODS, TestMethod

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

LONGEST_NAME = 120
LONGEST_TEXT = 2000
MOST_TASTERS = 2000
MOST_REPLICATES = 6
MOST_CONDITIONS = 4
_ROW = re.compile(r"^(product|question|condition)-(\d{1,3})-([a-z_]+)$")


@dataclass(frozen=True, slots=True)
class Drafted:
    """A checked draft: the plan and products when there are no problems."""

    plan: Plan | None
    products: tuple[Product, ...]
    problems: tuple[Problem, ...]


@dataclass(slots=True)
class _Reader:
    """Reads typed fields and gathers what is wrong."""

    typed: Mapping[str, str]
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, name: str, code: str, text: str) -> None:
        self.problems.append(Problem(name, code, text))

    def text(self, name: str, what: str, *, required: bool = False, longest: int = LONGEST_TEXT) -> str:
        value = tidy(self.typed.get(name, ""))
        if required and not value:
            self.wrong(name, "missing", f"Write {what}.")
        if len(value) > longest:
            self.wrong(name, "too_long", f"Shorten {what} to {longest} characters; it has {len(value)}.")
        return value

    def whole(self, name: str, what: str, low: int, high: int, default: int | None = None) -> int:
        raw = tidy(self.typed.get(name, ""))
        if not raw and default is not None:
            return default
        if not re.fullmatch(r"\d{1,9}", raw) or not low <= int(raw) <= high:
            typed = f", not “{raw}”" if raw else ""
            self.wrong(name, "not_in_range", f"Write {what} as a whole number from {low} to {high}{typed}.")
            return low
        return int(raw)

    def share(self, name: str, what: str, low: float, high: float) -> float | None:
        raw = tidy(self.typed.get(name, "")).replace(",", ".").rstrip("% ")
        if not raw:
            return None
        try:
            value = float(raw)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            self.wrong(name, "not_in_range", f"Write {what} as a number from {low:g} to {high:g}.")
            return None
        return value

    def choice(self, name: str, what: str, known: Iterable[str], default: str) -> str:
        value = self.typed.get(name, "") or default
        if value not in known:
            self.wrong(name, "unknown_choice", f"Choose {what} from the list; “{value}” is not in it.")
            return default
        return value

    def ticked(self, prefix: str, known: Iterable[str]) -> tuple[str, ...]:
        return tuple(key for key in known if self.typed.get(f"{prefix}{key}"))


def tidy(text: str) -> str:
    """`text` in one Unicode form, without control characters and outer blanks."""
    kept = "".join(
        c for c in unicodedata.normalize("NFC", text) if c == "\n" or unicodedata.category(c) != "Cc"
    )
    return kept.strip()


def name_key(name: str) -> str:
    """The form in which two names count as one: case and accents of width do not matter."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def rows_of(typed: Mapping[str, str], kind: str) -> list[int]:
    """The numbers of the rows of that kind that stand in the form, in order."""
    found = {int(match[2]) for name in typed if (match := _ROW.match(name)) and match[1] == kind}
    return sorted(found)


def renumbered(typed: Mapping[str, str]) -> dict[str, str]:
    """The typed fields without empty rows, the rows left numbered from 0 and each kind in its order."""
    kept = {name: value for name, value in typed.items() if not _ROW.match(name)}
    for kind in ("product", "question", "condition"):
        number = 0
        for row in rows_of(typed, kind):
            at = f"{kind}-{row}-"
            fields = {name.removeprefix(at): value for name, value in typed.items() if name.startswith(at)}
            said = "name" if kind == "condition" else "text" if kind == "question" else None
            if tidy(fields.get(said, "")) if said else any(map(tidy, fields.values())):
                kept |= {f"{kind}-{number}-{name}": value for name, value in fields.items()}
                number += 1
    return kept


def check_draft(typed: Mapping[str, str]) -> Drafted:
    """The plan and products that the typed fields mean, or every problem that keeps them from meaning one.

    The rows must be numbered as `renumbered` numbers them.
    """
    reader = _Reader(typed)
    method = TEST_METHODS[reader.choice("method", "a test", TEST_METHODS, "rating")]
    products = _read_products(reader, method)
    questions = _read_questions(reader) if method.answer == "scores" else ()
    plan = _read_plan(reader, method, len(products), questions)
    allergens = tuple(
        key for key in ALLERGENS if key in plan.allergens or any(key in p.allergens for p in products)
    )
    plan = replace(plan, allergens=allergens)
    _refuse_names_in_sight(reader, plan, products)
    if reader.problems:
        return Drafted(None, products, tuple(reader.problems))
    return Drafted(plan, products, ())


def _read_products(reader: _Reader, method: TestMethod) -> tuple[Product, ...]:
    products: list[Product] = []
    seen: dict[str, int] = {}
    for row in rows_of(reader.typed, "product"):
        at, number = f"product-{row}-", row + 1
        name = reader.text(f"{at}name", f"a name for sample {number}", required=True, longest=LONGEST_NAME)
        if name and name_key(name) in seen:
            both = f"Samples {seen[name_key(name)]} and {number}"
            reader.wrong(f"{at}name", "same_name", f"{both} have the same name, “{name}”. Give each its own.")
        seen.setdefault(name_key(name), number)
        products.append(
            Product(
                name=name,
                maker=reader.text(f"{at}maker", "the maker", longest=LONGEST_NAME),
                lot=reader.text(f"{at}lot", "the lot", longest=LONGEST_NAME),
                price=reader.text(f"{at}price", "the price", longest=LONGEST_NAME),
                note=reader.text(f"{at}note", "the note"),
                allergens=reader.ticked(f"{at}allergen_", ALLERGENS),
            )
        )
    _check_number_of_samples(reader, method, len(products))
    return tuple(products)


def _check_number_of_samples(reader: _Reader, method: TestMethod, found: int) -> None:
    if method.fewest <= found <= method.most:
        return
    wanted = f"{method.fewest}" if method.fewest == method.most else f"{method.fewest} to {method.most}"
    have = {0: "there is none", 1: "there is only one"}.get(found, f"there are {found}")
    text = f"A {method.name.lower()} compares {wanted} samples, but {have}. Add or remove samples."
    reader.wrong("product-0-name", "number_of_samples", text)


def _read_questions(reader: _Reader) -> tuple[Question, ...]:
    questions: list[Question] = []
    for row in rows_of(reader.typed, "question"):
        at, number = f"question-{row}-", row + 1
        scale = scale_of(reader.choice(f"{at}scale", "a kind of answer", SCALES, "hedonic-9"))
        text = reader.text(f"{at}text", f"question {number}", longest=300)
        low = reader.text(f"{at}low", "the word at the low end", longest=60) if scale.asks_anchors else ""
        high = reader.text(f"{at}high", "the word at the high end", longest=60) if scale.asks_anchors else ""
        if any(name_key(text) == name_key(other.text) for other in questions):
            reader.wrong(
                f"{at}text", "same_question", f"Question {number} stands there twice: “{text}”. Reword one."
            )
        questions.append(
            Question(
                key=f"q{number}",
                text=text,
                scale=scale.id,
                low=low or scale.low_anchor,
                high=high or scale.high_anchor,
                required=not reader.typed.get(f"{at}optional"),
            )
        )
    if not any(scale_of(question.scale).numeric for question in questions):
        reader.wrong(
            "question-0-text", "no_question", "Ask at least one question that is answered on a scale."
        )
    return tuple(questions)


def _read_plan(reader: _Reader, method: TestMethod, samples: int, questions: tuple[Question, ...]) -> Plan:
    alpha = reader.share("alpha", "the significance level", 0.0001, 0.5)
    limit = reader.share(
        "similarity_limit", "the largest tolerable share of discriminators, in per cent,", 1, 99
    )
    title = reader.text("title", "a title", required=True, longest=LONGEST_NAME)
    return Plan(
        title=title,
        heading=reader.text("heading", "the title for tasters", longest=LONGEST_NAME) or "Blind tasting",
        question=reader.text("question", "the question this study answers", required=True, longest=500),
        method=method.id,
        samples=samples,
        tasters=reader.whole("tasters", "the number of tasters", 1, MOST_TASTERS),
        replicates=reader.whole("replicates", "the number of repeats", 1, MOST_REPLICATES, default=1),
        conditions=_read_conditions(reader),
        condition_mode=_one_of(
            reader, "condition_mode", "how the second serving is made", get_args(ConditionMode), "separate"
        ),
        code_rule=_one_of(reader, "code_rule", "how codes are given", get_args(CodeRule), "per cup"),
        questions=questions,
        primary=_read_primary(reader, questions),
        alpha=0.05 if alpha is None else alpha,
        similarity_limit=None if limit is None or method.answer == "scores" else limit / 100,
        briefing=reader.text("briefing", "the briefing"),
        rinse=reader.text("rinse", "what to do between samples", longest=300),
        serving_note=reader.text("serving_note", "how it is served", longest=500),
        allergens=reader.ticked("allergen_", ALLERGENS),
        other_allergens=reader.text("other_allergens", "the other allergens", longest=300),
        cautions=reader.ticked("caution_", CAUTIONS),
        ask_name=bool(reader.typed.get("ask_name")),
    )


def _one_of(reader: _Reader, name: str, what: str, known: tuple[str, ...], default: str) -> Any:
    return reader.choice(name, what, known, default)


def _read_conditions(reader: _Reader) -> tuple[str, ...]:
    found: list[str] = []
    for row in rows_of(reader.typed, "condition"):
        name = reader.text(f"condition-{row}-name", "how it is served", longest=60)
        if name and name_key(name) in map(name_key, found):
            reader.wrong(
                f"condition-{row}-name", "same_name", f"“{name}” stands there twice. Name each way once."
            )
        if name:
            found.append(name)
    if len(found) > MOST_CONDITIONS:
        reader.wrong(
            "condition-0-name",
            "too_many",
            f"Serve in at most {MOST_CONDITIONS} ways; there are {len(found)}.",
        )
    return tuple(found) or ("as served",)


def _read_primary(reader: _Reader, questions: tuple[Question, ...]) -> str:
    scored = [question.key for question in questions if scale_of(question.scale).numeric]
    if not scored:
        return ""
    return reader.choice("primary", "the question the verdict rests on", scored, scored[0])


def _refuse_names_in_sight(reader: _Reader, plan: Plan, products: tuple[Product, ...]) -> None:
    """Words that tasters or the analyst read must not name a sample."""
    sights = {
        "title": plan.title,
        "heading": plan.heading,
        "question": plan.question,
        "briefing": plan.briefing,
        "rinse": plan.rinse,
        "serving_note": plan.serving_note,
        "other_allergens": plan.other_allergens,
        **{f"condition-{number}-name": text for number, text in enumerate(plan.conditions)},
        **{f"question-{number}-text": item.text for number, item in enumerate(plan.questions)},
        **{f"question-{number}-low": item.low for number, item in enumerate(plan.questions)},
        **{f"question-{number}-high": item.high for number, item in enumerate(plan.questions)},
    }
    for name, text in sights.items():
        for product in products:
            for word in (product.name, product.maker, product.lot):
                if _tells(text, word):
                    reader.wrong(
                        name,
                        "names_a_sample",
                        f"“{text}” contains “{word}”, which belongs to a sample. "
                        "Tasters or the analyst read this before the reveal: say it without the name.",
                    )


def _tells(text: str, word: str) -> bool:
    return (
        len(word) >= 2 and re.search(rf"(?<!\w){re.escape(name_key(word))}(?!\w)", name_key(text)) is not None
    )
