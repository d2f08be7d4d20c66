"""The demo's bench: runs entered through its own forms, the study tasted, signed and revealed, to a verdict."""

from __future__ import annotations

import re
import secrets
from html import unescape
from typing import TYPE_CHECKING

from demo import bench_story
from demo.phone import RefusedError, Taster

if TYPE_CHECKING:
    from collections.abc import Mapping

    from demo.phone import Phone
    from demo.stage import Organiser

RUNS = 3


def carry_to_a_verdict(organiser: Organiser, passphrase: str, answers: object) -> str:
    """A study that is sealed, tasted, measured, signed and revealed; its id. answers : as `demo.stage.answers`."""
    study = organiser.draft(bench_story.VERDICT)
    organiser.seal(study)
    instruments = described(organiser.browser, study)
    keys = [f"m{number}" for number in range(1, 11)]
    before = [key for key in keys if key not in bench_story.AFTER_TASTING]
    measure(organiser.browser, study, before, instruments)
    organiser.open(study)
    cups, join_path = organiser.cups(study), organiser.join_path(study)
    for number in range(1, bench_story.TASTERS_AT_VERDICT + 1):
        taster = Taster(organiser.address, join_path)
        for screen in taster.screens:
            taster.answer(screen, answers(number, screen, cups))  # type: ignore[operator]
    organiser.close(study)
    measure(organiser.browser, study, list(bench_story.AFTER_TASTING), instruments)
    browser = organiser.browser
    browser.post(f"/studies/{study}/sign", {"signed_by": "Ines"})
    browser.post(f"/studies/{study}/reveal", {"passphrase": passphrase})
    return study


def described(browser: Phone, study: str) -> dict[str, str]:
    """Describe the instruments with what they resolve; measurand -> the instrument's id."""
    address = f"/studies/{study}/bench/instruments"
    names = ("quantity", "unit", "resolution", "accuracy")
    for name, about in bench_story.INSTRUMENTS.items():
        reply = browser.post(address, {"name": name, **dict(zip(names, about, strict=True))})
        if reply.status >= 400:
            raise RefusedError(f"the bench did not take the {name} (status {reply.status})")
    found = re.findall(r"<strong>([^<]+)</strong>.*?[?]change=(\w+)#", browser.get(address).text)
    ids = {unescape(name): key for name, key in found}
    return {key: ids[name] for key, name in bench_story.MEASURED_WITH.items()}


def measure(browser: Phone, study: str, keys: list[str], instruments: Mapping[str, str]) -> None:
    """Every run of these measurands, typed into the bench's forms, all cookers of a run at once."""
    for key in keys:
        address = f"/studies/{study}/bench/measure/{key}"
        products = products_on(browser.get(address).text)
        for run in range(1, RUNS + 1):
            fields = {"by": bench_story.TESTERS[run - 1], "priced_on": "2026-03-02"}
            fields |= {"ambient": f"{bench_story.AMBIENT_C:g}", "instrument": instruments.get(key, "")}
            typed = {
                product: {f"{part}-{product}{place}": value for (part, place), value in found.items()}
                for product, name in products.items()
                if (found := bench_story.entries(key, name, run))
            }
            one_by_one = key in bench_story.ONE_BY_ONE
            sends = [({"product": one}, typed[one]) for one in typed] if one_by_one else []
            if typed and not one_by_one:
                sends = [({}, {name: value for values in typed.values() for name, value in values.items()})]
            for which, values in sends:
                sent = {**fields, **values, **which, "submission": secrets.token_hex(16)}
                reply = browser.post(address, sent)
                if reply.status >= 400:
                    raise RefusedError(f"the bench did not take {key}, run {run} (status {reply.status})")


def products_on(page: str) -> dict[str, str]:
    """Product id -> name, as the page of a measurand lists them: each with its fields, or as a link."""
    rows = re.findall(r'class="row entry" id="(\w+)">.*?<h3>([^<]+)', page, re.DOTALL)
    links = re.findall(r'[?]product=(\w+)">([^<]+)</a>', page)
    return {product: unescape(name).strip() for product, name in (*rows, *links)}
