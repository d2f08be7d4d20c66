"""Runs a script as on a machine that has Python, NumPy and SciPy and nothing else."""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from pathlib import Path

# Refuses every import from outside of the standard library, NumPy and SciPy, as if it were not installed.
GUARD = """
import importlib.abc, runpy, sys
KNOWN = set(sys.stdlib_module_names) | {"numpy", "scipy", "__main__"}
class Refuse(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        top = name.partition(".")[0]
        if top not in KNOWN and not top.startswith("_sysconfigdata"):
            raise ModuleNotFoundError(f"not on a bare machine: {name}", name=name)
sys.meta_path.insert(0, Refuse())
sys.argv = sys.argv[1:]
runpy.run_path(sys.argv[0], run_name="__main__")
"""


def run_bare(script: Path) -> subprocess.CompletedProcess[str]:
    """The script run from its own folder, isolated from the environment and from this project."""
    command = [sys.executable, "-I", "-c", GUARD, script.name]
    return subprocess.run(
        command, cwd=script.parent, capture_output=True, text=True, timeout=300, check=False
    )


def recomputed(bundle: bytes, folder: Path) -> subprocess.CompletedProcess[str]:
    """What `recompute.py` says of a bundle unpacked into `folder`."""
    with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
        archive.extractall(folder)
    return run_bare(folder / "recompute.py")
