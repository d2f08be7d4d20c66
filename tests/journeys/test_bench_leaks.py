"""A study with a bench: names and measurements stand on the bench's pages, and nowhere else before the reveal.

Bait: every name, maker, lot, price and note of a product is a random word, and so is everything that is typed on the
bench. The same crawl as for every study looks for all of them, everywhere, as everybody.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from demo.phone import Taster
from tests.journeys.bait import random_word
from tests.journeys.site import PASSPHRASE
from tests.journeys.test_nothing_leaks import FIELDS, RATING, Watch, watched

if TYPE_CHECKING:
    from tests.journeys.site import Browser, Site

BENCH = {
    "measurand-0-name": "Time until done",
    "measurand-0-quantity": "duration",
    "measurand-1-name": "Does not boil over",
    "measurand-1-quantity": "check",
    "measurand-2-name": "Ease of cleaning",
    "measurand-2-quantity": "rating",
    "criterion-0-name": "Quick",
    "criterion-0-source": "m1",
    "criterion-0-direction": "less",
    "criterion-0-worst": "3600",
    "criterion-0-best": "1200",
}
SUBMISSION = re.compile(r'name="submission" value="(\w+)"')


def measure(browser: Browser, watch: Watch) -> dict[str, str]:
    """Type random words wherever the bench takes words; what was typed."""
    at = f"/studies/{watch.study}/bench"
    typed = {
        what: random_word()
        for what in ("instrument", "check", "by", "note", "invalid", "corrected", "further")
    }
    described = {
        "name": typed["instrument"],
        "quantity": "duration",
        "resolution": "0.1",
        "found": typed["check"],
    }
    browser.post(f"{at}/instruments", described)
    page = browser.get(f"{at}/measure/m1").text
    products = re.findall(r'id="value-(\w+)"', page)
    assert len(products) == 5
    sent = {"submission": SUBMISSION.search(page)[1], "by": typed["by"]}  # type: ignore[index]
    for number, product in enumerate(products):
        sent |= {f"value-{product}": f"{1234.5 + number:g} s", f"note-{product}": typed["note"]}
    saved = browser.post(f"{at}/measure/m1", sent).text
    assert "Saved: 5 runs." in saved
    one, other = list(dict.fromkeys(re.findall(rf"{at}/entries/(\w+)", saved)))[:2]
    why = {"submission": "a" * 32, "counts": "no", "why": typed["invalid"]}
    assert typed["invalid"] in browser.post(f"{at}/entries/{one}/judge", why).text
    watch.entry = other
    fixed = {"submission": "b" * 32, "value": "1250", "by": typed["by"], "reason": typed["corrected"]}
    assert typed["corrected"] in browser.post(f"{at}/entries/{other}", fixed).text
    more = {"measurand-0-name": "Noise", "measurand-0-quantity": "noise", "reason": typed["further"]}
    assert "not sealed" in browser.post(f"{at}/further", more).text
    return typed


def strayed(found: dict[str, set[str]], watch: Watch, hidden: set[str]) -> dict[str, set[str]]:
    """What was found where it may not stand: off the bench and the register, and hidden words anywhere at all."""
    bench = f"/studies/{watch.study}/bench"
    wrong = {}
    for where, words in found.items():
        who, _, path = where.partition(" ")
        home = who in ("organiser", "bench") and urlsplit(path).path.startswith((bench, "/products"))
        if leaked := (words & hidden if home else words):
            wrong[where] = leaked
    return wrong


@pytest.mark.parametrize("typed", [RATING | BENCH], ids=["rating with a bench"])
def test_names_and_measurements_stay_on_the_bench_until_the_reveal(site: Site, typed: dict[str, str]) -> None:
    watch, organiser = watched(site, typed)
    products = watch.words
    at = f"/studies/{watch.study}"
    link = re.search(r"/in/[\w-]+", organiser.post(f"{at}/links", {"role": "bench"}).text)
    watch.visitors = {**watch.visitors, "bench": site.browser()}
    watch.visitors["bench"].get(link[0])  # type: ignore[index]
    typed_words = measure(organiser, watch)
    measured = frozenset(typed_words.values())
    watch.words = products | measured
    seen = watch.look_everywhere()
    known = set().union(*seen.values())
    hidden = set(products) - known  # lots, prices and notes: sealed as in any study
    assert len(hidden) == 15
    assert len(known & products) == 10, "the bait is on the bench: names and makers"
    assert measured <= known, "the bait is on the bench: everything typed there"
    assert strayed(seen, watch, hidden) == {}, "sealed"
    organiser.post(f"{at}/open", {})
    taster = Taster(site.address, f"/J/{watch.join}")
    watch.visitors = {**watch.visitors, "taster": taster.phone}  # type: ignore[dict-item]
    watch.attempt = taster.screens[0].action.split("/")[2]
    assert strayed(watch.look_everywhere(), watch, hidden) == {}, "serving"
    for phone, liking in ((taster, "5"), (Taster(site.address, f"/J/{watch.join}"), "8")):
        for screen in phone.screens:
            phone.answer(screen, {**FIELDS, "q1": liking})
    organiser.post(f"{at}/close", {})
    assert strayed(watch.look_everywhere(), watch, hidden) == {}, "closed"
    assert "The results are fixed" in organiser.post(f"{at}/sign", {"signed_by": "Bo"}).text
    assert strayed(watch.look_everywhere(), watch, hidden) == {}, "signed"
    assert watch.seen > 300
    organiser.post(f"{at}/reveal", {"passphrase": PASSPHRASE})
    found = watch.look_everywhere()
    everything = products | measured - {
        typed_words["instrument"],
        typed_words["check"],
    }  # no run was made with it
    assert found[f"organiser {at}/export"] >= everything, "once revealed, the bundle holds all of it"
    assert [where for where in found if where.startswith(("nobody", "taster", "kitchen"))] == []
