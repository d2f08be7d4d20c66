"""What the log of a study amounts to, in words: who held the seal and what that proves, and what went otherwise."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from panel.study.pseudonyms import taster_name
from panel.study.revisions import CORRECTION

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from panel.study.seal import Event

SELF, SPLIT, PARTS = "self-attested", "split key", "two parts"

PROVES = {
    SELF: (
        "Self-attested: the organiser keeps the passphrase. What it proves: plan, questions, serving orders, blind "
        "letters, names and analysis were fixed at the moment of sealing and are the same today. What it does not "
        "prove: that the organiser did not look at the names in between. Looks made through this program are "
        "listed; a copy of the data folder could be opened elsewhere without a trace."
    ),
    SPLIT: (
        "Split key: a second person typed the passphrase and keeps it. What it proves: plan, questions, serving "
        "orders, blind letters, names and analysis were fixed at the moment of sealing and are the same today, and "
        "without that person the organiser could open the names neither here nor from a copy of the data folder. "
        "What it does not prove: that the second person told nobody."
    ),
    PARTS: (
        "Two parts: two people typed a part of the passphrase each, and the names open only with both. What it "
        "proves: plan, questions, serving orders, blind letters, names and analysis were fixed at the moment of "
        "sealing and are the same today, and neither of the two could open the names alone, here or from a copy "
        "of the data folder. What it does not prove: that the two did not do so together, or that nobody used the "
        "recovery code, which opens the names by itself."
    ),
}
NEVER_PROVED = (
    "No seal proves that the program was not changed, that each cup held what its sheet said, or what was known "
    "of the samples before they were sealed."
)


@dataclass(frozen=True, slots=True)
class SealTerms:
    """On which terms a study was sealed. holder: SELF, SPLIT or PARTS; at: UTC in ISO 8601."""

    holder: str
    at: str

    @property
    def in_words(self) -> str:
        """What the seal proves and what it does not."""
        return f"{PROVES.get(self.holder, PROVES[SELF])} {NEVER_PROVED}"


@dataclass(frozen=True, slots=True)
class Happening:
    """One kind of thing that happened. lines: one each time, in order, with the moment in front."""

    title: str
    count: int
    lines: tuple[str, ...]


def terms_of(events: Sequence[Event]) -> SealTerms | None:
    """The terms of the seal; None for a draft."""
    for event in events:
        if event.kind == "study sealed":
            return SealTerms(str(event.detail.get("passphrase holder", SELF)), event.at)
    return None


def what_happened(events: Sequence[Event], moment: Callable[[str], str]) -> tuple[Happening, ...]:
    """Amendments, looks at names and everything that went otherwise than planned, by kind; no kind without a case.

    moment : how an event's time (UTC in ISO 8601) is written for the reader
    """
    tasters = tasters_in(events)
    found = []
    for title, tell in _KINDS:
        lines = [(event, line) for event in events if (line := tell(event, tasters))]
        if lines:
            texts = tuple(f"{moment(event.at)}: {line}" for event, line in lines)
            found.append(Happening(title, len(texts), texts))
    printed = reprints(events)
    return (*found, printed) if printed else tuple(found)


def looks_at_names(events: Sequence[Event]) -> int:
    """How often names were seen between seal and reveal, through this program."""
    return sum(event.kind == "names seen" for event in events)


def tasters_in(events: Sequence[Event]) -> dict[str, str]:
    """Attempt id -> the taster's number."""
    taken: Counter[int] = Counter()
    names: dict[str, str] = {}
    for event in events:
        if event.kind == "place dealt":
            place = int(event.detail["place"])
            taken[place] += 1
            names[str(event.detail["attempt"])] = taster_name(place, taken[place])
    return names


def _amendment(event: Event, _tasters: dict[str, str]) -> str:
    if event.kind != "amended":
        return ""
    detail = event.detail
    what = str(detail["what"]).rstrip(".")
    return f"{what}. Reason: {detail['reason']} ({event.actor}, while the study was {detail['while']})"


def _look(event: Event, _tasters: dict[str, str]) -> str:
    if event.kind != "names seen":
        return ""
    if event.detail.get("on") == "one cup":
        cup = f"cup {event.detail['code']} of place {event.detail['place']}"
        return f"{event.actor} saw what was in {cup}. Reason: {event.detail['reason']}"
    return f"{event.actor} saw the names on the {event.detail.get('on', 'screen')}"


def _sequential(event: Event, _tasters: dict[str, str]) -> str:
    if event.kind != "sequential look":
        return ""
    return f"after {event.detail['answers']} answers: {event.detail['decision']} ({event.actor})"


