"""How moments and numbers are written for readers: in the organiser's time zone and the reader's locale.

Stored and exported they stay as they are: UTC in ISO 8601, points before decimals. Every page asks here.
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from babel import Locale, dates, numbers

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.analysis.drawing import Figure
    from panel.analysis.view_parts import ReportView
    from panel.settings import Settings

# A decimal in running text; not a part of a version, a clause of a standard, or a file's name.
_DECIMAL = re.compile(r"(?<![\w.,:/-])([−+-]?\d+)\.(\d+)(?![\w-]|\.\d)")

_ON_FIGURES = re.compile(r"(?<=>)[^<>]+(?=</t)")


@dataclass(frozen=True, slots=True)
class Local:
    """One reader's way to write. zone : None for the machine's own; locale : such as "en-GB"."""

    zone: tzinfo | None
    locale: Locale

    def moment(self, at: datetime | str) -> str:
        """Day, time and zone: "26 Nov 2026, 23:14 CET". at : aware, or ISO 8601 with its offset."""
        there = self._there(at)
        day = dates.format_date(there.date(), "medium", self.locale)
        clock = dates.format_time(there.time(), "short", locale=self.locale)
        return f"{day}, {clock} {self._zone_name(there)}"

    def day(self, at: datetime | str) -> str:
        """The day in the organiser's zone: "26 Nov 2026"."""
        return dates.format_date(self._there(at).date(), "medium", self.locale)

    def number(self, value: float, decimals: int | None = None) -> str:
        """A number with so many decimals, or with as many as it has."""
        text = f"{value:.{decimals}f}" if decimals is not None else f"{value:.10g}"
        return self.figures(text.replace("-", "−"))

    def figures(self, text: str) -> str:
        """A text whose decimals are written with a point, in the reader's way."""
        symbol = numbers.get_decimal_symbol(self.locale)
        return text if symbol == "." else _DECIMAL.sub(rf"\g<1>{symbol}\g<2>", text)

    def view(self, view: ReportView) -> ReportView:
        """A report with every decimal written in the reader's way, figures included; versions stay as they are."""
        if numbers.get_decimal_symbol(self.locale) == ".":
            return view
        written: ReportView = self.part(view)
        return dataclasses.replace(written, provenance=view.provenance)

    def part(self, part: Any) -> Any:
        """A table, a figure, or anything made of them, with every decimal written in the reader's way."""
        from panel.analysis.drawing import Figure

        if isinstance(part, str):
            return self.figures(part)
        if isinstance(part, tuple):
            return tuple(map(self.part, part))
        if isinstance(part, Figure):
            return dataclasses.replace(
                part,
                title=self.figures(part.title),
                alt=self.figures(part.alt),
                draw=self._drawn(part),
                data=self.part(part.data),
            )
        if dataclasses.is_dataclass(part) and not isinstance(part, type):
            kept = ("id", "numeric", "detail", "opened", "standing")
            fields = [field.name for field in dataclasses.fields(part) if field.name not in kept]
            return dataclasses.replace(part, **{name: self.part(getattr(part, name)) for name in fields})
        return part

    def _drawn(self, figure: Figure) -> Callable[[], str]:
        """Draws the figure and writes the numbers on it, which stand between tags, in the reader's way."""
        return lambda: _ON_FIGURES.sub(lambda text: self.figures(text[0]), figure.draw())

    def _there(self, at: datetime | str) -> datetime:
        moment = datetime.fromisoformat(at) if isinstance(at, str) else at
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return moment.astimezone(self.zone)

    @staticmethod
    def _zone_name(there: datetime) -> str:
        name = there.tzname() or "UTC"
        return f"UTC{name}" if name[0] in "+-" else name


def local_of(settings: Settings) -> Local:
    """The organiser's way to write."""
    zone = ZoneInfo(settings.time_zone) if settings.time_zone else None
    return Local(zone, Locale.parse(settings.locale, sep="-"))
