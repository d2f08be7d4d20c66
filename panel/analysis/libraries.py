"""The heavy libraries of a report, loaded before somebody waits for them: two to four seconds on a busy machine."""

from __future__ import annotations

from importlib import import_module
from threading import Thread

HEAVY = ("pandas", "scipy.stats", "statsmodels.miscmodels.ordinal_model", "matplotlib.backends.backend_svg")


def load_in_the_background() -> Thread:
    """Load them beside whatever the server does meanwhile. The thread ends by itself and holds nothing up."""
    thread = Thread(target=_load, name="libraries of the report", daemon=True)
    thread.start()
    return thread


def _load() -> None:
    for name in HEAVY:
        import_module(name)
    from panel.analysis.figures import bars_figure

    # The first figure finds the fonts, which takes as long as loading the rest of matplotlib.
    _ = bars_figure([("A", 1.0)], title="first", axis="tasters", name="first").svg
