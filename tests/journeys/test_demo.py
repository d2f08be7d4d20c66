"""The demo, started as a user starts it: five studies, addresses that open, and a polite end."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from demo import story
from demo.phone import Phone, Taster
from tests.journeys.bait import all_words
from tests.journeys.leak_scanner import words_in

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parent.parent.parent
LAST_LINE = "Ctrl+C stops the demo."
PATIENCE_S = 120.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The running demo and all that it printed while it started."""
    port, folder = free_port(), tmp_path_factory.mktemp("tmp")
    command = [sys.executable, "-m", "panel", "demo", "--port", str(port), "--host", "127.0.0.1"]
    command += ["--base-url", f"http://127.0.0.1:{port}"]
    environment = {**os.environ, "TMPDIR": str(folder), "PANEL_DATA": str(folder / "not-here")}
    started = subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    watchdog = threading.Timer(PATIENCE_S, started.kill)
    watchdog.start()
    assert started.stdout is not None
    printed: list[str] = []
    for line in started.stdout:
        printed.append(line)
        if LAST_LINE in line:
            break
    watchdog.cancel()
    try:
        yield started, "".join(printed)
    finally:
        if started.poll() is None:
            started.send_signal(signal.SIGINT)
        rest = started.communicate(timeout=30)[0]
        assert started.returncode == 0, rest
        assert "its data is deleted" in rest
        assert "Traceback" not in rest
        assert list(folder.iterdir()) == [], "nothing is left, and the user's own data was not touched"


def under(printed: str, heading: str) -> str:
    """The address on the line after `heading`."""
    found = re.search(rf"{re.escape(heading)}[^\n]*\n\s+(http://\S+)$", printed, re.MULTILINE)
    assert found is not None, printed
    return found[1].partition("/")[2].partition("/")[2].partition("/")[2]


def test_each_user_has_an_address_that_opens(demo: tuple[subprocess.Popen[str], str]) -> None:
    _process, printed = demo
    base = re.search(r"http://127\.0\.0\.1:\d+", printed)
    assert base is not None
    organiser = Phone(base[0])
    password = re.search(r"password +(\S+)", printed)
    assert password is not None
    signed_in = organiser.post("/sign-in", {"name": "Wren", "password": password[1]})
    assert re.findall(r'class="state">(\w+)<', signed_in.text) == [
        "sealed",
        "serving",
        "revealed",
        "closed",
        "draft",
    ]
    draft = organiser.get("/" + under(printed, "a draft"))
    assert "Save and look at the serving plan" in draft.text
    assert "To the room: open the sitting" in organiser.get("/" + under(printed, "sealed: print")).text
    assert re.search(r"2 finished, \d tasting", organiser.get("/" + under(printed, "being tasted")).text)
    assert "Sign the report" in organiser.get("/" + under(printed, "closed, 24")).text
    assert "By pour letter" in Phone(base[0]).get("/" + under(printed, "Kitchen")).text
    analyst = Phone(base[0]).get("/" + under(printed, "Analyst"))
    assert "24 took a place" in analyst.text
    secrets = all_words({cooker.name: (cooker.name, cooker.maker, cooker.lot) for cooker in story.COOKERS})
    assert words_in(analyst.body, secrets) == set()
    taster = Taster(base[0], "/" + under(printed, "Taster: join the sitting that is going on"))
    assert len(taster.screens) == 10
    early = Phone(base[0]).get("/" + under(printed, "Taster: join the sealed"))
    assert (early.status, "not open yet" in early.text) == (409, True)


def test_a_port_in_use_is_said_in_one_line(demo: tuple[subprocess.Popen[str], str]) -> None:
    _process, printed = demo
    port = re.search(r"http://127\.0\.0\.1:(\d+)", printed)
    assert port is not None
    command = [sys.executable, "-m", "panel", "demo", "--port", port[1], "--host", "127.0.0.1"]
    second = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=PATIENCE_S)
    assert second.returncode == 1
    assert "Choose another port: python -m panel demo --port" in second.stdout
    assert "Traceback" not in second.stdout + second.stderr


def test_the_made_up_answers_are_on_their_scales() -> None:
    for taster in range(1, story.TASTERS_AT_CLOSED + 1):
        for cooker in story.COOKERS:
            for served in (story.PLAIN, story.DASHI):
                said = story.opinion(taster, cooker, served)
                assert said == story.opinion(taster, cooker, served), "the same story every time"
                assert 1 <= int(said["q1"]) <= 9
                assert 0 <= float(said["q2"]) <= 100
                assert 0 <= float(said["q3"]) <= 100
                assert said["q4"] in ("0", "1")
