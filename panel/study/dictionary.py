"""The data dictionary: every column of every table that leaves the house, and every question within them.

One row of COLUMNS for each column. A further table of the bundle brings its columns here.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from panel.study import bundle
from panel.study.cautions import ALLERGENS
from panel.study.questions import points_of, terms_of
from panel.study.said import filled
from panel.study.scales import CANNOT_TELL, scale_of
from panel.study.set_answers import NO_PREFERENCE, set_kind
from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from panel.study.plan import Plan, Question


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the dictionary.

    rows : which rows of the table it is about, "all" or such as "question = q1"
    type : "text", "whole number", "decimal number" or "one of a list"; allowed : what the column may hold
    """

    file: str
    column: str
    rows: str
    meaning: str
    type: str
    unit: str
    allowed: str


Column = tuple[str, str, str, str]  # meaning, type, unit, allowed

_TASTER: Column = (
    "number of the taster: their place, and a letter where the place was taken more than once",
    "text", "", "T01, T02, …; T07b for the second who took place 7",
)  # fmt: skip
_CONDITION: Column = ("how it was served", "one of a list", "", "the conditions of the plan")
_LATE: Column = (
    "whether it arrived after closing; late answers are not analysed",
    "one of a list",
    "",
    "yes, no",
)
_LEFT_OUT: Column = (
    "why this taster was left out of the analysis; empty where they count", "text", "", "any words, or empty",
)  # fmt: skip

COLUMNS: dict[str, dict[str, Column]] = {
    bundle.ANSWERS: {
        "taster": _TASTER,
        "sample": ("blind letter of the sample", "text", "", "A, B, …; empty for what was asked once at the end"),
        "question": ("name of the question, or of one term of it", "text", "", "q1, q2, …; q3.2 for a term"),
        "wording": ("the question as it was asked, with its term", "text", "", "any words"),
        "condition": _CONDITION,
        "replicate": (
            "how often the taster had met this sample in this condition, this time included", "whole number",
            "times", "1 and more; 0 at the end",
        ),
        "position": (
            "place of the cup among those of its condition, in the order really served", "whole number", "cups",
            "1 and more; 0 at the end",
        ),
        "value": ("the answer", "depends on the question", "", "see the rows on each question"),
        "late": _LATE,
        "left_out": _LEFT_OUT,
    },
    bundle.CHOICES: {
        "taster": _TASTER,
        "set": ("number of the taster's screen", "whole number", "", "1 and more"),
        "condition": _CONDITION,
        "samples": ("blind letters of the cups, in the order really served", "text", "", "letters and blanks"),
        "chosen": ("the answer about these cups", "text", "", "see the row on this test"),
        "correct": ("whether the answer is right; empty where nothing is right or wrong", "one of a list", "",
                    "yes, no, or empty"),
        "arrived": ("place of the answer among all that came in, by the log", "whole number", "", "1 and more"),
        "late": _LATE,
        "left_out": _LEFT_OUT,
    },
    bundle.KEY: {
        "blind_label": ("blind letter of the sample", "text", "", "A, B, …"),
        "name": ("name of the product", "text", "", "any words"),
        "maker": ("who makes it", "text", "", "any words, or empty"),
        "lot": ("lot or batch, as on the pack", "text", "", "any words, or empty"),
        "price": ("price as typed, with its currency", "text", "as typed", "any words, or empty"),
        "note": ("the organiser's note", "text", "", "any words, or empty"),
        "allergens": ("declared allergens", "text", "", f"names of the list, and blanks: {', '.join(ALLERGENS)}"),
        "role": ("part that the sample plays in the analysis", "one of a list", "", "reference, stronger, or empty"),
        "twice": ("whether it was served a second time under another letter", "one of a list", "", "True, False"),
    },
    bundle.BENCH: {
        "measurand": ("what was measured", "text", "", "any words"),
        "sealed": ("whether it was declared before the data; no: exploratory", "one of a list", "", "yes, no"),
        "product": ("name of the product", "text", "", "any words"),
        "run": ("number of the run, or of the tester who rated", "whole number", "", "1 and more"),
        "minutes": ("time of a reading in a series", "decimal number", "min", "a number; empty for a single value"),
        "value": ("what was measured; a check is 1 or 0", "decimal number", "see unit", "a number, or empty"),
        "unit": ("unit of value and room", "text", "", "a unit, a currency, or empty"),
        "typed": ("the value as it was typed", "text", "", "any words, or empty"),
        "laps_s": ("laps, since the start", "text", "s", "numbers and blanks, or empty"),
        "answers": ("the ten answers of the questionnaire, in its order", "text", "", "1 to 5 and blanks, or empty"),
        "room": ("temperature of the room beside a series", "decimal number", "see unit", "a number, or empty"),
        "servings": ("servings of this run, where not as planned", "decimal number", "", "a number, or empty"),
        "package": ("what the price is for", "text", "", "any words, or empty"),
        "priced_on": ("day on which the price was seen", "text", "", "ISO 8601, or empty"),
        "instrument": ("what it was measured with", "text", "", "any words, or empty"),
        "resolution": ("smallest step of the instrument", "decimal number", "see unit", "a number, or empty"),
        "accuracy": ("half-width of the instrument's limits", "decimal number", "see unit", "a number, or empty"),
        "by": ("who measured or rated", "text", "", "any words"),
        "recorded_at": ("when it was recorded", "text", "UTC", "ISO 8601"),
        "after_reveal": ("whether the names were revealed by then", "one of a list", "", "yes, no"),
        "revision": ("how often it was changed, the first entry included", "whole number", "", "1 and more"),
        "does_not_count": ("why the run is left out; empty where it counts", "text", "", "any words, or empty"),
        "note": ("the measurer's note", "text", "", "any words, or empty"),
    },
}  # fmt: skip

