"""Runs of the bench for tests: two rice cookers by invented ids, one that cools and one that holds."""

import math

from panel.bench.figures import Run
from panel.study.measuring import Measurand

MINUTES = range(0, 121, 5)
COOKING = Measurand("m1", "Cooking time", "duration", "min", load="equal volume", servings=4)
HOLDING = Measurand(
    "m2", "Holding warm", "temperature-series", "°C", low=60, high=85, threshold=65, ambient=20
)


def cooled(start=95.0, rate=0.01, room=22.0, minutes=MINUTES):
    """A series that follows Newton's law without noise."""
    return tuple((float(m), room + (start - room) * math.exp(-rate * m)) for m in minutes)


def held(level=70.0, minutes=MINUTES):
    """A series that falls to a level and is held there by a thermostat."""
    return tuple((float(m), level + 25 * math.exp(-0.05 * m) + 1.5 * math.sin(m / 9)) for m in minutes)


def runs_of(product, values, measurand="m1", **more):
    """One run for each value, numbered from 1; a series instead of a value where one is given."""
    return [
        Run(
            id=f"{product}-{measurand}-{place}",
            measurand=measurand,
            product=product,
            run=place,
            value=None if isinstance(value, tuple) else float(value),
            series=value if isinstance(value, tuple) else (),
            **more,
        )
        for place, value in enumerate(values, start=1)
    ]
