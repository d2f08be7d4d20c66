"""What DEVELOPERS.md names is there: files, fixtures, columns of the picture, anchors."""

import re
from pathlib import Path

import pytest

from panel.study.life import State

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SOURCES = "\n".join(path.read_text(encoding="utf-8") for path in sorted(ROOT.glob("[pst]*/**/*.py")))
PATHS = sorted(set(re.findall(r"`((?:panel|stats|templates|tests|demo)/[\w./*<>-]+)`", PAGE)))
SHORT = sorted(set(re.findall(r"`((?:study|store|web|analysis|bench)/\w+\.py)(?:::\w+)?`", PAGE)))
NAMED = sorted(
    set(re.findall(r"\.py::(\w+)`", PAGE)) | {"MAY_IMPORT", "MAY", "HOME", "quick_stretching", "cheaper"}
)


def test_the_page_names_files() -> None:
    assert len(PATHS) > 30
    assert len(SHORT) > 5


@pytest.mark.parametrize("path", [path for path in PATHS if "<" not in path])
def test_a_path_that_is_named_is_there(path: str) -> None:
    assert list(ROOT.glob(path.rstrip("/"))), f"DEVELOPERS.md names {path}, which does not exist"


@pytest.mark.parametrize("path", SHORT)
def test_a_file_of_a_room_that_is_named_is_there(path: str) -> None:
    assert (ROOT / "panel" / path).is_file(), f"DEVELOPERS.md names {path}, which does not exist"


@pytest.mark.parametrize("name", NAMED)
def test_a_name_that_is_named_is_in_the_code(name: str) -> None:
    assert re.search(rf"\bdef {name}\b|^{name}\b[:\s]", SOURCES, re.MULTILINE), f"nothing is called {name}"


def test_the_states_are_the_ones_of_the_code() -> None:
    assert " → ".join(State) in PAGE


def test_every_heading_of_the_contents_is_there() -> None:
    headings = {
        re.sub(r"[^\w -]", "", line[3:]).lower().replace(" ", "-")
        for line in PAGE.splitlines()
        if line[:3] == "## "
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", PAGE)) == headings