_CHOSEN = {
    "pick": "the number of the cup in this order, from 1",
    "pick two": "the numbers of the two cups in this order, from 1",
    "groups": "the group (1 or 2) of each cup in this order",
    "order": "the rank of each cup in this order; 1 is first",
}


def entries(plan: Plan, tables: Mapping[str, Sequence[str]]) -> tuple[Entry, ...]:
    """The dictionary of these tables.

    tables : file -> its columns in order. KeyError for a column that nobody described.
    """
    found = []
    for file, columns in tables.items():
        for column in columns:
            meaning, kind, unit, allowed = COLUMNS[file][column]
            if column == "condition":
                allowed = f"{', '.join(plan.conditions)}; empty at the end"
            found.append(Entry(file, column, "all", meaning, kind, unit, allowed))
            if (file, column) == (bundle.ANSWERS, "value"):
                found += list(_values(plan))
            if (file, column) == (bundle.CHOICES, "chosen"):
                found.append(_chosen(plan))
    return tuple(found)


def rows(found: Sequence[Entry]) -> list[dict[str, str]]:
    """The dictionary as plain rows."""
    return [asdict(entry) for entry in found]


def _values(plan: Plan) -> Iterator[Entry]:
    for question in plan.questions:
        kind, unit, allowed = _answers_to(question)
        if question.cannot_tell:
            allowed += f"; “{CANNOT_TELL}”"
        allowed += (
            ""
            if question.required and scale_of(question.scale).kind != "terms"
            else "; empty where left open"
        )
        for name, asked in (terms_of(question) or {question.key: ""}).items():
            meaning = f"{question.text} {asked}".strip()
            yield Entry(bundle.ANSWERS, "value", f"question = {name}", meaning, kind, unit, allowed)


def _answers_to(question: Question) -> tuple[str, str, str]:
    """Type, unit and allowed values of the answers to a question."""
    scale, points = scale_of(question.scale), points_of(question)
    if scale.kind in ("terms", "term list"):
        return "one of a list", "", "1.0 yes, 0.0 no"
    if scale.kind == "text":
        return "text", "", f"at most {question.longest or scale.longest} characters"
    if scale.kind == "line":
        low, high = question.low or scale.low_anchor, question.high or scale.high_anchor
        ends = f"{scale.low:g} is “{low}”, {scale.high:g} is “{high}”"
        return "decimal number", "points of the line", f"{scale.low:g} to {scale.high:g}, where {ends}"
    if scale.kind == "number":
        low = "any" if question.least is None else f"{question.least:g}"
        high = "any" if question.most is None else f"{question.most:g}"
        return "decimal number", question.unit, f"{low} to {high}"
    listed = ", ".join(
        f"{float(point.value)} {point.label}" for point in sorted(points, key=lambda p: p.value)
    )
    return "one of a list", "points of the scale", listed


def _chosen(plan: Plan) -> Entry:
    method = method_of(plan.method)
    kind = set_kind(method)
    allowed = " or ".join(value for value, _ in kind.words) if kind.words else _CHOSEN[kind.form]
    if plan.no_preference:
        allowed += f"; {NO_PREFERENCE} where nobody is preferred"
    wording, asked = method.wording, ""
    if wording is not None:
        pattern = wording.by_liking if wording.by_liking and not plan.attribute else wording.asks
        asked = filled(str(pattern), {"attribute": plan.attribute})
    return Entry(bundle.CHOICES, "chosen", f"test = {method.id}", asked, "text", "", allowed)
