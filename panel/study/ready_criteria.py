"""Ready measurements and thresholds for common kinds of kitchen product: a start to edit, never a rule.

Each criterion says where its limits come from: a standard or code by name, or "common practice, no source".
Standards named for how to measure are named from memory; read your own copy before citing them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

from panel.study.draft_reader import name_key, rows_of
from panel.study.measuring import Criterion, Measurand

if TYPE_CHECKING:
    from collections.abc import Mapping

NO_SOURCE = "common practice, no source"
HOT_US = "US model food code: hot food is held at 57 °C (135 °F) or above. Local codes decide."
HOT_UK = "UK food safety guidance: hot food is held at 63 °C or above. Local codes decide."
SHELF_MM = 450.0  # common practice, no source: between worktop and wall cabinet
SHELF = f"the height under your shelf, or {SHELF_MM:g} mm: {NO_SOURCE}"
TOUCH = f"burn thresholds of surfaces: ISO 13732-1 (from memory); limits: {NO_SOURCE}"


@dataclass(frozen=True, slots=True)
class ReadySet:
    """What is usually measured of one kind of product. Keys and sources count within the set.

    caution : what to be careful with while measuring, "" where nothing special is
    """

    id: str
    name: str
    measurands: tuple[Measurand, ...]
    criteria: tuple[Criterion, ...]
    caution: str = ""


_FIT = Measurand("", "Height with the lid open", "length", "mm", runs=1)
_FITS = Criterion("", "Fits under the shelf", "", "mean", curve="none", must_most=SHELF_MM, basis=SHELF)
_EASE = Measurand("", "Ease of use", "usability", runs=3)
_EASY = Criterion("", "Easy to use", "", "mean", worst=25, best=90, group="Handling", basis=NO_SOURCE)
_CLEANING = Measurand("", "Ease of cleaning", "rating", runs=3)
_CLEANED = Criterion("", "Easy to clean", "", "mean", worst=1, best=5, group="Handling", basis=NO_SOURCE)
_PRICE = Measurand("", "Price in the shop", "price", runs=1)
_SCALD = "Hot water, steam and hot surfaces scald: wear gloves, and keep others away."


def _warm(name: str) -> Measurand:
    return Measurand("", name, "temperature-series", "°C", low=57, high=75, threshold=57)


def _held(limit: float, basis: str, at: str = "120") -> Criterion:
    name = f"Hot enough after {at} minutes"
    return Criterion("", name, "", f"at {at}", curve="none", must_least=limit, basis=basis)


def _less(name: str, worst: float, best: float, group: str, basis: str = NO_SOURCE) -> Criterion:
    return Criterion("", name, "", "mean", direction="less", worst=worst, best=best, group=group, basis=basis)


def _passes(name: str) -> Criterion:
    return Criterion("", name, "", "mean", direction="pass", curve="none", basis=NO_SOURCE)


def _set(
    id_: str, name: str, rows: tuple[tuple[Measurand, tuple[Criterion, ...]], ...], caution: str = ""
) -> ReadySet:
    """Numbers the measurands, and ties each one's criteria to it."""
    measurands = tuple(replace(row, key=f"m{number}") for number, (row, _) in enumerate(rows, start=1))
    criteria = [
        replace(criterion, source=f"m{number}")
        for number, (_, found) in enumerate(rows, start=1)
        for criterion in found
    ]
    numbered = tuple(
        replace(criterion, key=f"c{number}") for number, criterion in enumerate(criteria, start=1)
    )
    return ReadySet(id_, name, measurands, numbered, caution)


