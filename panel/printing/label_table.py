"""Labels as a table, for a printer with its own program."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from io import StringIO

from panel.printing.cup_labels import CupLabel

COLUMNS = ("code", "address", "place", "position")


def label_table(labels: Sequence[CupLabel]) -> str:
    """CSV (RFC 4180) of `labels` in the order given, one row a cup."""
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows((label.code, label.address, label.place, label.position) for label in labels)
    return out.getvalue()
