"""Stored measurements as the runs that the bench reckons with, in the units that the visitor chose."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from panel.bench.figures import Run
from panel.bench.units import convert
from panel.study.quantities import QUANTITIES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi import Request

    from panel.store.bench_tables import Measurement
    from panel.study.measuring import Measurand

UNITS_COOKIE = "bench-units"
TEMPERATURES = ("°C", "°F")
VOLUMES = ("ml", "cup")


@dataclass(frozen=True, slots=True)
class ShownIn:
    """Which units a visitor wants to see; "" leaves those of the plan."""

    temperature: str = ""
    volume: str = ""

    def unit_of(self, measurand: Measurand) -> str:
        """The unit in which this measurand is shown and typed."""
        units = QUANTITIES[measurand.quantity].units
        wanted = {TEMPERATURES: self.temperature, VOLUMES: self.volume}
        for family, unit in wanted.items():
            if unit and unit in units and measurand.unit in family:
                return unit
        return measurand.unit

    def measurand(self, measurand: Measurand, cup_ml: float) -> Measurand:
        """The measurand with its limits in the unit shown."""
        unit = self.unit_of(measurand)
        if unit == measurand.unit:
            return measurand
        limits: dict[str, Any] = {
            name: None if value is None else convert(value, measurand.unit, unit, cup_ml=cup_ml)
            for name in ("low", "high", "threshold", "ambient")
            for value in [getattr(measurand, name)]
        }
        return replace(measurand, unit=unit, **limits)


def units_chosen(request: Request) -> ShownIn:
    """What the visitor chose earlier, as their browser remembers it."""
    temperature, _, volume = request.cookies.get(UNITS_COOKIE, "").partition("-")
    return ShownIn({"C": "°C", "F": "°F"}.get(temperature, ""), volume if volume in VOLUMES else "")


def as_cookie(temperature: str, volume: str) -> str:
    """The choice as the cookie keeps it; whatever is no choice is left out."""
    return f"{dict(zip(TEMPERATURES, 'CF', strict=True)).get(temperature, '')}-{volume if volume in VOLUMES else ''}"


def run_of(row: Measurement, instruments: Mapping[str, str]) -> Run:
    """The run that a stored revision stands for. instruments: id -> name."""
    return Run(
        id=row.entry,
        measurand=row.measurand,
        product=row.product_id,
        run=row.run,
        value=row.value,
        series=tuple((minutes, value) for minutes, value in json.loads(row.series)),
        ambient=row.ambient,
        laps=tuple(json.loads(row.laps)),
        answers=tuple(json.loads(row.answers)),
        servings=row.servings,
        instrument=instruments.get(row.instrument_id or "", ""),
        resolution=row.resolution,
        accuracy=row.accuracy,
        by=row.measured_by,
        at=row.priced_on or (row.measured_at or row.recorded_at).isoformat(timespec="seconds"),
        note=row.note,
        invalid=row.invalid,
    )