READY_SETS: dict[str, ReadySet] = {
    found.id: found
    for found in (
        _set(
            "rice-cooker",
            "Rice cooker",
            (
                (
                    Measurand("", "Time to cook a full load", "duration", "min", "full", 8),
                    (_less("Quick at full load", 60, 25, "Cooking"),),
                ),
                (
                    Measurand("", "Time to cook for two", "duration", "min", "equal volume", 2),
                    (_less("Quick for two", 45, 15, "Cooking"),),
                ),
                (
                    _warm("Temperature while keeping warm"),
                    (
                        _held(57, HOT_US),
                        Criterion("", "Keeps warm without drying", "", "time inside", worst=0, best=120,
                                  group="Keeping warm", basis=NO_SOURCE),
                    ),
                ),
                (Measurand("", "No boiling over at full load", "check", load="full"), (_passes("Does not boil over"),)),
                (
                    Measurand("", "Energy for a full load", "energy", "Wh", "full", 8),
                    (_less("Uses little energy", 400, 150, "Running it"),),
                ),
                (_FIT, (_FITS,)),
                (_EASE, (_EASY,)),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
            f"{_SCALD} Rice held warm below 57 °C (UK: 63 °C) is not for eating: local codes decide.",
        ),
        _set(
            "kettle",
            "Electric kettle",
            (
                (
                    Measurand("", "Time to boil one litre", "duration", "s", "equal volume", 4,
                              "one litre from 15 °C until it switches off"),
                    (_less("Boils quickly", 330, 120, "Boiling", f"how to measure: IEC 60530; limits: {NO_SOURCE}"),),
                ),
                (
                    Measurand("", "Energy to boil one litre", "energy", "Wh", "equal volume", 4),
                    # 1 kg x 4.19 kJ/(kg K) x 85 K = 356 kJ = 99 Wh cannot be undercut.
                    (_less("Wastes little energy", 150, 99, "Boiling",
                           f"99 Wh heat one litre from 15 °C to 100 °C, less is not possible; worst: {NO_SOURCE}"),),
                ),
                (
                    Measurand("", "Least amount that can be boiled", "capacity", "ml", "single serving", runs=1),
                    (_less("Boils a single cup", 700, 200, "Boiling"),),
                ),
                (
                    Measurand("", "Noise while boiling, at one metre", "noise", "dB(A)"),
                    (_less("Quiet", 75, 55, "Living with it", f"how to measure: IEC 60704; limits: {NO_SOURCE}"),),
                ),
                (
                    Measurand("", "Outer wall after boiling", "temperature", "°C"),
                    (_less("Stays cool outside", 90, 40, "Living with it", TOUCH),),
                ),
                (Measurand("", "Lid stays shut when tilted", "check"), (_passes("Lid stays shut"),)),
                (Measurand("", "Switches off when it boils", "check"), (_passes("Switches off"),)),
                (_EASE, (_EASY,)),
                (_PRICE, ()),
            ),
            _SCALD,
        ),
        _set(
            "toaster",
            "Toaster",
            (
                (
                    Measurand("", "Time to brown two slices", "duration", "s", "equal volume", 2),
                    (_less("Quick", 240, 110, "Toasting", f"how to measure: IEC 60442; limits: {NO_SOURCE}"),),
                ),
                (
                    Measurand("", "Share of the slice evenly browned", "rating"),
                    (Criterion("", "Browns evenly", "", "mean", worst=1, best=5, group="Toasting", basis=NO_SOURCE),),
                ),
                (
                    Measurand("", "Outer wall after three rounds", "temperature", "°C"),
                    (_less("Stays cool outside", 95, 45, "Living with it", TOUCH),),
                ),
                (Measurand("", "Switches off when a slice is stuck", "check"), (_passes("Switches off when stuck"),)),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
            "Toast can catch fire: stay beside it, unplug it before touching what is stuck.",
        ),
        _set(
            "blender",
            "Blender",
            (
                (
                    Measurand("", "Time until smooth", "duration", "s", "equal volume", 4),
                    (_less("Smooth quickly", 120, 20, "Blending", f"how to measure: IEC 60619; limits: {NO_SOURCE}"),),
                ),
                (
                    Measurand("", "Left in the jug after pouring", "yield", "g", "equal volume"),
                    (_less("Leaves little behind", 80, 10, "Blending"),),
                ),
                (
                    Measurand("", "Noise at one metre", "noise", "dB(A)"),
                    (_less("Quiet", 95, 75, "Living with it", f"how to measure: IEC 60704; limits: {NO_SOURCE}"),),
                ),
                (Measurand("", "Stands still without its lid", "check"), (_passes("Stands still without its lid"),)),
                (_FIT, (_FITS,)),
                (_EASE, (_EASY,)),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
            "Blades cut, and hot contents burst out: unplug before reaching in, blend only what the maker allows.",
        ),
        _set(
            "vacuum-flask",
            "Vacuum flask",
            (
                (
                    Measurand("", "Temperature of what was filled in", "temperature-series", "°C", "full",
                              condition="flask at room temperature, filled at 80 °C, lid on, upright",
                              low=57, high=85, threshold=57, ambient=20),
                    (
                        Criterion("", "Hot after two hours", "", "at 120", worst=50, best=78, group="Keeping hot",
                                  basis=f"EN 12546-1 limits the loss by volume, see your copy; here: {NO_SOURCE}"),
                        Criterion("", "Stays hot for long", "", "time until below", worst=60, best=720,
                                  group="Keeping hot", basis=f"{HOT_US} Length: {NO_SOURCE}."),
                    ),
                ),
                (Measurand("", "Does not leak on its side", "check", load="full"), (_passes("Does not leak"),)),
                (
                    Measurand("", "Weight when empty", "mass", "g", runs=1),
                    (_less("Light", 900, 250, "Carrying it"),),
                ),
                (_EASE, (_EASY,)),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
            f"{_SCALD} Food held below 57 °C (UK: 63 °C) for hours is not for eating: local codes decide.",
        ),
        _set(
            "slow-cooker",
            "Slow cooker or food warmer",
            (
                (
                    Measurand("", "Time until the middle has 60 °C", "duration", "min", "full", 6),
                    (
                        Criterion("", "Hot soon enough", "", "mean", direction="less", curve="none", must_most=240,
                                  basis="food codes limit the time between cold and hot holding to about 4 h "
                                        f"({NO_SOURCE} for this test). Local codes decide."),
                        _less("Hot quickly", 240, 90, "Cooking"),
                    ),
                ),
                (_warm("Temperature while holding"), (_held(63, HOT_UK),)),
                (
                    Measurand("", "Outer wall after four hours", "temperature", "°C"),
                    (_less("Stays cool outside", 90, 40, "Living with it", TOUCH),),
                ),
                (
                    Measurand("", "Energy for eight hours", "energy", "Wh", "full"),
                    (_less("Uses little energy", 2000, 600, "Running it"),),
                ),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
            f"{_SCALD} Food that stayed between 5 °C and 57 °C for hours is not for eating: local codes decide.",
        ),
        _set(
            "any",
            "Any product: size, handling and price",
            (
                (_FIT, (_FITS,)),
                (Measurand("", "Weight", "mass", "kg", runs=1), ()),
                (_EASE, (_EASY,)),
                (_CLEANING, (_CLEANED,)),
                (_PRICE, ()),
            ),
        ),
    )
}  # fmt: skip


def with_ready_set(typed: Mapping[str, str], name: str) -> dict[str, str]:
    """The typed fields with the rows of a ready set below those that stand there already.

    A measurement or criterion whose name stands there is not added again; a criterion of such a measurement
    rests on the row that is there. KeyError for an unknown set. The shelf typed takes the place of the usual one.
    """
    ready, fields_ = READY_SETS[name], dict(typed)
    rows = {name_key(typed.get(f"measurand-{row}-name", "")): row for row in rows_of(typed, "measurand")}
    source: dict[str, str] = {}
    for measurand in ready.measurands:
        row = rows.get(name_key(measurand.name), -1)
        if row < 0:
            row = _next_row(fields_, "measurand")
            fields_ |= _typed_row(f"measurand-{row}-", measurand)
        source[measurand.key] = f"m{row + 1}"
    there = {name_key(typed.get(f"criterion-{row}-name", "")) for row in rows_of(typed, "criterion")}
    for criterion in ready.criteria:
        if name_key(criterion.name) not in there:
            at = f"criterion-{_next_row(fields_, 'criterion')}-"
            fields_ |= _typed_row(at, criterion) | {f"{at}source": source[criterion.source]}
            if criterion.name == _FITS.name and typed.get("bench-shelf_mm"):
                fields_[f"{at}must_most"] = typed["bench-shelf_mm"]
    return fields_


def _next_row(typed: Mapping[str, str], kind: str) -> int:
    return max(rows_of(typed, kind), default=-1) + 1


def _typed_row(at: str, row: Measurand | Criterion) -> dict[str, str]:
    """A row as it would be typed: empty where nothing is said."""
    return {
        f"{at}{field.name}": f"{value:g}" if isinstance(value, float | int) else value
        for field in fields(row)
        if field.name not in ("key", "steps", "unit" if isinstance(row, Criterion) else "")
        and (value := getattr(row, field.name)) not in (None, "", ())
    }
