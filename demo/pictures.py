"""`python -m demo.pictures [FOLDER]`: the README's screenshots, taken from the demo with Chromium.

Needs Playwright (installed with the extra `test`) and a Chromium on the path. With --all every page is taken, at
390 × 844 and at 1280 × 800.
"""

from __future__ import annotations

import shutil
import socket
import tempfile
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
import uvicorn

from demo.crowd import Crowd
from demo.question_pictures import take_questions
from demo.stage import PASSPHRASE, Organiser, Staged, set_the_stage
from panel.app import create_app
from panel.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

PASSWORD = "a password for pictures"
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True,
}  # fmt: skip
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
SHOWN_ADDRESS = "http://192.168.1.20:8000"
HERE = Path(__file__).parent / "pictures"


@dataclass(frozen=True, slots=True)
class Scene:
    """The running demo: its address, its organiser and its studies."""

    address: str
    organiser: Organiser
    staged: Staged


@contextmanager
def running_demo() -> Iterator[Scene]:
    """The demo's server and studies in this process, the first tasters at the table."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        app = create_app(Settings(data=Path(folder), database="", base_url=SHOWN_ADDRESS))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        organiser = Organiser(address, app.state.house, PASSWORD)
        staged = set_the_stage(organiser)
        crowd = Crowd(address, staged.serving_join, organiser.cups(staged.serving))
        crowd.arrive_early()
        yield Scene(address, organiser, staged)
        crowd.stop()
        server.should_exit = True
        thread.join(10)


def take_pictures(browser: Browser, scene: Scene, folder: Path) -> None:
    """The README's few."""
    desk = _desk(browser, scene)
    study = f"{scene.address}/studies/"
    shots = {
        "begin": (f"{scene.address}/studies/new?asks=change", "#advice"),
        "draft": (f"{study}{scene.staged.draft}/draft", "#samples"),
        "plan": (f"{study}{scene.staged.draft}/plan", ""),
        "room": (f"{study}{scene.staged.serving}/room", ""),
        "report": (f"{study}{scene.staged.closed}/report", ""),
        "verdict": (f"{study}{scene.staged.verdict}/verdict", ""),
    }
    for name, (address, at) in shots.items():
        desk.goto(address)
        if at:
            desk.locator(at).evaluate("part => part.scrollIntoView()")
        desk.screenshot(path=folder / f"{name}.png")
    phone = browser.new_context(**PHONE).new_page()
    phone.goto(scene.address + scene.staged.serving_join)
    phone.screenshot(path=folder / "join.png")
    phone.get_by_role("button", name="I agree and take part").tap()
    phone.wait_for_url("**/t/**")
    _tap_an_answer(phone)
    phone.screenshot(path=folder / "taste.png")
    _stopwatch(_desk(browser, scene, **PHONE), scene, folder)
    take_questions(_desk(browser, scene, **PHONE), scene.organiser, folder)
    kitchen = browser.new_context(**LAPTOP).new_page()
    kitchen.goto(scene.staged.kitchen_link.replace(SHOWN_ADDRESS, scene.address))
    kitchen.screenshot(path=folder / "kitchen.png")


def _stopwatch(phone: Page, scene: Scene, folder: Path) -> None:
    """Three cookers started together, one of them stopped."""
    phone.goto(f"{scene.address}/studies/{scene.staged.verdict}/bench/stopwatch")
    phone.get_by_label("Your name or initials").fill("Liv")
    for name in ("Grainsong 3", "Kumorigama", "Velsund V40"):
        phone.get_by_label(name).check()
    phone.get_by_role("button", name="Start").tap()
    phone.get_by_role("button", name="Stop").first.tap()
    phone.screenshot(path=folder / "stopwatch.png")


