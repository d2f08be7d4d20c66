"""A house with a study in every state of its life, and a walk over every page that somebody can reach from a start."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape
from pathlib import PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from demo import story
from demo.phone import Phone, Taster
from demo.stage import PASSPHRASE, Organiser, answers, set_the_stage

if TYPE_CHECKING:
    from collections.abc import Iterator

    from demo.stage import Staged
    from tests.journeys.site import Site

LINK = re.compile(r'<a [^>]*?href="(/[^"#]*)')
RANDOM = re.compile(r"\b[a-z2-7]{16}\b|\b[A-Z2-7]{12,26}\b|\bm?\d+\b|[\w-]{30,}")
# Pages that differ by one id only (a study's), by more (a place of a study), and files to read: so many are enough.
OF_ONE_SHAPE = {False: 6, True: 1, ".html": 1}


@dataclass(frozen=True, slots=True)
class Furnished:
    """The organiser at the desk, the five studies of the demo, and one that went all the way."""

    organiser: Organiser
    staged: Staged
    revealed: str

    def visitors(self, site: Site) -> dict[str, tuple[Phone, tuple[str, ...]]]:
        """Who walks, and from where."""
        staged = self.staged
        starts = {
            "organiser": (
                "/",
                f"/studies/{staged.draft}/draft",
                f"/studies/{staged.draft}/plan",
                f"/studies/{staged.closed}/report",
                f"/studies/{self.revealed}/report",
                f"/studies/{staged.verdict}/verdict",
                f"/studies/{staged.verdict}/bench",
                f"/studies/{staged.verdict}/bench/stopwatch",
            ),
            "kitchen": (f"/studies/{staged.sealed}/kitchen",),
            "analyst": (f"/studies/{staged.closed}/report",),
            "nobody": ("/", "/sign-in", "/go", "/nowhere", staged.serving_join, staged.sealed_join),
        }
        browsers = {"organiser": self.organiser.browser}
        for role, link in (("kitchen", staged.kitchen_link), ("analyst", staged.analyst_link)):
            browsers[role] = Phone(site.address)
            browsers[role].get(urlsplit(link).path)
        browsers["nobody"] = Phone(site.address)
        return {role: (browsers[role], starts[role]) for role in starts}


def furnish(site: Site) -> Furnished:
    """The demo's studies, one study revealed, and one draft in which nothing is filled in."""
    organiser = Organiser(site.address, site.house, "a long password")
    staged = set_the_stage(organiser)
    browser = organiser.browser
    browser.post("/studies", {"method": "rating"})
    revealed = organiser.draft({**story.SEALED, "tasters": "8", "title": "A pair, revealed"})
    organiser.seal(revealed)
    organiser.open(revealed)
    cups, join_path = organiser.cups(revealed), organiser.join_path(revealed)
    for number in range(1, 9):
        taster = Taster(site.address, join_path)
        for screen in taster.screens:
            taster.answer(screen, answers(number, screen, cups))
    organiser.close(revealed)
    browser.post(f"/studies/{revealed}/sign", {"signed_by": "Bo"})
    browser.post(f"/studies/{revealed}/reveal", {"passphrase": PASSPHRASE})
    return Furnished(organiser, staged, revealed)


@dataclass(frozen=True, slots=True)
class Walked:
    """The house, where it is served, and path and text of every page that each role reaches."""

    site: Site
    house: Furnished
    pages: dict[str, list[tuple[str, str]]]


def walked(site: Site) -> Walked:
    """The furnished house and everybody's way through it. Nothing in it is to be changed any more."""
    house = furnish(site)
    visitors = house.visitors(site)
    return Walked(
        site, house, {role: list(walk(browser, *starts)) for role, (browser, starts) in visitors.items()}
    )


def walk(browser: Phone, *starts: str) -> Iterator[tuple[str, str]]:
    """Path and text of every HTML page that links lead to, a few of each shape; links that change nothing only."""
    queue, seen, shapes = list(starts), set(starts), dict.fromkeys(map(shape_of, starts), 1)
    while queue:
        path = queue.pop(0)
        reply = browser.get(path)
        assert reply.status < 500, f"{path} answers {reply.status}"
        kind = {name.lower(): value for name, value in reply.headers}.get("content-type", "")
        if not kind.startswith("text/html"):
            continue
        yield path, reply.text
        for found in LINK.findall(reply.text):
            target = unescape(found)
            shape = shape_of(target)
            suffix = PurePosixPath(urlsplit(target).path).suffix
            if suffix not in ("", ".html"):
                continue  # a file to keep, made for this alone
            if target not in seen and shapes.get(shape, 0) < OF_ONE_SHAPE[suffix or shape.count("*") > 1]:
                seen.add(target)
                shapes[shape] = shapes.get(shape, 0) + 1
                queue.append(target)


def shape_of(path: str) -> str:
    """The path without what tells one thing from another of its kind."""
    return RANDOM.sub("*", urlsplit(path).path)
