"""The story that the demo tells: a consumer magazine's test kitchen compares five rice cookers. All of it is made up.

Names, makers, prices and people are inventions. What tasters answer is drawn at random around what each cooker's
rice is like here; it depends on the taster, the cooker and the way of serving, never on the order of serving, so
that every run of the demo tells the same story although codes and orders are drawn afresh.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

SEED = 20260308
PLAIN, DASHI = "plain", "with dashi"


@dataclass(frozen=True, slots=True)
class Cooker:
    """One rice cooker and what its rice is like here.

    liking : mean on nine points, plain and with dashi; firmness, sweetness : mean on the line, 0 to 100
    scorched : share of servings with an odour of scorching
    remarks : what tasters write, now and then
    """

    name: str
    maker: str
    lot: str
    price: str
    note: str
    liking: tuple[float, float]
    firmness: float
    sweetness: float
    scorched: float
    remarks: tuple[str, ...]


COOKERS = (
    Cooker(
        "Tomoshibi Hearth", "Asunagi Works", "AW-2209-118", "189 EUR, 1.0 l", "Induction, thick pot",
        (7.2, 7.3), 55, 58, 0.03, ("Plump grains, a little sweet", "I would eat a bowl of this"),
    ),
    Cooker(
        "Kumorigama", "Kumori Kiln", "KK-0417", "329 EUR, 0.8 l", "Clay pot",
        (7.1, 7.2), 60, 55, 0.05, ("Shiny, holds together well", "Clean taste"),
    ),
    Cooker(
        "Grainsong 3", "Pellworth and Daughters", "PD3-5571", "99 EUR, 1.5 l", "",
        (5.8, 6.2), 47, 50, 0.05, ("All right, nothing special", "A bit wet at the bottom"),
    ),
    Cooker(
        "Velsund V40", "Velsund", "V40-90031", "79 EUR, 1.8 l", "Pressure valve replaced before the test",
        (5.5, 6.1), 31, 44, 0.08, ("Too soft for me", "Mushy"),
    ),
    Cooker(
        "Ricelet Mini", "Tarnwick", "TM-12-06", "39 EUR, 0.6 l", "Browned a crust in two of three trials",
        (4.5, 5.6), 66, 40, 0.62, ("Smells scorched", "Burnt note", "Hard bits in between"),
    ),
)  # fmt: skip

LEADERS = COOKERS[:2]
SHARE_WHO_TELL = 0.25
CARELESS = 17

RICE = {
    "question-0-text": "How much do you like this rice?",
    "question-0-scale": "hedonic-9",
    "question-1-text": "How firm are the grains?",
    "question-1-scale": "line-100",
    "question-1-low": "very soft",
    "question-1-high": "very firm",
    "question-2-text": "How sweet does it taste?",
    "question-2-scale": "line-100",
    "question-2-low": "not at all",
    "question-2-high": "very",
    "question-3-text": "Do you notice an odour of scorching?",
    "question-3-scale": "yes-no",
    "question-4-text": "Anything else about this rice?",
    "question-4-scale": "comment",
    "question-4-optional": "yes",
    "primary": "q1",
}
KITCHEN = {
    "heading": "Rice tasting",
    "briefing": "Take a good spoonful from the middle of the cup. Smell it, then taste. "
    "There is no right or wrong; please do not talk about it until everyone has finished.",
    "rinse": "Take a sip of water and wait half a minute.",
    "serving_note": "25 g in a lidded cup, stirred once, eaten at about 50 °C",
    "caution_hot": "yes",
    "alpha": "0.05",
}
DASHI_ALLERGENS = {"allergen_fish": "yes", "allergen_soybeans": "yes"}


def typed_samples(cookers: tuple[Cooker, ...]) -> dict[str, str]:
    """The rows of the draft form that name the samples."""
    rows = {}
    for row, cooker in enumerate(cookers):
        for field in ("name", "maker", "lot", "price", "note"):
            rows[f"product-{row}-{field}"] = getattr(cooker, field)
    return rows


DRAFT = {
    "method": "rating",
    "title": "Rice kept warm for four hours",
    "question": "Whose rice is still liked after four hours on the keep-warm setting?",
    "tasters": "20",
    "condition-0-name": PLAIN,
    **KITCHEN,
    "caution_warm-held": "yes",
    **RICE,
    **typed_samples(COOKERS),
}
SEALED = {
    "method": "triangle",
    "title": "The two leaders against each other",
    "question": "Can people tell the rice of the two leading cookers apart?",
    "tasters": "24",
    "condition-0-name": PLAIN,
    **KITCHEN,
    **typed_samples(LEADERS),
}
SERVING = {
    "method": "rating",
    "title": "Five cookers, lunch panel",
    "question": "Does adding dashi to the same cup change which rice is liked?",
    "tasters": "20",
    "condition-0-name": PLAIN,
    "condition-1-name": DASHI,
    "condition_mode": "same cup",
    "ask_name": "yes",
    **DASHI_ALLERGENS,
    **KITCHEN,
    **RICE,
    **typed_samples(COOKERS),
}
CLOSED = {
    "method": "rating",
    "title": "Five cookers, main panel",
    "question": "Which cooker's rice do our readers like best, plain and with dashi?",
    "tasters": "30",
    "condition-0-name": PLAIN,
    "condition-1-name": DASHI,
    "condition_mode": "separate",
    **DASHI_ALLERGENS,
    **KITCHEN,
    **RICE,
    **typed_samples(COOKERS),
}
TASTERS_AT_CLOSED = 24
NAMES_AT_SERVING = (
    "Ebbe", "Liv", "", "Marek", "Ines", "", "Tove", "Jonah", "Aya", "", "Piet", "Noor", "Sunniva", "", "Caio",
)  # fmt: skip


def opinion(taster: int, cooker: Cooker, served: str) -> dict[str, str]:
    """What this taster answers about this cooker's rice, as the fields that a phone sends."""
    if taster == CARELESS:
        return {"q1": "5", "q2": "50", "q3": "50", "q4": "0", "q5": ""}
    person = random.Random(f"{SEED} {taster}")
    mild, sharp = person.gauss(0, 0.7), person.gauss(1, 0.15)
    draw = random.Random(f"{SEED} {taster} {cooker.name} {served}")
    liking = 6 + mild + sharp * (cooker.liking[served == DASHI] - 6) + draw.gauss(0, 1.0)
    firmness = cooker.firmness - (8 if served == DASHI else 0) + 6 * mild + draw.gauss(0, 11)
    sweetness = cooker.sweetness + 8 * mild + draw.gauss(0, 14)
    smells = draw.random() < cooker.scorched * (0.7 if served == DASHI else 1)
    says = draw.choice(cooker.remarks) if draw.random() < 0.2 else ""
    return {
        "q1": str(min(9, max(1, round(liking)))),
        "q2": f"{min(100.0, max(0.0, firmness)):.1f}",
        "q3": f"{min(100.0, max(0.0, sweetness)):.1f}",
        "q4": str(int(smells)),
        "q5": says,
    }


def odd_one(taster: int, cookers: list[Cooker]) -> dict[str, str]:
    """Which cup of three this taster names: the odd one when they can tell, otherwise a guess."""
    draw = random.Random(f"{SEED} {taster} triangle")
    if draw.random() < SHARE_WHO_TELL:
        return {"choice": str(1 + next(i for i, c in enumerate(cookers) if cookers.count(c) == 1))}
    return {"choice": str(draw.randint(1, 3))}
