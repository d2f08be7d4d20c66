"""The two shapes that pass between the rooms of the bench: what was entered, and what comes of it for a product."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Run:
    """One entry of the bench: one measurand, one product, one run.

    product : the register's id of the product; run : its number as entered, from 1
    value : in the quantity's first unit, None for a series; a check is 1 or 0; a price in the study's currency
    series : (minutes, value) in the quantity's first unit; ambient : beside it, None where it was not noted
    laps : seconds at each lap, rising; answers : the ten of a usability questionnaire, each 1 to 5
    servings : how many this run made, or the priced package holds; None where it is what the measurand says
    resolution, accuracy : of the instrument, in the quantity's first unit (or a difference of it): smallest step,
        and half-width of its stated limits; None where not known
    by : who measured or rated; at : ISO 8601 in UTC; invalid : why the run does not count, "" where it does
    """

    id: str
    measurand: str
    product: str
    run: int
    value: float | None
    series: tuple[tuple[float, float], ...] = ()
    ambient: float | None = None
    laps: tuple[float, ...] = ()
    answers: tuple[int, ...] = ()
    servings: float | None = None
    instrument: str = ""
    resolution: float | None = None
    accuracy: float | None = None
    by: str = ""
    at: str = ""
    note: str = ""
    invalid: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """What the valid runs of one measurand give for one product.

    figure : id in the quantity's figures; unit : of all numbers here, as `quantities.figure_unit` says
    n : how many valid runs gave a value; value : None where it cannot be had, with the reason in flags
    u : its standard uncertainty (type A and B together), None where nothing is known of it
    df : effective degrees of freedom (inf where only type B, 0 where u is None)
    low, high : 95 % coverage interval, None where u is, and for one run where more were asked for: its u leaves out
        how far runs scatter
    runs : each of these runs' own value; invalid : how many runs do not count
    bound : "at least" where some run had not come to its end when the series stopped, else ""
    flags : sentences about what is missing, contradictory or to be read with care
    """

    product: str
    measurand: str
    figure: str
    unit: str
    n: int
    value: float | None
    u: float | None
    df: float
    low: float | None
    high: float | None
    runs: tuple[float, ...] = ()
    invalid: int = 0
    flags: tuple[str, ...] = ()
    bound: Literal["", "at least"] = ""
