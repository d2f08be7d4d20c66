"""What the README shows is what happens: its commands exist, its output is real, its settings are all there are."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from demo.question_pictures import EVERY_SCALE, SETS
from panel.cli import app
from panel.settings import Settings
from panel.study.scales import SCALES
from panel.study.test_methods import TEST_METHODS

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(set(re.findall(r"python -m panel ([a-z][a-z-]*[a-z])", README)))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_of_the_readme_exists(command: str) -> None:
    assert CliRunner().invoke(app, [command, "--help"]).exit_code == 0


@pytest.mark.parametrize("more", [[], ["--port", "8123"]], ids=["as shown", "another port"])
def test_the_demo_starts_as_the_readme_types_it(more: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[Settings] = []
    monkeypatch.setattr("demo.show.show", lambda settings, _say: shown.append(settings))
    started = CliRunner().invoke(app, ["demo", *more])
    assert started.exit_code == 0, started.output
    assert [settings.port for settings in shown] == [int(more[1]) if more else Settings().port]


def test_the_output_shown_is_the_output(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    typed = re.search(r"^    \S+ -m panel (analyse .*)$", README, re.MULTILINE)
    assert typed is not None
    printed = CliRunner().invoke(app, shlex.split(typed[1])).stdout.splitlines()
    shown = re.findall(r"^```\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert len(shown) == 2
    for block in shown:
        lines = block.rstrip("\n").splitlines()
        starts = [at for at, line in enumerate(printed) if line == lines[0]]
        assert any(printed[at : at + len(lines)] == lines for at in starts), block


def test_the_table_of_settings_is_complete() -> None:
    shown = set(re.findall(r"`PANEL_([A-Z_]+)`", README))
    assert shown == {name.upper() for name in Settings.model_fields}


def test_every_picture_exists_and_is_small() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    pictures += re.findall(r'<img src="([^"]+)" width="\d+" alt="[^"]+">', README)
    kinds = {f"question-{name.replace(' ', '-')}" for name in (*EVERY_SCALE, *SETS)}
    assert {scale for _text, scale, _more in EVERY_SCALE.values()} == set(SCALES)
    assert {"rating", "2-AFC"} | set(SETS) == set(TEST_METHODS), "the 2-AFC looks like the 3-AFC"
    assert kinds <= {Path(picture).stem for picture in pictures}, "every kind of question is shown"
    assert len(pictures) == len(set(pictures))
    for picture in pictures:
        assert 1_000 < (ROOT / picture).stat().st_size < 120_000, picture
    assert {ROOT / picture for picture in pictures} == set((ROOT / "demo" / "pictures").glob("*.png"))
