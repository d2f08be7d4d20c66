"""The house rules: who may import whom, how large a file may grow, which names are banned."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCES = sorted(p for room in ("panel", "stats", "demo") for p in (ROOT / room).rglob("*.py"))
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))

SCIENCE = {"numpy", "scipy", "statsmodels", "pandas", "patsy"}
WEB = {"fastapi", "starlette", "jinja2", "uvicorn", "multipart", "itsdangerous"}
TABLES = {"sqlmodel", "sqlalchemy", "alembic", "psycopg"}

# Room -> rooms of ours it may import. A room may always import itself.
MAY_IMPORT: dict[str, set[str]] = {
    "stats": set(),
    "panel.randomiser": set(),
    "panel.study": set(),
    "panel.settings": set(),
    "panel.store": {"panel.study", "panel.randomiser", "panel.settings", "panel.migrations"},
    "panel.migrations": {"panel.store"},
    "panel.analysis": {"stats", "panel.study", "panel.randomiser"},
    "panel.bench": {"stats", "panel.study", "panel.randomiser"},
    "panel.printing": {"panel.study", "panel.randomiser"},
}
OURS = (*MAY_IMPORT, "panel.web", "panel.app", "panel.cli", "panel.static", "demo")
MAY_NOT_USE: dict[str, set[str]] = {
    "stats": WEB | TABLES | {"matplotlib", "reportlab", "qrcode", "openpyxl"},
    "panel.randomiser": WEB | TABLES | {"pandas", "statsmodels", "matplotlib", "reportlab", "qrcode"},
    "panel.study": WEB | TABLES | SCIENCE | {"matplotlib", "reportlab", "qrcode"},
    "panel.store": WEB | SCIENCE | {"matplotlib", "reportlab", "qrcode"},
    "panel.analysis": WEB | TABLES | {"reportlab", "qrcode"},
    "panel.bench": WEB | TABLES | {"reportlab", "qrcode"},
    "panel.printing": WEB | TABLES | SCIENCE,
}
BANNED = re.compile(r"(?:^|_)(?:service|manager|helper|util|common|misc|core)s?(?:_|$)", re.IGNORECASE)


def room_of(module: str) -> str | None:
    fits = [room for room in OURS if module == room or module.startswith(room + ".")]
    return max(fits, key=len) if fits else None


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    package = module_of(path) if path.name == "__init__.py" else module_of(path).rpartition(".")[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            parts = package.split(".")
            base = ".".join(parts[: len(parts) - node.level + 1]) if node.level else ""
            module = ".".join(filter(None, [base, node.module]))
            found.add(module)
            found |= {f"{module}.{alias.name}" for alias in node.names}
    return found


def label(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", SOURCES, ids=label)
def test_a_room_imports_only_what_it_may(path: Path) -> None:
    room = room_of(module_of(path))
    for name in imports_of(path):
        other = room_of(name)
        if room in MAY_IMPORT and other is not None and other != room:
            allowed = sorted(MAY_IMPORT[room]) or "no other room"
            assert other in MAY_IMPORT[room], f"{label(path)} may not import {name}; {room} may use {allowed}"
        banned = MAY_NOT_USE.get(room or "", set())
        assert name.split(".")[0] not in banned, (
            f"{label(path)} may not import {name}: {room} stays free of it"
        )


@pytest.mark.parametrize("path", [p for p in SOURCES if "migrations" not in p.parts], ids=label)
def test_files_and_functions_stay_small(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    lines = text.count("\n")
    assert lines <= 400, f"{label(path)} has {lines} lines; split it by what it does (at most 400)"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            documented = ast.get_docstring(node) is not None
            doc = (first.end_lineno or 0) - first.lineno + 1 if documented else 0
            size = (node.end_lineno or 0) - node.lineno + 1 - doc
            assert size <= 40, f"{label(path)}: {node.name} has {size} lines (at most 40, docstring free)"


@pytest.mark.parametrize("path", [*SOURCES, *TEMPLATES], ids=label)
def test_no_name_says_only_that_it_does_something(path: Path) -> None:
    assert not BANNED.search(path.stem), f"{label(path)}: name the file after what it does"
    if path.suffix == ".py":
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                words = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", node.name)
                assert not BANNED.search(words), (
                    f"{label(path)}: {node.name} says only that it does something"
                )


@pytest.mark.parametrize("path", TEMPLATES, ids=label)
def test_templates_carry_no_inline_style_or_script(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\sstyle\s*=", text), f"{label(path)}: move the style to the stylesheet"
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>", text), (
        f"{label(path)}: move the script to panel/static"
    )
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text), f"{label(path)}: no inline event handlers"
    assert "http://" not in text.replace("http://www.w3.org", ""), (
        f"{label(path)}: no address outside this machine"
    )
    assert "https://" not in text, f"{label(path)}: no address outside this machine"


def test_the_top_level_is_the_agreed_one() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "panel", "stats", "templates", "tests", "demo"}
    assert {name for name in top if not name.startswith(".")} == agreed


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=["ruff check", "ruff format", "mypy"],
)
def test_the_linters_and_the_type_checker_agree(command: list[str]) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
