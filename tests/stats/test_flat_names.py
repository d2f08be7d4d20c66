"""The flat names of `stats` stay what they are, whatever is imported in between."""

import importlib
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

import stats


@pytest.mark.parametrize("name", sorted(stats.HOME))
def test_a_flat_name_is_never_a_module(name):
    importlib.import_module(f"stats.{stats.HOME[name]}")
    if (Path(stats.__file__).parent / f"{name}.py").exists():
        importlib.import_module(f"stats.{name}")
    assert not isinstance(getattr(stats, name), ModuleType), name


def test_importing_stats_loads_no_heavy_library():
    code = "import sys, stats; print([n for n in ('numpy', 'scipy', 'pandas', 'statsmodels') if n in sys.modules])"
    root = Path(stats.__file__).parent.parent
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert done.stdout.strip() == "[]"
