"""From a question in plain words to a test, its layout and its ballot, each with the reason. A table of choices."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from panel.study.test_methods import method_of

if TYPE_CHECKING:
    from panel.study.asking import Situation

# Cups that one person usually takes at a sitting, by how long the taste stays. Common practice, no source.
USUAL_CUPS = {"": 6, "none": 8, "some": 6, "strong": 4}
WAITS = {
    "": "",
    "none": "",
    "some": "30",
    "strong": "90",
}  # seconds between samples; common practice, no source
RINSES = {
    "": "Drink some water.",
    "none": "Drink some water.",
    "some": "Drink some water, eat a bite of a plain cracker, and drink again.",
    "strong": "Drink some water, eat a bite of a plain cracker, drink again, and wait until the taste is gone.",
}
PROFILE = ("Sweetness", "Saltiness", "Bitterness", "Strength of smell", "Firmness", "Aftertaste")
SPARE_CUPS = "2"
MOST_RANKED = 10


@dataclass(frozen=True, slots=True)
class Proposal:
    """A test with its layout and ballot.

    why : reasons for the test; design : how the samples are dealt out, and why; refused : why it cannot be, "" else
    typed : fields of a draft, all but the number of tasters; compared : how many of the products it takes
    """

    method: str
    why: tuple[str, ...]
    design: tuple[str, ...]
    compared: int
    refused: str = ""
    typed: dict[str, str] = field(default_factory=dict)


def propose(situation: Situation) -> Proposal:
    """The test that answers the question, as far as the situation allows."""
    refused = _cannot(situation)
    method, why = _choice(situation)
    compared = min(situation.products, method_of(method).most)
    design, layout = _layout(situation, method, compared)
    typed = {
        "title": _title(situation),
        "question": _question(situation),
        "method": method,
        "products": str(compared),
        **_roles(situation, method),
        **_ballot(situation, method),
        **layout,
        **_served(situation),
        **_circumstances(situation),
    }
    return Proposal(
        method, why, design, compared, refused, {name: value for name, value in typed.items() if value}
    )


def usual_cups(situation: Situation) -> int:
    """Cups one person takes at a sitting: as said, or what is usual for such a taste."""
    return situation.cups or USUAL_CUPS[situation.known.lingering]


def _cannot(situation: Situation) -> str:
    if situation.products < 2:
        return (
            "One product alone cannot be compared, and people have no fixed measure in them. The nearest that "
            "works: "
            "taste it beside a second one that you know well, and say 2 products."
        )
    if usual_cups(situation) < 2:
        return (
            "Somebody who takes one cup at a sitting compares it with a memory. The nearest that works: smaller "
            "cups, "
            "so that each person takes 2."
        )
    return ""


def _choice(situation: Situation) -> tuple[str, tuple[str, ...]]:
    if situation.asks == "as good" or (situation.asks == "change" and situation.hope == "unnoticed"):
        return _alike(situation)
    if situation.question.pair:
        return _different(situation)
    if situation.asks == "like what":
        why = (
            "Each taster scores every product for each thing on a line: how much of it there is, not how good it "
            "is."
        )
        return "rating", (
            why,
            "Scores come one cup at a time, so that nothing is judged by what stands beside it.",
        )
    if situation.asks == "rank":
        return _ranked(situation)
    if situation.products == 2:
        why = "Of two, people simply say which they prefer: the plainest answer, with the fewest words in between."
        return "paired preference", (
            why,
            "It does not say by how much. For that, score the liking of both instead.",
        )
    why = (
        "Each taster scores every product from “dislike extremely” to “like extremely”, one at a time, blind."
    )
    return "rating", (why, "So it says which is liked more, by how much, and for how many people.")


def _ranked(situation: Situation) -> tuple[str, tuple[str, ...]]:
    if situation.products == 2:
        if situation.attribute and situation.knows_stronger:
            return "2-AFC", ("Two make no ranking: people say which of them has more of it.",)
        return "paired preference", ("Two make no ranking: people say which of them they prefer.",)
    if situation.products > MOST_RANKED:
        why = (
            f"Nobody can put {situation.products} cups in order. Each is scored by itself, and the order follows "
            "from the "
            "scores."
        )
        return "rating", (why,)
    order = f"by {situation.attribute}" if situation.attribute else "by liking"
    return "ranking", (
        f"People put the cups in order {order}, all at once. Easy to do, and quick.",
        "It says who comes before whom, not how far apart they are.",
    )


def _different(situation: Situation) -> tuple[str, tuple[str, ...]]:
    cups, staying = usual_cups(situation), situation.known.lingering
    one = _one_pair(situation)
    if situation.attribute and situation.knows_stronger:
        why = (
            f"You can name in what they differ ({situation.attribute}) and which should have more. Asking just "
            "that needs "
            "the fewest people, and two cups each."
        )
        return "2-AFC", (why, *one)
    if cups < 3:
        why = "Two cups are all a person can take: same or different? It needs the most people of all."
        return "same-different", (why, *one)
    if staying == "strong":
        why = (
            "With a taste that stays, holding three or four cups against each other fails. Here each is held "
            "against one "
            "known reference, which is easier; it takes more people."
        )
        return "duo-trio", (why, *one)
    if cups < 4 or staying == "some":
        why = (
            "Three cups, two of them the same: which is different? Nobody needs to know in what they differ. A "
            "tetrad "
            "would need fewer people, but four cups, which is much for this taste."
        )
        return "triangle", (why, *one)
    why = (
        "Four cups, sorted into two pairs. Nobody needs to know in what they differ, and it needs about a third "
        "of the "
        "people that a triangle does."
    )
    return "tetrad", (why, *one)


def _alike(situation: Situation) -> tuple[str, tuple[str, ...]]:
    share = round(100 * situation.known.size.notice)
    why = (
        f"To say that hardly anybody can tell them apart, it must be shown: that at most {share} % of people "
        "really "
        "can. A test that merely finds no difference shows nothing of the kind."
    )
    more: tuple[str, ...] = ()
    if situation.asks == "as good":
        more = (
            "Whoever cannot tell them apart cannot like one more. If they can be told apart, ours may still be "
            "liked as "
            "much: then ask which is liked best.",
        )
    if situation.known.lingering == "strong":
        return "duo-trio", (
            why,
            "Two cups and a reference, since the taste stays.",
            *more,
            *_one_pair(situation),
        )
    return "triangle", (
        why,
        "Three cups, two of them the same, is the usual test for it.",
        *more,
        *_one_pair(situation),
    )


def _one_pair(situation: Situation) -> tuple[str, ...]:
    products = situation.products
    if products <= 2:
        return ()
    pairs = products * (products - 1) // 2
    return (
        f"Telling apart is about two. This plan is for the pair that matters most; all {pairs} pairs of {products} "
        "would be "
        f"{pairs} studies. To compare them all at once, ask which is liked best or what they are like.",
    )


def _layout(situation: Situation, method: str, compared: int) -> tuple[tuple[str, ...], dict[str, str]]:
    row = method_of(method)
    if row.most == 2:
        return _sets(method), {}
    cups = usual_cups(situation)
    fewest = 2 if row.wording is None else row.fewest
    if compared <= cups:
        text = (
            f"Everybody takes all {compared}, in a balanced order: each stands at each place as often, and follows "
            "on "
            "each other one as often, so that neither place nor neighbour favours any."
        )
        return (text,), {}
    taken = max(fewest, _even_share(compared, cups))
    sittings = min(situation.visits, -(-compared // taken))
    text = (
        f"{compared} are too many for one sitting. Each person takes {taken} of them at a time; every product is "
        "taken as "
        "often, and every two meet as often as can be (incomplete blocks, ISO 29842)."
    )
    again = (
        f"The same people come {sittings} times, to other products each time: each further sitting counts like new "
        "people for two products that meet."
        if sittings > 1
        else "If the same people can come again, fewer of them do."
    )
    return (text, again), {"per_taster": str(taken), "sittings": str(sittings) if sittings > 1 else ""}


def _even_share(products: int, cups: int) -> int:
    """Products at a sitting, at most `cups`, so that all sittings are about as long."""
    sittings = -(-products // cups)
    return -(-products // sittings)


def _sets(method: str) -> tuple[str, ...]:
    cups = method_of(method).set_size
    text = (
        f"One set of {cups} cups for each person. Every possible order is dealt out as often, in balanced groups, "
        "so that "
        "the place of a cup gives nothing away."
    )
    return (text,)


def _roles(situation: Situation, method: str) -> dict[str, str]:
    row = method_of(method)
    if row.directed:
        return {"product-0-role": "stronger"}
    if situation.asks in ("change", "as good") and row.keeps_reference:
        return {"product-0-role": "reference"}
    return {}


def _title(situation: Situation) -> str:
    title = situation.question.title
    return (
        f"{situation.about[:1].upper()}{situation.about[1:]}: {title[:1].lower()}{title[1:]}"
        if situation.about
        else title
    )


def _question(situation: Situation) -> str:
    if situation.about and situation.asks == "liked":
        return f"Which {situation.about} is liked best?"
    return situation.question.words


def _ballot(situation: Situation, method: str) -> dict[str, str]:
    if method == "paired preference":
        return {"no_preference": "yes"}
    if method in ("2-AFC", "ranking"):
        return {"attribute": situation.attribute}
    if method != "rating":
        share = situation.known.size.notice
        alike = situation.asks == "as good" or (situation.asks == "change" and situation.hope == "unnoticed")
        return {"similarity_limit": f"{100 * share:g}"} if alike else {}
    if situation.asks == "like what":
        asked: dict[str, str] = {}
        for number, word in enumerate(situation.words or PROFILE):
            asked |= {f"question-{number}-text": word, f"question-{number}-scale": "line-100"}
        return asked | {"primary": "q1", "question_order": "rotated"}
    if situation.asks == "rank" and situation.attribute:
        named = situation.attribute[:1].upper() + situation.attribute[1:]
        return {"question-0-text": named, "question-0-scale": "line-100", "primary": "q1"}
    thing = f"this {situation.about}" if situation.about else "it"
    return {
        "question-0-text": f"How much do you like {thing}?",
        "question-0-scale": "hedonic-9",
        "question-1-text": "What struck you?",
        "question-1-scale": "comment",
        "question-1-optional": "yes",
        "primary": "q1",
    }


def _served(situation: Situation) -> dict[str, str]:
    staying = situation.known.lingering
    return {
        "rinse": RINSES[staying],
        "wait_seconds": WAITS[staying],
        "allergen_gluten": "yes" if "cracker" in RINSES[staying] else "",
        "spare_cups": SPARE_CUPS,
        "per_cup": "" if situation.per_cup is None else f"{situation.per_cup:g}",
        "unit": situation.unit,
        "at_once": "" if situation.at_once is None else str(situation.at_once),
        "caffeine_mg": "" if situation.caffeine_mg is None else f"{situation.caffeine_mg:g}",
        "alcohol_g": "" if situation.alcohol_g is None else f"{situation.alcohol_g:g}",
        "theme": "red" if situation.known.looks_differ else "",
        **{f"caution_{key}": "yes" for key in situation.served},
    }


def _circumstances(situation: Situation) -> dict[str, str]:
    known = situation.known
    return {
        "lingering": known.lingering,
        "panel_kind": known.panel_kind,
        "looks_differ": "yes" if known.looks_differ else "",
        "organiser_tastes": "yes" if known.organiser_tastes else "",
        "size": known.size.key,
        "spread": f"{100 * known.spread:g}",
    }
