"""What a report must carry to be repeated: versions, and a hash of the data in canonical order."""

from __future__ import annotations

import hashlib
import json
import platform
from importlib import metadata
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

_OWN = "tasting-panel"


def versions() -> tuple[tuple[str, str], ...]:
    """Names and versions of everything that computed: Python, our package and the libraries."""
    found = [("Python", platform.python_version())]
    for name in (_OWN, "numpy", "scipy", "statsmodels", "pandas"):
        try:
            found.append((name, metadata.version(name)))
        except metadata.PackageNotFoundError:
            found.append((name, "run from source"))
    return tuple(found)


def rows_hash(rows: Iterable[tuple[Any, ...]]) -> str:
    """SHA-256 over the sorted rows as JSON lines: the same data in any order gives the same hash."""
    lines = sorted(json.dumps(row, ensure_ascii=False, separators=(",", ":")) for row in rows)
    return hashlib.sha256("\n".join(lines).encode("utf-8")).hexdigest()


def frame_hash(frame: pd.DataFrame) -> str:
    """The hash of a long frame of scores: columns by name, rows in canonical order, no score as null."""
    columns = sorted(frame.columns)
    values = [[None if cell != cell else cell for cell in frame[name].tolist()] for name in columns]
    return rows_hash([tuple(columns), *zip(*values, strict=True)])
