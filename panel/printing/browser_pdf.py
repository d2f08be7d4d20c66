"""A page as PDF, drawn by the Chromium of this machine without a window or a network; its policy keeps scripts out."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
from pathlib import Path

NAMES = (
    "chromium-headless-shell",
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
)
PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files/Microsoft/Edge/Application/msedge.exe",
)
PAPERS = ("A4", "letter")
LONGEST = 120  # seconds that a page may take to be drawn
OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--no-pdf-header-footer",
)
_ONE_AT_A_TIME = threading.Lock()


class NoBrowserError(RuntimeError):
    """There is no Chromium here, or it could not draw the page; the message says what to do instead."""


def browser() -> str | None:
    """The path of a Chromium, Chrome or Edge on this machine; None where none is found."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    return found or next((place for place in PLACES if Path(place).exists()), None)


def pdf_of(page: str) -> bytes:
    """The PDF of a self-contained page; its own style says paper and margins. NoBrowserError where it cannot be made.

    One page at a time: a browser takes some hundred megabytes.
    """
    program = browser()
    if program is None:
        raise NoBrowserError(
            "No Chromium was found on this machine, so no PDF can be made here. Print the report from your own "
            "browser instead (as PDF, with background graphics off): the page is set for A4 and Letter."
        )
    with _ONE_AT_A_TIME, tempfile.TemporaryDirectory(prefix="panel-pdf-") as folder:
        source, target = Path(folder) / "report.html", Path(folder) / "report.pdf"
        source.write_text(page, encoding="utf-8")
        command = [
            program,
            *OPTIONS,
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={target}",
            source.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # Chromium refuses to run as root with it
        try:
            subprocess.run(command, cwd=folder, capture_output=True, timeout=LONGEST, check=True)
            return target.read_bytes()
        except (OSError, subprocess.SubprocessError):
            raise NoBrowserError(
                f"{Path(program).name} on this machine could not draw the PDF. Print the report from your own browser "
                "instead."
            ) from None
