"""How long a taster waits on a slow network: from scanning the code to the first question, and to its answer saved.

The profiles are the presets of Chromium's developer tools, by their names there; their figures are from memory.
Latency is added to every request. A ballot of 8 samples by 12 questions; a new phone each time, nothing cached.

Run from the top folder: python tests/benchmarks/first_answer.py
"""

import re
import shutil
import sys
import tempfile
import time
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

TOP = Path(__file__).parents[2]
sys.path.insert(0, str(TOP))
tests = ModuleType("tests")
tests.__path__ = [str(TOP / "tests")]
sys.modules["tests"] = tests  # another package of that name may be installed

from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402

from tests.journeys.site import Browser as Desk  # noqa: E402
from tests.journeys.site import Site, begin, seal  # noqa: E402

ROUNDS = 5
SCALES = ("hedonic-9", "line-100", "just-about-right", "yes-no")
DRAFT = {
    "title": "Eight by twelve",
    "question": "How long does it take?",
    "method": "rating",
    "tasters": "60",
    **{f"product-{row}-name": f"Cooker {row}" for row in range(8)},
    **{f"question-{row}-text": f"Question {row + 1} about this rice?" for row in range(12)},
    **{f"question-{row}-scale": SCALES[row % 4] if row else "hedonic-9" for row in range(12)},
    **{f"question-{row}-optional": "yes" for row in range(1, 12)},
}


class Profile(NamedTuple):
    """A network: bytes a second each way and milliseconds added to every request; None for as it is."""

    name: str
    down: float | None
    up: float
    latency_ms: float


PROFILES = (
    Profile("not slowed", None, 0, 0),
    Profile("Fast 4G", 9_000_000 / 8 * 0.9, 1_500_000 / 8 * 0.9, 60 * 2.75),
    Profile("Slow 4G", 1_600_000 / 8 * 0.9, 750_000 / 8 * 0.9, 150 * 3.75),
    Profile("3G", 500_000 / 8 * 0.8, 500_000 / 8 * 0.8, 400 * 5),
)


def slowed(page: Page, profile: Profile) -> None:
    if profile.down is None:
        return
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": profile.latency_ms,
            "downloadThroughput": profile.down,
            "uploadThroughput": profile.up,
        },
    )


def one_taster(browser: Browser, address: str, join: str, profile: Profile) -> tuple[float, float, float]:
    """Seconds until the notice is there, from agreeing to the first question, and from its answer to “saved”."""
    context = browser.new_context(
        base_url=address, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    slowed(page, profile)
    begun = time.perf_counter()
    page.goto(join)
    noticed = time.perf_counter()
    page.locator(".agree .go").click()
    page.wait_for_url("**/t/*")
    page.locator("input[name=q1]").first.wait_for(state="attached")
    asked = time.perf_counter()
    page.locator("label:has(input[name=q1][value='7'])").first.tap()
    sending = time.perf_counter()
    with page.expect_response(lambda answer: answer.request.method == "POST" and answer.ok):
        page.locator("main form .go").click()
    saved = time.perf_counter()
    context.close()
    return noticed - begun, asked - noticed, saved - sending


def joined(desk: Desk) -> str:
    """The address of the join page of a sitting that is open."""
    study = begin(desk, DRAFT)
    seal(desk, study)
    desk.post(f"/studies/{study}/open", {})
    found = re.search(r"/J/[A-Z2-7]{26}", desk.get(f"/studies/{study}/poster").text)
    assert found is not None
    return found[0]


def main() -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        site = Site(Path(folder))
        join = joined(site.organiser())
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        print(f"{'network':12}{'notice':>9}{'question':>10}{'saved':>9}{'together':>10}{'times':>8}")
        first = None
        for profile in PROFILES:
            runs = [one_taster(browser, site.address, join, profile) for _round in range(ROUNDS)]
            middle = [sorted(part)[ROUNDS // 2] for part in zip(*runs, strict=True)]
            first = first or sum(middle)
            print(
                f"{profile.name:12}{middle[0]:8.2f}s{middle[1]:9.2f}s{middle[2]:8.2f}s"
                f"{sum(middle):9.2f}s{sum(middle) / first:8.1f}"
            )
        browser.close()
        site.stop()


if __name__ == "__main__":
    main()
