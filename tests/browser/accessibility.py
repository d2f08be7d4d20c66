"""WCAG 2.2 A and AA, as far as axe-core can tell, held against a page in the browser."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytest.importorskip("axe_playwright_python", reason="axe-core is not installed (axe-playwright-python)")
AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
IN_THE_DARK = ["color-contrast", "target-size"]


def hold(page: Page, what: str) -> None:
    """No rule is broken on this page, and rules were looked at.

    A dark page differs from the light one by its colours, and often by its width: only what these change is looked at.
    """
    page.evaluate(AXE)
    dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    wanted = {"type": "rule", "values": IN_THE_DARK} if dark else RULES
    found = page.evaluate("rules => axe.run({ runOnly: rules })", wanted)
    broken = [(rule["id"], node["html"][:300]) for rule in found["violations"] for node in rule["nodes"]]
    assert broken == [], what
    assert len(found["passes"]) > (0 if dark else 10), what