def take_all(browser: Browser, scene: Scene, folder: Path) -> None:
    """Every page in full, on a phone and on a laptop, to be looked at."""
    at = f"{scene.address}/studies/"
    draft, sealed, serving, closed = (
        scene.staged.draft, scene.staged.sealed, scene.staged.serving, scene.staged.closed,
    )  # fmt: skip
    pages = {
        "studies": scene.address, "draft": f"{at}{draft}/draft", "plan": f"{at}{draft}/plan",
        "study-sealed": f"{at}{sealed}", "room-sealed": f"{at}{sealed}/room", "kitchen": f"{at}{sealed}/kitchen",
        "study-serving": f"{at}{serving}", "room-serving": f"{at}{serving}/room", "poster": f"{at}{serving}/poster",
        "log": f"{at}{serving}/log", "report": f"{at}{closed}/report", "study-closed": f"{at}{closed}",
        "new": f"{scene.address}/studies/new", "verdict": f"{at}{scene.staged.verdict}/verdict",
        "bench": f"{at}{scene.staged.verdict}/bench", "products": f"{scene.address}/products",
        "tables": f"{scene.address}/tables", "not-found": f"{scene.address}/nothing",
        "not-now": f"{at}{serving}/report",
    }  # fmt: skip
    for size, options in (("phone", PHONE), ("laptop", LAPTOP)):
        desk = _desk(browser, scene, **options)
        for name, address in pages.items():
            desk.goto(address)
            desk.screenshot(path=folder / f"{size}-{name}.png", full_page=True)
        stranger = browser.new_context(**options).new_page()
        stranger.goto(f"{scene.address}/sign-in")
        stranger.screenshot(path=folder / f"{size}-sign-in.png", full_page=True)
        stranger.goto(scene.address + scene.staged.serving_join)
        stranger.screenshot(path=folder / f"{size}-join.png", full_page=True)
        stranger.get_by_role("button", name="I agree and take part").click()
        stranger.wait_for_url("**/t/**")
        stranger.screenshot(path=folder / f"{size}-taste.png", full_page=True)
        stranger.get_by_role("button", name="Save and go on").click()
        stranger.screenshot(path=folder / f"{size}-taste-missing.png", full_page=True)
    _to_the_end(browser, scene, folder)


def _to_the_end(browser: Browser, scene: Scene, folder: Path) -> None:
    """Sign and reveal the closed study; then its report by name."""
    desk = _desk(browser, scene)
    desk.goto(f"{scene.address}/studies/{scene.staged.closed}/report")
    desk.get_by_label("Your name").fill("Wren")
    desk.get_by_role("button", name="Sign the report").click()
    desk.get_by_role("link", name="Reveal the names").click()
    desk.screenshot(path=folder / "laptop-reveal.png", full_page=True)
    desk.get_by_label("Passphrase or recovery code").fill(PASSPHRASE)
    desk.get_by_role("button", name="Reveal the names").click()
    desk.screenshot(path=folder / "laptop-revealed.png", full_page=True)


def _desk(browser: Browser, scene: Scene, **options: Any) -> Page:
    context = browser.new_context(**(options or LAPTOP))
    page = context.new_page()
    page.goto(f"{scene.address}/sign-in")
    page.get_by_label("Name").fill("Wren")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{scene.address}/")
    return page


def _tap_an_answer(phone: Page) -> None:
    phone.get_by_text("Like moderately", exact=True).tap()
    phone.evaluate("window.scrollTo(0, 0)")


def _make_small(folder: Path) -> None:
    """Few colours are enough for pages of text, and keep the repository small."""
    from PIL import Image

    for path in sorted(folder.glob("*.png")):
        with Image.open(path) as picture:
            picture.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(path, optimize=True)


def main(
    folder: Annotated[Path, typer.Argument(help="Where the pictures go.")] = HERE,
    every: Annotated[bool, typer.Option("--all", help="Every page, in full.")] = False,
) -> None:
    """Take the pictures."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    folder.mkdir(parents=True, exist_ok=True)
    with running_demo() as scene, sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        (take_all if every else take_pictures)(browser, scene, folder)
        browser.close()
    if not every:
        _make_small(folder)


if __name__ == "__main__":
    typer.run(main)