def _late(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "answers received" or not event.detail["late"]:
        return ""
    return f"answers of {_who(event, tasters)} to screen {event.detail['task']} arrived late"


def _aside(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "answers received" or event.detail["outcome"] != "kept aside":
        return ""
    return f"a second answer of {_who(event, tasters)} to screen {event.detail['task']} was kept aside"


def _corrected(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "answers received" or event.detail["outcome"] != CORRECTION:
        return ""
    return f"{_who(event, tasters)} corrected screen {event.detail['task']}, as the plan allows"


def _left_out(event: Event, tasters: dict[str, str]) -> str:
    if event.kind == "taster left out":
        return f"{_who(event, tasters)} left out by {event.actor}. Reason: {event.detail['reason']}"
    return f"{_who(event, tasters)} counted again" if event.kind == "taster counted again" else ""


def _gone(event: Event, tasters: dict[str, str]) -> str:
    words = {"taster stepped out": "stepped out", "taster gone": "had gone"}
    return f"{_who(event, tasters)} {words[event.kind]}" if event.kind in words else ""


def _again(event: Event, _tasters: dict[str, str]) -> str:
    detail = event.detail
    if event.kind == "place given again":
        return f"place {detail['place']} poured again for another taster"
    if event.kind == "cup replaced":
        return (
            f"cup {detail['was']} of place {detail['place']} replaced by {detail['code']}: {detail['reason']}"
        )
    return ""


def _order(event: Event, tasters: dict[str, str]) -> str:
    if event.kind == "cups served in another order":
        return f"place {event.detail['place']}: cups {' and '.join(event.detail['codes'])} taken in each other's place"
    if event.kind == "place dealt" and event.detail.get("out of dealing order"):
        return f"{_who(event, tasters)} took place {event.detail['place']} out of dealing order"
    return f"{_who(event, tasters)} met a cup of somebody else" if event.kind == "wrong cup noted" else ""


def _one_phone(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "place dealt" or not event.detail.get("on the phone of"):
        return ""
    first = tasters.get(str(event.detail["on the phone of"]), "another taster")
    return f"{_who(event, tasters)} took a place on the phone of {first}"


def _pause(event: Event, _tasters: dict[str, str]) -> str:
    words = {"sitting paused": "everybody asked to wait", "sitting resumed": "everybody went on"}
    return words.get(event.kind, "")


def _keyed(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "ballot keyed from paper":
        return ""
    return (
        f"{len(event.detail['screens'])} screens of {_who(event, tasters)} keyed from paper by {event.actor}"
    )


def _dots(event: Event, _tasters: dict[str, str]) -> str:
    return f"dots under the cups of round {event.detail['place']} read" if event.kind == "dots read" else ""


def _erased(event: Event, tasters: dict[str, str]) -> str:
    if event.kind != "person erased":
        return ""
    return f"name and written remarks of {_who(event, tasters)} erased; the scores stay under that number"


def _who(event: Event, tasters: dict[str, str]) -> str:
    return tasters.get(str(event.detail.get("attempt", "")), "a taster")


def _bench(event: Event, _tasters: dict[str, str]) -> str:
    words = {
        "measurement corrected": "a measurement was corrected",
        "run marked invalid": "a run was left out",
        "run counted again": "a run was counted again",
        "measurand added": "something that was not sealed is measured as well",
    }
    return f"{words[event.kind]} by {event.actor}" if event.kind in words else ""


_KINDS: tuple[tuple[str, Callable[[Event, dict[str, str]], str]], ...] = (
    ("Amendments after sealing", _amendment),
    ("Looks at the sequential plan", _sequential),
    ("Looks at names before the reveal", _look),
    ("Tasters left out", _left_out),
    ("Late answers", _late),
    ("Second answers to one screen", _aside),
    ("Corrections by tasters", _corrected),
    ("Tasters who stopped", _gone),
    ("Cups and places poured again", _again),
    ("Cups in another order", _order),
    ("Places taken on a shared phone", _one_phone),
    ("Pauses", _pause),
    ("Ballots keyed from paper", _keyed),
    ("Dots read", _dots),
    ("Changes on the bench", _bench),
    ("Data erased", _erased),
)


def reprints(events: Sequence[Event]) -> Happening | None:
    """What was printed more than once; None where nothing was."""
    printed = Counter(str(event.detail["what"]) for event in events if event.kind == "printed")
    lines = tuple(f"{what}: {times} times" for what, times in sorted(printed.items()) if times > 1)
    return Happening("Printed more than once", len(lines), lines) if lines else None
