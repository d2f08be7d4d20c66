"""Allergens and cautions that tasters read before they consent.

Allergens: Regulation (EU) No 1169/2011 Annex II (fourteen) and the US Food Allergen Labeling and Consumer
Protection Act with the FASTER Act (nine), merged where they name the same thing.
"""

from __future__ import annotations

ALLERGENS: dict[str, str] = {
    "gluten": "Cereals containing gluten, wheat among them",
    "crustaceans": "Crustaceans",
    "eggs": "Eggs",
    "fish": "Fish",
    "peanuts": "Peanuts",
    "soybeans": "Soybeans",
    "milk": "Milk",
    "nuts": "Tree nuts",
    "celery": "Celery",
    "mustard": "Mustard",
    "sesame": "Sesame",
    "sulphites": "Sulphur dioxide and sulphites above 10 mg/kg",
    "lupin": "Lupin",
    "molluscs": "Molluscs",
}

CAUTIONS: dict[str, str] = {
    "hot": "Samples are served hot and can scald. Let them cool until they are comfortable to eat.",
    "warm-held": (
        "Samples are held warm. The kitchen keeps time and temperature by the local food rules; "
        "leave anything that smells or looks wrong and tell the panel leader."
    ),
    "alcohol": (
        "Samples contain alcohol. Adults only; you may spit out. Do not drive or use machines afterwards."
    ),
    "caffeine": "Samples contain caffeine. You may spit out; mind what else you drink today.",
    "raw": "Samples contain raw or lightly cooked food.",
}

BENCH_CAUTIONS = (
    "Boiling water, steam and hot surfaces scald: wear gloves, open lids away from the face, keep others at a "
    "distance, and let things cool before they are carried, tilted or measured. Pull the plug before reaching inside.",
    "Food held warm for a measurement is not for eating, unless your local food-safety code’s times and temperatures "
    "for hot holding are kept. Local food-safety and workplace rules come first.",
)

ALWAYS = (
    "If you must avoid any of these, are unwell, or simply would rather not, step out: "
    "no reason is needed and none is kept. Local food-safety and workplace rules come first; "
    "this is not medical advice."
)

CONSENT = (
    "Your answers and their times under a number, the moment you agreed to take part, "
    "and a name only if you type one. Nothing about your health is kept. "
    "You may stop at any time; the answers already sent stay under the number alone."
)


def notice(keys: tuple[str, ...], others: str) -> tuple[str, ...]:
    """The one allergen list of a sitting: known allergens in the fixed order, then free text."""
    listed = [text for key, text in ALLERGENS.items() if key in keys]
    return (*listed, *(item.strip() for item in others.split(",") if item.strip()))
