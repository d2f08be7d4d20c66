"""What the demo's bench finds: the same five cookers measured by name, all of it made up.

The two whose rice is liked best are slow or dear, the plain ones are quick and cheap: taste and bench disagree.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from demo import story

AMBIENT_C = 21.0
MINUTES = (5, 10, 15, 20, 30, 40, 50, 60, 75, 90, 105, 120)
TESTERS = ("Ebbe", "Liv", "Marek")


@dataclass(frozen=True, slots=True)
class Measured:
    """One cooker on the bench.

    minutes : to cook a full load of eight servings; energy_wh : of that; noise : dB(A) at one metre
    hold_c : where the keep-warm settles, None where nothing heats and the rice cools at `cools` per minute
    height_mm : lid open; filling, cleaning : 1 to 5; usability : how kind its testers are, 0 to 100
    burns : runs of three in which a crust burnt
    """

    minutes: float
    energy_wh: float
    noise: float
    hold_c: float | None
    cools: float
    height_mm: float
    filling: float
    cleaning: float
    usability: float
    price: float
    burns: int = 0


BENCH = {
    "Tomoshibi Hearth": Measured(52, 268, 36, 70, 0.0, 412, 4.3, 4.0, 78, 189),
    "Kumorigama": Measured(71, 342, 31, 66, 0.0, 448, 3.0, 2.4, 55, 329),
    "Grainsong 3": Measured(34, 214, 39, 72, 0.0, 398, 4.6, 4.4, 84, 99),
    "Velsund V40": Measured(27, 196, 47, 73, 0.0, 421, 4.2, 4.1, 80, 79),
    "Ricelet Mini": Measured(31, 131, 42, None, 0.0092, 301, 3.9, 3.1, 66, 39, burns=1),
}

_MEASURANDS = (
    {"name": "Time to cook a full load", "quantity": "duration", "unit": "min", "load": "full", "servings": "8",
     "condition": "eight servings, water at 20 °C, until the cooker says it is ready"},
    {"name": "Energy for a full load", "quantity": "energy", "unit": "Wh", "load": "full", "servings": "8"},
    {"name": "Two hours on keep warm", "quantity": "temperature-series", "unit": "°C", "load": "full",
     "low": "63", "high": "75", "threshold": "57", "ambient": "21", "condition": "probe in the middle, lid closed"},
    {"name": "Noise while cooking", "quantity": "noise", "unit": "dB(A)", "condition": "at one metre"},
    {"name": "Height with the lid open", "quantity": "length", "unit": "mm", "runs": "1"},
    {"name": "No burnt crust", "quantity": "check", "condition": "bottom looked at after each full load"},
    {"name": "Ease of filling", "quantity": "rating"},
    {"name": "Ease of cleaning", "quantity": "rating"},
    {"name": "Ease of use", "quantity": "usability"},
    {"name": "Price in the shop", "quantity": "price", "runs": "1"},
)  # fmt: skip
_NO_SOURCE = "common practice, no source"
_CRITERIA = (
    {"name": "Liked plain", "source": "q1", "condition": story.PLAIN, "worst": "4", "best": "8", "weight": "2"},
    {"name": "Liked with dashi", "source": "q1", "condition": story.DASHI, "worst": "4", "best": "8"},
    {"name": "Quick to cook", "source": "m1", "figure": "mean", "direction": "less", "worst": "75", "best": "25",
     "group": "Cooking", "weight": "3"},
    {"name": "Sparing", "source": "m2", "figure": "mean", "direction": "less", "worst": "360", "best": "150",
     "group": "Cooking"},
    {"name": "Quiet", "source": "m4", "figure": "mean", "direction": "less", "worst": "50", "best": "30",
     "group": "Cooking"},
    {"name": "Held hot for two hours", "source": "m3", "figure": "at 120", "direction": "more", "must_least": "57",
     "curve": "none",
     "basis": "US model food code: hot food is held at 57 °C or above. Local codes decide."},
    {"name": "Fits under the shelf", "source": "m5", "figure": "mean", "direction": "less", "must_most": "460",
     "curve": "none"},
    {"name": "Easy to fill", "source": "m7", "figure": "mean", "worst": "1", "best": "5", "group": "Handling"},
    {"name": "Easy to clean", "source": "m8", "figure": "mean", "worst": "1", "best": "5", "group": "Handling",
     "weight": "2"},
    {"name": "Easy to use", "source": "m9", "figure": "mean", "worst": "25", "best": "90", "group": "Handling"},
)  # fmt: skip
_GROUPS = (("Taste", "50"), ("Cooking", "30"), ("Handling", "20"))


def typed_bench() -> dict[str, str]:
    """The rows of the draft form: what is measured, the criteria, the weights of the groups."""
    rows = {"bench-currency": "EUR", "bench-shelf_mm": "460"}
    for row, measurand in enumerate(_MEASURANDS):
        rows |= {f"measurand-{row}-{name}": value for name, value in ({"runs": "3"} | measurand).items()}
    for row, criterion in enumerate(_CRITERIA):
        whole = {"direction": "more", "curve": "linear", "weight": "1", "basis": _NO_SOURCE} | criterion
        rows |= {f"criterion-{row}-{name}": value for name, value in whole.items()}
    for row, (name, weight) in enumerate(_GROUPS):
        rows |= {f"group-{row}-name": name, f"group-{row}-weight": weight}
    return rows


VERDICT = {
    **story.CLOSED,
    "title": "Five cookers, taste and bench",
    "question": "Which rice cooker is the best buy, by taste and by what it is like to live with?",
    "tasters": "20",
    **typed_bench(),
}
TASTERS_AT_VERDICT = 18
INSTRUMENTS = {
    "Kitchen stopwatch": ("duration", "s", "0.2", ""),
    "Power meter": ("energy", "Wh", "1", "2"),
    "Probe thermometer": ("temperature", "°C", "0.1", "0.5"),
    "Sound level meter": ("noise", "dB(A)", "0.1", "1.5"),
    "Tape measure": ("length", "mm", "1", "0.5"),
}  # what it measures, in which unit, its resolution, and how far it may be off ("" where nobody says)
MEASURED_WITH = {
    "m1": "Kitchen stopwatch",
    "m2": "Power meter",
    "m3": "Probe thermometer",
    "m4": "Sound level meter",
    "m5": "Tape measure",
}
AFTER_TASTING = ("m7", "m8", "m9")
ONE_BY_ONE = ("m3", "m9")  # whose form is for one cooker at a time


def entries(key: str, name: str, run: int) -> dict[tuple[str, str], str]:
    """What is typed for one run of one cooker; {} where there is no run.

    Keys: the field's name before and after the product's id.
    """
    cooker, chance = BENCH[name], random.Random(f"{story.SEED} {key} {name} {run}")
    scatter = {"m1": (cooker.minutes, 0.9, 1), "m2": (cooker.energy_wh, 4.0, 0), "m4": (cooker.noise, 0.6, 1)}
    once = {"m5": f"{cooker.height_mm:.0f}", "m10": f"{cooker.price:.2f}"}
    if key == "m9":
        return {("statement", f"-{number}"): answer for number, answer in _usability(cooker, chance)}
    if key == "m3":
        return {("series", ""): _held(cooker, chance)}
    if key in once:
        return {("value", ""): once[key]} if run == 1 else {}
    if key == "m6":
        return {("value", ""): "failed" if run <= cooker.burns else "passed"}
    if key in scatter:
        middle, spread, decimals = scatter[key]
        return {("value", ""): f"{chance.gauss(middle, spread):.{decimals}f}"}
    middle = cooker.filling if key == "m7" else cooker.cleaning
    return {("value", ""): str(min(5, max(1, round(chance.gauss(middle, 0.45)))))}


def _held(cooker: Measured, chance: random.Random) -> str:
    """Two hours of readings, a line each: minutes and degrees Celsius."""
    lines = []
    for minutes in MINUTES:
        if cooker.hold_c is None:
            middle = AMBIENT_C + (93 - AMBIENT_C) * math.exp(-cooker.cools * minutes)
        else:
            middle = cooker.hold_c + (95 - cooker.hold_c) * math.exp(-0.06 * minutes)
        lines.append(f"{minutes} {chance.gauss(middle, 0.25):.1f}")
    return "\n".join(lines)


def _usability(cooker: Measured, chance: random.Random) -> list[tuple[int, str]]:
    """Ten answers: odd statements speak for it, even ones against it."""
    answers = []
    for number in range(1, 11):
        share = min(1.0, max(0.0, chance.gauss(cooker.usability / 100, 0.09)))
        agreed = round(1 + 4 * share)
        answers.append((number, str(agreed if number % 2 else 6 - agreed)))
    return answers
