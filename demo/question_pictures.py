"""The README's pictures of every kind of question, as a phone shows it: from previews of drafts made for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from demo import story

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Locator, Page

    from demo.stage import Organiser

EVERY_SCALE = {
    "hedonic": ("How much do you like this rice?", "hedonic-9", {}),
    "category": ("How sticky is it?", "category", {"points": "not at all\na little\nclearly\nvery"}),
    "line": ("How firm are the grains?", "line-100", {"low": "very soft", "high": "very firm"}),
    "just-about-right": ("How salty is it?", "just-about-right", {}),
    "check-all": ("What does it smell of?", "check-all", {"points": "popcorn\nhay\nnuts\nscorching"}),
    "yes-no-list": ("Are the grains …?", "yes-no-list", {"points": "even\nglossy\nbroken"}),
    "yes-no": ("Would you eat it again?", "yes-no", {}),
    "number": ("How much did you leave?", "number", {"least": "0", "most": "25", "unit": "g"}),
    "short-text": ("What is it like, in a word?", "short-text", {"longest": "20"}),
    "comment": ("Anything else about this rice?", "comment", {"optional": "yes"}),
}
SETS = {
    "triangle": {},
    "tetrad": {},
    "duo-trio": {},
    "two-out-of-five": {},
    "3-AFC": {"attribute": "saltiness", "product-0-role": "stronger"},
    "same-different": {},
    "A-not-A": {"product-0-role": "reference"},
    "paired preference": {"no_preference": "yes"},
    "ranking": {},
}


def _tap(at: str) -> Callable[[Locator], None]:
    return lambda question: question.locator("label.pick").nth(int(at)).click()


def _pull(question: Locator) -> None:
    track = question.get_by_role("slider")
    box = track.bounding_box()
    assert box is not None
    track.click(position={"x": box["width"] * 0.68, "y": box["height"] / 2})


def _write(text: str) -> Callable[[Locator], None]:
    return lambda question: question.locator("input, textarea").first.fill(text)


ANSWERS: dict[str, Callable[[Locator], None]] = {
    "hedonic": _tap("2"),
    "category": _tap("1"),
    "line": _pull,
    "just-about-right": _tap("3"),
    "check-all": _tap("1"),
    "yes-no-list": _tap("0"),
    "yes-no": _tap("0"),
    "number": _write("4"),
    "short-text": _write("popcorn"),
    "comment": _write("Plump grains, a little sweet"),
}


def take_questions(page: Page, organiser: Organiser, folder: Path) -> None:
    """One picture for each scale and each kind of set, answered where a tap answers it. page: signed in, a phone."""
    page.goto(f"{organiser.address}/studies/{organiser.draft(_of_scales())}/preview")
    for number, name in enumerate(EVERY_SCALE):
        question = page.locator(".question").nth(number)
        ANSWERS[name](question)
        question.screenshot(path=folder / f"question-{name}.png")
    for method, more in SETS.items():
        page.goto(f"{organiser.address}/studies/{organiser.draft(_of_set(method, more))}/preview")
        page.locator("article.screen").first.screenshot(
            path=folder / f"question-{method.replace(' ', '-')}.png"
        )


def _of_scales() -> dict[str, str]:
    rows: dict[str, str] = {}
    for row, (text, scale, more) in enumerate(EVERY_SCALE.values()):
        rows |= {f"question-{row}-text": text, f"question-{row}-scale": scale}
        rows |= {f"question-{row}-{name}": value for name, value in more.items()}
    samples = story.typed_samples(story.COOKERS[:2])
    return {**story.KITCHEN, "method": "rating", "title": "Every scale", "question": "?", "tasters": "24"} | (
        rows | samples
    )


def _of_set(method: str, more: dict[str, str]) -> dict[str, str]:
    cookers = story.COOKERS[:4] if method == "ranking" else story.COOKERS[:2]
    head = {"method": method, "title": method, "question": "?", "tasters": "24"}
    return {**story.KITCHEN, **head, **story.typed_samples(cookers), **more}
