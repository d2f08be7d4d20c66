"""Setting the stage: the five studies of the demo, made through the organiser's own forms."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape
from typing import TYPE_CHECKING

from demo import story
from demo.bench_stage import carry_to_a_verdict
from demo.phone import Phone, RefusedError, Taster
from panel.store.rows import cups_of
from panel.store.sealing import open_key, samples_of
from panel.store.studies import study_called

if TYPE_CHECKING:
    from collections.abc import Mapping

    from demo.phone import Reply, Screen
    from panel.web.house import House

ORGANISER = "Wren"
PASSPHRASE = "steam rises at seven"


@dataclass(frozen=True, slots=True)
class Staged:
    """The five studies, each by its id, and the ways in. join paths begin with /J/; links are whole addresses."""

    draft: str
    sealed: str
    serving: str
    closed: str
    verdict: str
    sealed_join: str
    serving_join: str
    kitchen_link: str
    analyst_link: str


class Organiser:
    """The organiser at the desk: first start, drafts, seals, opens and closes."""

    def __init__(self, address: str, house: House, password: str) -> None:
        self.address, self.house = address, house
        self.browser = Phone(address)
        code = house.tokens.first_start_code()
        self._done(
            self.browser.post("/first-start", {"code": code, "name": ORGANISER, "password": password}),
            "first start",
        )

    def draft(self, typed: Mapping[str, str]) -> str:
        """A complete draft with its plan drawn; the study's id."""
        begun = self._done(self.browser.post("/studies", {"method": typed["method"]}), "begin")
        study = begun.url.split("/studies/")[1].split("/")[0]
        self._done(self.browser.post(f"/studies/{study}/draft", {**typed, "go": "plan"}), typed["title"])
        return study

    def seal(self, study: str) -> None:
        """Lock the names under the story's passphrase."""
        fields = {"passphrase": PASSPHRASE, "again": PASSPHRASE, "holder": "self"}
        self._done(self.browser.post(f"/studies/{study}/seal", fields), "seal")

    def open(self, study: str) -> None:
        """Print the fill sheet, as one does before pouring, and open the sitting."""
        self._done(
            self.browser.post(f"/studies/{study}/print/fill-sheet.pdf", {"passphrase": PASSPHRASE}), "fill"
        )
        self._done(self.browser.post(f"/studies/{study}/open", {}), "open")

    def close(self, study: str) -> None:
        """Nobody joins any more."""
        self._done(self.browser.post(f"/studies/{study}/close", {}), "close")

    def join_path(self, study: str) -> str:
        """What the poster's code leads to, without the machine's address."""
        poster = self._done(self.browser.get(f"/studies/{study}/poster"), "poster").text
        found = re.search(r"/J/[A-Z2-7]{26}", poster)
        if found is None:
            raise RefusedError("the poster carries no join address")
        return found[0]

    def link(self, study: str, role: str) -> str:
        """A sign-in address for kitchen or analyst."""
        made = self._done(self.browser.post(f"/studies/{study}/links", {"role": role}), "link").text
        found = re.search(r'<p class="phrase">([^<]+)</p>', made)
        if found is None:
            raise RefusedError("the page shows no link")
        return unescape(found[1])

    def cups(self, study_id: str) -> dict[str, story.Cooker]:
        """What is really in each cup, by code: what a tongue would know. Needs the passphrase, like any look."""
        cookers = {cooker.name: cooker for cooker in story.COOKERS}
        with self.house.database.read() as session:
            study = study_called(session, study_id)
            if study is None:
                raise LookupError(f"no study {study_id}")
            key = open_key(session, study, PASSPHRASE)["key"]
            letters = {s.pour_letter: cookers[key[s.id]["name"]] for s in samples_of(session, study_id)}
            return {cup.code: letters[cup.pour_letter] for cup in cups_of(session, study_id)}

    @staticmethod
    def _done(reply: Reply, what: str) -> Reply:
        if reply.status >= 400:
            raise RefusedError(f"{what}: the server answered {reply.status}")
        return reply


def answers(number: int, screen: Screen, cups: Mapping[str, story.Cooker]) -> dict[str, str]:
    """What taster `number` answers on this screen."""
    tasted = [cups[code] for code in screen.codes]
    if len(tasted) > 1:
        return story.odd_one(number, tasted)
    return story.opinion(number, tasted[0], screen.served)


def set_the_stage(organiser: Organiser) -> Staged:
    """All five studies; those whose tasting is over have their tasters answer at once."""
    draft = organiser.draft(story.DRAFT)
    closed = organiser.draft(story.CLOSED)
    organiser.seal(closed)
    organiser.open(closed)
    cups, join_path = organiser.cups(closed), organiser.join_path(closed)
    for number in range(1, story.TASTERS_AT_CLOSED + 1):
        taster = Taster(organiser.address, join_path)
        for screen in taster.screens:
            taster.answer(screen, answers(number, screen, cups))
    organiser.close(closed)
    verdict = carry_to_a_verdict(organiser, PASSPHRASE, answers)
    serving = organiser.draft(story.SERVING)
    organiser.seal(serving)
    organiser.open(serving)
    sealed = organiser.draft(story.SEALED)
    organiser.seal(sealed)
    return Staged(
        draft=draft,
        sealed=sealed,
        serving=serving,
        closed=closed,
        verdict=verdict,
        sealed_join=organiser.join_path(sealed),
        serving_join=organiser.join_path(serving),
        kitchen_link=organiser.link(sealed, "kitchen"),
        analyst_link=organiser.link(closed, "analyst"),
    )
